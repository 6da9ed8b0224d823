"""Read the cards in one decoded photo: search, plane, samples, colour fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.correction_records import CorrectJob
from dryslate.app.geometry import lens_of, plane_of
from dryslate.app.project_records import PatchResidual
from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.finding import find_cards
from dryslate.core.card.found import CardSamples, CardSearch, FoundCard
from dryslate.core.card.patches import sample_card
from dryslate.core.card.proof import require_unturned
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.fit import ColourFit, fit_colour
from dryslate.core.colour.spaces import linear_srgb_to_lab, linear_to_srgb
from dryslate.core.scale.lens import Lens, LensPrior
from dryslate.core.scale.plane import Plane

CHART_PREFIX = "target24"
"""Cards of this name are the classic 24-patch target, which has a finder of its own."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardReading:
    """
    What a photo's cards said.

    Parameters
    ----------
    search : CardSearch
        Every card and every foreign marker.
    planes : tuple of Plane or None
        One for each card.
    chosen : int or None
        Which card the correction rests on; None where there is none.
    fit : ColourFit or None
        From the chosen card.
    samples : CardSamples or None
        Of the chosen card.
    problems : tuple of Problem
    """

    search: CardSearch
    planes: tuple[Plane | None, ...] = ()
    chosen: int | None = None
    fit: ColourFit | None = None
    samples: CardSamples | None = None
    problems: tuple[Problem, ...] = ()

    @property
    def card(self) -> FoundCard | None:
        """The card the correction rests on."""
        return None if self.chosen is None else self.search.cards[self.chosen]

    @property
    def plane(self) -> Plane | None:
        """The plane of that card."""
        return None if self.chosen is None else self.planes[self.chosen]


def read_cards(
    photo: DecodedPhoto, job: CorrectJob, search: CardSearch | None = None
) -> CardReading:
    """
    Find every card in a photo, fit the plane of each and the colour of the best.

    Parameters
    ----------
    photo : DecodedPhoto
    job : CorrectJob
    search : CardSearch, optional
        What was found in this photo already; without it the cards are looked for.

    Returns
    -------
    CardReading

    Notes
    -----
    Cards whose colours are known come before nominal ones, larger ones before smaller ones; the
    first whose colour can be used carries the correction, else the first of all.
    """
    pixels = upright_view(photo.pixels, photo.metadata.orientation)
    if search is None:
        search = find_in_photo(pixels, photo, job)
    problems = list(search.problems)
    if not search.cards:
        return CardReading(search=search, problems=tuple(problems))
    size_px = (pixels.shape[1], pixels.shape[0])
    lens, lens_problems = lens_of(photo.metadata, size_px, job.lens, job.settings.port)
    problems.extend(lens_problems)
    planes = tuple(_plane(found, size_px, lens, problems) for found in search.cards)
    order = sorted(
        range(len(search.cards)), key=lambda i: (search.cards[i].card.status == "nominal", i)
    )
    chosen, fit, samples = _first_usable(search.cards, order, pixels, photo, job)
    if fit is not None:
        problems.extend(fit.problems)
    plane = planes[chosen]
    if plane is not None:
        problems.extend(plane.problems)
    return CardReading(
        search=search,
        planes=planes,
        chosen=chosen,
        fit=fit,
        samples=samples,
        problems=tuple(problems),
    )


def find_in_photo(pixels: NDArray[Any], photo: DecodedPhoto, job: CorrectJob) -> CardSearch:
    """Look for cards: by given corners, by markers, then without markers where asked for."""
    corners = job.settings.corners_px
    if corners is not None:
        from dryslate.core.card.finding import find_from_corners

        card = (*job.cards, *(c for c, _ in job.plain_cards))[0]
        found = find_from_corners(
            pixels,
            card,
            np.array(corners, dtype=np.float64),
            corner_u_px=job.settings.corner_u_px,
        )
        require_unturned(eight_bit_view(pixels, photo.linear_lut)[0], found)
        return CardSearch(cards=(found,), other_markers=())
    coded, lut = eight_bit_view(pixels, photo.linear_lut)
    search = CardSearch(cards=(), other_markers=())
    if job.cards:
        search = find_cards(
            coded, job.cards, linear_lut=None if lut is None else lut.astype(np.float64)
        )
    if search.cards or not job.plain_cards:
        return search
    cards, problems = [], list(search.problems)
    for card, picture in job.plain_cards:
        try:
            seen = _find_plain(coded, card, picture)
        except DryslateError as error:
            problems.append(problem_of(error, job.name, "warning"))
            continue
        if seen is not None:
            cards.append(seen)
    return replace(search, cards=tuple(cards), problems=tuple(problems))


def _find_plain(
    coded: NDArray[np.uint8], card: CardDefinition, picture: NDArray[np.uint8] | None
) -> FoundCard | None:
    """Find a card without markers by its picture or, for the 24-patch target, its layout."""
    from dryslate.core.card.finding import find_target24
    from dryslate.core.card.likeness import find_by_picture

    if picture is not None:
        return find_by_picture(coded, card, picture)
    return find_target24(coded, card)


def eight_bit_view(
    pixels: NDArray[Any], linear_lut: NDArray[np.float32]
) -> tuple[NDArray[np.uint8], NDArray[np.float32] | None]:
    """
    Return pixels as 8-bit codes for the search, and their table to linear light.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
    linear_lut : ndarray of float32, shape (n_codes, 3)

    Returns
    -------
    coded : ndarray of uint8
        The pixels themselves when they have 8 bits, else encoded with the sRGB curve.
    linear_lut : ndarray of float32 or None
        None for the sRGB curve.
    """
    if pixels.dtype == np.uint8:
        return pixels, linear_lut
    tables = np.rint(255.0 * np.clip(linear_to_srgb(linear_lut), 0.0, 1.0)).astype(np.uint8)
    return np.stack([tables[:, c][pixels[..., c]] for c in range(3)], axis=-1), None


def _plane(
    found: FoundCard,
    size_px: tuple[int, int],
    lens: Lens | LensPrior,
    problems: list[Problem],
) -> Plane | None:
    """Fit the plane of one card, or say why it cannot be."""
    try:
        return plane_of(found, size_px, lens)
    except DryslateError as error:
        problems.append(problem_of(error, f"card {found.card.name}", "warning"))
        return None


def _first_usable(
    cards: Sequence[FoundCard],
    order: Sequence[int],
    pixels: NDArray[Any],
    photo: DecodedPhoto,
    job: CorrectJob,
) -> tuple[int, ColourFit | None, CardSamples | None]:
    """Fit colours card by card until one can be used; else keep the first that can be shown."""
    settings = replace(job.colour, is_encoded=photo.kind != "raw")
    first: tuple[int, ColourFit | None, CardSamples | None] | None = None
    lut = photo.linear_lut.astype(np.float64)
    for i in order:
        samples = sample_card(pixels, cards[i], lut)
        fit = fit_colour(samples, cards[i].card, settings, photo.to_srgb)
        if fit.usable:
            return i, fit, samples
        if first is None or (fit.can_be_shown and not (first[1] and first[1].can_be_shown)):
            first = (i, fit, samples)
    return first or (order[0], None, None)


def patch_residuals(
    photo_id: str, card: CardDefinition, card_key: str, samples: CardSamples, correction: Correction
) -> tuple[PatchResidual, ...]:
    """
    Say how far each patch is from what the card states, after the correction.

    Parameters
    ----------
    photo_id : str
    card : CardDefinition
    card_key : str
        Hash of the definition with serial and medium.
    samples : CardSamples
    correction : Correction

    Returns
    -------
    tuple of PatchResidual
        One a patch, dropped ones too; without a correction key.
    """
    stated = {p.patch_id: p.lab_d65 for p in card.patches}
    seen = np.array([s.mean_linear for s in samples.patches]).reshape(-1, 3)
    places = np.array([s.centre_px for s in samples.patches]).reshape(-1, 2)
    want = np.array([stated[s.patch_id] for s in samples.patches]).reshape(-1, 3)
    lab = linear_srgb_to_lab(np.clip(correct_linear(seen, places, correction), 0.0, None))
    de00, shifts = ciede2000(lab, want).tolist(), (lab - want).tolist()
    return tuple(
        PatchResidual(
            photo_id=photo_id,
            correction_key="",
            card=card.name,
            card_key=card_key,
            patch_id=sample.patch_id,
            residual_de00=None if sample.dropped else de00[i],
            residual_lab=None if sample.dropped else tuple(shifts[i]),
            dropped=sample.dropped,
        )
        for i, sample in enumerate(samples.patches)
    )
