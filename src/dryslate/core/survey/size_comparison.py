"""Two size distributions compared: Kolmogorov-Smirnov, and units as the replicate."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import ALIKE, P_HI
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.resampling import FloatArray, Resampling, fit_bootstrap, ratio_jackknife
from dryslate.core.survey.size_frequency import FEWEST_COLONIES
from dryslate.core.survey.sizes import ColonySizes, flag_weighted
from dryslate.core.survey.statement import SurveySettings, state_bootstrap

N_PERMUTATIONS = 4_999
MOST_EXACT = 1_000
"""Colonies of both groups: of more, the ways to mix them are no number a computer holds."""
_AT_ONCE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeComparison:
    """
    Two size distributions compared.

    Parameters
    ----------
    ks_d : float
        Greatest distance between the two cumulative distributions.
    p_colonies : float or None
        Of `ks_d` by Kolmogorov and Smirnov, colonies taken as independent; None where colonies had
        unequal chances.
    p_units : float or None
        Of `ks_d` by exchanging whole units between the groups; None without a generator.
    n_distinct_permutations : int
        Ways of dealing the units out.
    p_smallest : float
        The least `p_units` that so many ways, or permutations, can give.
    ratio : Estimate
        Geometric mean of the second over the first.
    flags : tuple of Flag
    """

    ks_d: float
    p_colonies: float | None
    p_units: float | None
    n_distinct_permutations: int
    p_smallest: float
    ratio: Estimate
    flags: tuple[Flag, ...]


def compare_sizes(
    first: ColonySizes, second: ColonySizes, settings: SurveySettings
) -> SizeComparison:
    r"""
    Compare the sizes of colonies of two groups of units.

    Parameters
    ----------
    first, second : ColonySizes
        Each with a colony at least.
    settings : SurveySettings
        `rng` draws the permutations.

    Returns
    -------
    SizeComparison
        Flagged ``few_colonies`` if either group has under 50.

    Raises
    ------
    ValueError
        If a group has no colony.
    InputError
        ``survey-method-not-for-this``.

    Notes
    -----
    The test of Kolmogorov and Smirnov [1]_ takes colonies as independent: recruits of one patch
    are not, and its p then reads too small. Exchanging whole units keeps them together; it asks
    whether the groups differ in any way. Ties of rounded sizes make `p_colonies` read large. The
    ratio of geometric means has the jackknife of units of each group and Satterthwaite's degrees
    of freedom, on the logarithm; BCa on request where both groups have 15 units.

    References
    ----------
    .. [1] Massey, F.J. (1951). The Kolmogorov-Smirnov test for goodness of fit. J. Am. Stat. Assoc.
       46, 68-78.
    .. [2] Phipson, B. & Smyth, G.K. (2010). Permutation p-values should never be zero. Stat. Appl.
       Genet. Mol. Biol. 9, 39.

    Examples
    --------
    >>> from dryslate.core.survey.sizes import require_sizes
    >>> small, large = require_sizes([[3, 5], [6, 4]]), require_sizes([[9, 14], [11, 20]])
    >>> found = compare_sizes(small, large, SurveySettings())
    >>> print(f"{found.ks_d:.1f} {found.p_colonies:.3f} {found.ratio.estimate:.2f}")
    1.0 0.029 2.96
    """
    if not len(first.size_cm) or not len(second.size_cm):
        raise ValueError("expected a colony in each group")
    d = _distance(first.size_cm, first.weight, second.size_cm, second.weight)
    flags: list[Flag] = []
    p_colonies = None
    if not first.is_weighted and not second.is_weighted:
        flags.append(Flag.COLONIES_TAKEN_AS_INDEPENDENT)
        p_colonies = _colonies_p(first.size_cm, second.size_cm)
    if min(len(first.size_cm), len(second.size_cm)) < FEWEST_COLONIES:
        flags.append(Flag.FEW_COLONIES)
    n_distinct = math.comb(first.n_units + second.n_units, first.n_units)
    alike = 2 if first.n_units == second.n_units else 1  # groups of one size changed over
    p_units = None if settings.rng is None else _permuted_p(first, second, d, settings.rng)
    return SizeComparison(
        ks_d=d,
        p_colonies=p_colonies,
        p_units=p_units,
        n_distinct_permutations=n_distinct,
        p_smallest=max(alike / n_distinct, 1.0 / (N_PERMUTATIONS + 1)),
        ratio=flag_weighted(_ratio(first, second, settings), first, second),
        flags=tuple(flags),
    )


def _colonies_p(a: FloatArray, b: FloatArray) -> float:
    """P by Kolmogorov and Smirnov: exact where a computer can count the ways, else by its limit."""
    from scipy.stats import ks_2samp

    way: Literal["exact", "asymp"] = "exact" if len(a) + len(b) <= MOST_EXACT else "asymp"
    with warnings.catch_warnings():  # of an exact p beyond 1 by rounding: the limit gives it then
        warnings.simplefilter("ignore", RuntimeWarning)
        return float(ks_2samp(a, b, method=way).pvalue)


def _distance(a: FloatArray, wa: FloatArray, b: FloatArray, wb: FloatArray) -> float:
    """Greatest distance between two weighted cumulative distributions."""
    at = np.unique(np.concatenate([a, b]))
    parts = []
    for size, weight in ((a, wa), (b, wb)):
        order = np.argsort(size)
        grown = np.concatenate([[0.0], np.cumsum(weight[order])])
        parts.append(grown[np.searchsorted(size[order], at, side="right")] / grown[-1])
    return float(np.abs(parts[0] - parts[1]).max())


def _permuted_p(
    first: ColonySizes, second: ColonySizes, observed: float, rng: np.random.Generator
) -> float:
    """Share of deals of whole units that part the groups as far (Phipson & Smyth 2010)."""
    size = np.concatenate([first.size_cm, second.size_cm])
    weight = np.concatenate([first.weight, second.weight])
    unit = np.concatenate([first.unit, second.unit + first.n_units])
    n = first.n_units + second.n_units
    order = np.argsort(size, kind="stable")
    at, where = np.unique(size[order], return_index=True)
    ends = np.append(where[1:], len(size)) - 1
    grown = np.zeros((n, len(at)))
    for u in range(n):
        grown[u] = np.cumsum(np.where(unit[order] == u, weight[order], 0.0))[ends]
    total, beyond = grown.sum(axis=0), 0
    for start in range(0, N_PERMUTATIONS, _AT_ONCE):
        deals = np.tile(np.arange(n), (min(_AT_ONCE, N_PERMUTATIONS - start), 1))
        dealt = np.zeros(deals.shape)
        np.put_along_axis(dealt, rng.permuted(deals, axis=1)[:, : first.n_units], 1.0, axis=1)
        part = dealt @ grown
        rest = total - part
        with np.errstate(all="ignore"):  # a group without a colony is as far away as can be
            d = np.abs(part / part[:, -1:] - rest / rest[:, -1:]).max(axis=1)
        beyond += int((~(d < observed - 1e-12)).sum())
    return (beyond + 1) / (N_PERMUTATIONS + 1)


def _ratio(first: ColonySizes, second: ColonySizes, settings: SurveySettings) -> Estimate:
    """Ratio of geometric means, with units as replicates."""
    logs = [np.log(g.size_cm) for g in (first, second)]
    sums = [g.unit_sums(x) for g, x in zip((first, second), logs, strict=True)]
    totals = [g.unit_sums(np.ones_like(g.size_cm)) for g in (first, second)]
    n = [int((t > 0).sum()) for t in totals]
    pairs = [ratio_jackknife(s, t) for s, t in zip(sums, totals, strict=True)]
    difference = float(pairs[1][0] - pairs[0][0])
    parts = [float(u) ** 2 for _, u in pairs]
    what = "geometric_mean_ratio"
    flags = settings.scope_flags()
    if min(n) < 2:
        flags = (*flags, Flag.ONE_UNIT)
        return Estimate(what=what, estimate=math.exp(difference), n_units=sum(n), flags=flags)
    method = require_method(Figure.SIZE_RATIO, min(n), settings.method)
    if method is Method.BCA:
        return _ratio_bca(what, sums, totals, settings)
    variance = sum(parts)
    if not math.sqrt(variance) > ALIKE:
        flags = (*flags, Flag.NO_SPREAD)
        return Estimate(what=what, estimate=math.exp(difference), n_units=sum(n), flags=flags)
    df = variance**2 / sum(p**2 / (m - 1) for p, m in zip(parts, n, strict=True))
    reach = float(stdtrit(df, P_HI)) * math.sqrt(variance)
    return Estimate(
        what=what,
        estimate=math.exp(difference),
        u=math.exp(difference) * math.sqrt(variance),
        lo95=math.exp(difference - reach),
        hi95=math.exp(difference + reach),
        method=method,
        n_units=sum(n),
        df=df,
        flags=flags,
    )


def _ratio_bca(
    what: str, sums: list[FloatArray], totals: list[FloatArray], settings: SurveySettings
) -> Estimate:
    """The same by a bootstrap of the units of each group."""
    if settings.rng is None:
        raise ValueError("a bootstrap needs a seeded generator in the settings")
    held = [t > 0 for t in totals]
    n = [int(h.sum()) for h in held]
    (sum1, sum2), (total1, total2) = (
        [v[h] for v, h in zip(values, held, strict=True)] for values in (sums, totals)
    )

    def ratio(drawn: FloatArray) -> FloatArray:
        a, b = drawn[:, : n[0]], drawn[:, n[0] :]
        return np.asarray(np.exp((b @ sum2) / (b @ total2) - (a @ sum1) / (a @ total1)))

    found = fit_bootstrap(ratio, sum(n), settings.rng, Resampling(n_first=n[0], is_widened=True))
    return state_bootstrap(what, found, (sum(n), 0), settings.scope_flags())
