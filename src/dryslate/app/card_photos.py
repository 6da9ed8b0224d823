"""Values of a card from photos: beside a known target, or dry and filled in a tray; drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.card_values import CharacteriseOptions, Values
from dryslate.app.correct import colour_settings
from dryslate.app.correction_records import CorrectSettings
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import DryslateError, InputError, SettingsError
from dryslate.base.problems import Problem
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.corners import find_from_corners
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.finding import find_cards, find_target24
from dryslate.core.card.found import CardSamples, FoundCard
from dryslate.core.card.likeness import find_by_picture
from dryslate.core.card.patches import sample_card
from dryslate.core.card.proof import require_unturned
from dryslate.core.colour.characterise import (
    PatchValue,
    join_photos,
)
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourFit, ColourSettings, fit_colour
from dryslate.core.colour.mismatch import parse_mismatch_table
from dryslate.core.colour.spaces import linear_to_srgb
from dryslate.core.colour.tray import WhitePiece, fit_water_values

FloatArray = NDArray[np.float64]

WHITE_HALF_PX = 12
"""Half the side of the square in which the PTFE is read, before the card's size is known."""
SAME_PLACE_MM = 3.0
OTHER_PLACE = 1.0
"""Half diagonals of the target by which the card must have moved to lie in other light."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenPhoto:
    """
    A decoded photo, the right way up.

    Parameters
    ----------
    path : Path
    decoded : DecodedPhoto
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        Upright view of the decoded pixels.
    coded : ndarray of uint8, shape (height, width, 3)
        The same as 8-bit codes, for the search.
    """

    path: Path
    decoded: DecodedPhoto
    pixels: NDArray[Any]
    coded: NDArray[np.uint8]

    def sample(self, found: FoundCard) -> CardSamples:
        """Sample the patches of a card found here."""
        lut = np.asarray(self.decoded.linear_lut, dtype=np.float64)
        return sample_card(self.pixels, found, lut)

    def fit(self, found: FoundCard, samples: CardSamples, colour: ColourSettings) -> ColourFit:
        """Fit the photo's colour to a card."""
        settings = replace(colour, is_encoded=self.decoded.kind != "raw")
        return fit_colour(samples, found.card, settings, self.decoded.to_srgb)


def settings_in_air(tables: ReferenceTables) -> ColourSettings:
    """
    Return what the colour fit is told of a photo on land whose card is taken at its word.

    Parameters
    ----------
    tables : ReferenceTables

    Returns
    -------
    ColourSettings
        Without the prior of water: on land the camera's own colours are near the truth; and with
        the mismatch of prints on land instead of reefs under water.
    """
    settings = colour_settings(tables, CorrectSettings(nominal_as_measured=True, port="none"))
    air = parse_mismatch_table(tables.table("spectral_mismatch_air"))
    return replace(settings, matrix_prior=None, mismatch_table=air)


def open_photo(reader: PhotoReader, path: Path) -> OpenPhoto:
    """Decode a photo and turn it upright."""
    decoded = reader.read(path)
    pixels = upright_view(decoded.pixels, decoded.metadata.orientation)
    coded = pixels
    if pixels.dtype != np.uint8:
        tables = np.rint(255.0 * np.clip(linear_to_srgb(decoded.linear_lut), 0.0, 1.0))
        codes = tables.astype(np.uint8)
        coded = np.stack([codes[:, c][pixels[..., c]] for c in range(3)], axis=-1)
    return OpenPhoto(path=path, decoded=decoded, pixels=pixels, coded=coded)


def find_one(
    photo: OpenPhoto,
    card: CardDefinition,
    tables: ReferenceTables,
    corners_px: Sequence[tuple[float, float]] = (),
) -> FoundCard:
    """
    Find one card in a photo, by markers, by corners, as a chart or by its picture.

    Raises
    ------
    InputError
        ``card-not-in-photo`` if it is not found.
    """
    found: FoundCard | None = None
    if len(corners_px):
        found = find_from_corners(photo.coded, card, np.array(corners_px, dtype=np.float64))
        require_unturned(photo.coded, found)
    elif card.markers:
        cards = find_cards(photo.coded, [card]).cards
        found = cards[0] if cards else None
    elif card.name.startswith("target24"):
        found = find_target24(photo.coded, card)
    elif (picture := tables.picture(card)) is not None:
        found = find_by_picture(photo.coded, card, picture)
    if found is None:
        raise InputError(
            "card-not-in-photo",
            f"{photo.path.name}: card {card.name!r} was not found.",
            "Show the whole card, flat and sharp, or mark its corners.",
        )
    return found


def values_from_photos(
    tables: ReferenceTables,
    reader: PhotoReader,
    card: CardDefinition,
    options: CharacteriseOptions,
) -> Values:
    """
    Take a card's values from photos of it beside a target of known values, in daylight.

    Raises
    ------
    SettingsError
        ``characterise-way`` if the target or the photos are missing.
    InputError
        ``card-known-nominal`` if the target's own values are nominal; ``card-photos-unusable``
        if not one photo could be used, with the reasons.
    """
    if not options.known or not options.photos:
        raise SettingsError(
            "characterise-way",
            "To characterise from photos both the known target and the photos are needed.",
            "Give --known CARD and --photo FILE (several photos are better).",
        )
    known = tables.card(options.known)
    if known.status == "nominal":
        raise InputError(
            "card-known-nominal",
            f"The values of {known.name!r} are nominal: nothing can be learned from them.",
            "Name a target whose values are measured; see dryslate card list.",
        )
    per_photo, places, problems = [], [], []
    for path in options.photos:
        try:
            photo = open_photo(reader, path)
            values, place, more = _one_photo(tables, photo, (card, known), options)
            per_photo.append(values)
            places.append(place)
            problems += more
        except DryslateError as error:
            problems.append(_as_problem(error, path.name))
    if not per_photo:
        raise InputError(
            "card-photos-unusable",
            f"None of the {len(options.photos)} photos could be used: "
            + "; ".join(p.message for p in problems),
            "Take photos in open shade with both cards flat, side by side, sharp, no gloss.",
        )
    return Values(
        patches=join_photos(_with_own_light(per_photo, places)),
        status="from_photos",
        medium=known.medium,
        source=f"{len(per_photo)} photos beside {known.name!r}"
        + (f" (serial {known.serial})" if known.serial else "")
        + ".",
        problems=tuple(problems),
    )


def _one_photo(
    tables: ReferenceTables,
    photo: OpenPhoto,
    cards: tuple[CardDefinition, CardDefinition],
    options: CharacteriseOptions,
) -> tuple[list[PatchValue], FloatArray, list[Problem]]:
    """
    Values of the card's patches in one photo, by the colour fit of the known target.

    Also where the card lies, seen from the target, in half diagonals of the target.
    """
    card, known = cards
    known_found = find_one(photo, known, tables, options.known_corners_px)
    found = find_one(photo, card, tables)
    fit = photo.fit(known_found, photo.sample(known_found), settings_in_air(tables))
    if not fit.usable:
        reasons = "; ".join(p.message for p in fit.problems)
        raise InputError(
            "card-known-unusable",
            f"{photo.path.name}: the colour of {known.name!r} cannot be used ({reasons}).",
            "Take the photo again in even daylight, neither too bright nor too dark.",
        )
    samples = photo.sample(found)
    values = []
    for s in samples.used:
        told = lab_with_doubt(s.mean_linear, s.cov_linear, s.n_px, fit, s.centre_px)
        lab, u = np.asarray(told.lab), np.sqrt(np.diag(told.lab_cov))
        own = np.hypot(told.parts["light"], told.parts["noise"])
        values.append(
            PatchValue(
                patch_id=s.patch_id,
                lab_d65=(float(lab[0]), float(lab[1]), float(lab[2])),
                lab_u=(float(u[0]), float(u[1]), float(u[2])),
                n=1,
                own_u=(float(own[0]), float(own[1]), float(own[2])),
            )
        )
    place = _place_beside(known_found, fit, [s.centre_px for s in samples.used])
    return values, place, _uneven(card, values, photo.path.name)


def _place_beside(known: FoundCard, fit: ColourFit, centres_px: Sequence[FloatArray]) -> FloatArray:
    """Where the card's patches lie from the target's centre, along and across the target."""
    assert fit.light is not None  # every fit to a card has it
    along = known.corners_px[1] - known.corners_px[0]
    along = along / np.linalg.norm(along)
    away = (np.mean(centres_px, axis=0) - np.array(fit.light.centre_px)) / fit.light.half_px
    return np.array([away @ along, along[0] * away[1] - along[1] * away[0]])


def _with_own_light(
    per_photo: Sequence[Sequence[PatchValue]], places: Sequence[FloatArray]
) -> Sequence[Sequence[PatchValue]]:
    """Light is each photo's own where the card changed its place; else all photos share it."""
    middle = np.mean(places, axis=0)
    if max(float(np.linalg.norm(p - middle)) for p in places) >= OTHER_PLACE:
        return per_photo
    return [[replace(v, own_u=(0.0, 0.0, 0.0)) for v in values] for values in per_photo]


def _uneven(card: CardDefinition, values: Sequence[PatchValue], place: str) -> list[Problem]:
    """Warn where two copies of one grey come out differently."""
    by_id = {v.patch_id: v.lab_d65 for v in values}
    worst = max(
        (
            abs(by_id[p.patch_id][0] - by_id[p.twin_of][0])
            for p in card.patches
            if p.twin_of in by_id and p.patch_id in by_id
        ),
        default=0.0,
    )
    if worst <= 2.0:
        return []
    return [
        Problem(
            slug="card-light-uneven",
            severity="warning",
            place=place,
            message=f"two copies of one grey differ by {worst:.1f} in L*: the light was uneven.",
            fix="Take more photos, with the two cards changing sides, in open shade.",
        )
    ]


def values_in_water(
    tables: ReferenceTables,
    reader: PhotoReader,
    card: CardDefinition,
    options: CharacteriseOptions,
) -> Values:
    """
    Carry a card's values from air to water by photos of a tray, dry and filled.

    Raises
    ------
    SettingsError
        ``characterise-way`` if a photo or a PTFE point is missing.
    InputError
        ``card-not-in-photo``, ``ptfe-not-in-photo``, ``ptfe-clipped``,
        ``card-not-characterised``, ``card-known-unusable``.
    """
    if options.dry is None or options.filled is None or len(options.ptfe_px) != 2:
        raise SettingsError(
            "characterise-way",
            "The step to water needs the dry photo, the filled one and the PTFE in both.",
            "Give --dry FILE --filled FILE --ptfe X,Y (dry) --ptfe X,Y (filled).",
        )
    samples, whites, photos, found = [], [], [], []
    for path, point in zip((options.dry, options.filled), options.ptfe_px, strict=True):
        photo = open_photo(reader, path)
        here = find_one(photo, card, tables)
        photos.append(photo)
        found.append(here)
        samples.append(photo.sample(here))
        whites.append(_white(photo, here, point))
    fit = photos[0].fit(found[0], samples[0], settings_in_air(tables))
    if not fit.usable:
        reasons = "; ".join(p.message for p in fit.problems)
        raise InputError(
            "card-known-unusable",
            f"{options.dry.name}: the colour of the dry card cannot be used ({reasons}).",
            "Take both photos again in even light, neither too bright nor too dark.",
        )
    values = fit_water_values(
        card,
        (samples[0], samples[1]),
        (whites[0], whites[1]),
        fit.correction,
        options.ptfe_u_frac,
    )
    return Values(
        patches=values,
        status=card.status,
        medium="water",
        source=f"{card.values_source} Carried to water by {options.dry.name} and "
        f"{options.filled.name}, with PTFE.".strip(),
        problems=(),
    )


def _white(photo: OpenPhoto, found: FoundCard, point: tuple[float, float]) -> WhitePiece:
    """Read the PTFE round the given point: a square of 3 mm by the card's scale."""
    h, w = photo.pixels.shape[:2]
    slope = np.linalg.norm(found.corners_px[1] - found.corners_px[0]) / found.card.width_mm
    half = int(np.clip(round(1.5 * slope), 2, 60))
    x, y = round(point[0]), round(point[1])
    if not (half <= x < w - half and half <= y < h - half):
        raise InputError(
            "ptfe-not-in-photo",
            f"{photo.path.name}: the PTFE point {point} is outside the photo or at its edge "
            f"({w} x {h} pixels).",
            "Give the middle of the white piece in pixels of the upright photo.",
        )
    square = photo.pixels[y - half : y + half + 1, x - half : x + half + 1].reshape(-1, 3)
    linear = np.column_stack([photo.decoded.linear_lut[:, c][square[:, c]] for c in range(3)])
    middle = np.median(linear, axis=0)
    spread = 1.4826 * np.median(np.abs(linear - middle), axis=0)
    if (spread > 0.15 * np.maximum(middle, 1e-3)).any():
        raise InputError(
            "ptfe-not-in-photo",
            f"{photo.path.name}: round {point} the picture is not of one colour.",
            "Give the middle of the white piece; it should be at least 5 mm wide.",
        )
    return WhitePiece(
        mean_linear=middle.astype(np.float64),
        # Neighbouring pixels share much of their noise; a quarter of them is taken as independent.
        mean_u=(spread / np.sqrt(len(linear) / 4.0)).astype(np.float64),
        xy_px=point,
    )


def _as_problem(error: DryslateError, place: str) -> Problem:
    """Turn what one photo failed of into a warning."""
    return Problem(
        slug=error.slug, severity="warning", place=place, message=error.message, fix=error.fix
    )
