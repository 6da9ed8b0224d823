"""The plane of a card in a photo: where it lies, how it is tilted, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.scale.adjust import Adjusted, Sightings, fit_pose_and_lens
from dryslate.core.scale.camera import LensModel, focal_and_centre, half_diagonal_px
from dryslate.core.scale.lens import Lens, LensPrior, loosen_prior
from dryslate.core.scale.pose import N_POSE, apply_pose, find_poses, pose_slopes, rotation_matrix
from dryslate.core.scale.record import (
    Plane,
    PlanePoints,
    apply_plane,
    plane_from_dict,
    plane_to_dict,
    project_plane,
)

FloatArray = NDArray[np.float64]

__all__ = [
    "Plane",
    "PlanePoints",
    "ViewSettings",
    "apply_plane",
    "fit_plane",
    "plane_from_dict",
    "plane_to_dict",
    "project_plane",
]

UNCHECKED = 1.5
"""Corner doubts are taken this much larger where four corners alone leave nothing to check them."""

LARGEST_STRETCH_U = 0.005
"""Largest doubt taken of a print's length along the paper against across it."""

LENS_STRAINED = 30.0
"""Chi-squared of the lens against what is known of it that chance leaves about once in 10,000."""

LOOSER_BY = 0.3
"""A looser prior is taken when it leaves no more than this share of the reduced chi-squared."""

STEEP_TILT_DEG = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewSettings:
    """
    What `fit_plane` needs to know besides the points.

    Parameters
    ----------
    image_size_px : tuple of int
        Width and height of the upright photo.
    lens : Lens or LensPrior
        In the frame of the upright photo.
    print_scale_u_frac : float
        Relative standard uncertainty of the card's real size; one factor for the whole card.
    centre_mm : tuple of float, optional
        The card's centre; the middle of the points when absent.
    size_mm : tuple of float, optional
        The card's width and height; the spread of the points when absent.
    shared_frac : float
        Share of a corner's variance that the corners of one marker have in common.
    """

    image_size_px: tuple[int, int]
    lens: Lens | LensPrior
    print_scale_u_frac: float = 0.003
    centre_mm: tuple[float, float] | None = None
    size_mm: tuple[float, float] | None = None
    shared_frac: float = 0.25


def _slopes(
    function: Any, at: FloatArray, step: FloatArray
) -> FloatArray:  # function: vector to array
    """Central differences of an array-valued function; last axis: the argument."""
    columns = []
    for i, h in enumerate(step):
        move = np.zeros_like(at)
        move[i] = h
        columns.append((function(at + move) - function(at - move)) / (2.0 * h))
    return np.stack(columns, axis=-1)


def _pose_steps(theta: FloatArray) -> FloatArray:
    """Step of each parameter of the pose for differences: angles, millimetres."""
    reach = max(float(np.linalg.norm(theta[3:6])), 1.0)
    return np.repeat([1e-5, 1e-6 * reach], 3)


def _tilt_vector(pose: FloatArray) -> FloatArray:
    """The normal's part across the line of sight to the origin, as (sine x, sine y)."""
    normal = rotation_matrix(pose[:3])[:, 2]
    x, y, z = pose[3:6] / np.linalg.norm(pose[3:6])
    level = np.hypot(x, z)
    across = np.array([z, 0.0, -x]) / level  # (0, 1, 0) x sight
    upwards = np.array([-x * y, level**2, -y * z]) / level  # sight x across
    return np.array([normal @ across, normal @ upwards])


def _tilt(theta: FloatArray, covariance: FloatArray) -> tuple[float, float]:
    """Tilt and its doubt in degrees; near zero the doubt is that of the worse direction."""
    pose = theta[:N_POSE]
    vector = _tilt_vector(pose)
    slope = _slopes(_tilt_vector, pose, _pose_steps(pose))
    spread = slope @ covariance[:N_POSE, :N_POSE] @ slope.T
    sine = float(np.hypot(*vector))
    matrix = rotation_matrix(theta[:3])
    cosine = abs(float(matrix[:, 2] @ theta[3:6])) / float(np.linalg.norm(theta[3:6]))
    worst = float(np.sqrt(np.linalg.eigvalsh(spread)[-1]))
    along = worst if sine < 1e-9 else float(np.sqrt(vector @ spread @ vector)) / sine
    sine_u = worst if sine < worst else along
    tilt = float(np.arctan2(sine, cosine))
    return float(np.degrees(tilt)), float(np.degrees(sine_u / max(cosine, 0.1)))


def _local_scale(
    theta: FloatArray, model: LensModel, half_px: float
) -> tuple[FloatArray, FloatArray]:
    """Pixels per millimetre at the origin and the distance to it: (2,); their slopes: (2, p)."""
    step = 1e-3
    ends = np.array([[step, 0.0], [-step, 0.0], [0.0, step], [0.0, -step]])
    px = apply_pose(theta, model, half_px, ends)
    by_theta = pose_slopes(theta, model, half_px, ends)[1]
    x, y = (px[0] - px[1]) / (2 * step), (px[2] - px[3]) / (2 * step)
    dx, dy = (by_theta[0] - by_theta[1]) / (2 * step), (by_theta[2] - by_theta[3]) / (2 * step)
    area = x[0] * y[1] - x[1] * y[0]
    scale, distance = float(np.sqrt(abs(area))), float(np.linalg.norm(theta[3:6]))
    area_slope = dx[0] * y[1] + x[0] * dy[1] - dx[1] * y[0] - x[1] * dy[0]
    slopes = np.zeros((2, len(theta)))
    slopes[0] = np.sign(area) * area_slope / (2.0 * scale)
    slopes[1, 3:6] = theta[3:6] / distance
    return np.array([scale, distance]), slopes


def _fit_with_lens(
    seen: Sightings, starts: tuple[FloatArray, ...], lens: Lens | LensPrior, half_px: float
) -> tuple[Adjusted, Lens | LensPrior]:
    """Fit; where a mere prior is contradicted and a looser one fits far better, take that."""
    adjusted = fit_pose_and_lens(seen, starts, lens, half_px)
    contradicted = adjusted.reduced_chi2 > 9.0 or adjusted.lens_chi2 > LENS_STRAINED
    if isinstance(lens, LensPrior) and contradicted and len(seen.mm) > 4:
        loose = loosen_prior(lens)
        again = fit_pose_and_lens(seen, _shifted_starts(seen, loose, half_px), loose, half_px)
        if again.reduced_chi2 < LOOSER_BY * adjusted.reduced_chi2:
            return replace(again, lens_chi2=np.inf), loose
    return adjusted, lens


def _shifted_starts(seen: Sightings, lens: LensPrior, half_px: float) -> tuple[FloatArray, ...]:
    """First guesses with the principal point in the middle and towards each corner."""
    starts = []
    for x, y in ((0, 0), (-1, -1), (-1, 1), (1, -1), (1, 1)):
        params = np.array(lens.params)
        params[1:3] += 0.3 * half_px * np.array([x, y])
        poses = find_poses(seen.mm, seen.px, (lens.model, params, half_px), 1.0 / seen.u)
        starts += [np.concatenate([pose, params]) for pose in poses]
    return tuple(starts)


def _strained(adjusted: Adjusted, lens: Lens | LensPrior) -> Problem:
    """Say that the photo disagrees with what is known of its lens."""
    if np.isinf(adjusted.lens_chi2):
        return Problem(
            slug="scale-lens-strained",
            severity="warning",
            place="lens",
            message="The card's corners disagree with what is assumed of the lens; a far wider "
            "range of focal lengths and centres was used.",
            fix="Use photos that are not cropped, or calibrate the lens.",
        )
    known = "the lens file" if lens.is_calibrated else "what is assumed of an unknown lens"
    return Problem(
        slug="scale-lens-strained",
        severity="warning",
        place="lens",
        message=f"The card's corners disagree with {known} (chi-squared {adjusted.lens_chi2:.0f}, "
        f"expected below {LENS_STRAINED:.0f}).",
        fix="Check that the lens file belongs to this camera, zoom and port, and that the photo "
        "was not cropped; calibrate the lens.",
    )


def _reservations(
    tilt_deg: float, adjusted: Adjusted, lens: Lens | LensPrior, n_points: int
) -> tuple[tuple[Flag, ...], tuple[Problem, ...]]:
    """Flags and problems of a fitted plane."""
    flags: list[Flag] = []
    problems: list[Problem] = []
    if tilt_deg > STEEP_TILT_DEG:
        flags.append(Flag.STEEP_TILT)
        problems.append(
            Problem(
                slug="scale-steep-tilt",
                severity="warning",
                place="card",
                message=f"The card is tilted by {tilt_deg:.0f} degrees to the line of sight "
                f"(expected at most {STEEP_TILT_DEG:.0f}).",
                fix="Hold the camera square to the card; lengths off its plane suffer most.",
            )
        )
    if not lens.is_calibrated:
        flags.append(Flag.LENS_UNKNOWN)
    if isinstance(lens, LensPrior) and not lens.is_focal_known:
        flags.append(Flag.FOCAL_UNKNOWN)
    if n_points <= 4:
        flags.append(Flag.FEW_MARKERS)
    if adjusted.lens_chi2 > LENS_STRAINED:
        problems.append(_strained(adjusted, lens))
    if adjusted.reduced_chi2 > 9.0:
        problems.append(
            Problem(
                slug="scale-fit-poor",
                severity="warning",
                place="card",
                message="The card's corners miss a flat card by "
                f"{np.sqrt(adjusted.reduced_chi2):.1f} times their stated doubt "
                f"({adjusted.residual_rms_px:.2f} px); the doubt of lengths was widened.",
                fix="Keep the card flat, check its definition, and calibrate the lens.",
            )
        )
    return tuple(flags), tuple(problems)


def fit_plane(
    points_mm: ArrayLike, points_px: ArrayLike, points_u_px: ArrayLike, view: ViewSettings
) -> Plane:
    r"""
    Fit the plane of a card to points seen in a photo.

    Parameters
    ----------
    points_mm, points_px : array_like of float, shape (n, 2)
        Pairs of points, n >= 4; four in a row are taken as the corners of one marker.
    points_u_px : array_like of float, shape (n,) or scalar
        One standard uncertainty of each pixel coordinate.
    view : ViewSettings

    Returns
    -------
    Plane

    Raises
    ------
    InputError
        ``scale-too-few-points``, ``scale-points-on-a-line``, ``scale-points-not-finite``,
        ``scale-card-mirrored`` when the points run the wrong way round,
        ``scale-no-plane`` when no plane before the camera fits.

    Notes
    -----
    Least squares over rotation, place and lens, in which the lens parameters are drawn to
    their calibration or prior by its covariance. Corners of one marker share
    `view.shared_frac` of their variance (blur, shading and paper act on all four). Weights
    after Huber, and none for points that miss by far, keep single bad corners from leading.
    Where the residuals exceed the stated doubt, the doubt is widened by the root of the reduced
    chi-squared; it is never narrowed. What is measured carries that misfit at each of its
    points too: a card that is not flat is not flat elsewhere either.
    Where a lens without calibration is contradicted (a cropped photo, a false focal length) and
    a far looser prior leaves less than a third of the reduced chi-squared, that one is used and
    said. Assumes a flat card: a bent one shows in the residuals only where it has markers.

    References
    ----------
    .. [1] Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., sections 5.2 and 8.1.
    .. [2] JCGM 102:2011, section 6 (propagation for multivariate models).
    """
    mm, px, u = _require_points(points_mm, points_px, points_u_px)
    middle = (mm.min(axis=0) + mm.max(axis=0)) / 2.0
    origin = np.asarray(view.centre_mm if view.centre_mm is not None else middle, dtype=np.float64)
    half = half_diagonal_px(view.image_size_px)
    model, prior = view.lens.model, np.asarray(view.lens.params)
    centred = mm - origin
    starts = find_poses(centred, px, (model, prior, half), 1.0 / u)
    seen = Sightings(
        mm=centred,
        px=px,
        u=u,
        shared_frac=view.shared_frac,
        stretch_u=min(view.print_scale_u_frac, LARGEST_STRETCH_U),
    )
    adjusted, lens = _fit_with_lens(seen, starts, view.lens, half)
    theta, covariance = adjusted.theta, adjusted.covariance
    matrix = rotation_matrix(theta[:3])
    if matrix[:, 2] @ theta[3:6] < 0:
        raise InputError(
            "scale-card-mirrored",
            "The card's corners run the wrong way round: it would be seen from behind.",
            "Give the corners clockwise from the card's own top left; do not mirror the photo.",
        )
    tilt, tilt_u = _tilt(theta, covariance)
    here, slope = _local_scale(theta, model, half)
    here_u = np.sqrt(np.diag(slope @ covariance @ slope.T) + (here * view.print_scale_u_frac) ** 2)
    focal, centre = focal_and_centre(model, theta[N_POSE:])
    camera = np.array([[focal[0], 0.0, centre[0]], [0.0, focal[1], centre[1]], [0.0, 0.0, 1.0]])
    shift = np.array([[1.0, 0.0, -origin[0]], [0.0, 1.0, -origin[1]], [0.0, 0.0, 1.0]])
    homography = camera @ np.column_stack([matrix[:, 0], matrix[:, 1], theta[3:6]]) @ shift
    flags, problems = _reservations(tilt, adjusted, lens, len(mm))
    spread = tuple(float(v) for v in np.ptp(mm, axis=0))
    return Plane(
        theta=theta,
        covariance=covariance,
        origin_mm=origin,
        card_to_px=homography / homography[2, 2],
        model=model,
        image_size_px=view.image_size_px,
        size_mm=view.size_mm if view.size_mm is not None else (spread[0], spread[1]),
        print_scale_u_frac=view.print_scale_u_frac,
        tilt_deg=tilt,
        tilt_deg_u=tilt_u,
        px_per_mm=float(here[0]),
        px_per_mm_u=float(here_u[0]),
        distance_mm=float(here[1]),
        distance_mm_u=float(here_u[1]),
        height_mm=float(matrix[:, 2] @ theta[3:6]),
        focal_px=float(np.sqrt(focal[0] * focal[1])),
        n_points=len(mm),
        reduced_chi2=adjusted.reduced_chi2,
        residual_rms_px=adjusted.residual_rms_px,
        misfit_px=adjusted.misfit_px,
        is_lens_calibrated=view.lens.is_calibrated,
        is_wide=isinstance(view.lens, LensPrior) and view.lens.is_wide,
        lens_radius_px=view.lens.radius_px,
        lens_name=view.lens.name,
        lens_sha256=view.lens.sha256,
        flags=flags,
        problems=problems,
    )


def _require_points(
    points_mm: ArrayLike, points_px: ArrayLike, points_u_px: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Check shapes and values of the pairs of points."""
    mm = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    px = np.asarray(points_px, dtype=np.float64).reshape(-1, 2)
    u = np.broadcast_to(np.asarray(points_u_px, dtype=np.float64), (len(px),))
    if len(mm) != len(px):
        raise ValueError(f"as many points on the card as in the photo: {len(mm)}, {len(px)}")
    if not (np.isfinite(mm).all() and np.isfinite(px).all() and np.isfinite(u).all()):
        raise InputError(
            "scale-points-not-finite",
            "A corner or its doubt is not a number.",
            "Give every corner as two plain numbers.",
        )
    alone = UNCHECKED if len(mm) <= 4 else 1.0
    return mm, px, alone * np.maximum(u, 0.02)
