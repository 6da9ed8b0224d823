"""Change between visits, with its interval and the smallest change that the design could see."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.change_interval import (
    Ends,
    Scale,
    Seen,
    anew_parts,
    p_of_no_change,
    paired_parts,
)
from dryslate.core.survey.coverage import LookedUp, change_flags
from dryslate.core.survey.estimate import Estimate, or_none
from dryslate.core.survey.intervals import ALIKE, ERROR, P_HI
from dryslate.core.survey.methods import Figure, Method, require_method
from dryslate.core.survey.planning import SmallestChange, change_seen
from dryslate.core.survey.spread import Spread
from dryslate.core.survey.statement import SurveySettings

FloatArray = NDArray[np.float64]


class Reading(StrEnum):
    """What a change may be said to be; that nothing changed is never one of them."""

    CHANGED = "changed"
    NOT_SHOWN = "not_shown"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """
    A change with what the design could have seen.

    Parameters
    ----------
    change : Estimate
        Later less earlier, or the contrast.
    t, p : float or None
        Two-sided; None where there is no interval. `p` is the chance of error at which the
        interval's end comes to 0, and `t` the quantile that stands for it.
    sees : SmallestChange or None
        Smallest change seen with power 0.80, from the design's error standard deviation.
    """

    change: Estimate
    t: float | None = None
    p: float | None = None
    sees: SmallestChange | None = None

    def reading(self) -> Reading:
        """Return what may be said: changed, or not shown by a design that sees `sees`."""
        lo, hi = self.change.lo95, self.change.hi95
        if lo is None or hi is None or self.sees is None:
            return Reading.NOT_KNOWN
        return Reading.CHANGED if lo > 0 or hi < 0 else Reading.NOT_SHOWN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SiteVisits:
    """
    Unit values of one site before and after.

    Parameters
    ----------
    before, after : array_like of float
        NaN is blank.
    """

    before: ArrayLike
    after: ArrayLike

    def change(self) -> float:
        """Return the change of the site's mean."""
        return float(_seen(self.after).mean() - _seen(self.before).mean())


def paired_change(
    what: str,
    first: ArrayLike,
    second: ArrayLike,
    settings: SurveySettings | None = None,
    *,
    scale: Scale = Scale.PLAIN,
    counted: tuple[ArrayLike, ArrayLike] = (math.nan, math.nan),
) -> Change:
    r"""
    Return the change of the same units between two visits.

    Parameters
    ----------
    what : str
    first, second : array_like of float, shape (n,)
        Values of each unit, in one order; NaN is blank, and leaves the pair out.
    settings : SurveySettings or None
    scale : Scale
        What the values are.
    counted : tuple of array_like of float
        For each visit what was read or searched in each unit (`change_interval.Scale`); NaN: not
        known.

    Returns
    -------
    Change

    Raises
    ------
    ValueError
        If the lengths differ.
    InputError
        ``change-nothing-to-compare`` if no unit was seen at both visits.

    Notes
    -----
    `change_interval.paired_parts`; of plain values t on the differences [1]_. The same units speak
    of the area only if they were drawn from it at random.

    References
    ----------
    .. [1] Student (1908). The probable error of a mean. Biometrika 6, 1-25.

    Examples
    --------
    >>> found = paired_change("cover_frac", [0.40, 0.35, 0.52], [0.31, 0.30, 0.40],
    ...     scale=Scale.FRACTION, counted=(100, 100))
    >>> print(f"{found.change.estimate:.3f} {found.change.lo95:.3f} {found.change.hi95:.3f}")
    -0.087 -0.175 -0.004
    >>> print(f"{found.reading()}; p {found.p:.3f}; sees {found.sees.change:.2f}")
    changed; p 0.046; sees 0.11
    """
    a, b = (np.asarray(v, dtype=np.float64) for v in (first, second))
    if a.shape != b.shape or a.ndim != 1:
        raise ValueError(f"expected one value a unit at each visit, got {a.shape} and {b.shape}")
    both = np.isfinite(b - a)
    n = int(both.sum())
    if n == 0:
        raise _nothing()
    one, other = (
        Seen(values=v[both], counted=np.broadcast_to(np.asarray(c, np.float64), v.shape)[both])
        for v, c in zip((a, b), counted, strict=True)
    )
    level = max(float(np.abs(one.values).max()), float(np.abs(other.values).max()))
    gap = other.freed(scale) - one.freed(scale)
    sd = math.sqrt(float((gap**2).sum()) / (n - 1)) if n > 1 else math.nan
    sd = sd if sd > ALIKE * level else math.nan
    error = _Error(sd=sd, scale=math.sqrt(1 / n), df=n - 1.0)
    figure = Figure.PAIRED_DIFFERENCE if scale is Scale.PLAIN else Figure.PAIRED_CHANGE
    part = _Part(what, figure, float(other.mean - one.mean), n, n, len(a) - n)
    ends = None
    if scale is not Scale.PLAIN and n > 1:
        ends = paired_parts(one, other, scale).ends
    made = _state(part, error, settings or SurveySettings(), ends)
    return _flagged(made, (one, other), scale, settings, "paired")


def unpaired_change(
    what: str,
    first: ArrayLike,
    second: ArrayLike,
    settings: SurveySettings | None = None,
    *,
    scale: Scale = Scale.PLAIN,
    counted: tuple[ArrayLike, ArrayLike] = (math.nan, math.nan),
) -> Change:
    r"""
    Return the change between two visits with units drawn anew at each.

    Parameters
    ----------
    what : str
    first, second : array_like of float
        Values of the units of each visit; NaN is blank.
    settings : SurveySettings or None
    scale : Scale
        What the values are.
    counted : tuple of array_like of float
        As for `paired_change`.

    Returns
    -------
    Change

    Raises
    ------
    InputError
        ``change-nothing-to-compare`` if a visit has no unit.

    Notes
    -----
    Fractions and rates: `change_interval.anew_parts`. Prevalence, its values left out in turn
    (jackknife), and plain values: :math:`u^2 = s_1^2/n_1 + s_2^2/n_2` with Satterthwaite's degrees
    of freedom [1]_; ends of a prevalence are cut at a change of all colonies. These also stand for
    the doubt of the spread in what the design sees.

    References
    ----------
    .. [1] Welch, B.L. (1947). The generalization of Student's problem when several different
       population variances are involved. Biometrika 34, 28-35.

    Examples
    --------
    >>> found = unpaired_change("cover_frac", [0.40, 0.35, 0.52], [0.21, 0.30, 0.26, 0.19],
    ...     scale=Scale.FRACTION, counted=(100, 100))
    >>> print(f"{found.change.lo95:.3f} to {found.change.hi95:.3f}; p {found.p:.3f}")
    -0.362 to -0.011; p 0.043
    """
    one, other = (_seen_of(v, c) for v, c in zip((first, second), counted, strict=True))
    blank = sum(np.asarray(v).size - len(s.values) for v, s in ((first, one), (second, other)))
    away = (one.freed(scale) + one.mean, other.freed(scale) + other.mean)
    numbers = (len(one.values), len(other.values))
    is_shaped = scale in {Scale.FRACTION, Scale.RATE}
    figure = Figure.UNPAIRED_CHANGE if is_shaped else Figure.UNPAIRED_DIFFERENCE
    most = 1.0 if scale is Scale.PREVALENCE else math.inf
    gap = float(other.mean - one.mean)
    part = _Part(what, figure, gap, sum(numbers), min(numbers), blank, most)
    ends = anew_parts(one, other, scale).ends if is_shaped and min(numbers) > 1 else None
    made = _state(part, _welch(*away), settings or SurveySettings(), ends)
    return _flagged(made, (one, other), scale, settings, "anew")


def contrast_of_sites(
    what: str, control: Sequence[SiteVisits], impact: Sequence[SiteVisits]
) -> Change:
    r"""
    Return by how much impact sites changed more than control sites did.

    Parameters
    ----------
    what : str
    control, impact : sequence of SiteVisits

    Returns
    -------
    Change
        `n_units` counts sites. With fewer than two of a kind the contrast alone, flagged
        ``one_site_each``.

    Raises
    ------
    InputError
        ``change-nothing-to-compare`` if a kind has no site, or a site no unit at a visit.

    Notes
    -----
    :math:`(A_I - B_I) - (A_C - B_C)` [1]_, by Welch's t with sites as replicates. Sites go their
    own ways without any impact: units within one site of each kind cannot tell that from an
    impact [2]_.

    References
    ----------
    .. [1] Stewart-Oaten, A., Murdoch, W.W. & Parker, K.R. (1986). Environmental impact assessment:
       "pseudoreplication" in time? Ecology 67, 929-940.
    .. [2] Underwood, A.J. (1994). On beyond BACI. Ecol. Appl. 4, 3-15.

    Examples
    --------
    >>> found = contrast_of_sites("cover_frac",
    ...     [SiteVisits(before=[0.4, 0.5], after=[0.4, 0.4])],
    ...     [SiteVisits(before=[0.5, 0.5], after=[0.2, 0.3])])
    >>> print(f"{found.change.estimate:.2f} {found.change.lo95} {found.p}")
    -0.20 None None
    """
    if not control or not impact:
        raise _nothing()
    c, i = (np.array([site.change() for site in sites]) for sites in (control, impact))
    fewest = min(len(c), len(i))
    contrast = float(i.mean() - c.mean())
    part = _Part(what, Figure.CONTRAST, contrast, len(c) + len(i), fewest, 0)
    return _state(part, _welch(c, i), SurveySettings())


@dataclass(frozen=True, slots=True)
class _Part:
    """A difference on its way to be stated."""

    what: str
    figure: Figure
    difference: float
    n_units: int
    fewest: int
    n_blank: int
    most: float = math.inf
    """A change larger than this, either way, cannot be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Error:
    """Error standard deviation of a design (NaN: none), and what makes the standard error of it."""

    sd: float
    scale: float
    df: float


def _seen_of(values: ArrayLike, counted: ArrayLike) -> Seen:
    """Leave blank units out, with what was counted in them."""
    found = np.atleast_1d(np.asarray(values, dtype=np.float64))
    each = np.broadcast_to(np.asarray(counted, dtype=np.float64), found.shape)
    return Seen(values=_seen(found), counted=each[np.isfinite(found)])


def _seen(values: ArrayLike) -> FloatArray:
    """Leave blank units out; there must be one."""
    found = np.atleast_1d(np.asarray(values, dtype=np.float64))
    found = found[np.isfinite(found)]
    if not len(found):
        raise _nothing()
    return found


def _welch(a: FloatArray, b: FloatArray) -> _Error:
    """Error of the difference of two means of their own spreads."""
    if min(len(a), len(b)) < 2:
        return _Error(sd=math.nan, scale=1.0, df=math.nan)
    parts = [float(g.var(ddof=1)) / len(g) for g in (a, b)]
    u = math.sqrt(sum(parts))
    if not u > ALIKE * max(float(np.abs(a).max()), float(np.abs(b).max())):
        return _Error(sd=math.nan, scale=1.0, df=math.nan)
    shares = [part / sum(parts) for part in parts]
    df = 1 / sum(w**2 / (len(g) - 1) for w, g in zip(shares, (a, b), strict=True))
    scale = math.sqrt(1 / len(a) + 1 / len(b))
    return _Error(sd=u / scale, scale=scale, df=df)


def _state(
    part: _Part,
    error: _Error,
    settings: SurveySettings,
    ends: Callable[[ArrayLike], Ends] | None = None,
) -> Change:
    """Put the change together: with its own ends, or by t."""
    flags = list(settings.scope_flags())
    if part.fewest < 2:
        flags.append(Flag.ONE_SITE_EACH if part.figure is Figure.CONTRAST else Flag.ONE_UNIT)
    elif math.isnan(error.sd):
        flags.append(Flag.NO_SPREAD)
    if part.n_blank:
        flags.append(Flag.BLANK_UNITS)
    method = require_method(part.figure, part.fewest, settings.method)
    is_known = method is not Method.NONE and not math.isnan(error.sd)
    u = error.sd * error.scale
    lo = hi = p = math.nan
    if is_known and ends is not None:
        lo, hi = (float(end) for end in ends(ERROR))
        if not math.isfinite(hi - lo):
            is_known = False
            flags.append(Flag.NO_SPREAD)
        else:
            p = p_of_no_change(ends, part.difference)
    elif is_known:
        reach = float(stdtrit(error.df, P_HI)) * u
        lo = max(part.difference - reach, -part.most)
        hi = min(part.difference + reach, part.most)
        p = float(2 * stdtr(error.df, -abs(part.difference / u)))
    change = Estimate(
        what=part.what,
        estimate=part.difference,
        u=or_none(u),
        lo95=or_none(lo) if is_known else None,
        hi95=or_none(hi) if is_known else None,
        method=method if is_known else Method.NONE,
        n_units=part.n_units,
        df=error.df if is_known else None,
        flags=tuple(flags),
        n_blank=part.n_blank,
    )
    if not is_known:
        return Change(change=change)
    t = part.difference / u
    if ends is not None:
        t = math.copysign(float(stdtrit(error.df, 1 - p / 2)), part.difference)
    return Change(
        change=change,
        t=t,
        p=p,
        sees=change_seen(
            Spread(sd=error.sd, df=error.df), error.scale, error.df, units=part.fewest
        ),
    )


_SIMULATED = {Scale.FRACTION: "cover", Scale.RATE: "density", Scale.PREVALENCE: "prevalence"}


def _flagged(
    made: Change,
    seen: tuple[Seen, Seen],
    scale: Scale,
    settings: SurveySettings | None,
    kind: Literal["paired", "anew"],
) -> Change:
    """Say what simulated surveys tell of the interval, where there is one and a table of them."""
    table = None if settings is None else settings.coverage
    if table is None or scale is Scale.PLAIN or made.change.lo95 is None:
        return made
    larger = max(seen, key=lambda one: float(one.mean))
    first, second, mean = float(seen[0].mean), float(seen[1].mean), float(larger.mean)
    each = float(larger.counted.mean())
    scatter = mean**2 if scale is Scale.RATE else mean * (1 - mean)
    looked_up = LookedUp(
        n_units=min(len(one.values) for one in seen),
        level=mean * each if scale is Scale.RATE else mean,
        size=0.0 if scale is Scale.RATE else min(each, 1e6),
        ratio=second / first if first > 0 else math.inf,
        spread=float(larger.freed(scale).var(ddof=1)) / scatter if scatter > 0 else math.inf,
    )
    flags = (*made.change.flags, *change_flags(table, f"{kind}_{_SIMULATED[scale]}", looked_up))
    return replace(made, change=replace(made.change, flags=flags))


def _nothing() -> InputError:
    """Refuse a change of nothing."""
    return InputError(
        "change-nothing-to-compare",
        "There is no unit to compare between the visits.",
        "A paired change needs units seen at both visits; others need a unit at each.",
    )
