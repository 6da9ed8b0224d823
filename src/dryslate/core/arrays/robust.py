"""Robust weights for fits that must not be led by a few bad points."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


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
