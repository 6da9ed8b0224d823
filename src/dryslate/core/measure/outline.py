"""A coral's outline: area, perimeter, longest diameter and the widest across it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.measure.budget import Reading, state_value
from dryslate.core.measure.polygon import (
    find_crossing,
    find_longest_diameter,
    find_width_across,
    polygon_area,
    polyline_length,
)
from dryslate.core.measure.result import (
    Measurement,
    MeasureSettings,
    as_points,
    budget_fields,
    check_picked,
    plane_height,
    require_picked,
    stated_fields,
)
from dryslate.core.measure.steps import noise_bias, step_slopes
from dryslate.core.scale.plane import Plane, apply_plane

FloatArray = NDArray[np.float64]


def require_simple(xy: FloatArray) -> None:
    """
    Refuse an outline that crosses itself.

    Parameters
    ----------
    xy : ndarray of float, shape (n, 2)
        Corners in order, in any unit; the last joins the first.

    Raises
    ------
    InputError
        ``outline-crosses-itself``.
    """
    crossing = find_crossing(xy)
    if crossing is not None:
        a, b = crossing
        raise InputError(
            "outline-crosses-itself",
            f"The outline crosses itself: the stretch after point {a + 1} meets the stretch "
            f"after point {b + 1}.",
            "Give the points in order around the coral, without a fold.",
        )


def _area_slopes(xy: FloatArray) -> FloatArray:
    """Slope of the area by each corner (shoelace formula differentiated)."""
    before, after = np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0)
    slopes = np.column_stack([after[:, 1] - before[:, 1], before[:, 0] - after[:, 0]]) / 2.0
    signed = float(np.sum(xy[:, 0] * after[:, 1] - xy[:, 1] * after[:, 0]))
    return slopes if signed >= 0 else -slopes


def _width(xy: FloatArray, ends: tuple[int, int, int, int]) -> float:
    """Extent between corners k and m at right angles to the line from i to j."""
    i, j, k, m = ends
    axis, gap = xy[j] - xy[i], xy[k] - xy[m]
    return float(axis[0] * gap[1] - axis[1] * gap[0]) / float(np.hypot(*axis))


def _width_slopes(xy: FloatArray, ends: tuple[int, int, int, int]) -> FloatArray:
    """Slope of `_width` by each corner."""
    i, j, k, m = ends
    axis, gap = xy[j] - xy[i], xy[k] - xy[m]
    length = float(np.hypot(*axis))
    across = np.array([-axis[1], axis[0]]) / length
    by_axis = np.array([gap[1], -gap[0]]) / length - _width(xy, ends) * axis / length**2
    slopes = np.zeros_like(xy)
    slopes[k] += across
    slopes[m] -= across
    slopes[j] += by_axis
    slopes[i] -= by_axis
    return slopes


def measure_outline(plane: Plane, points_px: ArrayLike, settings: MeasureSettings) -> Measurement:
    r"""
    Measure a coral by its outline.

    Parameters
    ----------
    plane : Plane
        Of the card in the same photo.
    points_px : array_like of float, shape (n, 2)
        Corners in order, in pixels of the upright original; the last joins the first (a last
        point equal to the first is dropped).
    settings : MeasureSettings

    Returns
    -------
    Measurement
        With ``area_cm2``, ``perimeter_mm``, ``diameter_max_mm`` (longest distance between two
        corners) and ``diameter_across_mm`` (extent at right angles to it), each with ``_u``,
        ``_lo95`` and ``_hi95``; the budget by value.

    Raises
    ------
    InputError
        ``outline-crosses-itself``, ``outline-flat``, ``measure-too-few-points``,
        ``measure-point-not-finite``, ``measure-point-outside-photo``,
        ``measure-point-u-impossible``, ``measure-misses-plane`` or
        ``measure-off-plane-impossible``.

    Notes
    -----
    The outline is what shows from the camera, taken to the card's plane: overhangs are not
    seen. A round outline drawn with few corners reads small (12 corners: area -4.5 %, perimeter
    -1.1 %). Pointing noise lengthens a perimeter; the expected bias is subtracted and half of
    it kept as doubt. It also lengthens the longest diameter a little, which is left in. Corners
    are independent: a rim that is blurred all round moves all of them, which this does not hold.

    References
    ----------
    .. [1] ISO 9276-6:2008 (maximum Feret diameter).
    .. [2] JCGM 100:2008, 5.1.2 equation (10).
    """
    px = as_points(points_px)
    if len(px) > 1 and np.array_equal(px[0], px[-1]):
        px = px[:-1]
    px = require_picked(plane, px, settings, 3)
    located = apply_plane(plane, px)
    xy = located.xy_mm
    require_simple(px)
    i, j = find_longest_diameter(xy)
    ends = (i, j, *find_width_across(xy, (i, j)))
    longest = float(np.hypot(*(xy[j] - xy[i])))
    height = plane_height(plane, settings, longest)
    bias = noise_bias(located, settings.point_u_px, closed=True)
    rim = polyline_length(xy, closed=True)
    longest_slopes = np.zeros_like(xy)
    longest_slopes[j] = (xy[j] - xy[i]) / longest
    longest_slopes[i] = -longest_slopes[j]
    reading = Reading(plane=plane, points=located, height=height, point_u_px=settings.point_u_px)
    area = state_value(reading, polygon_area(xy), _area_slopes(xy), power=2)
    rim_slopes = step_slopes(xy, closed=True)
    perimeter = state_value(reading, rim - bias, rim_slopes, extra=bias / 2.0)
    diameter = state_value(reading, longest, longest_slopes)
    across = state_value(reading, _width(xy, ends), _width_slopes(xy, ends))
    flags, problems = check_picked(plane, px, xy, height)
    return Measurement(
        kind="outline",
        values={
            **stated_fields("area_cm2", area, 0.01),
            **stated_fields("perimeter_mm", perimeter),
            **stated_fields("diameter_max_mm", diameter),
            **stated_fields("diameter_across_mm", across),
        },
        budget={
            "area_cm2": budget_fields("cm2", area, 0.01),
            "perimeter_mm": budget_fields("mm", perimeter),
            "diameter_max_mm": budget_fields("mm", diameter),
            "diameter_across_mm": budget_fields("mm", across),
        },
        flags=flags,
        problems=(*problems, *_crowded(bias, rim)),
    )


def _crowded(bias_mm: float, rim_mm: float) -> tuple[Problem, ...]:
    """Warn where pointing noise makes up much of a perimeter."""
    if bias_mm <= 0.03 * rim_mm:
        return ()
    return (
        Problem(
            slug="outline-points-crowded",
            severity="warning",
            place="outline",
            message="The outline's points lie so close together that pointing noise adds "
            f"{100 * bias_mm / rim_mm:.0f} % to the perimeter (subtracted, with doubt).",
            fix="Pick fewer points, or state a smaller --point-u-px if points are surer.",
        ),
    )
