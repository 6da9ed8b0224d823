"""The least-squares fit of pose and lens together, robust and with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.robust import score_huber
from dryslate.core.scale.camera import LensModel, focal_and_centre
from dryslate.core.scale.lens import Lens, LensPrior
from dryslate.core.scale.pose import N_POSE, apply_pose, depths_mm, no_plane, pose_slopes

FloatArray = NDArray[np.float64]

RAYLEIGH_MEDIAN = 1.1774100225154747
"""Median length of a two-dimensional standard normal vector."""

GAIN_ENOUGH = 1e-6
"""A step that lowers chi-squared by this or less moves nothing by a thousandth of its doubt."""

LENS_TORN = 2000.0
"""Chi-squared of the lens from which on no lens at all is believed."""

FAR_OUT = 8.0
"""Points that miss by more than this many of the middle misses carry no weight."""

DAMPING_FAR, DAMPING_NEAR, DAMPING_LEAST = 1e-3, 1e-6, 1e-9
"""Damping of the first step, far from the minimum and near it; shares of the normal's diagonal."""

HOPELESS = 20.0
"""A start is given up when, after a few steps, it is this many times worse than the best."""

LOG_DEPTH_MOST = 1.0
"""Largest change of the logarithm of the distance in one step."""

_HALVES = np.array([0.5, -0.5])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Adjusted:
    """
    The outcome of the fit.

    Parameters
    ----------
    theta, covariance : ndarray of float
        Pose and lens parameters, and their covariance.
    reduced_chi2 : float
        Of the residuals against the stated doubt.
    residual_rms_px : float
        Root mean square of the residuals, over coordinates.
    misfit_px : float
        What the residuals hold beyond the stated doubt and its chance: how far the card is from
        flat, or the lens from its model, one standard deviation of each coordinate.
    lens_chi2 : float
        How far the lens had to leave its calibration or prior, as chi-squared.
    weights : ndarray of float, shape (n,)
        Robust weight of each point.
    """

    theta: FloatArray
    covariance: FloatArray
    reduced_chi2: float
    residual_rms_px: float
    misfit_px: float
    lens_chi2: float
    weights: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sightings:
    """
    Points of a plane and where they were seen.

    Parameters
    ----------
    mm, px : ndarray of float, shape (n, 2)
        From the plane's origin, and in the photo.
    u : ndarray of float, shape (n,)
        One standard uncertainty of each pixel coordinate.
    shared_frac : float
        Share of variance in common within each four points.
    stretch_u : float
        One standard uncertainty of how much longer the plane's x axis is than its y axis, for
        equal millimetres: printers stretch paper along and across differently. 0: not at all.
    """

    mm: FloatArray
    px: FloatArray
    u: FloatArray
    shared_frac: float = 0.25
    stretch_u: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """Points, what is known beforehand (lens, then stretch of the print), and scales of one fit."""

    mm: FloatArray
    px: FloatArray
    model: LensModel
    half_px: float
    n_lens: int
    known0: FloatArray
    known_root: FloatArray  # rows: deviation from what is known in standard units
    unit: FloatArray  # of theta's parameters, so that all columns are of one size


def _covariance_of_points(u: FloatArray, weights: FloatArray, shared_frac: float) -> FloatArray:
    """Covariance of one coordinate over the points: a share in common within each four."""
    n = len(u)
    sigma = u / np.sqrt(weights)
    group = np.arange(n) // 4 if n % 4 == 0 and n > 4 else np.arange(n)
    same = (group[:, None] == group[None, :]).astype(np.float64)
    alone = np.diag((1.0 - shared_frac) * sigma**2)
    return np.asarray(alone + shared_frac * same * np.outer(u, u))


def _project(task: _Task, theta: FloatArray) -> FloatArray:
    """Pixels of the points, the print stretched as theta says."""
    end = N_POSE + task.n_lens
    return apply_pose(theta[:end], task.model, task.half_px, _stretched(task.mm, theta[end:]))


def _stretched(mm: FloatArray, stretch: FloatArray) -> FloatArray:
    """Points with the x axis longer and the y axis shorter by half the stretch each."""
    return mm * (1.0 + stretch[0] * _HALVES) if len(stretch) else mm


def _residuals(task: _Task, theta: FloatArray, root: FloatArray) -> FloatArray:
    """Whitened residuals of points (x then y), then of what is known beforehand."""
    miss = _project(task, theta) - task.px
    known = task.known_root @ (theta[N_POSE:] - task.known0)
    return np.concatenate([root @ miss[:, 0], root @ miss[:, 1], known])


def _jacobian(task: _Task, theta: FloatArray, root: FloatArray) -> FloatArray:
    """Slopes of `_residuals`, columns in the parameters' own units."""
    end = N_POSE + task.n_lens
    mm = _stretched(task.mm, theta[end:])
    by_mm, by_theta = pose_slopes(theta[:end], task.model, task.half_px, mm)
    if len(theta) > end:
        by_stretch = np.einsum("nij,nj->ni", by_mm, task.mm * _HALVES)
        by_theta = np.concatenate([by_theta, by_stretch[:, :, None]], axis=2)
    known = np.zeros((len(task.known0), len(theta)))
    known[:, N_POSE:] = task.known_root
    whole = np.concatenate([root @ by_theta[:, 0], root @ by_theta[:, 1], known])
    return np.asarray(whole * task.unit)


def _moved(task: _Task, theta: FloatArray, move: FloatArray) -> FloatArray:
    """
    Take a step along the valley: where the plane's middle is seen, and how large, change linearly.

    What a photo shows well is the middle's pixel and the scale there; which part of it is lens
    and which is place it hardly shows. A straight step in theta would leave that curved valley,
    and tiny ones follow it slowly.
    """
    new = theta + move
    focal, centre = focal_and_centre(task.model, theta[N_POSE:])
    focal_new, centre_new = focal_and_centre(task.model, new[N_POSE:])
    if task.model == "radial":
        focal_by, centre_by = focal * move[N_POSE], move[N_POSE + 1 : N_POSE + 3]
    else:
        focal_by, centre_by = move[N_POSE : N_POSE + 2], move[N_POSE + 2 : N_POSE + 4]
    log_depth_by = move[5] / theta[5]
    xy = theta[3:5] / theta[5]
    xy_by = move[3:5] / theta[5] - xy * log_depth_by
    middle_px = centre + focal * xy + centre_by + focal_by * xy + focal * xy_by
    new[5] = theta[5] * np.exp(min(max(log_depth_by, -LOG_DEPTH_MOST), LOG_DEPTH_MOST))
    new[3:5] = (middle_px - centre_new) / focal_new * new[5]
    return new


def _minimise(
    task: _Task,
    theta: FloatArray,
    root: FloatArray,
    n_steps: int = 60,
    damping: float = DAMPING_NEAR,
) -> tuple[FloatArray, float]:
    """Levenberg-Marquardt; returns the parameters and the cost (sum of squares)."""
    r = _residuals(task, theta, root)
    cost = float(r @ r)
    for _ in range(n_steps):
        jac = _jacobian(task, theta, root)
        normal, slope = jac.T @ jac, jac.T @ r
        size = np.diag(normal)
        improved = False
        for _ in range(8):
            move = np.linalg.solve(normal + damping * np.diag(size + 1e-12), -slope) * task.unit
            trial = _moved(task, theta, move)
            r_trial = _residuals(task, trial, root)
            cost_trial = float(r_trial @ r_trial)
            if np.isfinite(cost_trial) and cost_trial <= cost:
                improved = True
                break
            damping *= 10.0
        if not improved:
            break
        gain = cost - cost_trial
        theta, r, cost = trial, r_trial, cost_trial
        damping = max(damping / 10.0, DAMPING_LEAST)
        if gain <= GAIN_ENOUGH + 1e-9 * cost:
            break
    return theta, cost


def _best_start(task: _Task, starts: list[FloatArray], root: FloatArray) -> FloatArray:
    """Improve each start by a few steps, the promising ones by a few more; return the best."""
    tried = [_minimise(task, start, root, 4, DAMPING_FAR) for start in starts]
    least = min((cost for _, cost in tried if np.isfinite(cost)), default=np.nan)
    better = [
        _minimise(task, theta, root, 4)
        for theta, cost in tried
        if cost <= HOPELESS * (least + len(task.px))
    ]
    if not better:
        raise no_plane()
    return min(better, key=lambda outcome: outcome[1])[0]


def _inverse_root(covariance: FloatArray) -> FloatArray:
    """Matrix W with W^T W the inverse of a covariance, eigenvalues floored."""
    d = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    values, vectors = np.linalg.eigh(covariance / np.outer(d, d))
    values = np.maximum(values, 1e-10)
    return np.asarray((vectors / np.sqrt(values)).T / d)


def _reduced_chi2(
    task: _Task, theta: FloatArray, root: FloatArray
) -> tuple[float, FloatArray, float]:
    """Reduced chi-squared of the points alone, covariance of theta, degrees of freedom."""
    jac = _jacobian(task, theta, root)
    information = jac.T @ jac
    covariance = np.linalg.pinv(information, hermitian=True, rcond=1e-14)
    r = _residuals(task, theta, root)[: 2 * len(task.mm)]
    known = task.known_root * task.unit[N_POSE:]
    prior = known.T @ known
    learnt = len(task.known0) - float(np.trace(covariance[N_POSE:, N_POSE:] @ prior))
    free = 2 * len(task.mm) - N_POSE - max(learnt, 0.0)
    chi2 = float(r @ r) / free if free > 0.5 else 0.0
    return chi2, np.asarray(covariance * np.outer(task.unit, task.unit)), free


def _rescaled_weights(miss: FloatArray, u: FloatArray) -> FloatArray:
    """Weights of whole points, against their own middle size or their doubt if larger."""
    size = np.hypot(miss[:, 0], miss[:, 1]) / u
    middle = max(1.0, float(np.median(size)) / RAYLEIGH_MEDIAN)
    far = size / middle
    return np.maximum(np.where(far < FAR_OUT, score_huber(far, bend=2.5), 0.0), 1e-4)


def _misfit_px(miss: FloatArray, u: FloatArray, free: float) -> float:
    """Standard deviation of the residuals beyond the stated doubt and twice its chance."""
    if free < 2.0:
        return 0.0
    seen = float(np.sum(miss**2)) / free
    stated = float(np.mean(u**2)) * (1.0 + 2.0 * float(np.sqrt(2.0 / free)))
    return float(np.sqrt(max(seen - stated, 0.0)))


def _task(seen: Sightings, lens: Lens | LensPrior, half_px: float, distance_mm: float) -> _Task:
    """Put together what one fit works on."""
    lens0 = np.array(lens.params)
    unit = np.concatenate([np.ones(3), np.full(3, distance_mm), np.maximum(np.abs(lens0), 0.1)])
    if lens.model == "radial":
        unit[N_POSE] = 1.0
    root = _inverse_root(np.asarray(lens.covariance))
    if seen.stretch_u > 0:
        lens_root = root
        root = np.zeros((len(lens0) + 1, len(lens0) + 1))
        root[:-1, :-1], root[-1, -1] = lens_root, 1.0 / seen.stretch_u
        unit = np.append(unit, 1.0)
    return _Task(
        mm=seen.mm,
        px=seen.px,
        model=lens.model,
        half_px=half_px,
        n_lens=len(lens0),
        known0=np.concatenate([lens0, np.zeros(len(root) - len(lens0))]),
        known_root=root,
        unit=unit,
    )


def fit_pose_and_lens(
    seen: Sightings,
    starts: tuple[FloatArray, ...],
    lens: Lens | LensPrior,
    half_px: float,
) -> Adjusted:
    """
    Fit pose and lens to points of a plane.

    Parameters
    ----------
    seen : Sightings
    starts : tuple of ndarray of float, shape (6,) or (6 + n,)
        First guesses of the pose, with the lens where it is not the middle of the prior; the
        best outcome is kept.
    lens : Lens or LensPrior
    half_px : float
        Half diagonal of the frame.

    Returns
    -------
    Adjusted

    Raises
    ------
    InputError
        ``scale-no-plane`` when no plane in front of the camera fits.
    """
    mm, px, u, shared_frac = seen.mm, seen.px, seen.u, seen.shared_frac
    task = _task(seen, lens, half_px, max(float(np.linalg.norm(starts[0][3:6])), 1.0))
    size = N_POSE + len(task.known0)
    weights = np.ones(len(mm))
    root = np.linalg.inv(np.linalg.cholesky(_covariance_of_points(u, weights, shared_frac)))
    blank = np.concatenate([np.zeros(N_POSE), task.known0])
    whole = [np.concatenate([s, blank[len(s) : size]]) for s in starts]
    theta, _ = _minimise(task, _best_start(task, whole, root), root)
    for _ in range(12):
        miss = _project(task, theta) - px
        fresh = _rescaled_weights(miss, u) if len(mm) > 4 else weights
        if np.allclose(fresh, weights, atol=0.02):
            break
        weights = fresh
        root = np.linalg.inv(np.linalg.cholesky(_covariance_of_points(u, weights, shared_frac)))
        theta, _ = _minimise(task, theta, root)
    chi2, covariance, free = _reduced_chi2(task, theta, root)
    stated = chi2
    if chi2 > 1.0:
        for _ in range(2):
            root = root / np.sqrt(max(chi2, 1.0))
            theta, _ = _minimise(task, theta, root)
            chi2, covariance, free = _reduced_chi2(task, theta, root)
            stated = max(stated, stated * chi2)
            if chi2 <= 1.05:
                break
    strain = task.known_root @ (theta[N_POSE:] - task.known0)
    lens_chi2 = float(strain @ strain)
    if not lens_chi2 < LENS_TORN or depths_mm(theta, mm).min() <= 0:
        raise no_plane()
    miss = _project(task, theta) - px
    end = N_POSE + task.n_lens
    return Adjusted(
        theta=theta[:end],
        covariance=covariance[:end, :end],
        reduced_chi2=stated,
        residual_rms_px=float(np.sqrt(np.mean(miss**2))),
        lens_chi2=lens_chi2,
        misfit_px=_misfit_px(miss[weights > 1e-3], u, free),
        weights=weights,
    )
