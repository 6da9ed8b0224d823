"""The least-squares fit of pose and lens together, robust and with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.robust import score_huber
from dryslate.core.scale.camera import LensModel
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
    """

    mm: FloatArray
    px: FloatArray
    u: FloatArray
    shared_frac: float = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """Points, lens prior and whiteners of one fit."""

    mm: FloatArray
    px: FloatArray
    model: LensModel
    half_px: float
    lens0: FloatArray
    lens_root: FloatArray  # rows: deviation from the prior in standard units
    unit: FloatArray  # of theta's parameters, so that all columns are of one size


def _covariance_of_points(u: FloatArray, weights: FloatArray, shared_frac: float) -> FloatArray:
    """Covariance of one coordinate over the points: a share in common within each four."""
    n = len(u)
    sigma = u / np.sqrt(weights)
    group = np.arange(n) // 4 if n % 4 == 0 and n > 4 else np.arange(n)
    same = (group[:, None] == group[None, :]).astype(np.float64)
    alone = np.diag((1.0 - shared_frac) * sigma**2)
    return np.asarray(alone + shared_frac * same * np.outer(u, u))


def _residuals(task: _Task, theta: FloatArray, root: FloatArray) -> FloatArray:
    """Whitened residuals of points (x then y), then of the lens against its prior."""
    miss = apply_pose(theta, task.model, task.half_px, task.mm) - task.px
    lens = task.lens_root @ (theta[N_POSE:] - task.lens0)
    return np.concatenate([root @ miss[:, 0], root @ miss[:, 1], lens])


def _jacobian(task: _Task, theta: FloatArray, root: FloatArray) -> FloatArray:
    """Slopes of `_residuals`, columns in the parameters' own units."""
    by_theta = pose_slopes(theta, task.model, task.half_px, task.mm)[1]
    lens = np.zeros((len(task.lens0), len(theta)))
    lens[:, N_POSE:] = task.lens_root
    whole = np.concatenate([root @ by_theta[:, 0], root @ by_theta[:, 1], lens])
    return np.asarray(whole * task.unit)


def _minimise(
    task: _Task, theta: FloatArray, root: FloatArray, n_steps: int = 60
) -> tuple[FloatArray, float]:
    """Levenberg-Marquardt; returns the parameters and the cost (sum of squares)."""
    damping = 1e-3
    r = _residuals(task, theta, root)
    cost = float(r @ r)
    for _ in range(n_steps):
        jac = _jacobian(task, theta, root)
        normal, slope = jac.T @ jac, jac.T @ r
        size = np.diag(normal)
        improved = False
        for _ in range(8):
            move = np.linalg.solve(normal + damping * np.diag(size + 1e-12), -slope) * task.unit
            trial = theta + move
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
        damping = max(damping / 10.0, 1e-9)
        if gain <= GAIN_ENOUGH + 1e-9 * cost:
            break
    return theta, cost


def _inverse_root(covariance: FloatArray) -> FloatArray:
    """Matrix W with W^T W the inverse of a covariance, eigenvalues floored."""
    d = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    values, vectors = np.linalg.eigh(covariance / np.outer(d, d))
    values = np.maximum(values, 1e-10)
    return np.asarray((vectors / np.sqrt(values)).T / d)


def _reduced_chi2(
    task: _Task, theta: FloatArray, root: FloatArray, n_lens: int
) -> tuple[float, FloatArray, float]:
    """Reduced chi-squared of the points alone, covariance of theta, degrees of freedom."""
    jac = _jacobian(task, theta, root)
    information = jac.T @ jac
    covariance = np.linalg.pinv(information, hermitian=True, rcond=1e-14)
    r = _residuals(task, theta, root)[: 2 * len(task.mm)]
    prior = (task.lens_root * task.unit[N_POSE:]).T @ (task.lens_root * task.unit[N_POSE:])
    learnt = n_lens - float(np.trace(covariance[N_POSE:, N_POSE:] @ prior))
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
    lens0 = np.array(lens.params)
    distance = max(float(np.linalg.norm(starts[0][3:6])), 1.0)
    unit = np.concatenate([np.ones(3), np.full(3, distance), np.maximum(np.abs(lens0), 0.1)])
    if lens.model == "radial":
        unit[N_POSE] = 1.0
    root_lens = _inverse_root(np.asarray(lens.covariance))
    task = _Task(mm, px, lens.model, half_px, lens0, root_lens, unit)
    weights = np.ones(len(mm))
    root = np.linalg.inv(np.linalg.cholesky(_covariance_of_points(u, weights, shared_frac)))
    whole = [s if len(s) > N_POSE else np.concatenate([s, lens0]) for s in starts]
    tried = [_minimise(task, start, root, 8) for start in whole]
    fine = [(t, c) for t, c in tried if np.isfinite(c)]
    if not fine:
        raise no_plane()
    theta, _ = _minimise(task, min(fine, key=lambda outcome: outcome[1])[0], root)
    for _ in range(12):
        miss = apply_pose(theta, task.model, half_px, mm) - px
        fresh = _rescaled_weights(miss, u) if len(mm) > 4 else weights
        if np.allclose(fresh, weights, atol=0.02):
            break
        weights = fresh
        root = np.linalg.inv(np.linalg.cholesky(_covariance_of_points(u, weights, shared_frac)))
        theta, _ = _minimise(task, theta, root)
    chi2, covariance, free = _reduced_chi2(task, theta, root, len(lens0))
    stated = chi2
    if chi2 > 1.0:
        for _ in range(2):
            root = root / np.sqrt(max(chi2, 1.0))
            theta, _ = _minimise(task, theta, root)
            chi2, covariance, free = _reduced_chi2(task, theta, root, len(lens0))
            stated = max(stated, stated * chi2)
            if chi2 <= 1.05:
                break
    strain = root_lens @ (theta[N_POSE:] - lens0)
    lens_chi2 = float(strain @ strain)
    if not lens_chi2 < LENS_TORN or depths_mm(theta, mm).min() <= 0:
        raise no_plane()
    miss = apply_pose(theta, task.model, half_px, mm) - px
    return Adjusted(
        theta=theta,
        covariance=covariance,
        reduced_chi2=stated,
        residual_rms_px=float(np.sqrt(np.mean(miss**2))),
        lens_chi2=lens_chi2,
        misfit_px=_misfit_px(miss[weights > 1e-3], u, free),
        weights=weights,
    )
