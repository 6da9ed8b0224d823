"""The record of a card's plane, points taken to it and from it, and its plain form for storing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import FormatError, InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.card.found import frozen
from dryslate.core.scale.camera import N_PARAMS, LensModel, half_diagonal_px
from dryslate.core.scale.pose import N_POSE, apply_pose, apply_pose_backwards, pose_slopes

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """
    The plane of a card, with what it takes to carry its doubt to a length.

    Parameters
    ----------
    theta : ndarray of float, shape (6 + n,)
        Rotation vector, place of the origin (mm), lens parameters.
    covariance : ndarray of float
        Of `theta`, without the print scale.
    origin_mm : ndarray of float, shape (2,)
        The card's centre, origin of the pose.
    card_to_px : ndarray of float, shape (3, 3)
        Homography from card millimetres to pixels of an ideal lens (no distortion).
    model : {"radial", "normal", "fisheye"}
    image_size_px : tuple of int
    size_mm : tuple of float
        Width and height of what the plane rests on.
    print_scale_u_frac : float
    tilt_deg, tilt_deg_u : float
        Angle between the card's normal and the line of sight at its centre.
    px_per_mm, px_per_mm_u : float
        Root of the Jacobian determinant at the card's centre.
    distance_mm, distance_mm_u : float
        From the camera to the card's centre.
    height_mm : float
        From the camera to the card's plane, along its normal.
    focal_px : float
    n_points : int
    reduced_chi2 : float
        Of the fit with the stated corner doubt; above 1 the doubt was widened by it.
    residual_rms_px : float
    misfit_px : float
        How far points of the card are off the fitted plane beyond the doubt of their corners.
    is_lens_calibrated, is_wide : bool
    lens_radius_px : float
        How far from the principal point the lens was calibrated; 0 where not known.
    lens_name, lens_sha256 : str
    flags : tuple of Flag
    problems : tuple of Problem
    """

    theta: FloatArray
    covariance: FloatArray
    origin_mm: FloatArray
    card_to_px: FloatArray
    model: LensModel
    image_size_px: tuple[int, int]
    size_mm: tuple[float, float]
    print_scale_u_frac: float
    tilt_deg: float
    tilt_deg_u: float
    px_per_mm: float
    px_per_mm_u: float
    distance_mm: float
    distance_mm_u: float
    height_mm: float
    focal_px: float
    n_points: int
    reduced_chi2: float
    residual_rms_px: float
    misfit_px: float
    is_lens_calibrated: bool
    is_wide: bool
    lens_radius_px: float = 0.0
    lens_name: str = ""
    lens_sha256: str = ""
    flags: tuple[Flag, ...] = ()
    problems: tuple[Problem, ...] = ()

    def __post_init__(self) -> None:
        for name in ("theta", "covariance", "origin_mm", "card_to_px"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def lens(self) -> FloatArray:
        """The lens parameters as fitted."""
        return np.asarray(self.theta[N_POSE:])

    @property
    def half_px(self) -> float:
        """Half diagonal of the frame."""
        return half_diagonal_px(self.image_size_px)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanePoints:
    """
    Points of a photo, taken to the card's plane.

    Parameters
    ----------
    xy_mm : ndarray of float, shape (n, 2)
        On the card, origin its top left corner.
    per_px : ndarray of float, shape (n, 2, 2)
        Slope of each point by its own pixel coordinates.
    per_theta : ndarray of float, shape (n, 2, 6 + m)
        Slope by pose and lens parameters.
    """

    xy_mm: FloatArray
    per_px: FloatArray
    per_theta: FloatArray


def apply_plane(plane: Plane, points_px: ArrayLike) -> PlanePoints:
    """
    Take points of the upright photo to the card's plane.

    Parameters
    ----------
    plane : Plane
    points_px : array_like of float, shape (n, 2)
        Pixels of the upright photo.

    Returns
    -------
    PlanePoints
        With slopes by pixels and by pose and lens, from the implicit function.

    Raises
    ------
    InputError
        ``measure-misses-plane`` where the line of sight does not meet the card's plane.

    Examples
    --------
    >>> from dryslate.core.scale.lens import lens_prior
    >>> from dryslate.core.scale.plane import ViewSettings, fit_plane
    >>> lens = lens_prior(28.0, (640, 480), under_water=False)
    >>> card = [(0, 0), (100, 0), (100, 50), (0, 50)]
    >>> seen = [(200, 200), (400, 200), (400, 300), (200, 300)]
    >>> plane = fit_plane(card, seen, 0.1, ViewSettings(image_size_px=(640, 480), lens=lens))
    >>> apply_plane(plane, [(300, 250)]).xy_mm.round(3).tolist()
    [[50.0, 25.0]]
    """
    px = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    centred = apply_pose_backwards(plane.theta, plane.model, plane.half_px, px)
    bad = ~np.isfinite(centred).all(axis=1)
    if bad.any():
        x, y = px[int(np.argmax(bad))]
        raise InputError(
            "measure-misses-plane",
            f"The point ({x:g}, {y:g}) looks past the card's plane: beyond its horizon, or "
            "beyond what the lens model covers.",
            "Measure things that lie in the card's plane, nearer the card.",
        )
    by_mm, by_theta = pose_slopes(plane.theta, plane.model, plane.half_px, centred)
    per_px: FloatArray = np.linalg.inv(by_mm).astype(np.float64)
    return PlanePoints(xy_mm=centred + plane.origin_mm, per_px=per_px, per_theta=-per_px @ by_theta)


def project_plane(plane: Plane, points_mm: ArrayLike) -> FloatArray:
    """
    Take points of the card to pixels of the upright photo.

    Parameters
    ----------
    plane : Plane
    points_mm : array_like of float, shape (n, 2)

    Returns
    -------
    ndarray of float, shape (n, 2)
    """
    mm = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    return apply_pose(plane.theta, plane.model, plane.half_px, mm - plane.origin_mm)


_ARRAYS = ("theta", "covariance", "origin_mm", "card_to_px")
_PAIRS = ("image_size_px", "size_mm")


def plane_to_dict(plane: Plane) -> dict[str, Any]:
    """
    Write a plane as plain values for JSON.

    Parameters
    ----------
    plane : Plane

    Returns
    -------
    dict
        `plane_from_dict` makes the same plane of it.
    """
    out: dict[str, Any] = {}
    for name in Plane.__dataclass_fields__:
        value = getattr(plane, name)
        if name in _ARRAYS:
            out[name] = value.tolist()
        elif name in _PAIRS:
            out[name] = list(value)
        elif name == "flags":
            out[name] = [str(flag) for flag in value]
        elif name == "problems":
            out[name] = [problem.as_dict() for problem in value]
        else:
            out[name] = value
    return out


def plane_from_dict(values: Mapping[str, Any]) -> Plane:
    """
    Make a plane of what `plane_to_dict` wrote.

    Parameters
    ----------
    values : Mapping

    Returns
    -------
    Plane

    Raises
    ------
    FormatError
        ``scale-plane-broken`` when something is missing or has the wrong shape.
    """
    try:
        fields = {name: values[name] for name in Plane.__dataclass_fields__}
        for name in _PAIRS:
            fields[name] = tuple(fields[name])
        fields["flags"] = tuple(Flag(flag) for flag in fields["flags"])
        fields["problems"] = tuple(Problem(**problem) for problem in fields["problems"])
        plane = Plane(**fields)
        n = N_POSE + N_PARAMS[plane.model]
        if plane.theta.shape != (n,) or plane.covariance.shape != (n, n):
            raise ValueError(f"{plane.theta.shape} parameters")
    except (KeyError, TypeError, ValueError) as error:
        raise FormatError(
            "scale-plane-broken",
            f"The stored plane of a card cannot be read ({error}).",
            "Correct the photo again.",
        ) from error
    return plane
