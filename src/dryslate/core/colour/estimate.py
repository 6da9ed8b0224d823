"""
The estimate of all parameters of a correction at once, for the whole card and every fold.

The model is ``prediction = N phi(g * (tone(x) - veil) * exp(-slope . place))`` with the gain g of
the neutrals, the terms phi (three, or six with square roots) and a matrix N near a prior.
Residuals count in units of their own spread; the prior on N, veil and tone makes it a maximum a
posteriori estimate
(Gauss-Newton, all folds side by side). The parameters in order: N row by row, veil (3), tone a and
b, slope along x and y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.colour.correction import expand_terms
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear
from dryslate.core.colour.weights import decode_slope

FloatArray = NDArray[np.float64]

TONE_A_MOST = 0.5
TONE_B_LEAST, TONE_B_MOST = -0.3, 1.2
N_REST = 7
"""Parameters beside the matrix: veil 3, tone 2, slope 2."""
_TONE_LEAST, _TONE_MOST = (-TONE_A_MOST, TONE_B_LEAST), (TONE_A_MOST, TONE_B_MOST)
_ROOT_FLOOR = 1e-3
_STEP_MOST = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observations:
    """
    What the estimate is fitted to.

    Parameters
    ----------
    encoded : ndarray of float, shape (n, 3)
        sRGB-encoded file-linear means.
    place : ndarray of float, shape (n, 2)
        Where each patch is, relative to the card's centre, in the unit of the slope.
    reference : ndarray of float, shape (n, 3)
        Linear sRGB of the card's values.
    whitener : ndarray of float, shape (n, 3, 3)
    gain : ndarray of float, shape (3,)
        Gain of the neutrals.
    """

    encoded: FloatArray
    place: FloatArray
    reference: FloatArray
    whitener: FloatArray
    gain: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """
    Prior mean and precision of the parameters: N row by row, veil, tone a and b, slope x and y.

    Parameters
    ----------
    mean : ndarray of float, shape (p,) or (k, p)
        One for all fits, or one for each.
    precision : ndarray of float, shape (p, p) or (k, p, p)
    """

    mean: FloatArray
    precision: FloatArray

    @property
    def n_terms(self) -> int:
        """Number of terms of the matrix."""
        return (int(self.mean.shape[-1]) - N_REST) // 3


def tone_with_slopes(
    encoded: FloatArray, a: FloatArray, b: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """
    Tone curve for several parameter pairs, with its derivatives by both parameters.

    Parameters
    ----------
    encoded : ndarray of float, shape (n, 3)
        sRGB-encoded values.
    a, b : ndarray of float, shape (k,)
        Tone parameters.

    Returns
    -------
    tuple of ndarray of float, each of shape (k, n, 3)
        Linear light, its derivative by a and by b.

    Examples
    --------
    >>> value, _, _ = tone_with_slopes(np.array([[0.0, 0.5, 1.0]]), np.zeros(1), np.zeros(1))
    >>> print(np.round(value, 3))
    [[[0.    0.214 1.   ]]]
    """
    inside = np.clip(encoded, 0.0, 1.0)
    by_a = inside * (1.0 - inside)
    by_b = by_a * (1.0 - 2.0 * inside)
    bent = encoded + a[:, None, None] * by_a + b[:, None, None] * by_b
    slope = decode_slope(bent)
    return srgb_to_linear(bent), slope * by_a, slope * by_b


def _term_slopes(t: FloatArray) -> FloatArray:
    """Derivative of the six terms by the three values, shape (..., 6, 3)."""
    root = np.sqrt(np.maximum(t, _ROOT_FLOOR))
    slopes = np.zeros((*t.shape[:-1], 6, 3))
    for channel in range(3):
        slopes[..., channel, channel] = 1.0
    for row, (first, second) in enumerate(((0, 1), (1, 2), (0, 2)), start=3):
        slopes[..., row, first] = 0.5 * root[..., second] / root[..., first]
        slopes[..., row, second] = 0.5 * root[..., first] / root[..., second]
    return slopes


def predict(theta: FloatArray, seen: Observations, n_terms: int) -> tuple[FloatArray, FloatArray]:
    """
    Predict linear sRGB and its derivative by the parameters.

    Parameters
    ----------
    theta : ndarray of float, shape (k, p)
        Parameters of k fits: N row by row, veil, tone a and b, slope x and y.
    seen : Observations
    n_terms : int
        3 or 6.

    Returns
    -------
    prediction : ndarray of float, shape (k, n, 3)
    jacobian : ndarray of float, shape (k, n, 3, p)

    Examples
    --------
    >>> seen = Observations(
    ...     encoded=np.full((1, 3), 0.5), place=np.zeros((1, 2)), reference=np.zeros((1, 3)),
    ...     whitener=np.eye(3)[None], gain=np.ones(3),
    ... )
    >>> theta = np.concatenate([np.eye(3).ravel(), np.zeros(7)])[None]
    >>> print(np.round(predict(theta, seen, 3)[0], 3))
    [[[0.214 0.214 0.214]]]
    """
    k, p = theta.shape
    n = len(seen.encoded)
    q = 3 * n_terms
    matrix = theta[:, :q].reshape(k, 3, n_terms)
    linear, by_a, by_b = tone_with_slopes(seen.encoded, theta[:, q + 3], theta[:, q + 4])
    fade = np.exp(-(theta[:, q + 5 :] @ seen.place.T))
    scale = seen.gain * fade[:, :, None]
    t = scale * (linear - theta[:, None, q : q + 3])
    terms = expand_terms(t, n_terms)
    through = matrix[:, None] if n_terms == 3 else matrix[:, None] @ _term_slopes(t)
    through = np.broadcast_to(through, (k, n, 3, 3)) * scale[:, :, None, :]
    jacobian = np.zeros((k, n, 3, p))
    for row in range(3):
        jacobian[:, :, row, row * n_terms : (row + 1) * n_terms] = terms
    jacobian[..., q : q + 3] = -through
    jacobian[..., q + 3] = (through @ by_a[..., None])[..., 0]
    jacobian[..., q + 4] = (through @ by_b[..., None])[..., 0]
    prediction = terms @ matrix.transpose(0, 2, 1)
    jacobian[..., q + 5 :] = -prediction[..., None] * seen.place[None, :, None, :]
    return prediction, jacobian


def fit_parameters(
    seen: Observations,
    belief: Belief,
    shares: FloatArray,
    *,
    start: FloatArray | None = None,
    n_steps: int = 5,
) -> tuple[FloatArray, FloatArray]:
    """
    Estimate the parameters of several fits at once.

    Parameters
    ----------
    seen : Observations
    belief : Belief
    shares : ndarray of float, shape (k, n)
        For each fit, how much each patch counts: 0 leaves it out.
    start : ndarray of float, shape (k, p), optional
        Where to start; the prior mean otherwise.
    n_steps : int
        Gauss-Newton steps.

    Returns
    -------
    theta : ndarray of float, shape (k, p)
    precision : ndarray of float, shape (k, p, p)
        Posterior precision (inverse covariance) at the estimate.

    Notes
    -----
    Minimises the sum of squared whitened residuals plus the prior's quadratic form. The tone
    parameters are held where the curve rises everywhere.

    Examples
    --------
    >>> levels = np.linspace(0.2, 0.9, 6)[:, None] * np.ones(3)
    >>> seen = Observations(
    ...     encoded=levels, place=np.zeros((6, 2)), reference=srgb_to_linear(levels),
    ...     whitener=np.tile(100.0 * np.eye(3), (6, 1, 1)), gain=np.ones(3),
    ... )
    >>> mean = np.concatenate([np.eye(3).ravel(), np.zeros(7)])
    >>> belief = Belief(mean=mean, precision=np.eye(16))
    >>> theta, _ = fit_parameters(seen, belief, np.ones((1, 6)))
    >>> bool(np.abs(theta - mean).max() < 1e-9)
    True
    """
    k = len(shares)
    p = belief.mean.shape[-1]
    middle = np.broadcast_to(belief.mean, (k, p))
    theta = (middle if start is None else start).copy()
    weighted = seen.whitener * np.sqrt(shares)[:, :, None, None]
    precision = np.broadcast_to(belief.precision, (k, p, p))
    for _ in range(n_steps):
        prediction, jacobian = predict(theta, seen, belief.n_terms)
        residual = (weighted @ (seen.reference - prediction)[..., None]).reshape(k, -1, 1)
        across = (weighted @ jacobian).reshape(k, -1, p)
        along = across.transpose(0, 2, 1)
        precision = along @ across + belief.precision
        pull = along @ residual + belief.precision @ (middle - theta)[..., None]
        step = np.linalg.solve(precision, pull)[..., 0]
        theta = theta + np.clip(step, -_STEP_MOST, _STEP_MOST)
        theta[:, -4:-2] = np.clip(theta[:, -4:-2], _TONE_LEAST, _TONE_MOST)
    return theta, precision


def observe(
    mean_linear: FloatArray,
    place: FloatArray,
    gain: FloatArray,
    target: tuple[FloatArray, FloatArray],
) -> Observations:
    """
    Put observations together from file-linear means.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (n, 3)
    place : ndarray of float, shape (n, 2)
    gain : ndarray of float, shape (3,)
    target : tuple of ndarray
        Reference (n, 3) and whitener (n, 3, 3).

    Returns
    -------
    Observations

    Examples
    --------
    >>> observe(
    ...     np.ones((1, 3)), np.zeros((1, 2)), np.ones(3), (np.ones((1, 3)), np.eye(3)[None])
    ... ).encoded.shape
    (1, 3)
    """
    return Observations(
        encoded=linear_to_srgb(mean_linear),
        place=place,
        reference=target[0],
        whitener=target[1],
        gain=gain,
    )
