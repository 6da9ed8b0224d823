"""Diversity at equal effort: rarefaction and extrapolation on size and on coverage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.diversity import ORDERS, Sample, sample_coverage, unseen_decay
from dryslate.core.survey.richness import asymptotic_hill, entropy_tail, unseen_genera

FloatArray = NDArray[np.float64]
FURTHEST = 2.0
"""So many times what was surveyed a curve may reach; beyond it the bias is not known."""
N_RESAMPLES = 200
_FEW = 64
"""Up to so many units, or colonies, the tables of rarefaction are kept for the next survey."""
_KEPT_POWER = 20
"""Logarithms of factorials are kept below 2 to this power (8 MB)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """
    A Hill number at a stated effort.

    Parameters
    ----------
    order : int
        0: richness; 1: exponential of Shannon; 2: inverse Simpson.
    size : int
        Colonies or units.
    estimate : float
    u, lo95, hi95 : float or None
        By bootstrap of units; None without units or resamples.
    coverage : float
        Expected at this size.
    is_extrapolated : bool
    estimand : str
    """

    order: int
    size: int
    estimate: float
    u: float | None = None
    lo95: float | None = None
    hi95: float | None = None
    coverage: float
    is_extrapolated: bool
    estimand: str


def hill_curve(
    sample: Sample,
    sizes: Sequence[int],
    rng: np.random.Generator | None = None,
    *,
    n_resamples: int = N_RESAMPLES,
    furthest: float = FURTHEST,
) -> tuple[CurvePoint, ...]:
    r"""
    Return Hill numbers expected in so many colonies or units.

    Parameters
    ----------
    sample : Sample
    sizes : sequence of int
        Whole, above 0, at most `furthest` times the sample.
    rng : numpy.random.Generator or None
        Of a sample of units: seeds the bootstrap of units; None: no intervals.
    n_resamples : int
    furthest : float

    Returns
    -------
    tuple of CurvePoint
        By order, then by size.

    Raises
    ------
    InputError
        ``diversity-beyond-reach``.

    Notes
    -----
    Below the sample the expectation over all subsets of that size, exact; above it the
    extrapolation of [1]_: order 0 :math:`S + f_0 [1 - (1 - f_1/(n f_0 + f_1))^{m^*}]`, order 1
    the entropy between that observed and that of all there is, weighted by size, order 2 exact.
    Units are drawn again whole, and beside them the fewest genera likely unseen, as often as the
    coverage says they occur; u is the spread times :math:`\sqrt{n/(n-1)}`, and the interval is by
    t on the log scale. How often it held: ``docs/estimators/diversity.md``.

    References
    ----------
    .. [1] Chao, A. et al. (2014). Ecol. Monogr. 84, 45-67.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import Counted, read_counts
    >>> curve = hill_curve(read_counts([9, 4, 2, 1, 1], Counted.COLONIES), [5, 34])
    >>> print([(p.order, p.size, round(p.estimate, 2)) for p in curve[:2]])
    [(0, 5, 2.89), (0, 34, 6.21)]
    """
    wished = np.array(list(sizes), dtype=np.int64)
    top = math.floor(furthest * sample.n)
    if wished.size and (wished.min() < 1 or wished.max() > top):
        off = int(wished.max() if wished.max() > top else wished.min())
        raise InputError(
            "diversity-beyond-reach",
            f"A curve was asked for at {off}; it goes from 1 to {top}.",
            "Ask for sizes above 0 and at most twice what was surveyed: beyond that the bias is "
            "unknown.",
        )
    values, coverage = _curve(sample, wished)
    u = np.full(values.shape, np.nan)
    if rng is not None and sample.seen is not None:
        u = _bootstrap_u(sample, wished, rng, n_resamples)
    return tuple(
        _point(sample, order, int(m), (values[q, k], u[q, k], coverage[k]))
        for q, order in enumerate(ORDERS)
        for k, m in enumerate(wished)
    )


def _point(sample: Sample, order: int, m: int, figures: tuple[float, float, float]) -> CurvePoint:
    """Put one point together, its interval by t on the log scale."""
    value, u, coverage = (float(v) for v in figures)
    lo = hi = None
    if math.isfinite(u) and u > 0 and value > 0:
        from scipy.special import stdtrit

        reach = float(stdtrit(sample.n - 1, 0.975)) * u / value
        lo, hi = value * math.exp(-reach), value * math.exp(reach)
    return CurvePoint(
        order=order,
        size=m,
        estimate=value,
        u=u if lo is not None else None,
        lo95=lo,
        hi95=hi,
        coverage=coverage,
        is_extrapolated=m > sample.n,
        estimand=f"effective number of genera of order {order} in {m} {sample.counted.value}",
    )


def expected_coverage(sample: Sample, sizes: Sequence[int]) -> FloatArray:
    r"""
    Return the coverage expected in so many colonies or units.

    Parameters
    ----------
    sample : Sample
    sizes : sequence of int

    Returns
    -------
    ndarray of float

    Notes
    -----
    :math:`1 - \sum \frac{x}{N} \binom{n-x}{m}/\binom{n-1}{m}` below the sample,
    :math:`1 - \frac{f_1}{N} A^{m-n+1}` from it on [1]_.

    References
    ----------
    .. [1] Chao, A. & Jost, L. (2012). Ecology 93, 2533-2547.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import Counted, read_counts
    >>> expected_coverage(read_counts([9, 4, 2, 1, 1], Counted.COLONIES), [5, 34]).round(3).tolist()
    [0.725, 0.96]
    """
    m = np.array(list(sizes), dtype=np.int64)
    x, n = sample.counts, sample.n
    below = m < n
    out = np.empty(len(m))
    missed = _missed(x, m[below], n, n - 1)
    out[below] = 1.0 - (x[:, None] * missed).sum(axis=0) / sample.total
    beyond = (m[~below] - n + 1).astype(np.float64)
    out[~below] = 1.0 - sample.held(1) / sample.total * unseen_decay(sample) ** beyond
    return out


def size_for_coverage(sample: Sample, coverage: float, *, furthest: float = FURTHEST) -> int:
    """
    Return the fewest colonies or units whose expected coverage reaches a stated one.

    Parameters
    ----------
    sample : Sample
    coverage : float
    furthest : float

    Returns
    -------
    int

    Raises
    ------
    InputError
        ``diversity-beyond-reach``.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import Counted, read_counts
    >>> size_for_coverage(read_counts([9, 4, 2, 1, 1], Counted.COLONIES), 0.8)
    9
    """
    top = math.floor(furthest * sample.n)
    low, high = 0, top
    if not 0 < coverage < 1 or float(expected_coverage(sample, [top])[0]) < coverage:
        raise InputError(
            "diversity-beyond-reach",
            f"A coverage of {coverage:g} is not reached within {top} colonies or units.",
            "Compare at the lowest coverage that all surveys reach.",
        )
    while high - low > 1:
        middle = (low + high) // 2
        if float(expected_coverage(sample, [middle])[0]) >= coverage:
            high = middle
        else:
            low = middle
    return high


@lru_cache(maxsize=_KEPT_POWER)
def _log_factorials(power: int) -> FloatArray:
    """Return the logarithms of 0! and so on, below 2 to the power."""
    from scipy.special import gammaln

    table = np.asarray(gammaln(np.arange(1.0, 2.0**power + 1)))
    table.setflags(write=False)
    return table


def _log_factorial(whole: NDArray[np.intp], top: int) -> FloatArray:
    """Return the logarithms of factorials; looked up where the largest is not too large."""
    power = max(top, 1).bit_length()
    if power <= _KEPT_POWER:
        return np.asarray(_log_factorials(power)[whole])
    from scipy.special import gammaln

    return np.asarray(gammaln(whole + 1.0))


def _log_choose(n: FloatArray, k: FloatArray) -> FloatArray:
    """Return the logarithm of binomial coefficients; minus infinity where there are none."""
    top = int(n.max(initial=1.0))
    fits = (k >= 0) & (k <= n)
    n_, k_ = (np.where(fits, a, 0).astype(np.intp) for a in (n, k))
    whole, part, rest = (_log_factorial(a, top) for a in (n_, k_, n_ - k_))
    return np.where(fits, whole - part - rest, -np.inf)


def _missed(x: FloatArray, m: NDArray[np.int64], n: int, pool: int) -> FloatArray:
    """Return the chance that m of the pool hold none of x, shape (genera, sizes)."""
    up = _log_choose((n - x)[:, None], m[None, :].astype(np.float64))
    down = _log_choose(np.full(len(m), float(pool)), m.astype(np.float64))
    return np.asarray(np.exp(up - down[None, :]))


def _curve(sample: Sample, m: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
    """Return Hill numbers, shape (3, sizes), and coverage of a sample at some sizes."""
    x, times = np.unique(sample.counts, return_counts=True)
    tables = _tables(x, m[m <= sample.n], sample.n)
    return _hill(sample, m, times.astype(np.float64), tables), expected_coverage(sample, m.tolist())


def _tables(x: FloatArray, m: NDArray[np.int64], n: int) -> tuple[FloatArray, FloatArray]:
    """Return for counts x and sizes m: chance of being found, and expected k log k."""
    if n > _FEW:
        return _made_tables(x, m, n)
    at = x.astype(np.intp) - 1
    found, k_log_k = _tables_of_all(tuple(m.tolist()), n)
    return found[at], k_log_k[at]


@lru_cache(maxsize=64)
def _tables_of_all(m: tuple[int, ...], n: int) -> tuple[FloatArray, FloatArray]:
    """Return the tables of every count up to n: surveys of as many units share them."""
    made = _made_tables(np.arange(1.0, n + 1), np.array(m, dtype=np.int64), n)
    for table in made:
        table.setflags(write=False)
    return made


def _made_tables(x: FloatArray, m: NDArray[np.int64], n: int) -> tuple[FloatArray, FloatArray]:
    """Work the tables out."""
    found = 1.0 - _missed(x, m, n, n)
    k_log_k = np.zeros((len(x), len(m)))
    for i, count in enumerate(x):
        k = np.arange(2.0, count + 1)[:, None]
        if not len(k):
            continue
        size = m[None, :].astype(np.float64)
        chance = _log_choose(np.full_like(k, count), k)
        chance = chance + _log_choose(np.full(k.shape, n - count), size - k)
        chance = chance - _log_choose(np.full_like(size, float(n)), size)
        k_log_k[i] = (k * np.log(k) * np.exp(chance)).sum(axis=0)
    return found, k_log_k


def _hill(
    sample: Sample, m: NDArray[np.int64], times: FloatArray, tables: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Return Hill numbers of orders 0, 1 and 2 at sizes m; `times` says how often each count is."""
    found, k_log_k = tables
    n, a_trial = sample.n, sample.total / sample.n
    inside = m <= n
    out = np.empty((3, len(m)))
    out[0, inside] = times @ found
    held = m[inside] * a_trial
    out[1, inside] = np.exp(np.log(held) - (times @ k_log_k) / held)
    size = m.astype(np.float64)
    pairs = float((sample.counts * (sample.counts - 1)).sum()) / (n * (n - 1) * a_trial**2)
    out[2] = 1.0 / (1.0 / (size * a_trial) + (size - 1) / size * pairs)
    if not inside.all():
        out[:2, ~inside] = _beyond(sample, size[~inside])
    return out


def _beyond(sample: Sample, size: FloatArray) -> FloatArray:
    """Return extrapolated Hill numbers of orders 0 and 1."""
    n, f0, f1 = sample.n, unseen_genera(sample), sample.held(1)
    more = size - n
    rate = f1 / (n * f0 + f1) if f0 > 0 else 0.0
    p = sample.counts / sample.total
    observed = float(-(p * np.log(p)).sum())
    entropy = n / size * observed + more / size * math.log(asymptotic_hill(sample)[1])
    return np.array([sample.richness + f0 * (1 - (1 - rate) ** more), np.exp(entropy)])


def _bootstrap_u(
    sample: Sample, m: NDArray[np.int64], rng: np.random.Generator, n_resamples: int
) -> FloatArray:
    """Return the spread of the curve over units drawn again, whole."""
    assert sample.seen is not None
    n = sample.n
    every = np.arange(1.0, n + 1)
    found, k_log_k = _tables(every, m[m <= n], n)
    drawn = rng.multinomial(n, np.full(n, 1.0 / n), size=n_resamples) @ sample.seen
    drawn = np.hstack([drawn, _draw_unseen(sample, rng, n_resamples)])
    drawn = drawn[drawn.any(axis=1)].astype(np.int64)
    apart = drawn + (n + 1) * np.arange(len(drawn))[:, None]  # each resample counts by itself
    counted = np.bincount(apart.ravel(), minlength=(n + 1) * len(drawn))
    times = counted.reshape(len(drawn), n + 1)[:, 1:].astype(np.float64)
    table = _hill_many(times, m, (found, k_log_k))
    # A resample without pairs of units that share a genus has no second order: it says nothing.
    spread = np.nanstd(np.where(np.isfinite(table), table, np.nan), axis=0, ddof=1)
    return np.asarray(spread * math.sqrt(n / (n - 1)))


def _hill_many(
    times: FloatArray, m: NDArray[np.int64], tables: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Return what `_hill` does for many samples of units, told by how often each count is."""
    from scipy.special import digamma

    found, k_log_k = tables
    n = times.shape[1]
    x, size, inside = np.arange(1.0, n + 1), m.astype(np.float64), m <= n
    total, f1, f2 = times @ x, times[:, :1], times[:, 1:2]
    a_trial = (total / n)[:, None]
    out = np.empty((len(times), 3, len(m)))
    out[:, 0, inside] = times @ found
    held = size[inside] * a_trial
    out[:, 1, inside] = np.exp(np.log(held) - (times @ k_log_k) / held)
    pairs = (times @ (x * (x - 1)))[:, None] / (n * (n - 1) * a_trial**2)
    out[:, 2] = 1.0 / (1.0 / (size * a_trial) + (size - 1) / size * pairs)
    if inside.all():
        return out
    more = size[~inside] - n
    f0 = (n - 1) / n * np.where(f2 > 0, f1**2 / np.maximum(2 * f2, 1), f1 * (f1 - 1) / 2)
    rate = np.where(f0 > 0, f1 / np.maximum(n * f0 + f1, 1e-300), 0.0)
    out[:, 0, ~inside] = times.sum(axis=1)[:, None] + f0 * (1 - (1 - rate) ** more)
    observed = np.log(total) - (times @ (x * np.log(x))) / total
    up = np.maximum(np.where(f2 > 0, (n - 1) * f1, (n - 1) * (f1 - 1)), 0.0)
    decay = (up / (up + np.where(f2 > 0, 2 * f2, 2.0)))[:, 0]
    each, which = np.unique(decay, return_inverse=True)
    tails = np.array([entropy_tail(n, float(b)) for b in each])[which]
    entropy = times @ (x / n * (digamma(n) - digamma(x))) + f1[:, 0] / n * tails
    entropy = entropy / a_trial[:, 0] + np.log(a_trial[:, 0])
    mixed = n / size[~inside] * observed[:, None] + more / size[~inside] * entropy[:, None]
    out[:, 1, ~inside] = np.exp(mixed)
    return out


def _draw_unseen(sample: Sample, rng: np.random.Generator, n_resamples: int) -> FloatArray:
    """Draw genera that the survey did not see, as often as the coverage says they occur."""
    n_unseen = math.ceil(unseen_genera(sample))
    if n_unseen == 0:
        return np.zeros((n_resamples, 0))
    share = sample.total / sample.n * (1.0 - sample_coverage(sample)) / n_unseen
    return rng.binomial(sample.n, min(share, 1.0), (n_resamples, n_unseen)).astype(np.float64)


def rarefied_richness(sample: Sample, size: int) -> tuple[float, float]:
    r"""
    Return the genera expected in so many colonies or units of this sample, and their SD.

    For units this is the accumulation curve, exact and free of any order.

    Parameters
    ----------
    sample : Sample
    size : int
        From 1 to the sample's.

    Returns
    -------
    expected, sd : float
        Over random subsets of this sample, not over the reef.

    Raises
    ------
    InputError
        ``diversity-beyond-reach``.

    Notes
    -----
    :math:`\sum [1 - \binom{N-x}{n}/\binom{N}{n}]` [1]_; variance from pairs of genera [2]_.

    References
    ----------
    .. [1] Hurlbert, S.H. (1971). Ecology 52, 577-586.
    .. [2] Heck, K.L., van Belle, G. & Simberloff, D. (1975). Ecology 56, 1459-1461.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import Counted, read_counts
    >>> found = rarefied_richness(read_counts([9, 4, 2, 1, 1], Counted.COLONIES), 5)
    >>> print("%.2f ± %.2f" % found)
    2.89 ± 0.77
    """
    if not 1 <= size <= sample.n:
        raise InputError(
            "diversity-beyond-reach",
            f"A curve was asked for at {size}; it goes from 1 to {sample.n}.",
            "Ask for sizes within the sample.",
        )
    x, n, m = sample.counts, sample.n, np.array([size], dtype=np.int64)
    missed = _missed(x, m, n, n)[:, 0]
    if sample.seen is None:
        pair_counts = x[:, None] + x[None, :]
    else:
        without = 1.0 - sample.seen
        pair_counts = n - without.T @ without
    neither = _missed(pair_counts.ravel(), m, n, n).reshape(len(x), len(x))
    spread = neither - np.outer(missed, missed)
    np.fill_diagonal(spread, missed * (1 - missed))
    return float((1 - missed).sum()), math.sqrt(max(float(spread.sum()), 0.0))
