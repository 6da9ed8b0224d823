"""Densities: counts on an area or in a time, and colonies that a line crosses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.coverage import coverage_flags
from dryslate.core.survey.designs import EdgeRule
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.intervals import is_apart, poisson_gamma_interval
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.statement import (
    MeanOfUnits,
    SurveySettings,
    UnitValues,
    require_units,
    state_bca,
    state_rate,
)

FloatArray = NDArray[np.float64]
EDGE_FLAGS: dict[EdgeRule | None, tuple[Flag, ...]] = {
    "centre_inside": (),
    "two_sides_in": (),
    "any_touching": (Flag.EDGE_READS_HIGH,),
    "wholly_inside": (Flag.EDGE_READS_LOW,),
    None: (Flag.EDGE_NOT_STATED,),
}
"""Which way each edge rule errs."""

JUVENILE_CM = 5.0
"""Colonies under this size are juveniles, by the trade's usual limit."""


def estimate_density(
    counts: ArrayLike,
    areas_m2: ArrayLike,
    settings: SurveySettings,
    *,
    edge_rule: EdgeRule | None,
    what: str = "density_per_m2",
) -> Estimate:
    r"""
    Estimate density from counts in belts or quadrats.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        NaN: blank; 0: looked for and none seen.
    areas_m2 : array_like of float, shape (n,)
    settings : SurveySettings
    edge_rule : {"centre_inside", "two_sides_in", "any_touching", "wholly_inside"} or None
        When a colony on the edge was counted; None: not stated, and flagged.
    what : str

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        ``survey-value-impossible`` or ``survey-method-not-for-this``.

    Notes
    -----
    Mean of :math:`c_i/a_i` over units, its standard error from their spread; interval as in
    `intervals.rate_interval`. A colony counted whenever it touches makes density read high, by
    about its diameter times the plot's perimeter over twice its area [1]_.

    References
    ----------
    .. [1] Zvuloni, A., Artzy-Randrup, Y., Stone, L., van Woesik, R. & Loya, Y. (2008). Ecological
       size-frequency distributions: how to prevent and correct biases in spatial sampling.
       Limnol. Oceanogr. Methods 6, 144-153 (cited from memory).

    Examples
    --------
    >>> counts, areas = [22, 35, 17], [60, 60, 60]
    >>> found = estimate_density(counts, areas, SurveySettings(), edge_rule="centre_inside")
    >>> print(f"{found.estimate:.3f} ± {found.u:.3f} ({found.lo95:.2f} to {found.hi95:.2f})")
    0.411 ± 0.089 (0.16 to 1.10)
    """
    units = require_units(counts, areas_m2)
    return _state(what, Figure.DENSITY, units, settings, EDGE_FLAGS[edge_rule])


def estimate_rate(
    counts: ArrayLike,
    minutes: ArrayLike,
    settings: SurveySettings,
    *,
    what: str = "count_per_min",
) -> Estimate:
    """
    Estimate counts per minute from timed swims.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        NaN: blank; 0: looked for and none seen.
    minutes : array_like of float, shape (n,)
    settings : SurveySettings
    what : str

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        ``survey-value-impossible`` or ``survey-method-not-for-this``.

    Notes
    -----
    As `estimate_density`, with minutes in place of areas. It is no density: how much ground a diver
    sees in a minute differs between divers, currents and visibilities, so compare like with like.

    Examples
    --------
    >>> found = estimate_rate([12, 7, 9], [30, 30, 30], SurveySettings())
    >>> print(f"{found.estimate:.2f} ± {found.u:.2f}")
    0.31 ± 0.05
    """
    return _state(what, Figure.DENSITY, require_units(counts, minutes), settings, ())


def estimate_line_density(
    widths_m: Sequence[ArrayLike | None],
    lines_m: ArrayLike,
    settings: SurveySettings,
    *,
    what: str = "density_per_m2",
) -> Estimate:
    r"""
    Estimate density from the colonies that lines cross and their widths across the line.

    Parameters
    ----------
    widths_m : sequence of array_like of float, or None
        For each line the extent of each colony at right angles to it, in metres; empty: none
        crossed; None: blank. A NaN among them is a colony without width.
    lines_m : array_like of float, shape (n,)
        Lengths of the lines, in metres.
    settings : SurveySettings
    what : str

    Returns
    -------
    Estimate
        Without a value, flagged ``width_missing``, if the width of any colony is missing.

    Raises
    ------
    InputError
        ``survey-value-impossible`` or ``survey-method-not-for-this``.

    Notes
    -----
    :math:`D = \frac{1}{L} \sum 1/w_i` for each line [1]_ [2]_: a colony is crossed with a chance in
    proportion to its width, and counts for the less the wider it is. Unbiased for lines laid at
    random. The chord along the tape in place of the width makes density read high and jump about.
    A narrow colony weighs much: few small ones make the doubt large. Where no line crosses any
    there is no limit, as it would hang on their unknown width.

    References
    ----------
    .. [1] Eberhardt, L.L. (1978). Transect methods for population studies. J. Wildl. Manage. 42,
       1-31.
    .. [2] Kaiser, L. (1983). Unbiased estimation in line-intercept sampling. Biometrics 39,
       965-976.

    Examples
    --------
    >>> found = estimate_line_density(
    ...     [[0.1, 0.4], [], [0.25, 0.05, 0.8]], [20, 20, 20], SurveySettings()
    ... )
    >>> print(f"{found.estimate:.4f} ± {found.u:.4f}")
    0.6292 ± 0.3645
    """
    sums = np.full(len(widths_m), np.nan)
    is_missing = False
    for line, given in enumerate(widths_m, start=1):
        if given is None:
            continue
        width = np.asarray(given, dtype=np.float64)
        is_missing |= bool(np.isnan(width).any())
        if (width <= 0).any():
            raise InputError(
                "survey-value-impossible",
                f"Line {line}: a colony's width of {np.nanmin(width):g} m across the line is not "
                "possible.",
                "Correct it, or leave the width blank; then no density follows from this line.",
            )
        sums[line - 1] = (1.0 / width).sum()
    if is_missing:
        return Estimate(
            what=what,
            estimate=None,
            n_units=len(widths_m),
            flags=(*settings.scope_flags(), Flag.WIDTH_MISSING),
        )
    units = require_units(sums, lines_m)
    found = _state(what, Figure.LINE_DENSITY, units, settings, (), is_counted=False)
    if settings.coverage is None or found.df is None or not found.estimate or found.u is None:
        return found
    widths = np.concatenate([np.asarray(w, np.float64).ravel() for w in widths_m if w is not None])
    flags = coverage_flags(
        settings.coverage,
        Figure.LINE_DENSITY,
        found.n_units,
        len(widths) / found.n_units,
        100 * float(np.log(widths).std(ddof=1)) if len(widths) > 1 else float("nan"),
        found.n_units * (found.u / found.estimate) ** 2,
    )
    return replace(found, flags=(*found.flags, *flags))


def read_count(
    count: int, effort: float, *, edge_rule: EdgeRule | None, what: str = "density_per_m2"
) -> Estimate:
    """
    State the reading of one quadrat, belt or swim.

    Parameters
    ----------
    count : int
    effort : float
        Its area or minutes.
    what : str
    edge_rule : {"centre_inside", "two_sides_in", "any_touching", "wholly_inside"} or None

    Returns
    -------
    Estimate
        Flagged ``reading_only``.

    Raises
    ------
    InputError
        ``survey-value-impossible``.

    Notes
    -----
    Poisson-gamma interval [1]_: how well this count is known if colonies were scattered at random;
    it says nothing of the reef.

    References
    ----------
    .. [1] Garwood, F. (1936). Biometrika 28, 437-442.

    Examples
    --------
    >>> found = read_count(10, 20.0, edge_rule="centre_inside")
    >>> print(f"{found.estimate:.2f} ({found.lo95:.2f} to {found.hi95:.2f})")
    0.50 (0.24 to 0.92)
    """
    units = require_units([count], [effort])
    if units.n_blank:
        return Estimate(what=what, estimate=None, n_blank=1, flags=(Flag.BLANK_UNITS,))
    lo, hi = poisson_gamma_interval(count)
    return Estimate(
        what=what,
        estimate=count / effort,
        u=float(np.sqrt(count)) / effort if count else None,
        lo95=float(lo) / effort,
        hi95=float(hi) / effort,
        method=Method.POISSON_GAMMA,
        n_units=1,
        flags=(Flag.READING_ONLY, *EDGE_FLAGS[edge_rule]),
    )


def flag_juveniles(estimate: Estimate, *, largest_cm: float, is_from_photos: bool) -> Estimate:
    """
    Flag a density of juveniles that rests on photos alone.

    Parameters
    ----------
    estimate : Estimate
    largest_cm : float
        Upper end of the sizes counted.
    is_from_photos : bool
        Nobody searched in the water.

    Returns
    -------
    Estimate

    Notes
    -----
    Small colonies sit in holes and under edges that a photo from above does not show; counts on
    photos miss many of them [1]_. How many is not known for a given survey, so the figure is
    flagged and never corrected.

    References
    ----------
    .. [1] Edmunds, P.J., Aronson, R.B., Swanson, D.W., Levitan, D.R. & Precht, W.F. (1998).
       Photographic versus visual census techniques for the quantification of juvenile corals.
       Bull. Mar. Sci. 62, 937-946.

    Examples
    --------
    >>> from dryslate.core.survey.estimate import Estimate
    >>> few = Estimate(what="density_per_m2", estimate=2.0)
    >>> flag_juveniles(few, largest_cm=5.0, is_from_photos=True).flags[0].value
    'juveniles_read_low'
    """
    if not is_from_photos or largest_cm > JUVENILE_CM:
        return estimate
    return replace(estimate, flags=(*estimate.flags, Flag.JUVENILES_READ_LOW))


def variance_to_mean(counts: ArrayLike) -> float:
    """
    Return how patchy counts of equal plots are.

    Parameters
    ----------
    counts : array_like of int, shape (n,)

    Returns
    -------
    float
        About 1 if colonies are scattered at random, above if clumped, below if evenly spaced. NaN
        of one plot, or where none holds any.

    Notes
    -----
    Depends on the size of the plot [1]_.

    References
    ----------
    .. [1] Greig-Smith, P. (1983). Quantitative Plant Ecology, 3rd ed.

    Examples
    --------
    >>> print(f"{variance_to_mean([3, 0, 7, 2, 5, 1, 4, 2]):.3f}")
    1.714
    """
    values = np.asarray(counts, dtype=np.float64)
    if len(values) < 2 or not values.any():
        return float("nan")
    return float(values.var(ddof=1) / values.mean())


def _state(
    what: str,
    figure: Figure,
    units: UnitValues,
    settings: SurveySettings,
    flags: tuple[Flag, ...],
    *,
    is_counted: bool = True,
) -> Estimate:
    """Mean of units, then the interval that the table fixes or that was asked for."""
    n = len(units.found)
    mean, u = units.mean_and_u(settings.weighting)
    method = require_method(figure, n, settings.method) if n > 1 else Method.NONE
    if mean > 0 and method is Method.BCA and is_apart(u, mean, mean):
        found = state_bca(what, units.statistic(settings.weighting), n, units.n_blank, settings)
        return replace(found, flags=(*found.flags, *flags))
    part = MeanOfUnits(
        what=what,
        figure=figure,
        mean=mean,
        u=u,
        n_units=n,
        n_blank=units.n_blank,
        counted=float(units.effort.sum()) if is_counted else float("nan"),
        flags=flags,
    )
    return state_rate(part, settings)
