"""A grid of whole millimetres in the card's plane, as lines in a photo."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.measure import CardPlane
from dryslate.base.errors import InputError
from dryslate.core.measure.result import FAR_IN_CARDS
from dryslate.core.scale.plane import Plane, apply_plane, project_plane

STEPS_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
MOST_LINES = 120
POINTS_A_LINE = 33

Box = tuple[float, float, float, float]


def grid_lines(plane: Plane, box_px: Box, least_px: float) -> dict[str, Any]:
    """
    Return the lines of a millimetre grid that cross a part of a photo.

    Parameters
    ----------
    plane : Plane
    box_px : tuple of float
        x0, y0, x1, y1 of the part, in pixels of the upright photo.
    least_px : float
        How far apart two lines have to be at the card, in pixels.

    Returns
    -------
    dict
        ``step_mm``; ``lines``: each with ``mm`` (which whole millimetre), ``axis`` (0: x is
        constant) and ``points_px``. Bent where the lens bends; none beyond two card diagonals
        from the card's middle, where readings are no longer to be trusted.

    Notes
    -----
    The grid lies in the card's plane only: what stands nearer the camera covers more of it.
    """
    step = next((s for s in STEPS_MM if s * plane.px_per_mm >= least_px), STEPS_MM[-1])
    middle, reach = plane.origin_mm, FAR_IN_CARDS * float(np.hypot(*plane.size_mm))
    low, high = _extent(plane, box_px, middle - reach, middle + reach)
    while max((high - low) / step) > MOST_LINES:
        step *= 2.0
    lines = []
    for axis in (0, 1):
        first, last = np.ceil(low[axis] / step), np.floor(high[axis] / step)
        along = np.linspace(low[1 - axis], high[1 - axis], POINTS_A_LINE)
        for number in np.arange(first, last + 1):
            mm = np.empty((POINTS_A_LINE, 2))
            mm[:, axis], mm[:, 1 - axis] = number * step, along
            points = project_plane(plane, mm)
            if np.isfinite(points).all():
                lines.append(
                    {
                        "mm": float(number * step),
                        "axis": axis,
                        "points_px": np.round(points, 2).tolist(),
                    }
                )
    return {"step_mm": step, "lines": lines}


def _extent(
    plane: Plane, box_px: Box, least: NDArray[np.float64], most: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the part of the photo lies in the plane, kept near the card."""
    x0, y0, x1, y1 = box_px
    xs, ys = np.meshgrid(np.linspace(x0, x1, 9), np.linspace(y0, y1, 9))
    seen = []
    for point in np.column_stack([xs.ravel(), ys.ravel()]):
        try:
            seen.append(apply_plane(plane, [point]).xy_mm[0])
        except ValueError:  # past the horizon of the card's plane
            seen += [least, most]
    return (
        np.clip(np.min(seen, axis=0), least, most),
        np.clip(np.max(seen, axis=0), least, most),
    )


def grid_of(planes: Sequence[CardPlane], box_px: Box, least_px: float) -> dict[str, Any]:
    """
    Return the grid of the largest card in a photo; no lines where there is none.

    Parameters
    ----------
    planes : sequence of CardPlane
    box_px : tuple of float
    least_px : float

    Returns
    -------
    dict
        As `grid_lines`, with ``card``.
    """
    if not planes:
        return {"step_mm": None, "lines": [], "card": None}
    return {**grid_lines(planes[0].plane, box_px, least_px), "card": planes[0].card}


def parse_box(text: str) -> Box:
    """
    Read a part of a photo from an address.

    Parameters
    ----------
    text : str
        ``x0,y0,x1,y1`` in pixels of the upright photo.

    Returns
    -------
    tuple of float

    Raises
    ------
    InputError
        ``picture-box-unclear``.

    Examples
    --------
    >>> parse_box("0,10,200,90.5")
    (0.0, 10.0, 200.0, 90.5)
    """
    try:
        x0, y0, x1, y1 = (float(part) for part in text.split(","))
    except ValueError:
        x0 = y0 = x1 = y1 = float("nan")
    if not (x0 < x1 and y0 < y1 and max(map(abs, (x0, y0, x1, y1))) < 1e6):
        raise InputError(
            "picture-box-unclear",
            f"{text[:60]!r} is no part of a photo (expected x0,y0,x1,y1, each end after its "
            "beginning).",
            "Choose the part on the photo's page.",
        )
    return x0, y0, x1, y1
