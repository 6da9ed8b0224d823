"""Robust weights and spreads for fits that must not be led by a few bad points."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

NORMAL_MAD = 0.6744897501960817
"""Median of the absolute value of a standard normal variate."""


def measure_robust_spread(values: ArrayLike) -> float:
    r"""
    Measure the spread of values by their median absolute deviation.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Any unit; at least one.

    Returns
    -------
    float
        Estimate of the standard deviation, same unit; 0 for one value.

    Notes
    -----
    :math:`s = \mathrm{med}|x - \mathrm{med}(x)| / 0.6745`, consistent for normal errors [1]_.
    Reads low where more than half of the values are equal.

    References
    ----------
    .. [1] Rousseeuw & Croux 1993, J. Am. Stat. Assoc. 88:1273-1283, equation (1.2).

    Examples
    --------
    >>> round(measure_robust_spread([1.0, 2.0, 3.0, 4.0, 100.0]), 3)
    1.483
    """
    array = np.asarray(values, dtype=np.float64)
    return float(np.median(np.abs(array - np.median(array))) / NORMAL_MAD)


def score_huber(standardised: ArrayLike, bend: float = 2.0) -> FloatArray:
    r"""
    Give the weight of each residual after Huber.

    Parameters
    ----------
    standardised : array_like of float, shape (n,)
        Residuals divided by their standard uncertainty.
    bend : float
        Where the weight starts to fall.

    Returns
    -------
    ndarray of float, shape (n,)
        1 up to `bend`, then :math:`k / |r|`.

    References
    ----------
    .. [1] Huber 1964, Ann. Math. Stat. 35:73-101.

    Examples
    --------
    >>> score_huber([0.5, -4.0]).tolist()
    [1.0, 0.5]
    """
    size = np.abs(np.asarray(standardised, dtype=np.float64))
    return np.where(size <= bend, 1.0, bend / np.maximum(size, bend))


def score_tukey(standardised: ArrayLike, cut: float = 4.685) -> FloatArray:
    r"""
    Give the weight of each residual after Tukey's biweight.

    Parameters
    ----------
    standardised : array_like of float, shape (n,)
        Residuals divided by their standard uncertainty.
    cut : float
        From here on the weight is zero; 4.685 keeps 95 % efficiency for normal errors.

    Returns
    -------
    ndarray of float, shape (n,)
        :math:`(1 - (r/c)^2)^2` inside the cut, 0 outside.

    References
    ----------
    .. [1] Beaton & Tukey 1974, Technometrics 16:147-185.

    Examples
    --------
    >>> score_tukey([0.0, 9.0]).tolist()
    [1.0, 0.0]
    """
    ratio = np.asarray(standardised, dtype=np.float64) / cut
    return np.where(np.abs(ratio) < 1.0, (1.0 - ratio**2) ** 2, 0.0)
