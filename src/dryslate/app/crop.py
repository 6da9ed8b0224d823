"""A part of a photo to take away, with a scale bar whose length and doubt are stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.card_grid import Box
from dryslate.app.geometry import geometry_from_dict
from dryslate.app.ports import SurveyStore
from dryslate.app.records import CorrectionRow
from dryslate.app.tiles import TileBench, TilePlace, in_srgb, picture_source, require_photo
from dryslate.base.errors import InputError
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.measure.lengths import MeasureSettings, measure_length
from dryslate.core.measure.off_plane import OffPlane
from dryslate.core.scale.plane import Plane, apply_plane

LARGEST_SHARE = 0.3
"""The bar is the longest round length that takes no more than this share of the width."""

NEIGHBOURS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleBar:
    """
    A bar for one picture, true in the middle of it, level, in the card's plane.

    Parameters
    ----------
    length_mm : float
        A round number: 1, 2 or 5 times a power of ten.
    length_px : float
        In pixels of the photo.
    length_mm_u : float
        One standard uncertainty of what a bar of that many pixels is, in the card's plane.
    scale_range_frac : float
        How much the scale differs over the picture: largest over smallest, less one.
    """

    length_mm: float
    length_px: float
    length_mm_u: float
    scale_range_frac: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crop:
    """
    A part of a photo, and what is written with it.

    Parameters
    ----------
    img_srgb : ndarray of uint8, shape (height, width, 3)
    bar : ScaleBar or None
        None where none was asked for.
    photo_name, photo_sha256 : str
    about : Mapping
        Texts for the file's metadata, by keyword.
    """

    img_srgb: NDArray[np.uint8]
    bar: ScaleBar | None
    photo_name: str
    photo_sha256: str
    about: Mapping[str, str] = field(default_factory=dict)


def fit_scale_bar(plane: Plane, box_px: Box) -> ScaleBar:
    """
    Choose a bar for a part of a photo.

    Parameters
    ----------
    plane : Plane
    box_px : tuple of float
        x0, y0, x1, y1: the edges, in pixels of the upright photo.

    Returns
    -------
    ScaleBar

    Raises
    ------
    InputError
        ``measure-misses-plane`` where the part looks past the card's plane.
    """
    x0, y0, x1, y1 = box_px
    middle = np.array([(x0 + x1) / 2.0, (y0 + y1) / 2.0])
    per_mm = _px_per_mm(plane, middle)
    most_mm = LARGEST_SHARE * (x1 - x0) / per_mm
    length_mm = largest_round(most_mm)
    length_px = length_mm * per_mm
    for _ in range(6):  # the scale along the bar itself: converges at once, as it hardly changes
        length_px *= length_mm / _length(plane, middle, length_px)
    ends = middle + np.array([[-0.5, 0.0], [0.5, 0.0]]) * length_px
    settings = MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="in_plane"))
    inside = np.clip(ends, 0.0, np.array(plane.image_size_px) - 1.0)
    told = measure_length(plane, inside, settings).values
    xs, ys = np.meshgrid(np.linspace(x0, x1, NEIGHBOURS), np.linspace(y0, y1, NEIGHBOURS))
    spots = np.column_stack([xs.ravel(), ys.ravel()])
    scales = np.array([_px_per_mm(plane, spot) for spot in spots])
    return ScaleBar(
        length_mm=length_mm,
        length_px=float(length_px),
        length_mm_u=float(told["length_mm_u"]) * length_mm / float(told["length_mm"]),
        scale_range_frac=float(scales.max() / scales.min() - 1.0),
    )


def largest_round(most: float) -> float:
    """
    Return the largest of 1, 2 and 5 times a power of ten that is no more than a length.

    Examples
    --------
    >>> largest_round(49.9), largest_round(50.0), largest_round(0.3)
    (20.0, 50.0, 0.2)
    """
    power = 10.0 ** np.floor(np.log10(most) + 1e-12)
    return float(max(s for s in (1.0, 2.0, 5.0) if s * power <= most * (1.0 + 1e-9)) * power)


def cut_crop(
    bench: TileBench, store: SurveyStore, place: TilePlace, box_px: Box, *, has_bar: bool
) -> Crop:
    """
    Cut a part out of a photo at full size.

    Parameters
    ----------
    bench : TileBench
    store : SurveyStore
    place : TilePlace
        Original or corrected.
    box_px : tuple of float
        Edges of the part, in pixels of the upright photo; what lies outside is left away.
    has_bar : bool
        Whether a scale bar is wanted.

    Returns
    -------
    Crop

    Raises
    ------
    InputError
        ``picture-no-scale`` where a bar is wanted and no scale can be trusted,
        ``picture-box-unclear`` for a part outside the photo, and those of reading the photo.
    """
    photo, row = require_photo(store, place.photo_id), store.correction(place.photo_id)
    name = photo.files[0].original_name
    plane = _trusted_plane(row, name) if has_bar else None
    decoded = bench.reader.read(picture_source(bench, store, place))
    upright = upright_view(decoded.pixels, decoded.metadata.orientation)
    height, width = upright.shape[:2]
    left, top = max(0, round(box_px[0])), max(0, round(box_px[1]))
    right, bottom = min(width, round(box_px[2])), min(height, round(box_px[3]))
    if right - left < 2 or bottom - top < 2:
        raise InputError(
            "picture-box-unclear",
            f"{name}: the part from {left}, {top} to {right}, {bottom} lies outside the photo of "
            f"{width} x {height} px, or has no size.",
            "Choose the part on the photo's page.",
        )
    edges = (left - 0.5, top - 0.5, right - 0.5, bottom - 0.5)
    bar = fit_scale_bar(plane, edges) if plane is not None else None
    return Crop(
        img_srgb=np.ascontiguousarray(in_srgb(decoded, upright[top:bottom, left:right])),
        bar=bar,
        photo_name=name,
        photo_sha256=photo.photo_id,
        about=_about(place, row, (left, top, right, bottom), bar),
    )


def _about(
    place: TilePlace, row: CorrectionRow | None, box: tuple[int, ...], bar: ScaleBar | None
) -> dict[str, str]:
    """Texts for the metadata of a crop."""
    about = {
        "Photo part": f"x {box[0]} to {box[2]}, y {box[1]} to {box[3]} px of the upright photo",
        "Photo variant": place.variant,
    }
    if row is not None:
        about["Correction"] = row.key
    if bar is not None:
        about["Scale bar"] = (
            f"{bar.length_mm:g} mm = {bar.length_px:.1f} px of the photo, standard uncertainty "
            f"{bar.length_mm_u:.2g} mm, in the card's plane, in the middle of the picture"
        )
    return about


def _trusted_plane(row: CorrectionRow | None, name: str) -> Plane:
    """Return the plane of a photo whose scale can be trusted."""
    scale: Mapping[str, Any] = (row.result.get("scale") or {}) if row is not None else {}
    plane = geometry_from_dict(row.geometry) if row is not None else None
    if plane is None or not scale.get("usable"):
        raise InputError(
            "picture-no-scale",
            f"{name}: no scale that can be trusted, so no scale bar is burnt in.",
            "Show the card in the photo, or take the part without a bar.",
        )
    return plane


def _length(plane: Plane, middle: NDArray[np.float64], length_px: float) -> float:
    """Length in the card's plane of a level stretch around a point."""
    ends = middle + np.array([[-0.5, 0.0], [0.5, 0.0]]) * length_px
    return float(np.hypot(*np.diff(apply_plane(plane, ends).xy_mm, axis=0)[0]))


def _px_per_mm(plane: Plane, spot: NDArray[np.float64]) -> float:
    """Pixels a millimetre of a level line in the card's plane at a point."""
    return 1.0 / _length(plane, spot, 1.0)
