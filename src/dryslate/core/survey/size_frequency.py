"""Size-frequency: classes and the statistics of log size, with intervals over units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from dryslate.base.quality import Flag
from dryslate.core.survey.coverage import LINE_SIZES, CoverageTable, coverage_flags
from dryslate.core.survey.estimate import Estimate, or_none
from dryslate.core.survey.intervals import ALIKE, P_HI, ROUNDING, zero_fraction_limit
from dryslate.core.survey.methods import Figure, Method, find_rule, require_method
from dryslate.core.survey.resampling import FloatArray, Statistic, ratio_jackknife
from dryslate.core.survey.sizes import ColonySizes, flag_weighted, measure_shape
from dryslate.core.survey.statement import SurveySettings, common_flags, state_bca

FEWEST_COLONIES = 50
"""Under so many colonies the shape of a distribution is hardly known."""
COVERED_LOW = ("log_skewness", "log_kurtosis")
"""Figures whose BCa interval held the truth in 91 to 93 % of simulated surveys."""
LIKE_LINES = 0.7, 1.4
"""Spread of log weights over that of log sizes: lines weigh by one over the width (1), points by
one over the area (2)."""
FEW_A_LINE = 15
"""Colonies a line under which 86 to 94 % of simulated intervals of weighed sizes held the truth."""
CLASS_EDGES_CM = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
"""Lower ends of the default classes, 5·2^k cm; the last is open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeClass:
    """
    One size class.

    Parameters
    ----------
    lo_cm, hi_cm : float
        Lower end in, upper end out; the last class is open.
    count : int
        Colonies measured.
    share : Estimate
        Of colonies on the reef, so weighted where chances were unequal.
    """

    lo_cm: float
    hi_cm: float
    count: int
    share: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeFrequency:
    """
    A size distribution.

    Parameters
    ----------
    n_colonies, n_units : int
    cut_off_cm : float
        Smaller colonies are left out; 0: none.
    n_below_cut_off : int
    classes : tuple of SizeClass
    modal_class_cm : (float, float) or None
        The class with the largest share.
    figures : tuple of Estimate
        ``geometric_mean_cm``, ``cv_pct``, ``log_sd``, ``log_skewness``, ``log_kurtosis``; logs
        are natural.
    flags : tuple of Flag
    """

    n_colonies: int
    n_units: int
    cut_off_cm: float
    n_below_cut_off: int
    classes: tuple[SizeClass, ...]
    modal_class_cm: tuple[float, float] | None
    figures: tuple[Estimate, ...]
    flags: tuple[Flag, ...]


def describe_sizes(
    sizes: ColonySizes,
    settings: SurveySettings,
    edges_cm: Sequence[float] = CLASS_EDGES_CM,
) -> SizeFrequency:
    r"""
    Describe the sizes of colonies.

    Parameters
    ----------
    sizes : ColonySizes
    settings : SurveySettings
        With `rng` where there are 15 units or more.
    edges_cm : sequence of float
        Lower ends of the classes, rising; the last is open.

    Returns
    -------
    SizeFrequency
        Flagged ``few_colonies`` under 50, ``sizes_cut_off`` where there is a cut-off.

    Raises
    ------
    ValueError
        If the lower ends do not rise, or a colony is smaller than the first.
    InputError
        ``survey-method-not-for-this``.

    Notes
    -----
    Sizes of colonies are about log-normal [1]_: geometric mean, standard deviation, skewness and
    kurtosis are of natural log size, the coefficient of variation of size itself. The geometric
    mean has the jackknife of units and t on the logarithm; the rest, and the shares of classes,
    the BCa bootstrap of the units that hold colonies, at 15 or more and no interval below. A class
    without a colony has an upper limit there, one with all a lower. The coefficient of variation
    has none: it hangs on the few largest colonies and reads low, and no interval held it. Small
    colonies are missed sooner, which makes the mean read high and the skewness low; a cut-off makes
    surveys comparable and is stated, but its figures are those of larger colonies only.

    References
    ----------
    .. [1] Bak, R.P.M. & Meesters, E.H. (1998). Coral population structure: the hidden information
       of colony size-frequency distributions. Mar. Ecol. Prog. Ser. 162, 301-306.

    Examples
    --------
    >>> from dryslate.core.survey.sizes import require_sizes
    >>> found = describe_sizes(require_sizes([[4, 6, 9], [12, 20], [7]]), SurveySettings())
    >>> print(f"{found.figures[0].estimate:.2f} cm", found.modal_class_cm, found.flags[0].value)
    8.45 cm (5.0, 10.0) few_colonies
    """
    edges = np.asarray(edges_cm, dtype=np.float64)
    if len(edges) < 1 or (np.diff(edges) <= 0).any():
        raise ValueError("expected lower ends of classes that rise")
    flags: list[Flag] = []
    if len(sizes.size_cm) < FEWEST_COLONIES:
        flags.append(Flag.FEW_COLONIES)
    if sizes.cut_off_cm > 0:
        flags.append(Flag.SIZES_CUT_OFF)
    classes = _classes(sizes, edges, settings) if len(sizes.size_cm) else ()
    if sum(c.count for c in classes) < len(sizes.size_cm):
        raise ValueError(f"colonies smaller than the first class, {edges[0]:g} cm")
    modal = max(classes, key=lambda c: c.share.estimate or 0.0, default=None)
    figures: tuple[Estimate, ...] = ()
    if len(sizes.size_cm):
        shape = _shape_figures(sizes, settings)
        weighed = tuple(flag_weighted(one, sizes) for one in shape)
        figures = (geometric_mean(sizes, settings), _variation(sizes, settings), *weighed)
    marked = tuple(replace(f, flags=tuple(dict.fromkeys((*f.flags, *flags)))) for f in figures)
    return SizeFrequency(
        n_colonies=len(sizes.size_cm),
        n_units=sizes.n_units,
        cut_off_cm=sizes.cut_off_cm,
        n_below_cut_off=sizes.n_below_cut_off,
        classes=classes,
        modal_class_cm=(modal.lo_cm, modal.hi_cm) if modal else None,
        figures=marked,
        flags=tuple(flags),
    )


def geometric_mean(sizes: ColonySizes, settings: SurveySettings) -> Estimate:
    r"""
    Estimate the geometric mean size of colonies.

    Parameters
    ----------
    sizes : ColonySizes
        With a colony at least.
    settings : SurveySettings

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        ``survey-method-not-for-this``.

    Notes
    -----
    :math:`\exp(\sum w \ln s / \sum w)`, a ratio of sums over units, with the jackknife of units and
    t with one degree of freedom fewer than units that held colonies, on the logarithm.

    Examples
    --------
    >>> from dryslate.core.survey.sizes import require_sizes
    >>> found = geometric_mean(require_sizes([[4, 6, 9], [12, 20], [7]]), SurveySettings())
    >>> print(f"{found.estimate:.2f} cm ({found.lo95:.1f} to {found.hi95:.1f})")
    8.45 cm (1.7 to 42.0)
    """
    sums, totals = sizes.unit_sums(np.log(sizes.size_cm)), sizes.unit_sums(1.0 + 0 * sizes.size_cm)
    held = totals > 0
    n = int(held.sum())
    what = "geometric_mean_cm"
    method = require_method(Figure.GEOMETRIC_MEAN, n, settings.method)
    if method is Method.BCA:
        return state_bca(
            what, lambda c: np.exp((c @ sums[held]) / (c @ totals[held])), n, 0, settings
        )
    log_mean, log_u = (float(v) for v in ratio_jackknife(sums, totals))
    flags = common_flags(settings, n, 0)
    if n < 2 or not log_u > ALIKE:
        return Estimate(
            what=what,
            estimate=math.exp(log_mean),
            n_units=n,
            flags=flags if n < 2 else (*flags, Flag.NO_SPREAD),
        )
    reach = float(stdtrit(n - 1, P_HI)) * log_u
    if settings.coverage:
        flags = (*flags, *_simulated(sizes, n, log_u, settings.coverage))
    return Estimate(
        what=what,
        estimate=math.exp(log_mean),
        u=math.exp(log_mean) * log_u,
        lo95=math.exp(log_mean - reach),
        hi95=math.exp(log_mean + reach),
        method=method,
        n_units=n,
        df=float(n - 1),
        flags=flags,
    )


def _simulated(
    sizes: ColonySizes, n_units: int, log_u: float, table: CoverageTable
) -> tuple[Flag, ...]:
    """
    Say what simulated surveys tell of a geometric mean.

    Weighted sizes were simulated as lines meet them, weighed by one over the width: weights that go
    with size much otherwise (those of points go with the area) were not. Under `FEW_A_LINE` the
    spread found is too rough to look the survey up by: surveys that happen to look even are those
    that miss.
    """
    variance = float(np.log(sizes.size_cm).var(ddof=1)) if len(sizes.size_cm) > 1 else math.nan
    if not variance > 0:
        return (Flag.COVERAGE_NOT_SIMULATED,)
    each, spread = len(sizes.size_cm) / n_units, n_units * log_u**2 / variance
    if not sizes.is_weighted:
        return coverage_flags(table, Figure.GEOMETRIC_MEAN, n_units, each, 0.0, spread)
    sd = math.sqrt(variance)
    low, high = LIKE_LINES
    if not low <= float(np.log(sizes.weight).std(ddof=1)) / sd <= high:
        return (Flag.COVERAGE_NOT_SIMULATED,)
    if each < FEW_A_LINE:
        return (Flag.COVERAGE_LOW,)
    return coverage_flags(table, LINE_SIZES, n_units, each, 100 * sd, spread)


def size_statistics(sizes: ColonySizes) -> dict[str, Statistic]:
    """
    Return spread and shape of log size as statistics of how often each unit was drawn.

    Parameters
    ----------
    sizes : ColonySizes
        With a colony at least.

    Returns
    -------
    dict
        ``log_sd``, ``log_skewness`` and ``log_kurtosis``.

    Notes
    -----
    From weighted sums of powers of each unit, so that a drawn sample costs a product of matrices.
    """
    log_size = np.log(sizes.size_cm)
    centred = log_size - np.average(log_size, weights=sizes.weight)
    logs = np.array([sizes.unit_sums(centred**k) for k in range(5)])
    squares = sizes.unit_sums(sizes.weight)
    least = ROUNDING * float((centred**2).max())

    def number(drawn: FloatArray) -> FloatArray:
        """Effective number of colonies drawn."""
        return np.asarray((drawn @ logs[0]) ** 2 / (drawn @ squares))

    def log_moments(drawn: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Central moments 2 to 4 of log size."""
        a, b, c, d = (np.asarray(drawn @ logs[k] / (drawn @ logs[0])) for k in (1, 2, 3, 4))
        m2 = b - a**2
        m2 = np.where(m2 > least, m2, 0.0)  # colonies all alike
        return m2, c - 3 * a * b + 2 * a**3, d - 4 * a * c + 6 * a**2 * b - 3 * a**4

    def log_sd(drawn: FloatArray) -> FloatArray:
        m2, _, _ = log_moments(drawn)
        n = number(drawn)
        return np.asarray(np.sqrt(m2 * n / (n - 1)))

    def skewness(drawn: FloatArray) -> FloatArray:
        m2, m3, _ = log_moments(drawn)
        n = number(drawn)
        return np.asarray(m3 / m2**1.5 * np.sqrt(n * (n - 1)) / (n - 2))

    def kurtosis(drawn: FloatArray) -> FloatArray:
        m2, _, m4 = log_moments(drawn)
        n = number(drawn)
        return np.asarray((n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * (m4 / m2**2 - 3) + 6))

    return {"log_sd": log_sd, "log_skewness": skewness, "log_kurtosis": kurtosis}


def _variation(sizes: ColonySizes, settings: SurveySettings) -> Estimate:
    """Coefficient of variation of size; no interval was found that holds it often enough."""
    shape = measure_shape(sizes.size_cm, sizes.weight)
    return Estimate(
        what="cv_pct",
        estimate=or_none(100 * shape.sd / shape.mean),
        n_units=sizes.n_units,
        flags=(*settings.scope_flags(), Flag.NO_SOUND_INTERVAL),
    )


def _shape_figures(sizes: ColonySizes, settings: SurveySettings) -> tuple[Estimate, ...]:
    """Each statistic, with BCa where there are units enough; shape with its simulated coverage."""
    found = [_shape(name, s, sizes, settings) for name, s in size_statistics(sizes).items()]
    return tuple(
        replace(f, flags=(*f.flags, Flag.COVERAGE_LOW))
        if f.what in COVERED_LOW and f.method is Method.BCA
        else f
        for f in found
    )


def _shape(
    what: str, statistic: Statistic, sizes: ColonySizes, settings: SurveySettings
) -> Estimate:
    """One statistic of the sizes; without interval under 15 units."""
    held = np.flatnonzero(sizes.unit_sums(np.ones_like(sizes.size_cm)) > 0)
    n = len(held)

    def of_held(drawn: FloatArray) -> FloatArray:
        """Return the statistic of units that hold colonies: the others say nothing of sizes."""
        every = np.zeros((len(drawn), sizes.n_units))
        every[:, held] = drawn
        return statistic(every)

    with np.errstate(all="ignore"):
        value = float(of_held(np.ones((1, n)))[0])
    if require_method(Figure.SIZE_SHAPE, n) is Method.BCA and math.isfinite(value):
        return state_bca(what, of_held, n, 0, settings)
    flags = common_flags(settings, n, 0)
    flags = flags if n == 1 else (*flags, Flag.FEW_UNITS)
    return Estimate(
        what=what, estimate=value if math.isfinite(value) else None, n_units=n, flags=flags
    )


def _classes(
    sizes: ColonySizes, edges: FloatArray, settings: SurveySettings
) -> tuple[SizeClass, ...]:
    """Counts as met, shares as on the reef."""
    at = np.searchsorted(edges, sizes.size_cm, side="right") - 1
    totals = sizes.unit_sums(1.0 + 0 * sizes.size_cm)
    found = []
    for k, lo in enumerate(edges):
        inside = sizes.unit_sums(at == k)

        def share(drawn: FloatArray, inside: FloatArray = inside) -> FloatArray:
            return np.asarray((drawn @ inside) / (drawn @ totals))

        stated = flag_weighted(_shape("class_share_frac", share, sizes, settings), sizes)
        found.append(
            SizeClass(
                lo_cm=float(lo),
                hi_cm=float(edges[k + 1]) if k + 1 < len(edges) else math.inf,
                count=int((at == k).sum()),
                share=_limited(stated, sizes),
            )
        )
    return tuple(found)


def _limited(share: Estimate, sizes: ColonySizes) -> Estimate:
    """Give a class that holds none of the colonies, or all, the limit that none found has."""
    rule = find_rule(Figure.SIZE_CLASS)
    value, is_few = share.estimate, share.n_units < rule.fewest_units
    if is_few or value is None or 0 < value < 1 or sizes.is_weighted:
        return share
    limit = float(zero_fraction_limit(share.n_units, len(sizes.size_cm)))
    flag = Flag.UPPER_LIMIT_ONLY if value <= 0 else Flag.LOWER_LIMIT_ONLY
    return replace(
        share,
        lo95=None if value <= 0 else 1 - limit,
        hi95=limit if value <= 0 else None,
        method=rule.all_zero,
        flags=(*(one for one in share.flags if one is not Flag.NO_SPREAD), flag),
    )
