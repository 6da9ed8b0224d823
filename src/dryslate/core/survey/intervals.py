"""Intervals from a mean, its standard error and the number of units; arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, expit, gammaincinv, logit, stdtrit

FloatArray = NDArray[np.float64]

P_HI = 0.975
ERROR = 0.05
"""Chance that the truth lies outside an interval, or beyond a one-sided limit."""
ZERO_RHO = 0.1
"""Intra-unit correlation assumed where no unit shows anything (our choice, stated)."""
ZERO_K = 1.0
"""Clumping (negative binomial `k`) assumed where no unit shows anything (our choice, stated)."""
ALIKE = 1e-9
"""Below this share of its scale a standard error is that of units all alike."""
ROUNDING = 1e-14
"""Below this share of the mean it is that of the computer's digits."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terms:
    """
    How an interval is to be made.

    Parameters
    ----------
    is_narrowed : bool
        Whether counting alone may narrow an interval: :math:`g` of `fraction_interval` and
        `rate_interval` from -1, else 1. Only for differences: figures of one visit read too narrow
        by it where hits are few (measured).
    error : array_like of float
        Chance that the truth lies outside; 0.05 for 95 %.
    """

    is_narrowed: bool = False
    error: ArrayLike = ERROR

    def second_order(self, beyond: FloatArray, s: FloatArray) -> FloatArray:
        """Return the root of 1 + g s², but that of a half at least."""
        g = np.maximum(1 - 2 / beyond, -1.0) if self.is_narrowed else 1.0
        return np.asarray(np.sqrt(np.maximum(1 + g * s**2, 0.5)))


USUAL = Terms()
"""Those of figures."""


def is_apart(u: ArrayLike, mean: ArrayLike, scale: ArrayLike) -> NDArray[np.bool_]:
    """
    Tell whether units differ by more than rounding.

    Parameters
    ----------
    u, mean : array_like of float
        Standard error of the mean, and the mean.
    scale : array_like of float
        Of fractions mean times the rest, of rates the mean.

    Returns
    -------
    ndarray of bool

    Examples
    --------
    >>> is_apart([0.1, 1e-17], 0.5, 0.25).tolist()
    [True, False]
    """
    u, mean, scale = (np.asarray(a, dtype=np.float64) for a in (u, mean, scale))
    return np.asarray(u > np.maximum(ALIKE * scale, ROUNDING * mean))


def fraction_interval(
    mean: ArrayLike,
    u: ArrayLike,
    n_units: ArrayLike,
    counted: ArrayLike = np.inf,
    df: ArrayLike | None = None,
    terms: Terms = USUAL,
) -> tuple[FloatArray, FloatArray]:
    r"""
    Return 95 % intervals of mean fractions by t on the logit of the mean.

    Parameters
    ----------
    mean : array_like of float
        Arithmetic mean of the units' fractions, or a ratio, 0 to 1.
    u : array_like of float
        Its standard error, from the spread between units.
    n_units : array_like of int
    counted : array_like of float
        Points or colonies in all units together; infinite for tape and areas.
    df : array_like of float or None
        Degrees of freedom; None: `n_units` - 1.
    terms : Terms

    Returns
    -------
    lo95, hi95 : ndarray of float
        NaN where there is none. At a mean of 0 only `hi95` (`zero_fraction_limit`), at 1 only
        `lo95`; under two units neither.

    Notes
    -----
    With :math:`a = u / (m(1-m))` (delta method [1]_) and :math:`s^2 = a^2(1 + g (1-2m)^2 a^2)` the
    interval is :math:`\mathrm{expit}(\mathrm{logit}\,m + (1 - 2m)s^2/2 \pm t_{df,\,0.975}\,s)`. It
    is about the arithmetic mean of units: a mean of unit logits would be about another quantity,
    and needs a rule for units of 0 and 1, which this does not. The middle term undoes, to second
    order, the bias of a logit taken of an uncertain mean; it is bounded by half of the reach,
    beyond which the expansion does not hold. :math:`g = 1`; where the `terms` let counting narrow
    the interval, :math:`g = 1 - 2/D`, from -1, with :math:`D = u^2 N / (m(1-m))`: how much more
    units differ than :math:`N` counted points alone would. :math:`a^2` is on average :math:`1/(1 +
    g a^2)` times what it should be for few hits of negative binomial units (our working), as in
    `rate_interval`. Where all units are alike, :math:`u` is the binomial one of what was counted.
    Units are taken as a random sample. Under strong clumping of a rare group the interval is too
    narrow, at its upper end: ``docs/estimators/coverage.md``.

    References
    ----------
    .. [1] Oehlert, G.W. (1992). A note on the delta method. Am. Stat. 46, 27-29.

    Examples
    --------
    >>> lo, hi = fraction_interval(0.345, 0.0413319892255, 4)
    >>> print(f"{lo:.3f} to {hi:.3f}")
    0.228 to 0.487
    """
    mean, u, n = (np.asarray(a, dtype=np.float64) for a in (mean, u, n_units))
    counted = np.asarray(counted, dtype=np.float64)
    free = n - 1 if df is None else np.asarray(df, dtype=np.float64)
    with np.errstate(all="ignore"):
        scale = mean * (1 - mean)
        counting = np.sqrt(scale / counted)
        u = np.where(is_apart(u, mean, scale), u, np.where(counting > 0, counting, np.nan))
        s = u / scale
        beyond = np.maximum((u / counting) ** 2, 1.0)
        s = s * terms.second_order(beyond, (1 - 2 * mean) * s)
        reach = stdtrit(free, 1 - np.asarray(terms.error) / 2) * s
        centre = logit(mean) + _within((0.5 - mean) * s**2, reach)
        limit = zero_fraction_limit(n, counted, error=terms.error)
        inner = (mean > 0) & (mean < 1) & (n > 1)
        lo = np.where(inner, np.minimum(expit(centre - reach), mean), np.nan)
        hi = np.where(inner, np.maximum(expit(centre + reach), mean), np.nan)
    lo = np.where((mean >= 1) & (n > 1), 1 - limit, lo)
    hi = np.where((mean <= 0) & (n > 1), limit, hi)
    return lo, hi


def _within(shift: FloatArray, reach: FloatArray) -> FloatArray:
    """Bound a second-order shift, which would else carry the interval past its own estimate."""
    return np.asarray(np.clip(shift, -reach / 2, reach / 2))


def zero_fraction_limit(
    n_units: ArrayLike,
    counted: ArrayLike = np.inf,
    rho: float = ZERO_RHO,
    error: ArrayLike = ERROR,
) -> FloatArray:
    r"""
    Return the upper 95 % limit of a fraction of which no unit shows anything.

    Parameters
    ----------
    n_units : array_like of int
    counted : array_like of float
        Points or colonies in all units together; infinite for tape and areas.
    rho : float
        Intra-unit correlation assumed.
    error : array_like of float
        Chance that the truth lies beyond.

    Returns
    -------
    ndarray of float

    Notes
    -----
    :math:`1 - 0.05^{1/n_e}`, the one-sided exact limit for none in :math:`n_e` [1]_, with the
    effective number :math:`n_e = N / (1 + (N/n - 1)\rho)` [2]_. With stronger clumping than
    assumed the limit reads too low.

    References
    ----------
    .. [1] Clopper, C.J. & Pearson, E.S. (1934). Biometrika 26, 404-413.
    .. [2] Kish, L. (1965). Survey Sampling. Wiley (design effect).

    Examples
    --------
    >>> print(f"{zero_fraction_limit(5, 500):.3f}")
    0.063
    """
    n = np.asarray(n_units, dtype=np.float64)
    each = np.asarray(counted, dtype=np.float64) / n
    effective = n / (rho + (1 - rho) / each)
    return np.asarray(1 - np.asarray(error, dtype=np.float64) ** (1 / effective))


def rate_interval(
    mean: ArrayLike,
    u: ArrayLike,
    n_units: ArrayLike,
    effort: ArrayLike = np.nan,
    df: ArrayLike | None = None,
    terms: Terms = USUAL,
) -> tuple[FloatArray, FloatArray]:
    r"""
    Return 95 % intervals of mean densities or rates by t on the logarithm of the mean.

    Parameters
    ----------
    mean : array_like of float
        Arithmetic mean of the units' values, or a ratio, 0 or more.
    u : array_like of float
        Its standard error, from the spread between units.
    n_units : array_like of int
    effort : array_like of float
        Area or minutes of all units together; NaN where the value is not a count per effort.
    df : array_like of float or None
        Degrees of freedom; None: `n_units` - 1.
    terms : Terms

    Returns
    -------
    lo95, hi95 : ndarray of float
        NaN where there is none. At a mean of 0 only `hi95` (`zero_rate_limit`); under two units
        neither.

    Notes
    -----
    With :math:`a = u / m` and :math:`s^2 = a^2(1 + g a^2)` the interval is :math:`m \exp(s^2/2 \pm
    t_{df,\,0.975}\,s)`. It is about the arithmetic mean; the term :math:`s^2/2` undoes, to second
    order, the bias of a logarithm taken of an uncertain mean [1]_, and is bounded by half of the
    reach, beyond which the expansion does not hold. :math:`a^2` is on average :math:`1/(1 + a^2)`
    times what it should be where units are gamma distributed, for then :math:`u/m` and :math:`m`
    are independent [2]_: :math:`g = 1`. Where the `terms` let counting narrow it, :math:`g = 1 -
    2/D`, from -1, with :math:`D = u^2 E / m`. Where all units are alike :math:`u` is the Poisson
    one, :math:`\sqrt{m / E}`. Units are taken as a random sample. Where densities differ between
    units by more than their own size (coefficient of variation above 1) the interval is too narrow;
    where the units hold only a few colonies it is too wide.

    References
    ----------
    .. [1] Oehlert, G.W. (1992). A note on the delta method. Am. Stat. 46, 27-29.
    .. [2] Hwang, T.-Y. & Hu, C.-Y. (1999). On a characterization of the gamma distribution: the
       independence of the sample mean and the sample coefficient of variation. Ann. Inst. Stat.
       Math. 51, 749-753 (cited from memory; the factor is our working from it).

    Examples
    --------
    >>> lo, hi = rate_interval(3.0, 0.801783725737, 8)
    >>> print(f"{lo:.2f} to {hi:.2f}")
    1.62 to 6.00
    """
    mean, u, n = (np.asarray(a, dtype=np.float64) for a in (mean, u, n_units))
    effort = np.asarray(effort, dtype=np.float64)
    free = n - 1 if df is None else np.asarray(df, dtype=np.float64)
    with np.errstate(all="ignore"):
        u = np.where(is_apart(u, mean, mean), u, np.sqrt(mean / effort))
        s = u / mean
        beyond = np.where(effort > 0, np.maximum(u**2 * effort / mean, 1.0), np.inf)
        s = s * terms.second_order(beyond, s)
        reach = stdtrit(free, 1 - np.asarray(terms.error) / 2) * s
        inner = (mean > 0) & (n > 1)
        middle = _within(s**2 / 2, reach)
        lo = np.where(inner, mean * np.exp(middle - reach), np.nan)
        hi = np.where(inner, mean * np.exp(middle + reach), np.nan)
        hi = np.where((mean <= 0) & (n > 1), zero_rate_limit(n, effort, error=terms.error), hi)
    return lo, hi


def zero_rate_limit(
    n_units: ArrayLike, effort: ArrayLike, k: float = ZERO_K, error: ArrayLike = ERROR
) -> FloatArray:
    r"""
    Return the upper 95 % limit of a density of which no unit shows anything.

    Parameters
    ----------
    n_units : array_like of int
    effort : array_like of float
        Area or minutes of all units together.
    k : float
        Clumping assumed: the densities of units have a coefficient of variation of
        :math:`1/\sqrt{k}`.
    error : array_like of float
        Chance that the truth lies beyond.

    Returns
    -------
    ndarray of float

    Notes
    -----
    The density :math:`\lambda` at which negative binomial counts are all zero with a chance of
    5 %: :math:`(1 + \lambda e/k)^{-kn} = 0.05` with :math:`e = E/n` [1]_. With stronger clumping
    than assumed the limit reads too low.

    References
    ----------
    .. [1] Bliss, C.I. & Fisher, R.A. (1953). Fitting the negative binomial distribution to
       biological data. Biometrics 9, 176-200.

    Examples
    --------
    >>> print(f"{zero_rate_limit(5, 50.0):.3f}")
    0.082
    """
    n = np.asarray(n_units, dtype=np.float64)
    each = np.asarray(effort, dtype=np.float64) / n
    return np.asarray(k * (np.asarray(error, dtype=np.float64) ** (-1 / (k * n)) - 1) / each)


def clopper_pearson_interval(hits: ArrayLike, counted: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """
    Return the exact 95 % intervals of a binomial share.

    Parameters
    ----------
    hits, counted : array_like of int

    Returns
    -------
    lo95, hi95 : ndarray of float

    Notes
    -----
    Quantiles of beta distributions [1]_. Covers at least 95 %, mostly more; kept as a check.

    References
    ----------
    .. [1] Clopper, C.J. & Pearson, E.S. (1934). Biometrika 26, 404-413.

    Examples
    --------
    >>> lo, hi = clopper_pearson_interval(81, 263)
    >>> print(f"{lo:.4f} {hi:.4f}")
    0.2527 0.3676
    """
    k, n = np.asarray(hits, dtype=np.float64), np.asarray(counted, dtype=np.float64)
    inside, outside = np.maximum(k, 1e-300), np.maximum(n - k, 1e-300)
    lo = np.where(k > 0, betaincinv(inside, n - k + 1, 1 - P_HI), 0.0)
    hi = np.where(k < n, betaincinv(k + 1, outside, P_HI), 1.0)
    return lo, hi


def poisson_gamma_interval(count: ArrayLike) -> tuple[FloatArray, FloatArray]:
    r"""
    Return the exact 95 % intervals of the expectation of a Poisson count.

    Parameters
    ----------
    count : array_like of int

    Returns
    -------
    lo95, hi95 : ndarray of float

    Notes
    -----
    Quantiles of gamma distributions with shapes :math:`c` and :math:`c + 1` [1]_. Colonies are
    taken as scattered at random: it is about one reading, and never about the reef.

    References
    ----------
    .. [1] Garwood, F. (1936). Fiducial limits for the Poisson distribution. Biometrika 28, 437-442.

    Examples
    --------
    >>> lo, hi = poisson_gamma_interval(10)
    >>> print(f"{lo:.2f} {hi:.2f}")
    4.80 18.39
    """
    c = np.asarray(count, dtype=np.float64)
    lo = np.where(c > 0, gammaincinv(np.maximum(c, 1e-300), 1 - P_HI), 0.0)
    return lo, np.asarray(gammaincinv(c + 1, P_HI))
