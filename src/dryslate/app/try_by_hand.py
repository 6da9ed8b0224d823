"""What corners or a point set by hand would give, while still being moved: nothing is saved."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.card_reading import read_cards
from dryslate.app.correct_by_hand import HandCorners, with_corners
from dryslate.app.correct_project import ProjectRun, job_of
from dryslate.app.correction_json import describe_card, describe_colour, describe_scale
from dryslate.app.measure_try import hex_of
from dryslate.app.one_point import PickedPoint, fit_picked
from dryslate.app.preview import corrected_preview, limit_size
from dryslate.app.records import DecodedPhoto, Photo
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.corners import outer_corners_mm, require_corners
from dryslate.core.card.definition import CardDefinition
from dryslate.core.colour.fit import ColourFit
from dryslate.core.colour.point import measure_spot
from dryslate.core.colour.spaces import linear_srgb_to_lab

Points = tuple[tuple[float, float], ...]
MOST_PHOTOS = 2
"""Photos whose pixels are kept."""
SMALL_PX = 480


@dataclass(slots=True, eq=False)
class PixelShelf:
    """Decoded photos that somebody is working on; the longest unused ones are put away."""

    _photos: OrderedDict[str, DecodedPhoto] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def pixels_of(self, run: ProjectRun, photo: Photo) -> DecodedPhoto:
        """
        Return a photo's pixels, read once.

        Raises
        ------
        InputError, FormatError
            When the photo cannot be read.
        """
        with self._lock:
            kept = self._photos.get(photo.photo_id)
            if kept is None:
                kept = run.workshop.reader.read(job_of(run, photo).path)
                self._photos[photo.photo_id] = kept
            self._photos.move_to_end(photo.photo_id)
            while len(self._photos) > MOST_PHOTOS:
                self._photos.popitem(last=False)
            return kept


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """
    What a try gives.

    Parameters
    ----------
    patches_px : tuple
        Outline of each patch in the photo, four points each.
    card, colour, scale : Mapping or None
        As in a photo's document; None where they were not asked for, or cannot be had.
    seen_hex : str or None
        The colour at a picked point as the file has it.
    small : ndarray or None
        A small corrected copy.
    problems : tuple of dict
    """

    patches_px: tuple[tuple[tuple[float, float], ...], ...] = ()
    card: Mapping[str, Any] | None = None
    colour: Mapping[str, Any] | None = None
    scale: Mapping[str, Any] | None = None
    seen_hex: str | None = None
    small: NDArray[np.uint8] | None = None
    problems: tuple[dict[str, str], ...] = ()


def lay_out(card: CardDefinition, corners_px: Points, size_px: tuple[int, int]) -> Tried:
    """
    Lay a card's patches into a photo by four corners; no pixel is looked at.

    Parameters
    ----------
    card : CardDefinition
    corners_px : tuple of points
        Clockwise from the card's own top left.
    size_px : tuple of int
        Of the upright photo.

    Returns
    -------
    Tried
        Only problems where the corners cannot be those of a card.
    """
    try:
        corners = require_corners(corners_px, size_px)
    except DryslateError as error:
        return Tried(problems=(problem_of(error, "").as_dict(),))
    to_px = fit_homography(outer_corners_mm(card), corners)
    outlines = []
    for p in card.patches:
        x, y, w, h = p.x_mm, p.y_mm, p.width_mm, p.height_mm
        ring = apply_homography(to_px, [(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
        outlines.append(tuple((round(float(u), 2), round(float(v), 2)) for u, v in ring))
    return Tried(patches_px=tuple(outlines))


def try_corners(shelf: PixelShelf, run: ProjectRun, photo: Photo, what: HandCorners) -> Tried:
    """
    Say what a correction by four corners would give.

    Parameters
    ----------
    shelf : PixelShelf
    run : ProjectRun
    photo : Photo
    what : HandCorners

    Returns
    -------
    Tried

    Raises
    ------
    InputError, FormatError
        ``card-unknown``, and when the photo cannot be read.
    """
    decoded = shelf.pixels_of(run, photo)
    job = job_of(with_corners(run, what), photo)
    try:
        reading = read_cards(decoded, job)
    except DryslateError as error:
        return Tried(problems=(problem_of(error, job.name).as_dict(),))
    return Tried(
        card=describe_card(reading.card, reading.plane),
        colour=describe_colour(reading.fit),
        scale=describe_scale(reading.plane),
        small=_small(decoded, reading.fit),
        problems=_as_dicts(reading.problems, job.name),
    )


def try_point(shelf: PixelShelf, run: ProjectRun, photo: Photo, point: PickedPoint) -> Tried:
    """
    Say what a correction by one picked point would give.

    Parameters
    ----------
    shelf : PixelShelf
    run : ProjectRun
    photo : Photo
    point : PickedPoint

    Returns
    -------
    Tried

    Raises
    ------
    InputError, FormatError
        When the photo cannot be read.
    """
    decoded = shelf.pixels_of(run, photo)
    name = photo.files[0].original_name
    upright = upright_view(decoded.pixels, decoded.metadata.orientation)
    try:
        spot = measure_spot(upright, point.xy_px, decoded.linear_lut)
        fit = fit_picked(decoded, point, name, run.colour.mismatch_table)
    except DryslateError as error:
        return Tried(problems=(problem_of(error, name).as_dict(),))
    seen = np.clip(spot.mean_linear @ decoded.to_srgb.T, 0.0, 1.0)
    return Tried(
        colour=describe_colour(fit),
        seen_hex=hex_of(linear_srgb_to_lab(seen)),
        small=_small(decoded, fit),
        problems=_as_dicts(fit.problems, name),
    )


def _small(photo: DecodedPhoto, fit: ColourFit | None) -> NDArray[np.uint8] | None:
    """Return a small corrected copy, None where the colours cannot even be looked at."""
    if fit is None or not fit.can_be_shown:
        return None
    return limit_size(corrected_preview(photo, fit.correction), SMALL_PX)


def _as_dicts(problems: tuple[Problem, ...], name: str) -> tuple[dict[str, str], ...]:
    """Return problems once each, with the photo as place where none is given."""
    from dryslate.app.correction_json import problem_dicts

    return tuple(problem_dicts(problems, name))
