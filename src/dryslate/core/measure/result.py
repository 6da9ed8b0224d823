"""What a measurement needs to be told, and what it hands back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.measure.budget import Stated
from dryslate.core.measure.off_plane import Height, OffPlane, height_of
from dryslate.core.scale.camera import focal_and_centre
from dryslate.core.scale.plane import Plane

FloatArray = NDArray[np.float64]
Kind = Literal["length", "polyline", "outline", "corallites", "colour"]

FAR_IN_CARDS = 2.0
"""Points farther from the card's centre than this many of its diagonals are far away."""

EDGE_FRAC = 0.75
"""Points beyond this share of the half diagonal lie near the frame's edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureSettings:
    """
    How a measurement is to be read.

    Parameters
    ----------
    point_u_px : float
        One standard uncertainty of each picked coordinate; 0 for exact points.
    off_plane : OffPlane or None
        None: nothing was stated about the distance from the card's plane.
    """

    point_u_px: float = 1.0
    off_plane: OffPlane | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """
    One measurement.

    Parameters
    ----------
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    values : Mapping
        Each value with its ``_u``, ``_lo95`` and ``_hi95``.
    budget : Mapping
        Standard uncertainties by cause; for several values a mapping by value.
    flags : tuple of Flag
    problems : tuple of Problem
    """

    kind: Kind
    values: Mapping[str, Any]
    budget: Mapping[str, Any] = field(default_factory=dict)
    flags: tuple[Flag, ...] = ()
    problems: tuple[Problem, ...] = ()


def as_points(points_px: ArrayLike) -> FloatArray:
    """
    Take points as an array; a row of another length would be read as other points.

    Parameters
    ----------
    points_px : array_like of float, shape (n, 2)
        No points at all may come in any shape.

    Returns
    -------
    ndarray of float, shape (n, 2)

    Raises
    ------
    ValueError
        If the shape is another.

    Examples
    --------
    >>> as_points([[1, 2], [3, 4]]).shape, as_points([]).shape
    ((2, 2), (0, 2))
    """
    px = np.asarray(points_px, dtype=np.float64)
    if px.size == 0:
        return px.reshape(0, 2)
    if px.ndim != 2 or px.shape[1] != 2:
        raise ValueError(f"expected points of shape (n, 2), got {px.shape}")
    return px


def require_picked(
    plane: Plane, points_px: ArrayLike, settings: MeasureSettings, least: int
) -> FloatArray:
    """
    Check picked points.

    Parameters
    ----------
    plane : Plane
    points_px : array_like of float, shape (n, 2)
    settings : MeasureSettings
    least : int
        How many points are needed.

    Returns
    -------
    ndarray of float, shape (n, 2)

    Raises
    ------
    InputError
        ``measure-point-u-impossible``, ``measure-point-not-finite``, ``measure-too-few-points``
        or ``measure-point-outside-photo``.
    """
    if not (np.isfinite(settings.point_u_px) and settings.point_u_px >= 0):
        raise InputError(
            "measure-point-u-impossible",
            f"A pointing doubt of {settings.point_u_px:g} px is not possible.",
            "Give zero for exact points, or how many pixels a picked point may be off (1 standard "
            "uncertainty).",
        )
    return require_points(points_px, plane.image_size_px, least)


def require_points(points_px: ArrayLike, image_size_px: tuple[int, int], least: int) -> FloatArray:
    """
    Check that points are numbers, enough of them, and inside the photo.

    Parameters
    ----------
    points_px : array_like of float, shape (n, 2)
    image_size_px : tuple of int
        Width and height of the upright photo.
    least : int
        How many points are needed.

    Returns
    -------
    ndarray of float, shape (n, 2)

    Raises
    ------
    InputError
        ``measure-point-not-finite``, ``measure-too-few-points`` or
        ``measure-point-outside-photo``.
    """
    px = as_points(points_px)
    if not np.isfinite(px).all():
        raise InputError(
            "measure-point-not-finite",
            "A picked point is not two plain numbers.",
            "Give each point as X,Y in pixels of the upright photo.",
        )
    if len(px) < least:
        raise InputError(
            "measure-too-few-points",
            f"Points given: {len(px)}; needed: {least} or more.",
            "Pick more points.",
        )
    width, height = image_size_px
    out = (px < -0.5).any(axis=1) | (px[:, 0] > width - 0.5) | (px[:, 1] > height - 0.5)
    if out.any():
        x, y = px[int(np.argmax(out))]
        raise InputError(
            "measure-point-outside-photo",
            f"The point ({x:g}, {y:g}) lies outside the photo of {width} x {height} px "
            f"(outside it: {int(out.sum())} of {len(px)} points).",
            "Points are in pixels of the upright original, 0,0 its top left pixel's centre.",
        )
    return px


def stated_fields(name: str, stated: Stated, scale: float = 1.0) -> dict[str, float]:
    """
    Spell a stated value out as four fields.

    Parameters
    ----------
    name : str
        With the unit at its end.
    stated : Stated
    scale : float
        Factor from the value's unit to the field's.

    Returns
    -------
    dict
    """
    return {
        name: stated.value * scale,
        f"{name}_u": stated.u * scale,
        f"{name}_lo95": max(stated.lo95, 0.0) * scale,
        f"{name}_hi95": stated.hi95 * scale,
    }


def budget_fields(unit: str, stated: Stated, scale: float = 1.0) -> dict[str, float]:
    """
    Spell a budget out: standard uncertainties by cause.

    Parameters
    ----------
    unit : str
        Ending of each field's name, for example ``mm``.
    stated : Stated
    scale : float
        Factor from the value's unit to the field's.

    Returns
    -------
    dict
        Causes named as `Parts` does; the spread only where there is one.
    """
    parts = stated.parts
    causes = {
        "pointing": parts.pointing,
        "plane": parts.plane,
        "lens": parts.lens,
        "print_scale": parts.print_scale,
        "off_plane": parts.off_plane,
    }
    if parts.spread > 0.0:
        causes["spread"] = parts.spread
    return {f"{cause}_{unit}_u": u * scale for cause, u in causes.items()}


def plane_height(plane: Plane, settings: MeasureSettings, diameter_mm: float) -> Height:
    """
    Give the height distribution for a thing of some diameter.

    Parameters
    ----------
    plane : Plane
    settings : MeasureSettings
    diameter_mm : float

    Returns
    -------
    Height
    """
    return height_of(
        settings.off_plane,
        diameter_mm,
        plane.height_mm,
        plane.distance_mm_u / plane.distance_mm,
    )


def check_picked(
    plane: Plane, px: FloatArray, xy_mm: FloatArray, height: Height
) -> tuple[tuple[Flag, ...], tuple[Problem, ...]]:
    """
    Say what speaks against trusting points too far.

    Parameters
    ----------
    plane : Plane
    px, xy_mm : ndarray of float, shape (n, 2)
        Picked points, and where they lie on the card's plane.
    height : Height

    Returns
    -------
    flags : tuple of Flag
        Those of the plane too.
    problems : tuple of Problem
        Those of the plane too.
    """
    flags, problems = list(plane.flags), list(plane.problems)
    if height.is_assumed:
        flags.append(Flag.ASSUMED_OFF_PLANE)
        problems.append(
            Problem(
                slug="measure-off-plane-assumed",
                severity="note",
                place="points",
                message="Nothing was said about the distance from the card's plane: ± "
                f"{height.mm_u * np.sqrt(3.0):.1f} mm was assumed.",
                fix="State it (--off-plane-mm, --card-stood or --in-plane) to narrow the interval.",
            )
        )
    reach = float(np.max(np.hypot(*(xy_mm - plane.origin_mm).T)))
    diagonal = float(np.hypot(*plane.size_mm))
    if reach > FAR_IN_CARDS * diagonal:
        flags.append(Flag.FAR_FROM_CARD)
        problems.append(
            Problem(
                slug="measure-far-from-card",
                severity="warning",
                place="points",
                message=f"A point lies {reach:.0f} mm from the card's centre, more than "
                f"{FAR_IN_CARDS:g} times its diagonal ({diagonal:.0f} mm).",
                fix="Lay the card beside the coral; the seabed there may lie in another plane.",
            )
        )
    edge = _frame_edge(plane, px)
    if edge:
        flags.append(Flag.FRAME_EDGE)
        problems.append(edge)
    return tuple(flags), tuple(problems)


def _frame_edge(plane: Plane, px: FloatArray) -> Problem | None:
    """Warn of points near the edge of a wide lens, or beyond what its calibration covered."""
    _, centre = focal_and_centre(plane.model, plane.lens)
    radius = float(np.max(np.hypot(*(px - centre).T)))
    if plane.is_lens_calibrated:
        if not 0 < plane.lens_radius_px < 0.95 * radius:
            return None
        message = (
            f"A point lies {radius:.0f} px from the frame's centre; the lens was calibrated "
            f"only out to {plane.lens_radius_px:.0f} px."
        )
        fix = "Calibrate with the board near the edges too, or keep the coral in the middle."
    else:
        if not plane.is_wide or radius <= EDGE_FRAC * plane.half_px:
            return None
        message = (
            "A point lies near the frame's edge, where a wide lens without calibration may be "
            "off by many per cent; the interval covers a stated prior only."
        )
        fix = "Calibrate the lens (dryslate lens), or keep coral and card in the middle."
    return Problem(
        slug="measure-frame-edge", severity="warning", place="points", message=message, fix=fix
    )
