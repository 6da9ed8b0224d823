"""Amounts by name corrected by a table of confusions from outside, their doubt by draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit

from dryslate.base.errors import InputError
from dryslate.core.survey.misnaming import require_usable_table

FloatArray = NDArray[np.float64]
N_DRAWS = 4_000
N_DRAWS_MANY = 1_000
MANY = 40
"""Names of a table from which on fewer draws are made."""
ADDED = 1.0
"""Checked corals added to each row, spread evenly: what was never met is not taken as never."""
SEED = 1978
ENDS = (0.025, 0.975)
FARTHEST = 50.0
"""Most that a drawn logarithm may lie above that of the mean: with two units t has no end."""
NOTHING = 1e-9
"""A class of less than this share of all colonies is one of which nothing is left."""
MIDDLE = (0.15865525393145705, 0.8413447460685429)
"""Shares of the normal law within one standard deviation."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OutsideTable:
    """
    A table of confusions made ready to correct amounts.

    Parameters
    ----------
    back : ndarray of float, shape (q, q)
        From amounts as read to true ones.
    draws : ndarray of float, shape (d, q, q)
        The same for tables that might have been; one alone where the rates are taken as exact.
    fewest_checked : float or None
        Corals behind the row with the fewest; None: not stated, taken as exact.
    condition : float
        How much the inverse can magnify, at most.
    """

    back: FloatArray
    draws: FloatArray
    fewest_checked: float | None
    condition: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnAmounts:
    """
    Mean amounts of classes, raw and corrected, with their doubt from draws.

    Parameters
    ----------
    raw, estimate, u, lo95, hi95 : ndarray of float, shape (q)
        A corrected amount or an end may lie below 0, or a share above 1, and is not cut off.
    """

    raw: FloatArray
    estimate: FloatArray
    u: FloatArray
    lo95: FloatArray
    hi95: FloatArray


def prepare_table(
    table: ArrayLike, checked: ArrayLike | None = None, n_draws: int = N_DRAWS
) -> OutsideTable:
    r"""
    Make a table of confusions ready to correct amounts.

    Parameters
    ----------
    table : array_like of float, shape (q, q)
        Chance of being read as each class (columns), given the true one (rows).
    checked : array_like of float, shape (q), or None
        Items behind each row; None: taken as exact.
    n_draws : int
        Fewer where there are many names, to spare memory.

    Returns
    -------
    OutsideTable

    Raises
    ------
    InputError
        ``confusion-not-usable``.

    Notes
    -----
    Each row is drawn from a Dirichlet distribution about what was checked, with one coral more
    spread evenly over the row [1]_. The seed comes from the table: same table, same draws.

    References
    ----------
    .. [1] Perks, W. (1947). Some observations on inverse probability. J. Inst. Actuaries 73,
       285-334 (from memory).

    Examples
    --------
    >>> found = prepare_table([[0.8, 0.2], [0.1, 0.9]], [100, 50])
    >>> found.draws.shape, round(found.condition, 2)
    ((4000, 2, 2), 1.46)
    """
    p = np.asarray(table, dtype=np.float64)
    rows = None if checked is None else np.asarray(checked, dtype=np.float64)
    require_usable_table(p, rows)
    q = len(p)
    back = np.asarray(np.linalg.inv(p.T), dtype=np.float64)
    draws = back[None]
    if rows is not None:
        counts = p * rows[:, None]
        rng = np.random.default_rng([SEED, q, *np.rint(counts * 1000).astype(int).ravel().tolist()])
        size = (n_draws if q <= MANY else min(n_draws, N_DRAWS_MANY), q, q)
        gammas = rng.standard_gamma(np.broadcast_to(counts + ADDED / q, size))
        drawn = gammas / gammas.sum(axis=-1, keepdims=True)
        draws = np.asarray(np.linalg.inv(np.swapaxes(drawn, -1, -2)), dtype=np.float64)
    return OutsideTable(
        back=back,
        draws=draws,
        fewest_checked=None if rows is None else float(rows.min()),
        condition=float(np.linalg.cond(p)),
    )


def correct_by_table(
    values: ArrayLike, outside: OutsideTable, *, is_share: bool = True
) -> DrawnAmounts:
    r"""
    Correct mean amounts of classes by the inverse of an outside table of confusions.

    Parameters
    ----------
    values : array_like of float, shape (n, q)
        Cover or density of each class, as read, in each unit.
    outside : OutsideTable
    is_share : bool
        Of cover; else of densities or rates.

    Returns
    -------
    DrawnAmounts

    Raises
    ------
    InputError
        ``confusion-not-usable`` with fewer than two units, or where nothing was found.

    Notes
    -----
    :math:`\hat\theta = (P^T)^{-1}\bar x` [1]_. Its doubt is carried through the inverse by draws
    (as in JCGM 101 [2]_): means as read from t with :math:`n - 1` degrees of freedom on the logit
    or the logarithm, correlated as the units are, with the middle and the spread that
    `fraction_interval` and `rate_interval` take; tables as `prepare_table` draws them. The interval
    goes from the 2.5 to the 97.5 % quantile, and to the estimate at least, and `u` is half of the
    middle 68.3 %. A class that no unit read stays unread in all draws. With a table without errors
    the intervals are those of the figures as read.

    References
    ----------
    .. [1] Rogan, W.J. & Gladen, B. (1978). Am. J. Epidemiol. 107, 71-76.
    .. [2] JCGM 101:2008. Propagation of distributions using a Monte Carlo method.

    Examples
    --------
    >>> table = prepare_table([[0.8, 0.2], [0.1, 0.9]], [100, 50])
    >>> found = correct_by_table([[0.30, 0.20], [0.24, 0.18], [0.35, 0.14]], table)
    >>> [round(float(v), 3) for v in found.estimate]
    [0.357, 0.113]
    """
    x = np.asarray(values, dtype=np.float64)
    drawn = _drawn_means(x, outside, is_share=is_share)
    mean = x.mean(axis=0)
    return _stated(mean, outside.back @ mean, _through(outside, drawn))


def correct_prevalence_by_table(
    cases: ArrayLike, others: ArrayLike, outside: OutsideTable
) -> DrawnAmounts:
    r"""
    Correct the prevalence of classes by the inverse of an outside table of confusions.

    Parameters
    ----------
    cases, others : array_like of float, shape (n, q)
        Colonies with the sign, and those examined without it, of each class as read, in each unit.
    outside : OutsideTable

    Returns
    -------
    DrawnAmounts
        The estimate is NaN for a class of which nothing is left.

    Raises
    ------
    InputError
        ``confusion-not-usable`` with fewer than two units, or where nothing was found.

    Notes
    -----
    Both sums go through the inverse, as in `correct_by_table`, and their ratio is taken; both are
    drawn together, on the logarithm. A colony is taken to be misnamed as often with the sign as
    without it: where the ill are harder to name, the correction leaves part of the error.

    Examples
    --------
    >>> table = prepare_table([[0.8, 0.2], [0.1, 0.9]], [100, 50])
    >>> ill, well = [[5, 2], [3, 1], [6, 2]], [[5, 9], [8, 12], [4, 8]]
    >>> found = correct_prevalence_by_table(ill, well, table)
    >>> [round(float(v), 3) for v in found.raw], [round(float(v), 3) for v in found.estimate]
    ([0.452, 0.147], [0.494, 0.057])
    """
    top, rest = (np.asarray(a, dtype=np.float64) for a in (cases, others))
    q = top.shape[1]
    drawn = _drawn_means(np.hstack([top, rest]), outside, is_share=False)
    tops, rests = (_through(outside, part) for part in (drawn[:, :q], drawn[:, q:]))
    means = top.mean(axis=0), rest.mean(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        raw = means[0] / (means[0] + means[1])
        back = outside.back @ means[0], outside.back @ means[1]
        whole = back[0] + back[1]
        least = NOTHING * float(sum(part.sum() for part in means))
        estimate = np.where(whole > least, back[0] / whole, np.nan)
        return _stated(raw, estimate, tops / (tops + rests))


def _stated(raw: FloatArray, estimate: FloatArray, draws: FloatArray) -> DrawnAmounts:
    """Take ends and doubt from draws."""
    lo, low, high, hi = np.quantile(draws, [ENDS[0], *MIDDLE, ENDS[1]], axis=0)
    return DrawnAmounts(
        raw=raw,
        estimate=estimate,
        u=(high - low) / 2,
        lo95=np.fmin(lo, estimate),
        hi95=np.fmax(hi, estimate),
    )


def _through(outside: OutsideTable, drawn: FloatArray) -> FloatArray:
    """Carry drawn means through drawn tables."""
    return np.asarray(np.matmul(outside.draws, drawn[:, :, None])[:, :, 0])


def _drawn_means(x: FloatArray, outside: OutsideTable, *, is_share: bool) -> FloatArray:
    """Draw means as read, as many as there are tables; the seed comes from the units."""
    mean = x.mean(axis=0)
    if len(x) < 2 or not mean.sum() > 0:
        raise InputError(
            "confusion-not-usable",
            "Nothing was found, or in one unit only: there is nothing to correct.",
            "State the figures as read.",
        )
    rng = np.random.default_rng([SEED, *np.rint(mean / mean.sum() * 1e6).astype(int).tolist()])
    n_draws = len(outside.draws) if len(outside.draws) > 1 else N_DRAWS
    return _draw_means(x, n_draws, rng, is_share=is_share)


def _draw_means(
    x: FloatArray, n_draws: int, rng: np.random.Generator, *, is_share: bool
) -> FloatArray:
    """Draw means as read that are in keeping with the units, correlated as these are."""
    n, q = x.shape
    mean, apart = x.mean(axis=0), x - x.mean(axis=0)
    sd = np.sqrt((apart**2).sum(axis=0) / (n - 1))
    apart = np.divide(apart, sd, out=np.zeros_like(x), where=sd > 0)
    values, vectors = np.linalg.eigh(apart.T @ apart / (n - 1))
    root = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T  # the one that is symmetric
    z = rng.standard_normal((n_draws, q)) @ root
    z /= np.sqrt(rng.chisquare(n - 1, (n_draws, 1)) / (n - 1))
    scale = mean * (1 - mean) if is_share else mean
    a = np.divide(sd / np.sqrt(n), scale, out=np.zeros(q), where=scale > 0)
    with np.errstate(divide="ignore"):
        if is_share:
            s = a * np.sqrt(1 + ((1 - 2 * mean) * a) ** 2)
            return np.asarray(expit(logit(mean) + (0.5 - mean) * s**2 + z * s))
        s = a * np.sqrt(1 + a**2)
        return np.asarray(np.exp(np.log(mean) + np.minimum(s**2 / 2 + z * s, FARTHEST)))
