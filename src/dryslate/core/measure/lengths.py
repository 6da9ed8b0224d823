"""Lengths, outlines and corallites measured in a photo, each with its budget and interval."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.measure.budget import Reading, Stated, state_value
from dryslate.core.measure.corallites import measure_corallites
from dryslate.core.measure.off_plane import Height
from dryslate.core.measure.outline import measure_outline
from dryslate.core.measure.polygon import polyline_length
from dryslate.core.measure.result import (
    Measurement,
    MeasureSettings,
    budget_fields,
    check_picked,
    plane_height,
    require_picked,
    stated_fields,
)
from dryslate.core.measure.steps import noise_bias, step_slopes
from dryslate.core.scale.plane import Plane, apply_plane

FloatArray = NDArray[np.float64]

__all__ = [
    "MeasureSettings",
    "Measurement",
    "measure_corallites",
    "measure_length",
    "measure_outline",
]


def measure_length(plane: Plane, points_px: ArrayLike, settings: MeasureSettings) -> Measurement:
    r"""
    Measure the distance between two points, or the length along several.

    Parameters
    ----------
    plane : Plane
        Of the card in the same photo.
    points_px : array_like of float, shape (n, 2)
        In pixels of the upright original; two for a length, more for a polyline.
    settings : MeasureSettings

    Returns
    -------
    Measurement
        With ``length_mm``, its ``_u``, ``_lo95``, ``_hi95``, and the budget by cause in
        millimetres.

    Raises
    ------
    InputError
        ``measure-too-few-points``, ``measure-point-not-finite``,
        ``measure-point-outside-photo``, ``measure-point-u-impossible``,
        ``measure-misses-plane``, ``measure-points-coincide``, or
        ``measure-off-plane-impossible``.

    Notes
    -----
    Assumes that all points lie at one height above the card's plane; a line that slopes away
    reads short by the cosine of its slope. Picked points are taken as independent. Along a
    polyline, pointing noise makes each step read long by :math:`\sigma_\perp^2/(2 d)`: that bias
    is subtracted, and a half of it kept as doubt. Between two points it is below 0.1 % from 32
    times the pointing doubt up, and is left in.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.2 equation (13).
    """
    px = require_picked(plane, points_px, settings, 2)
    located = apply_plane(plane, px)
    length = polyline_length(located.xy_mm)
    gaps = np.hypot(*np.diff(located.xy_mm, axis=0).T)
    if np.any(gaps <= 1e-9):
        raise InputError(
            "measure-points-coincide",
            "Two points that follow each other are one and the same.",
            "Pick two different points.",
        )
    reach = located.xy_mm[:, None] - located.xy_mm[None, :]
    height = plane_height(plane, settings, float(np.max(np.hypot(reach[..., 0], reach[..., 1]))))
    slopes = step_slopes(located.xy_mm, closed=False)
    bias = 0.0
    if len(px) > 2:
        bias = noise_bias(located, settings.point_u_px, closed=False)
    reading = Reading(plane=plane, points=located, height=height, point_u_px=settings.point_u_px)
    stated = state_value(reading, length - bias, slopes, extra=bias / 2.0)
    flags, problems = check_picked(plane, px, located.xy_mm, height)
    return Measurement(
        kind="length" if len(px) == 2 else "polyline",
        values=stated_fields("length_mm", stated),
        budget=budget_fields("mm", stated),
        flags=flags,
        problems=(*problems, *_short(stated, height)),
    )


def _short(stated: Stated, height: Height) -> tuple[Problem, ...]:
    """Warn of a length that its own pointing doubt nearly swallows."""
    if stated.parts.pointing <= 0.2 * stated.value:
        return ()
    return (
        Problem(
            slug="measure-too-short",
            severity="warning",
            place="points",
            message=f"The length of {stated.value:.2g} mm is hardly larger than the pointing "
            f"doubt of {stated.parts.pointing:.2g} mm; it reads long.",
            fix="Take the photo closer, or state a smaller --point-u-px if points are surer.",
        ),
    )
