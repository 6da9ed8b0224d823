"""Shares corrected for known rates of misnaming: two classes, or a whole table of confusions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
WORST_CONDITION = 20.0
"""Beyond this condition number a table of confusions is not inverted: our own choice."""
Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """
    Shares beside their corrected values.

    Parameters
    ----------
    raw, estimate : tuple of float
        As read, and corrected; a corrected share may lie outside 0 to 1 and is not clipped.
    u, lo95, hi95 : tuple of float
        Of the corrected shares; ends by the normal law, not clipped.
    is_outside : bool
        A corrected share lies below 0 or above 1: chance, or error rates from elsewhere
        that do not hold here.
    is_rates_known : bool
        The error rates were taken as exact, so that the interval is too narrow by their doubt.
    """

    raw: tuple[float, ...]
    estimate: tuple[float, ...]
    u: tuple[float, ...]
    lo95: tuple[float, ...]
    hi95: tuple[float, ...]
    is_outside: bool
    is_rates_known: bool


def correct_share(
    share: float,
    n: float,
    sensitivity: float,
    specificity: float,
    n_rates: tuple[float, float] | None = None,
) -> Corrected:
    r"""
    Correct the share of one class for how often it is missed and wrongly named.

    Parameters
    ----------
    share : float
        Read as the class.
    n : float
        Colonies or points read; where those of a unit are alike, the effective number.
    sensitivity, specificity : float
        Share of the class that is named so, and of all else that is not, from an outside check.
    n_rates : tuple of float, or None
        Checked items behind sensitivity and specificity; None: taken as exact.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        ``confusion-not-usable``.

    Notes
    -----
    :math:`p = (t + c - 1)/J` with :math:`J = s + c - 1`; variance :math:`t(1-t)/nJ^2`, plus
    :math:`[p^2 s(1-s)/n_s + (1-p)^2 c(1-c)/n_c]/J^2` where the rates are estimated [1]_. Holds
    only where the rates of the check hold here too.

    References
    ----------
    .. [1] Rogan, W.J. & Gladen, B. (1978). Am. J. Epidemiol. 107, 71-76.

    Examples
    --------
    >>> found = correct_share(0.25, 400, 0.9, 0.95, (100, 200))
    >>> print(f"{found.estimate[0]:.3f} ± {found.u[0]:.3f}")
    0.235 ± 0.030
    """
    table = np.array([[sensitivity, 1 - sensitivity], [1 - specificity, specificity]])
    both = correct_shares([share, 1.0 - share], n, table, n_rates)
    return Corrected(
        raw=both.raw[:1],
        estimate=both.estimate[:1],
        u=both.u[:1],
        lo95=both.lo95[:1],
        hi95=both.hi95[:1],
        is_outside=both.is_outside,
        is_rates_known=both.is_rates_known,
    )


def correct_shares(
    shares: ArrayLike, n: float, table: ArrayLike, n_rows: ArrayLike | None = None
) -> Corrected:
    r"""
    Correct the shares of all classes by the inverse of an outside table of confusions.

    Parameters
    ----------
    shares : array_like of float, shape (q)
        As read, adding up to 1.
    n : float
        Colonies or points read; where those of a unit are alike, the effective number.
    table : array_like of float, shape (q, q)
        Chance of being read as each class (columns), given the true one (rows); rows add up to 1.
    n_rows : array_like of float, shape (q), or None
        Checked items behind each row; None: taken as exact.

    Returns
    -------
    Corrected

    Raises
    ------
    InputError
        ``confusion-not-usable`` if a row does not add up, or the table says too little.

    Notes
    -----
    :math:`\pi = (P^T)^{-1} t`. Covariance :math:`A V A^T` with :math:`A = (P^T)^{-1}` and V that of
    the multinomial reading, plus :math:`\pi_i^2` times that of each row of the table; with two
    classes both are Rogan and Gladen's [1]_. The table must be from outside: with re-read records
    of the same survey the direct estimate is better.

    References
    ----------
    .. [1] Rogan, W.J. & Gladen, B. (1978). Am. J. Epidemiol. 107, 71-76.

    Examples
    --------
    >>> found = correct_shares([0.38, 0.62], 200, [[0.8, 0.2], [0.1, 0.9]])
    >>> print([round(p, 3) for p in found.estimate])
    [0.4, 0.6]
    """
    t, p = np.asarray(shares, dtype=np.float64), np.asarray(table, dtype=np.float64)
    rows = None if n_rows is None else np.asarray(n_rows, dtype=np.float64)
    require_usable_table(p, rows)
    _require_shares(t, n, len(p))
    back = np.linalg.inv(p.T)
    estimate = back @ t
    spread = back @ (np.diag(t) - np.outer(t, t)) @ back.T / n
    if rows is not None:
        for share, row, m in zip(estimate, p, rows, strict=True):
            spread += share**2 * back @ (np.diag(row) - np.outer(row, row)) @ back.T / m
    u = np.sqrt(np.maximum(np.diag(spread), 0.0))
    return Corrected(
        raw=tuple(t.tolist()),
        estimate=tuple(estimate.tolist()),
        u=tuple(u.tolist()),
        lo95=tuple((estimate - Z95 * u).tolist()),
        hi95=tuple((estimate + Z95 * u).tolist()),
        is_outside=bool((estimate < -1e-12).any() or (estimate > 1 + 1e-12).any()),
        is_rates_known=rows is None,
    )


def read_share(share: float, sensitivity: float, specificity: float) -> float:
    r"""
    Return the share that would be read, on average, from a true one.

    Parameters
    ----------
    share, sensitivity, specificity : float

    Returns
    -------
    float

    Notes
    -----
    :math:`t = p s + (1 - p)(1 - c)`.

    Examples
    --------
    >>> print(f"{read_share(0.4, 0.8, 0.9):.2f}")
    0.38
    """
    return share * sensitivity + (1.0 - share) * (1.0 - specificity)


def require_usable_table(table: FloatArray, n_rows: FloatArray | None) -> None:
    """
    Refuse a table of confusions that cannot be, or says too little to be inverted.

    Parameters
    ----------
    table : ndarray of float
    n_rows : ndarray of float, or None

    Raises
    ------
    InputError
        ``confusion-not-usable``.

    Examples
    --------
    >>> require_usable_table(np.array([[0.8, 0.2], [0.1, 0.9]]), None)
    """
    p, q = table, len(table) if table.ndim == 2 else 0
    fix = "Pool the classes that are confused, or state the shares as read."
    is_table = p.shape == (q, q) and q >= 2 and bool(np.isfinite(p).all())
    if not is_table or p.min() < 0 or np.abs(p.sum(axis=1) - 1.0).max() > 1e-6:
        raise InputError(
            "confusion-not-usable",
            "A row of the table of confusions does not add up to 1, or a class is missing.",
            "Give one row and one column a class, each row adding up to 1.",
        )
    if n_rows is not None and (n_rows.shape != (q,) or not (n_rows > 0).all()):
        raise InputError(
            "confusion-not-usable",
            "A class of the table of confusions has no checked items.",
            fix,
        )
    if float(np.linalg.det(p)) <= 0 or float(np.linalg.cond(p)) > WORST_CONDITION:
        raise InputError(
            "confusion-not-usable",
            "The table of confusions tells its classes apart too poorly to correct anything.",
            fix,
        )


def _require_shares(t: FloatArray, n: float, q: int) -> None:
    """Refuse shares that cannot be."""
    is_shares = t.shape == (q,) and bool(np.isfinite(t).all()) and t.min() >= 0
    if not is_shares or abs(t.sum() - 1.0) > 1e-6 or not (math.isfinite(n) and n > 0):
        raise InputError(
            "confusion-not-usable",
            "The shares to be corrected do not add up to 1, or rest on nothing.",
            "Give the shares of all classes, and how many were read.",
        )
