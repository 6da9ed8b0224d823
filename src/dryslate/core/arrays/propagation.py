"""Combining independent standard uncertainties, and effective degrees of freedom."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def propagate_independent(
    slopes: ArrayLike, u: ArrayLike, mixed: ArrayLike | None = None
) -> tuple[float, FloatArray]:
    r"""
    Combine independent standard uncertainties.

    Parameters
    ----------
    slopes : array_like of float, shape (n,)
        Slope of the result by each input.
    u : array_like of float, shape (n,)
        Standard uncertainty of each input.
    mixed : array_like of float, shape (n, n), optional
        Second derivatives by pairs of inputs; adds the second-order term for a model whose
        third derivatives vanish.

    Returns
    -------
    u_combined : float
    parts : ndarray of float, shape (n,)
        What each input contributes to first order.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 equation (10) and its note.

    Examples
    --------
    >>> propagate_independent([1.0, 2.0], [3.0, 2.0])[0]
    5.0
    """
    given = np.asarray(u, dtype=np.float64)
    parts = np.abs(np.asarray(slopes, dtype=np.float64)) * given
    variance = float(np.sum(parts**2))
    if mixed is not None:
        variance += 0.5 * float(np.sum((np.asarray(mixed) * np.outer(given, given)) ** 2))
    return float(np.sqrt(variance)), parts


def effective_degrees(parts: ArrayLike, degrees: Sequence[float | None]) -> float:
    r"""
    Give the effective degrees of freedom of a combined uncertainty.

    Parameters
    ----------
    parts : array_like of float, shape (n,)
        What each input contributes, in the result's unit.
    degrees : sequence of float or None, length n
        Degrees of freedom of each; None or infinite where it is known exactly.

    Returns
    -------
    float
        Infinite when every part is known exactly.

    Notes
    -----
    Welch-Satterthwaite formula :math:`\nu = u_c^4 / \sum u_i^4/\nu_i` [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1 equation (G.2b).

    Examples
    --------
    >>> effective_degrees([3.0, 4.0], [9, None])
    69.44444444444444
    """
    size = np.asarray(parts, dtype=np.float64)
    free = np.array([np.inf if v is None else float(v) for v in degrees])
    below = float(np.sum(size**4 / free))
    return float(np.sum(size**2) ** 2 / below) if below > 0 else float("inf")
