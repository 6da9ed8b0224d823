"""Which interval goes with which figure: one table, fixed before any data are seen."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dryslate.base.errors import InputError


class Method(StrEnum):
    """How an interval was made; each has a page in ``docs/estimators``."""

    T_LOGIT = "t_logit"
    T_LOG = "t_log"
    JACKKNIFE_T_LOGIT = "jackknife_t_logit"
    JACKKNIFE_T_LOG = "jackknife_t_log"
    ZONES_T_LOGIT = "zones_t_logit"
    ZONES_T_LOG = "zones_t_log"
    TWO_GROUPS_T_LOG = "two_groups_t_log"
    PARTS_PAIRED = "parts_paired"
    PARTS_ANEW = "parts_anew"
    T_PAIRED = "t_paired"
    T_WELCH = "t_welch"
    WOODRUFF_T_LOGIT = "woodruff_t_logit"
    T_MIXED = "t_mixed"
    BOOTSTRAP_MIXED = "bootstrap_mixed"
    T_TREND = "t_trend"
    TWICE_NAMED = "twice_named_t"
    OUTSIDE_TABLE = "outside_table_draws"
    BETA_BINOMIAL = "beta_binomial"
    BCA = "bca"
    BOOTSTRAP_T_LOG = "bootstrap_t_log"
    WILSON = "wilson"
    POISSON_GAMMA = "poisson_gamma"
    LIMIT_FRACTION = "limit_fraction"
    LIMIT_COUNT = "limit_count"
    NONE = "none"


class Figure(StrEnum):
    """Kinds of figure that the table knows."""

    COVER = "cover"
    DENSITY = "density"
    LINE_DENSITY = "line_density"
    PREVALENCE = "prevalence"
    TISSUE_SHARE = "tissue_share"
    SITE_FRACTION = "site_fraction"
    SITE_DENSITY = "site_density"
    READING_FRACTION = "reading_fraction"
    READING_COUNT = "reading_count"
    GEOMETRIC_MEAN = "geometric_mean"
    SIZE_MEDIAN = "size_median"
    SIZE_QUANTILE = "size_quantile"
    SIZE_VARIATION = "size_variation"
    SIZE_SHAPE = "size_shape"
    SIZE_CLASS = "size_class"
    SIZE_RATIO = "size_ratio"
    HILL_NUMBER = "hill_number"
    PAIRED_CHANGE = "paired_change"
    PAIRED_DIFFERENCE = "paired_difference"
    UNPAIRED_CHANGE = "unpaired_change"
    UNPAIRED_DIFFERENCE = "unpaired_difference"
    CONTRAST = "contrast"
    MODEL_CHANGE = "model_change"
    MODEL_CHANGE_FEW = "model_change_few"
    TREND = "trend"


BETA_BINOMIAL_FEWEST = 8
"""Units that a beta-binomial interval needs."""
BCA_FEWEST = 15
"""Units that a bootstrap of units needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """
    One row of the table.

    Parameters
    ----------
    figure : Figure
    words : str
        The figure in plain words.
    method : Method
        The interval, unless another of `on_request` was asked for beforehand.
    fewest_units : int
    on_request : tuple of (Method, int)
        Others that may be asked for before the data are seen, each with its fewest units.
    all_zero : Method
        What stands there when every unit is zero.
    page : str
        File in ``docs/estimators``.
    """

    figure: Figure
    words: str
    method: Method
    fewest_units: int
    on_request: tuple[tuple[Method, int], ...] = ()
    all_zero: Method = Method.NONE
    page: str


_BETA = (Method.BETA_BINOMIAL, BETA_BINOMIAL_FEWEST)
_BCA = (Method.BCA, BCA_FEWEST)

RULES: tuple[Rule, ...] = (
    Rule(
        figure=Figure.COVER,
        words="Cover, and any mean of unit fractions",
        method=Method.T_LOGIT,
        fewest_units=2,
        on_request=(_BETA, _BCA),
        all_zero=Method.LIMIT_FRACTION,
        page="cover.md",
    ),
    Rule(
        figure=Figure.DENSITY,
        words="Density from belts and quadrats; counts per minute of timed swims",
        method=Method.T_LOG,
        fewest_units=2,
        on_request=(_BCA,),
        all_zero=Method.LIMIT_COUNT,
        page="density.md",
    ),
    Rule(
        figure=Figure.LINE_DENSITY,
        words="Density from line intercepts",
        method=Method.T_LOG,
        fewest_units=2,
        on_request=(_BCA,),
        page="line-density.md",
    ),
    Rule(
        figure=Figure.PREVALENCE,
        words="Prevalence: colonies with a sign, of colonies examined",
        method=Method.JACKKNIFE_T_LOGIT,
        fewest_units=2,
        on_request=(_BETA, _BCA),
        all_zero=Method.LIMIT_FRACTION,
        page="prevalence.md",
    ),
    Rule(
        figure=Figure.TISSUE_SHARE,
        words="Share of live tissue: a ratio of two amounts",
        method=Method.JACKKNIFE_T_LOGIT,
        fewest_units=2,
        on_request=(_BCA,),
        all_zero=Method.LIMIT_FRACTION,
        page="prevalence.md",
    ),
    Rule(
        figure=Figure.SITE_FRACTION,
        words="Site from zones: a fraction",
        method=Method.ZONES_T_LOGIT,
        fewest_units=2,
        all_zero=Method.LIMIT_FRACTION,
        page="zones.md",
    ),
    Rule(
        figure=Figure.SITE_DENSITY,
        words="Site from zones: a density",
        method=Method.ZONES_T_LOG,
        fewest_units=2,
        all_zero=Method.LIMIT_COUNT,
        page="zones.md",
    ),
    Rule(
        figure=Figure.READING_FRACTION,
        words="Reading of one photo or transect: a fraction of points or colonies",
        method=Method.WILSON,
        fewest_units=1,
        all_zero=Method.WILSON,
        page="readings.md",
    ),
    Rule(
        figure=Figure.READING_COUNT,
        words="Reading of one quadrat, belt or swim: a count",
        method=Method.POISSON_GAMMA,
        fewest_units=1,
        all_zero=Method.POISSON_GAMMA,
        page="readings.md",
    ),
    Rule(
        figure=Figure.GEOMETRIC_MEAN,
        words="Geometric mean size",
        method=Method.JACKKNIFE_T_LOG,
        fewest_units=2,
        on_request=(_BCA,),
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_MEDIAN,
        words="Median size",
        method=Method.WOODRUFF_T_LOGIT,
        fewest_units=3,
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_QUANTILE,
        words="Other quantiles of size",
        method=Method.WOODRUFF_T_LOGIT,
        fewest_units=10,
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_VARIATION,
        words="Coefficient of variation of size",
        method=Method.NONE,
        fewest_units=1,
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_SHAPE,
        words="Standard deviation, skewness and kurtosis of log size",
        method=Method.BCA,
        fewest_units=BCA_FEWEST,
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_CLASS,
        words="Share of a size class",
        method=Method.BCA,
        fewest_units=BCA_FEWEST,
        all_zero=Method.LIMIT_FRACTION,
        page="sizes.md",
    ),
    Rule(
        figure=Figure.SIZE_RATIO,
        words="Ratio of two geometric mean sizes (units of each group)",
        method=Method.TWO_GROUPS_T_LOG,
        fewest_units=2,
        on_request=(_BCA,),
        page="sizes.md",
    ),
    Rule(
        figure=Figure.HILL_NUMBER,
        words="Hill numbers of genera at equal effort, from the units that hold them",
        method=Method.BOOTSTRAP_T_LOG,
        fewest_units=2,
        page="diversity.md",
    ),
    Rule(
        figure=Figure.PAIRED_CHANGE,
        words="Change of cover, density or prevalence, the same units at both visits",
        method=Method.PARTS_PAIRED,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.PAIRED_DIFFERENCE,
        words="Change of any other value, the same units at both visits",
        method=Method.T_PAIRED,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.UNPAIRED_CHANGE,
        words="Change of cover or density, units drawn anew (units of each visit)",
        method=Method.PARTS_ANEW,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.UNPAIRED_DIFFERENCE,
        words="Change of prevalence or any other value, units drawn anew (units of each visit)",
        method=Method.T_WELCH,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.CONTRAST,
        words="Before, after, control, impact (sites of each kind)",
        method=Method.T_WELCH,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.MODEL_CHANGE,
        words="Mean change of six sites or more, units random; observers random",
        method=Method.T_MIXED,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.MODEL_CHANGE_FEW,
        words="Mean change of fewer sites, or where the variance of units comes out 0",
        method=Method.BOOTSTRAP_MIXED,
        fewest_units=2,
        page="change.md",
    ),
    Rule(
        figure=Figure.TREND,
        words="Straight line through the means of visits (visits)",
        method=Method.T_TREND,
        fewest_units=3,
        page="change.md",
    ),
)


_BY_FIGURE = {rule.figure: rule for rule in RULES}


def find_rule(figure: Figure) -> Rule:
    """
    Return the row of a figure.

    Parameters
    ----------
    figure : Figure

    Returns
    -------
    Rule
    """
    return _BY_FIGURE[figure]


def require_method(figure: Figure, n_units: int, asked: Method | None = None) -> Method:
    """
    Return the interval's method for so many units.

    Parameters
    ----------
    figure : Figure
    n_units : int
    asked : Method or None
        Asked for beforehand in place of the row's own.

    Returns
    -------
    Method
        ``none`` where the row's own needs more units.

    Raises
    ------
    InputError
        ``survey-method-not-for-this`` if the method asked for is not the figure's, or needs more
        units.

    Examples
    --------
    >>> require_method(Figure.COVER, 5)
    <Method.T_LOGIT: 't_logit'>
    >>> require_method(Figure.SIZE_SHAPE, 5)
    <Method.NONE: 'none'>
    """
    rule = find_rule(figure)
    if asked is None or asked is rule.method:
        return rule.method if n_units >= rule.fewest_units else Method.NONE
    fewest = dict(rule.on_request).get(asked)
    fix = f"Leave the method out: {rule.method.value} is the one fixed for this figure."
    if fewest is None:
        raise InputError(
            "survey-method-not-for-this",
            f"The interval {asked.value} is not meant for the figure {figure.value}.",
            fix,
        )
    if n_units < fewest:
        raise InputError(
            "survey-method-not-for-this",
            f"The interval {asked.value} needs {fewest} units, and there are {n_units}.",
            fix,
        )
    return asked
