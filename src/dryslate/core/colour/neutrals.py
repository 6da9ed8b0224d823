"""Gain, veiling light, tone curve and light gradient from the greys and the ground of a card."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.colour.estimate import (
    TONE_A_MOST,
    TONE_B_LEAST,
    TONE_B_MOST,
    tone_with_slopes,
)
from dryslate.core.colour.spaces import linear_to_srgb

FloatArray = NDArray[np.float64]

VEIL_SPREAD = 0.1
"""Prior standard deviation of the veil, after the gain, in reflectance."""
TONE_A_SPREAD, TONE_B_SPREAD = 0.25, 0.4
"""Prior standard deviations of the two tone parameters."""
SLOPE_SPREAD = 0.25
"""Prior standard deviation of the log light per half diagonal of the card."""
_TIGHT = 1e-5
_DARKEST = 1e-5
_GAIN_SPREAD = 1.0
_GROUND_SPREAD = 0.15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GreyRamp:
    """
    Greys and pieces of ground, ready to be fitted.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (n, 3)
        File-linear means: the greys first, then the ground.
    place : ndarray of float, shape (n, 2)
        Where, relative to the card's centre, in half diagonals of the card.
    target : ndarray of float, shape (n, 3)
        Reference in the file's own linear RGB (for the ground: its design value).
    whitener : ndarray of float, shape (n, 3, 3)
        For residuals in the file's linear RGB.
    n_grey : int
        How many of the rows are greys.
    """

    mean_linear: FloatArray
    place: FloatArray
    target: FloatArray
    whitener: FloatArray
    n_grey: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GreyFit:
    """
    What the greys and the ground say.

    Parameters
    ----------
    gain : ndarray of float, shape (3,)
        From file-linear light (tone and veil undone) to reflectance in the file's RGB.
    veil : ndarray of float, shape (3,)
        In the file's linear RGB.
    tone : tuple of float
    slope : ndarray of float, shape (2,)
        Log light per half diagonal along x and y.
    slope_cov : ndarray of float, shape (2, 2)
    corrected : ndarray of float, shape (n, 3)
        Greys and ground after the fit, in reflectance of the file's RGB.
    has_slope : bool
        Whether twins or ground could show a gradient.
    """

    gain: FloatArray
    veil: FloatArray
    tone: tuple[float, float]
    slope: FloatArray
    slope_cov: FloatArray
    corrected: FloatArray
    has_slope: bool


def proportional_gain(mean_linear: FloatArray, target: FloatArray) -> FloatArray:
    """
    Gain through the origin that carries greys to their reference.

    Parameters
    ----------
    mean_linear, target : ndarray of float, shape (n, 3)

    Returns
    -------
    ndarray of float, shape (3,)
        Weighted least squares; weights between equal and relative, so that dark greys, which
        carry the most veil, do not steer.

    Examples
    --------
    >>> print(proportional_gain(np.array([[0.1, 0.2, 0.4]]), np.array([[0.2, 0.2, 0.2]])))
    [2.  1.  0.5]
    """
    weight = 1.0 / np.maximum(target.mean(axis=1, keepdims=True), 0.02)
    seen = np.maximum(mean_linear, _DARKEST)  # a channel of zeros gets a huge gain, not none
    over = (weight * seen * target).sum(axis=0)
    under = (weight * seen * seen).sum(axis=0)
    return np.asarray(over / under, dtype=np.float64)


def _spreads(is_encoded: bool, has_veil: bool, has_slope: bool) -> FloatArray:
    """Prior standard deviations: log gain 3, veil 3, tone 2, slope 2, log ground 3."""
    tone = [TONE_A_SPREAD, TONE_B_SPREAD] if is_encoded else [_TIGHT, _TIGHT]
    return np.array(
        [_GAIN_SPREAD] * 3
        + [VEIL_SPREAD if has_veil else _TIGHT] * 3
        + tone
        + [SLOPE_SPREAD if has_slope else _TIGHT] * 2
        + [_GROUND_SPREAD] * 3
    )


def fit_greys(
    ramp: GreyRamp,
    *,
    is_encoded: bool,
    has_veil: bool = True,
    has_slope: bool = True,
    n_steps: int = 8,
) -> GreyFit:
    r"""
    Fit gain, veil, tone and light gradient to the greys and the ground.

    Parameters
    ----------
    ramp : GreyRamp
    is_encoded : bool
        Try a tone curve.
    has_veil, has_slope : bool
        Fit a veil; fit a gradient.
    n_steps : int
        Gauss-Newton steps.

    Returns
    -------
    GreyFit

    Notes
    -----
    ``reflectance = (gain * tone(x) - veil') * exp(-slope . place)``, the ground of one unknown
    colour near its design value. Tone, veil and gradient can be told apart because twins and
    ground see the gradient only, while the three channels at different exposures share one tone
    curve. Priors: tone 0 ± (0.25, 0.4), veil 0 ± 0.1, slope 0 ± 0.25.

    Examples
    --------
    >>> levels = np.array([0.9, 0.5, 0.2, 0.05])[:, None] * np.ones(3)
    >>> ramp = GreyRamp(
    ...     mean_linear=levels * [0.2, 0.5, 0.5], place=np.zeros((4, 2)), target=levels,
    ...     whitener=np.tile(100.0 * np.eye(3), (4, 1, 1)), n_grey=4,
    ... )
    >>> print(np.round(fit_greys(ramp, is_encoded=False).gain, 3))
    [5. 2. 2.]
    """
    encoded = linear_to_srgb(ramp.mean_linear)
    n, n_grey = len(encoded), ramp.n_grey
    start = proportional_gain(ramp.mean_linear[:n_grey], ramp.target[:n_grey])
    ground = ramp.target[-1] if n > n_grey else np.full(3, 0.2)
    spreads = _spreads(is_encoded, has_veil, has_slope)
    z = np.zeros(13)
    precision = np.diag(spreads**-2.0)
    design = np.zeros((n, 3, 13))
    corrected = ramp.mean_linear
    for _ in range(n_steps):
        gain = start * np.exp(z[:3])
        linear, by_a, by_b = (v[0] for v in tone_with_slopes(encoded, z[6:7], z[7:8]))
        fade = np.exp(-ramp.place @ z[8:10])[:, None]
        corrected = (gain * linear - z[3:6]) * fade
        target = ramp.target.copy()
        target[n_grey:] = ground * np.exp(z[10:])
        for channel in range(3):
            design[:, channel, channel] = (gain * linear * fade)[:, channel]
            design[:, channel, 3 + channel] = -fade[:, 0]
            design[n_grey:, channel, 10 + channel] = -target[n_grey:, channel]
        design[:, :, 6], design[:, :, 7] = gain * by_a * fade, gain * by_b * fade
        design[:, :, 8:10] = -corrected[:, :, None] * ramp.place[:, None, :]
        gap = (ramp.whitener @ (target - corrected)[..., None])[..., 0]
        size = np.sqrt((gap * gap).sum(axis=1, keepdims=True))
        share = np.sqrt(np.minimum(1.0, 4.0 / np.maximum(size, 1e-9)))  # Huber, 4 units
        flat = ((ramp.whitener @ design) * share[..., None]).reshape(-1, 13)
        normal = flat.T @ flat + precision
        step = np.linalg.solve(normal, flat.T @ (gap * share).ravel() - precision @ z)
        z = z + np.clip(step, -0.7, 0.7)
        z[6] = np.clip(z[6], -TONE_A_MOST, TONE_A_MOST)
        z[7] = np.clip(z[7], TONE_B_LEAST, TONE_B_MOST)
    gain = start * np.exp(z[:3])
    return GreyFit(
        gain=gain,
        veil=z[3:6] / gain,
        tone=(float(z[6]), float(z[7])),
        slope=z[8:10],
        slope_cov=np.linalg.inv(normal)[8:10, 8:10],
        corrected=corrected,
        has_slope=has_slope,
    )
