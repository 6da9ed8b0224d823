"""Intervals of a change from those of its parts; arrays in, arrays out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.survey.intervals import (
    ALIKE,
    ERROR,
    Terms,
    fraction_interval,
    rate_interval,
    zero_fraction_limit,
    zero_rate_limit,
)

FloatArray = NDArray[np.float64]
Ends = tuple[FloatArray, FloatArray]


class Scale(StrEnum):
    """What values are: their proper interval follows from it."""

    FRACTION = "fraction"
    """Parts of what was read, 0 to 1; counted: points, or infinite for tape and areas."""
    RATE = "rate"
    """Counts over area or minutes; counted: area or minutes."""
    PREVALENCE = "prevalence"
    """Cases of colonies, as values of units round the ratio; counted: colonies examined."""
    PLAIN = "plain"
    """Anything else: t on differences."""


SECOND_ORDER = {Scale.FRACTION: 3.0, Scale.RATE: 3.0, Scale.PREVALENCE: 5.0}
"""
What the doubt of a ratio misses at few units, in squared relative doubts of the larger mean; found
in simulated surveys apart from those of the benchmark.
"""
SMALLEST_P = 1e-12
_NARROW = 0.1
"""A unit's weight grows no more than to this share of an even one's left-out sum."""
_TRIED = 41


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """
    Values of the units of a visit.

    Parameters
    ----------
    values : ndarray of float, shape (..., n)
    counted : ndarray of float, shape (..., n)
        Points, colonies, area or minutes of each unit, as its `Scale` says; NaN: not known.
    """

    values: FloatArray
    counted: FloatArray

    @classmethod
    def of(cls, values: ArrayLike, counted: ArrayLike = np.nan) -> Seen:
        """
        Take values as they come.

        Parameters
        ----------
        values : array_like of float, shape (..., n)
        counted : array_like of float
            One for all units, or one each.

        Returns
        -------
        Seen
        """
        x = np.asarray(values, dtype=np.float64)
        return cls(values=x, counted=np.broadcast_to(np.asarray(counted, np.float64), x.shape))

    @property
    def mean(self) -> FloatArray:
        """Mean of the units, shape (...)."""
        return np.asarray(self.values.mean(axis=-1))

    def freed(self, scale: Scale) -> FloatArray:
        r"""
        Return what each unit adds to the doubt of the mean, leaving it out of the ratio.

        Notes
        -----
        Of a prevalence, :math:`(n-1)(r - r_{(i)})` with the ratio :math:`r_{(i)}` of the others
        (jackknife). Of other values what each is away from the mean.
        """
        away = self.values - self.mean[..., None]
        if scale is not Scale.PREVALENCE:
            return away
        return away * _left_out_weight(self.counted)


def _left_out_weight(amounts: FloatArray) -> FloatArray:
    """Return how much more a unit weighs in a ratio whose denominator it is left out of."""
    n = amounts.shape[-1]
    total = amounts.sum(axis=-1)[..., None]
    with np.errstate(all="ignore"):
        weight = (n - 1) / n * total / np.maximum(total - amounts, total * _NARROW / n)
    return np.asarray(np.where(np.isfinite(weight), weight, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class PairedParts:
    """A change of the same units, in parts: see `paired_parts`."""

    scale: Scale
    n: int
    sign: FloatArray
    larger: FloatArray
    u_larger: FloatArray
    smaller: FloatArray
    u_rest: FloatArray
    correlation: FloatArray
    counted: FloatArray

    def ends(self, error: ArrayLike = ERROR) -> Ends:
        """
        Return the interval.

        Parameters
        ----------
        error : array_like of float
            Chance that the truth lies outside.

        Returns
        -------
        lo, hi : ndarray of float
            NaN where nothing varies.
        """
        from scipy.special import stdtrit

        lost = 1 - self.smaller / np.where(self.larger > 0, self.larger, 1.0)
        lo, hi = _own_ends(self.scale, self.larger, self.u_larger, self.n, error)
        down = lost * np.maximum(np.nan_to_num(hi - self.larger), 0.0)
        up = lost * np.maximum(np.nan_to_num(self.larger - lo), 0.0)
        rest = stdtrit(self.n - 1.0, 1 - np.asarray(error) / 2) * self.u_rest
        none_left = np.where(self.smaller > 0, 0.0, self._limit(error))
        middle = -lost * self.larger
        r = self.correlation
        with np.errstate(over="ignore", invalid="ignore"):
            low = middle - np.sqrt(np.maximum(down**2 + rest**2 - 2 * r * down * rest, 0.0))
            shared = np.maximum(up**2 + rest**2 - 2 * r * up * rest, 0.0)
            high = middle + np.sqrt(shared + none_left**2)
        is_same = self.sign > 0
        return _possible(self.scale, np.where(is_same, low, -high), np.where(is_same, high, -low))

    def _limit(self, error: ArrayLike) -> FloatArray:
        """Return the limit of a visit at which nothing was found."""
        if self.scale is Scale.RATE:
            return zero_rate_limit(self.n, self.counted, error=error)
        return zero_fraction_limit(self.n, self.counted, error=error)


def _possible(scale: Scale, lo: FloatArray, hi: FloatArray) -> Ends:
    """Keep a change of a fraction within -1 and 1."""
    return (lo, hi) if scale is Scale.RATE else (np.maximum(lo, -1.0), np.minimum(hi, 1.0))


def _own_ends(scale: Scale, mean: FloatArray, u: FloatArray, n: int, error: ArrayLike) -> Ends:
    """Interval of the mean of one visit, from the spread of its units alone."""
    terms = Terms(error=error)
    if scale is Scale.RATE:
        return rate_interval(mean, np.where(u > 0, u, np.nan), n, terms=terms)
    return fraction_interval(mean, np.where(u > ALIKE * mean, u, np.nan), n, terms=terms)


def paired_parts(first: Seen, second: Seen, scale: Scale) -> PairedParts:
    r"""
    Take the change of the same units apart.

    Parameters
    ----------
    first, second : Seen
        Units in one order, none of them blank.
    scale : Scale
        Not ``PLAIN``.

    Returns
    -------
    PairedParts

    Notes
    -----
    With :math:`A` the visit of the larger mean, :math:`B` the other and :math:`R = \bar B/\bar A`,
    the change :math:`\bar B - \bar A = (R - 1)\bar A + \bar e`, with :math:`e_i = B_i - R A_i`:
    what all units lose alike, and each unit's own. The first part has the proper interval of
    :math:`\bar A` (log for rates, logit for fractions); the second is even, with t on the
    :math:`e_i`, each weighed by what leaving it out of :math:`\bar A` changes (jackknife), its
    variance times :math:`1 + c\,u_A^2/\bar A^2` (`SECOND_ORDER`). The distances from the middle to
    the ends are put together with the correlation :math:`r` of :math:`A` and :math:`e` [1]_:
    :math:`\sqrt{a^2 + b^2 - 2 r a b}`. So a loss in proportion has the shape of the density's own
    interval, a change of nothing that of paired t. Where nothing is found at one visit, its upper
    limit stands in for its doubt. Of two visits with one mean neither is the larger: whichever
    makes a variance larger stands for :math:`A` in it. :math:`n - 1` degrees of freedom.

    References
    ----------
    .. [1] Zou, G.Y. & Donner, A. (2008). Construction of confidence limits about effect measures:
       a general approach. Stat. Med. 27, 1693-1702 (cited from memory).
    """
    n = first.values.shape[-1]
    grew = (second.mean > first.mean)[..., None]
    larger = np.where(grew, second.values, first.values)
    other = np.where(grew, first.values, second.values)
    a_away = np.where(grew, second.freed(scale), first.freed(scale))
    b_away = np.where(grew, first.freed(scale), second.freed(scale))
    a, b = np.maximum(first.mean, second.mean), np.minimum(first.mean, second.mean)
    counts = [seen.counted.sum(axis=-1) for seen in (first, second)]
    a_counted, b_counted = (np.where(grew[..., 0], counts[1 - k], counts[k]) for k in (0, 1))
    with np.errstate(all="ignore"):
        ratio = np.where(a > 0, b / a, 0.0)
        rest = b_away - ratio[..., None] * a_away
        turned = rest
        if scale is not Scale.PREVALENCE:
            rest, turned = rest * _left_out_weight(larger), rest * _left_out_weight(other)
        v_rest, v_turned, v_a, v_b = (
            (x**2).sum(axis=-1) / (n - 1) for x in (rest, turned, a_away, b_away)
        )
        is_tied = a - b <= ALIKE * a
        v_rest = np.where(is_tied, np.maximum(v_rest, v_turned), v_rest)
        v_a = np.where(is_tied, np.maximum(v_a, v_b), v_a)
        both = (a_away * rest).sum(axis=-1) / (n - 1)
        is_even = ~(v_rest > (ALIKE * a) ** 2)
        counting = _counting(scale, a, a_counted, n) * ratio**2 + _counting(scale, b, b_counted, n)
        r = np.where(is_even | ~(v_a > 0), 0.0, np.clip(both / np.sqrt(v_rest * v_a), -1, 1))
        v_rest = np.where(is_even, np.where(b > 0, counting, 0.0), v_rest)
        v_rest = v_rest * (1 + SECOND_ORDER[scale] * np.where(a > 0, v_a / n / a**2, 0.0))
        v_rest = np.where(v_rest > 0, v_rest, np.where(b > 0, np.nan, 0.0))
    return PairedParts(
        scale=scale,
        n=n,
        sign=np.where(grew[..., 0], -1.0, 1.0),
        larger=a,
        u_larger=np.sqrt(v_a / n),
        smaller=b,
        u_rest=np.sqrt(v_rest / n),
        correlation=r,
        counted=b_counted,
    )


def _counting(scale: Scale, mean: FloatArray, counted: FloatArray, n: int) -> FloatArray:
    """Variance between units from counting alone; 0 where it is not known or there is none."""
    scatter = mean if scale is Scale.RATE else mean * (1 - mean)
    return np.asarray(np.where(counted > 0, scatter / (counted / n), 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class VisitMeans:
    """Means of two visits with units drawn anew: see `anew_parts`."""

    scale: Scale
    means: tuple[FloatArray, FloatArray]
    u: tuple[FloatArray, FloatArray]
    n: tuple[int, int]
    counted: tuple[FloatArray, FloatArray]
    df: FloatArray

    def ends(self, error: ArrayLike = ERROR) -> Ends:
        """Return the interval, as `PairedParts.ends` does."""
        interval = rate_interval if self.scale is Scale.RATE else fraction_interval
        terms = Terms(is_narrowed=True, error=error)
        away = []
        for mean, u, n, counted in zip(self.means, self.u, self.n, self.counted, strict=True):
            each = counted
            if self.scale is Scale.FRACTION:  # where it is not known, as of tape and areas
                each = np.where(np.isnan(counted), np.inf, counted)
            lo, hi = interval(mean, u, n, each, self.df, terms)
            away.append([np.maximum(np.nan_to_num(x), 0.0) for x in (mean - lo, hi - mean)])
        (down_1, up_1), (down_2, up_2) = away
        middle = self.means[1] - self.means[0]
        lo, hi = middle - np.hypot(down_2, up_1), middle + np.hypot(up_2, down_1)
        return _possible(self.scale, lo, hi)


def anew_parts(first: Seen, second: Seen, scale: Scale) -> VisitMeans:
    r"""
    Take the change between visits with units drawn anew apart.

    Parameters
    ----------
    first, second : Seen
        None of the units blank.
    scale : Scale
        ``FRACTION`` or ``RATE``.

    Returns
    -------
    VisitMeans

    Notes
    -----
    :math:`d - \sqrt{(x_2 - l_2)^2 + (u_1 - x_1)^2}` to
    :math:`d + \sqrt{(u_2 - x_2)^2 + (x_1 - l_1)^2}` [1]_ from the intervals of the visits' means
    (`fraction_interval`, `rate_interval`, narrowed where counting explains the spread), with
    Satterthwaite's degrees of freedom of the difference [2]_.

    References
    ----------
    .. [1] Zou, G.Y. & Donner, A. (2008). Stat. Med. 27, 1693-1702 (cited from memory).
    .. [2] Welch, B.L. (1947). Biometrika 34, 28-35.
    """
    u, n = [], []
    for seen in (first, second):
        n.append(seen.values.shape[-1])
        u.append(np.asarray(seen.values.std(axis=-1, ddof=1) / np.sqrt(n[-1])))
    with np.errstate(all="ignore"):
        free = u[0] ** 4 / (n[0] - 1) + u[1] ** 4 / (n[1] - 1)
        df = np.where(free > 0, (u[0] ** 2 + u[1] ** 2) ** 2 / free, sum(n) - 2.0)
    return VisitMeans(
        scale=scale,
        means=(first.mean, second.mean),
        u=(u[0], u[1]),
        n=(n[0], n[1]),
        counted=(first.counted.sum(axis=-1), second.counted.sum(axis=-1)),
        df=df,
    )


def p_of_no_change(ends: Callable[[ArrayLike], Ends], change: float) -> float:
    """
    Return the chance of error at which an interval's end comes to 0.

    Parameters
    ----------
    ends : callable
        Both ends at errors.
    change : float
        The change itself.

    Returns
    -------
    float
        Under 0.05 just where the 95 % interval leaves 0 out; at least `SMALLEST_P`.
    """
    if change == 0:
        return 1.0
    low, high = np.log(SMALLEST_P), 0.0
    for _ in range(4):
        errors = np.linspace(low, high, _TRIED)
        lo, hi = ends(np.exp(errors))
        leaves_out = (lo > 0) if change > 0 else (hi < 0)
        if leaves_out.all():
            return float(np.exp(low))
        first = int(np.flatnonzero(~leaves_out)[-1])
        if first == _TRIED - 1:
            return 1.0
        low, high = errors[first], errors[first + 1]
    return float(np.exp((low + high) / 2))
