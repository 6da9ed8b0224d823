"""How far t of a mixed model's contrast goes by chance: the model drawn and fitted again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
N_DRAWS = 1999
SEED = 20_262
"""Of the draws: the same data give the same interval."""
_SHARES = np.concatenate([[0.0], np.geomspace(0.01, 1e4, 45)])
"""Variances of units over the error's among which a drawn survey's is sought."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """
    Which cell and which unit each value belongs to.

    Parameters
    ----------
    cells, units : ndarray of int, shape (n,)
    """

    cells: NDArray[np.intp]
    units: NDArray[np.intp]


def reach_of_contrast(
    layout: Layout, share: float, weights: FloatArray, n_draws: int = N_DRAWS
) -> float:
    r"""
    Return how many standard errors hold 95 % of what chance makes of a contrast.

    Parameters
    ----------
    layout : Layout
    share : float
        Variance of units over that of the error, as fitted.
    weights : ndarray of float
        Of the cells; they sum to 0.
    n_draws : int

    Returns
    -------
    float

    Notes
    -----
    Parametric bootstrap of t [1]_: surveys of this layout are drawn with no change and the fitted
    variances, each is fitted again by restricted maximum likelihood, and :math:`|t|` of the
    contrast taken. A variance of 0 is drawn as 0, and may come out above it. In the space that the
    cell means leave, units make one matrix; its eigenvalues give every likelihood at once.

    References
    ----------
    .. [1] Davison, A.C. & Hinkley, D.V. (1997). Bootstrap Methods and their Application. Cambridge
       University Press, chapter 5 (cited from memory).
    """
    rng = np.random.default_rng(SEED)
    n, n_units = len(layout.cells), int(layout.units.max()) + 1
    x = np.eye(len(weights))[layout.cells]
    z = np.eye(n_units)[layout.units]
    drawn = rng.normal(size=(n_draws, n))
    drawn += np.sqrt(share) * rng.normal(size=(n_draws, n_units))[:, layout.units]
    rest = np.linalg.qr(x, mode="complete")[0][:, x.shape[1] :]
    left, values, _ = np.linalg.svd(rest.T @ z)
    sizes = np.zeros(rest.shape[1])
    sizes[: len(values)] = values**2
    squares = (drawn @ (rest @ left)) ** 2
    spread = 1 + _SHARES[:, None] * sizes
    sums = squares @ (1 / spread).T
    free = rest.shape[1]
    best = np.argmin(np.log(spread).sum(axis=1) + free * np.log(sums), axis=1)
    each, variance = _weights_of_values(x, layout.units, n_units, weights)
    estimate = np.einsum("bn,bn->b", drawn, each[best])
    error = sums[np.arange(n_draws), best] / free
    t = np.sort(np.abs(estimate) / np.sqrt(error * variance[best]))
    return float(t[round(0.95 * (n_draws + 1)) - 1])


def _weights_of_values(
    x: FloatArray, units: NDArray[np.intp], n_units: int, weights: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weight of every value in the contrast, and its variance, at each of the shares."""
    seen = np.bincount(units, minlength=n_units)
    each, variance = [], []
    for share in _SHARES:
        sums = np.zeros((n_units, x.shape[1]))
        np.add.at(sums, units, x)
        inverse_x = x - (share / (1 + share * seen))[units, None] * sums[units]
        solved = np.linalg.solve(x.T @ inverse_x, weights)
        each.append(inverse_x @ solved)
        variance.append(float(weights @ solved))
    return np.array(each), np.array(variance)
