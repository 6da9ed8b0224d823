"""How many genera there are, seen and unseen: lower bounds, jackknives, and Hill numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.diversity import Counted, Sample, unseen_decay

FloatArray = NDArray[np.float64]
MOST_RARE = 10
"""Colonies up to which a genus counts as rare in `abundance_coverage`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Richness:
    """
    An estimate of all genera there are.

    Parameters
    ----------
    form : str
        Which estimator, its form included.
    estimate : float
    u : float or None
        One standard uncertainty by the published formula; not a promise of coverage.
    observed : int
        Genera found.
    is_lower_bound : bool
        The estimand is a lower bound of the richness, not the richness.
    estimand : str
    """

    form: str
    estimate: float
    u: float | None
    observed: int
    is_lower_bound: bool
    estimand: str


def chao1(sample: Sample, *, is_bias_corrected: bool) -> Richness:
    r"""
    Return Chao's lower bound of richness from colonies.

    Parameters
    ----------
    sample : Sample
        Of colonies.
    is_bias_corrected : bool
        Which form; state it beside the figure.

    Returns
    -------
    Richness

    Raises
    ------
    InputError
        ``diversity-counts-impossible`` for a sample of units.

    Notes
    -----
    Classic: :math:`S + \frac{n-1}{n} f_1^2 / 2 f_2`, and without doubletons
    :math:`S + \frac{n-1}{n} f_1 (f_1-1)/2`. Bias-corrected: :math:`S + f_1(f_1-1)/2(f_2+1)` [1]_.
    Variance of the classic form as in [2]_; of the other by the delta method with the multinomial
    covariance of the numbers of genera by count, :math:`f_i (\delta_{ij} - f_j/\hat S)`.

    References
    ----------
    .. [1] Chao, A. (1984). Scand. J. Stat. 11, 265-270.
    .. [2] Chao, A. (1987). Biometrics 43, 783-791.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_counts
    >>> found = chao1(read_counts([9, 4, 2, 1, 1], Counted.COLONIES), is_bias_corrected=True)
    >>> found.estimate
    5.5
    """
    _require(sample, Counted.COLONIES)
    f1, f2 = sample.held(1), sample.held(2)
    if not is_bias_corrected:
        return _lower_bound(sample, "chao1_classic", (sample.n - 1) / sample.n)
    more = f1 * (f1 - 1) / (2 * (f2 + 1))
    slope1 = 1 + (2 * f1 - 1) / (2 * (f2 + 1))
    slope2 = 1 - f1 * (f1 - 1) / (2 * (f2 + 1) ** 2)
    rest = sample.richness - f1 - f2
    spread = f1 * slope1**2 + f2 * slope2**2 + rest
    spread -= (f1 * slope1 + f2 * slope2 + rest) ** 2 / (sample.richness + more)
    return _richness(sample, "chao1_bias_corrected", more, spread, is_lower_bound=True)


def abundance_coverage(sample: Sample) -> Richness:
    r"""
    Return the abundance-based coverage estimate of richness from colonies.

    Parameters
    ----------
    sample : Sample
        Of colonies.

    Returns
    -------
    Richness
        Without a standard uncertainty.

    Raises
    ------
    InputError
        ``diversity-counts-impossible`` for a sample of units, or where every rare genus was met
        once only, so that nothing says how much of the rare ones was covered.

    Notes
    -----
    Genera of at most 10 colonies are rare, :math:`S_r` of them with :math:`N` colonies in all and
    coverage :math:`C = 1 - f_1/N`: :math:`S - S_r + (S_r + f_1 \gamma^2)/C` with
    :math:`\gamma^2 = \max(S_r \sum i(i-1)f_i / (C N(N-1)) - 1, 0)` [1]_. It may read high or low.

    References
    ----------
    .. [1] Chao, A. & Lee, S.-M. (1992). J. Am. Stat. Assoc. 87, 210-217.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_counts
    >>> found = abundance_coverage(read_counts([40, 9, 4, 2, 1, 1], Counted.COLONIES))
    >>> print(f"{found.estimate:.2f}")
    8.46
    """
    _require(sample, Counted.COLONIES)
    rare = sample.counts[(sample.counts > 0) & (sample.counts <= MOST_RARE)].astype(np.float64)
    n, once = float(rare.sum()), float(sample.held(1))
    if not n:
        return _richness(sample, "ace", 0.0, None, is_lower_bound=False)
    if once == n:
        raise InputError(
            "diversity-counts-impossible",
            "Every rare genus was met once only: nothing says how much of them was covered.",
            "Take Chao1, a lower bound.",
        )
    covered = 1 - once / n
    pairs = float((rare * (rare - 1)).sum())
    uneven = max(len(rare) * pairs / (covered * n * (n - 1)) - 1, 0.0)
    more = (len(rare) + once * uneven) / covered - len(rare)
    return _richness(sample, "ace", more, None, is_lower_bound=False)


def chao2(sample: Sample) -> Richness:
    r"""
    Return Chao's lower bound of richness from units.

    Parameters
    ----------
    sample : Sample
        Of units.

    Returns
    -------
    Richness

    Raises
    ------
    InputError
        ``diversity-counts-impossible`` for a sample of colonies.

    Notes
    -----
    :math:`S + \frac{T-1}{T} Q_1^2/2 Q_2`; without genera of two units
    :math:`S + \frac{T-1}{T} Q_1 (Q_1-1)/2` [1]_.

    References
    ----------
    .. [1] Chao, A. (1987). Biometrics 43, 783-791.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_units
    >>> chao2(read_units([[1, 1, 0, 0], [1, 1, 1, 0], [1, 0, 0, 1], [1, 0, 0, 0]])).estimate
    5.5
    """
    _require(sample, Counted.UNITS)
    return _lower_bound(sample, "chao2", (sample.n - 1) / sample.n)


def unseen_genera(sample: Sample) -> float:
    """
    Return the fewest genera that are likely still unseen, by Chao's classic form.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    float

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_counts
    >>> unseen_genera(read_counts([9, 4, 2], Counted.COLONIES))
    0.0
    """
    return _lower_bound(sample, "chao", (sample.n - 1) / sample.n).estimate - sample.richness


def _lower_bound(sample: Sample, form: str, a: float) -> Richness:
    """Return the classic form, for colonies or units, with its variance (Chao 1987)."""
    f1, f2 = sample.held(1), sample.held(2)
    if f2:
        r = f1 / f2
        more = a * f1**2 / (2 * f2)
        spread = f2 * (a * r**2 / 2 + a**2 * r**3 + a**2 * r**4 / 4)
    else:
        more = a * f1 * (f1 - 1) / 2
        spread = more + a**2 * f1 * (2 * f1 - 1) ** 2 / 4
        spread -= a**2 * f1**4 / (4 * (sample.richness + more))
    return _richness(sample, form, more, spread, is_lower_bound=True)


def jackknife_richness(sample: Sample, order: int) -> Richness:
    r"""
    Return the jackknife of richness of order 1 or 2 from units.

    Parameters
    ----------
    sample : Sample
        Of units.
    order : int
        1 or 2.

    Returns
    -------
    Richness
        With a standard uncertainty for order 1 only.

    Raises
    ------
    InputError
        ``diversity-counts-impossible``.

    Notes
    -----
    :math:`S + Q_1 (T-1)/T` with :math:`u^2 = \frac{T-1}{T} (\sum r_j^2 - Q_1^2/T)`, where unit j
    alone holds :math:`r_j` genera [1]_;
    :math:`S + Q_1 (2T-3)/T - Q_2 (T-2)^2/T(T-1)` [2]_. Neither is a bound: they may read high or
    low, and the second is the more restless.

    References
    ----------
    .. [1] Heltshe, J.F. & Forrester, N.E. (1983). Biometrics 39, 1-11.
    .. [2] Burnham, K.P. & Overton, W.S. (1979). Ecology 60, 927-936.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_units
    >>> seen = [[1, 1, 0, 0], [1, 1, 1, 0], [1, 0, 0, 1], [1, 0, 0, 0]]
    >>> jackknife_richness(read_units(seen), 1).estimate
    5.5
    """
    seen = _seen(sample)
    t, q1, q2 = sample.n, sample.held(1), sample.held(2)
    if order == 1:
        alone = seen[:, sample.counts == 1].sum(axis=1)
        spread = (t - 1) / t * (float((alone**2).sum()) - q1**2 / t)
        return _richness(sample, "jackknife_1", q1 * (t - 1) / t, spread, is_lower_bound=False)
    more = q1 * (2 * t - 3) / t - q2 * (t - 2) ** 2 / (t * (t - 1))
    return _richness(sample, "jackknife_2", more, None, is_lower_bound=False)


def bootstrap_richness(sample: Sample) -> Richness:
    r"""
    Return the bootstrap estimate of richness from units, by its closed form.

    Parameters
    ----------
    sample : Sample
        Of units.

    Returns
    -------
    Richness

    Raises
    ------
    InputError
        ``diversity-counts-impossible``.

    Notes
    -----
    :math:`S + \sum (1 - p_i)^T`, variance from the units that hold neither of two genera [1]_.
    Reads low where many genera are rare.

    References
    ----------
    .. [1] Smith, E.P. & van Belle, G. (1984). Biometrics 40, 119-129.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_units
    >>> print(f"{bootstrap_richness(read_units([[1, 1, 0], [1, 0, 1]])).estimate:.2f}")
    3.50
    """
    seen = _seen(sample)
    t = sample.n
    missed = (1.0 - sample.counts / t) ** t
    without = 1.0 - seen
    pairs = (without.T @ without / t) ** t - np.outer(missed, missed)
    np.fill_diagonal(pairs, missed * (1 - missed))
    return _richness(
        sample, "bootstrap", float(missed.sum()), float(pairs.sum()), is_lower_bound=False
    )


def asymptotic_hill(sample: Sample) -> tuple[float, float, float]:
    r"""
    Return the estimated Hill numbers of order 0, 1 and 2 of all there is.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    tuple of float
        The first is a lower bound of the richness; the others are nearly unbiased.

    Notes
    -----
    Order 0 by Chao's classic form; order 1 by the entropy of [1]_; order 2 by
    :math:`n(n-1)/\sum x(x-1)`; for units as in [2]_.

    References
    ----------
    .. [1] Chao, A., Wang, Y.T. & Jost, L. (2013). Methods Ecol. Evol. 4, 1091-1100.
    .. [2] Chao, A. et al. (2014). Ecol. Monogr. 84, 45-67.

    Examples
    --------
    >>> from dryslate.core.survey.diversity import read_counts
    >>> found = asymptotic_hill(read_counts([9, 4, 2, 1, 1], Counted.COLONIES))
    >>> print([round(d, 2) for d in found])
    [6.88, 4.31, 3.16]
    """
    from scipy.special import digamma

    x, n = sample.counts, sample.n
    a_trial = sample.total / n
    inside = float((x / n * (digamma(n) - digamma(x))).sum())
    inside += sample.held(1) / n * entropy_tail(n, unseen_decay(sample))
    entropy = inside / a_trial + math.log(a_trial)
    pairs = float((x * (x - 1)).sum()) / (n * (n - 1))
    second = a_trial**2 / pairs if pairs > 0 else math.inf
    return sample.richness + unseen_genera(sample), math.exp(entropy), second


def entropy_tail(n: int, b: float) -> float:
    """
    Return the sum of b^j / (n - 1 + j) over j from 1, in whichever way loses no digits.

    Parameters
    ----------
    n : int
    b : float
        0 to under 1.

    Returns
    -------
    float

    Examples
    --------
    >>> print(f"{entropy_tail(1, 0.5):.6f}")
    0.693147
    """
    if b <= 0:
        return 0.0
    if n * (1 - b) > 1:
        j = np.arange(1, math.ceil(45.0 / (1 - b)) + 1)
        return float((b**j / (n - 1 + j)).sum())
    r = np.arange(1, n)
    return float((-math.log1p(-b) - (b**r / r).sum()) * b ** (1.0 - n))


def _require(sample: Sample, counted: Counted) -> None:
    """Refuse a sample of the other kind."""
    if sample.counted is not counted:
        raise InputError(
            "diversity-counts-impossible",
            "This estimator is made for the other kind of counts.",
            "Chao1 goes with colonies; Chao2, jackknives and accumulation go with units.",
        )


def _seen(sample: Sample) -> FloatArray:
    """Return which units hold which genera."""
    _require(sample, Counted.UNITS)
    assert sample.seen is not None
    return sample.seen


def _richness(
    sample: Sample, form: str, more: float, spread: float | None, *, is_lower_bound: bool
) -> Richness:
    """Put a result together."""
    bound = "lower bound of the number of genera there are"
    return Richness(
        form=form,
        estimate=sample.richness + more,
        u=None if spread is None else math.sqrt(max(spread, 0.0)),
        observed=sample.richness,
        is_lower_bound=is_lower_bound,
        estimand=bound if is_lower_bound else "number of genera there are; may read high or low",
    )
