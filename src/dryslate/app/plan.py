"""How many units, photos and points a survey needs, and which change it could see."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.typed import typed_number
from dryslate.core.survey.allocation import Allocation, PhotoComponents, share_out
from dryslate.core.survey.planning import (
    POWER,
    Design,
    PlannedUnits,
    PlanRow,
    power_to_see,
    tabulate_changes,
    units_for_interval,
    units_to_see,
)
from dryslate.core.survey.spread import (
    ALPHA,
    Spread,
    require_plan,
    spread_found_in,
    spread_of_differences,
    spread_within,
    stated_spread,
)

USUAL_UNITS = (3, 4, 5, 6, 8, 10, 12, 15, 20, 30)
FEWEST_ON_CURVE, MOST_ON_CURVE = 20, 120


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAsked:
    """
    What is wished.

    Parameters
    ----------
    half_width : float or None
        From the mean to either end of its 95 % interval, in the figure's own unit.
    change : float or None
        Smallest change between two visits that is to be seen.
    power, alpha : float
        Chance to see that change; level of the test, two-sided.
    units : tuple of int
        Rows of the table.
    photos, points : tuple of int
        Photos in a unit and points on a photo to be weighed up; empty: around those of the past.
    minutes : tuple of float, or None
        What one unit takes without its photos, one photo without its points, and one point.
    """

    half_width: float | None = None
    change: float | None = None
    power: float = POWER
    alpha: float = ALPHA
    units: tuple[int, ...] = USUAL_UNITS
    photos: tuple[int, ...] = ()
    points: tuple[int, ...] = ()
    minutes: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanBasis:
    """
    What a plan builds on.

    Parameters
    ----------
    spread : Spread
        Of units.
    differences : Spread or None
        Of differences between two visits to the same unit.
    source : str
        Where the spread is from, in words.
    level : float or None
        Mean of the past.
    n_units, n_visits : int
        Of the past.
    components : PhotoComponents or None
        What makes the spread, where past units were photos with points.
    missing : tuple of Problem
        What the past does not carry, with the reason.
    """

    spread: Spread
    differences: Spread | None = None
    source: str = ""
    level: float | None = None
    n_units: int = 0
    n_visits: int = 0
    components: PhotoComponents | None = None
    missing: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerCurve:
    """
    Power at each number of units.

    Parameters
    ----------
    units : tuple of int
    anew, anew_least, anew_most : tuple of float
        Units drawn anew, at the spread and at both ends of its interval.
    same, same_least, same_most : tuple of float
        The same units again; empty where nothing tells of them.
    """

    units: tuple[int, ...]
    anew: tuple[float, ...]
    anew_least: tuple[float, ...]
    anew_most: tuple[float, ...]
    same: tuple[float, ...] = ()
    same_least: tuple[float, ...] = ()
    same_most: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """
    The answer.

    Parameters
    ----------
    basis : PlanBasis
    asked : PlanAsked
    interval, anew, same : PlannedUnits or None
        Units for the wished interval; for the wished change with units drawn anew at each visit;
        and with the same units again.
    table : tuple of PlanRow
        Smallest change for each number of units, fixed and random.
    curve : PowerCurve or None
    allocations : tuple of Allocation
        For the wished interval, else for the wished change with units drawn anew.
    problems : tuple of Problem
    """

    basis: PlanBasis
    asked: PlanAsked
    interval: PlannedUnits | None
    anew: PlannedUnits | None
    same: PlannedUnits | None
    table: tuple[PlanRow, ...]
    curve: PowerCurve | None
    allocations: tuple[Allocation, ...] = ()
    problems: tuple[Problem, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values, for JSON."""
        basis = self.basis
        return {
            "basis": {
                "source": basis.source,
                "level": basis.level,
                "sd": _spread(basis.spread),
                "sd_of_differences": _spread(basis.differences),
                "components": None if basis.components is None else asdict(basis.components),
            },
            "asked": asdict(self.asked),
            "units_for_interval": _units(self.interval),
            "units_for_change_anew": _units(self.anew),
            "units_for_change_same": _units(self.same),
            "table": [
                {
                    "units": row.units,
                    "same_units": None if row.fixed is None else asdict(row.fixed),
                    "units_anew": asdict(row.random),
                }
                for row in self.table
            ],
            "power_curve": None if self.curve is None else asdict(self.curve),
            "allocations": [
                {**asdict(one), "plan": _units(one.plan), "all_photos": one.all_photos}
                for one in self.allocations
            ],
            "problems": [one.as_dict() for one in self.problems],
        }


def _spread(found: Spread | None) -> dict[str, float] | None:
    """Return a spread with its interval as plain values."""
    if found is None:
        return None
    lo, hi = found.ends()
    return {"sd": found.sd, "df": found.df, "lo95": lo, "hi95": hi}


def _units(found: PlannedUnits | None) -> dict[str, int] | None:
    """Return units with their range as plain values."""
    if found is None:
        return None
    return {"units": found.units, "lo95": found.lo95, "hi95": found.hi95}


def stated_basis(
    sd: float,
    n_units: int | None = None,
    ends: tuple[float, float] | None = None,
    correlation: float | None = None,
) -> PlanBasis:
    """
    Build a plan on a standard deviation that somebody states.

    Parameters
    ----------
    sd : float
        Of units.
    n_units : int or None
        How many units it was found in.
    ends : tuple of float, or None
        Its own 95 % interval, in place of that.
    correlation : float or None
        Between two visits to the same unit.

    Returns
    -------
    PlanBasis

    Raises
    ------
    InputError
        ``plan-impossible``.
    """
    missing = []
    if ends is not None:
        spread, source = spread_within(sd, *ends), "stated with its interval"
    elif n_units is not None:
        spread, source = spread_found_in(sd, n_units), f"stated, from {n_units} units"
    else:
        spread, source = stated_spread(sd), "stated without its own doubt"
        missing.append(
            Problem(
                slug="plan-sd-without-doubt",
                severity="warning",
                place="",
                message="Nothing tells how well that standard deviation is known: the answer has "
                "no range, and real surveys may need many more units.",
                fix="Say from how many units it comes, or give its interval.",
            )
        )
    if correlation is None:
        missing.append(
            Problem(
                slug="plan-no-pairs",
                severity="note",
                place="",
                message="Nothing says how alike two visits to the same unit are: the same units "
                "again cannot be planned for.",
                fix="State the correlation between two visits to a unit, or plan from permanent "
                "plots.",
            )
        )
    missing.append(
        Problem(
            slug="plan-no-photos",
            severity="note",
            place="",
            message="Photos and points cannot be weighed against units: a stated standard "
            "deviation does not tell what comes from photos and what from points.",
            fix="Plan from past photos with points.",
        )
    )
    return PlanBasis(
        spread=spread,
        differences=None if correlation is None else spread_of_differences(spread, correlation),
        source=source,
        missing=tuple(missing),
    )


def read_amount(what: str, text: str) -> float | None:
    """
    Read a typed number, with a decimal point or comma; empty: none.

    Raises
    ------
    InputError
        ``plan-no-number``.

    Examples
    --------
    >>> read_amount("change", "2,5")
    2.5
    """
    try:
        return typed_number(text)
    except ValueError as error:
        raise InputError(
            "plan-no-number",
            f"{text!r} is no number.",
            "Type a number such as 5 or 2.5, or leave the field empty.",
        ) from error


def require_one_basis(is_past: bool, is_stated: bool) -> None:
    """Refuse a plan that builds on nothing, or on two things."""
    if is_past is is_stated:
        raise InputError(
            "plan-basis",
            "A plan builds on past units of a project or on a stated standard deviation, on one "
            "of the two.",
            "Give --from FOLDER, or --sd with --sd-n.",
        )


def require_curve(found: Plan) -> PowerCurve:
    """Return the power curve; refuse where no change was wished."""
    if found.curve is None:
        raise InputError(
            "plan-no-curve",
            "Power is the chance to see a change, and none was wished.",
            "Give --change.",
        )
    return found.curve


def make_plan(basis: PlanBasis, asked: PlanAsked) -> Plan:
    """
    Plan a survey.

    Parameters
    ----------
    basis : PlanBasis
    asked : PlanAsked
        Neither width nor change: the table alone.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        ``plan-impossible``.
    """
    spread, differences, change = basis.spread, basis.differences, asked.change
    require_plan(0 < asked.alpha < asked.power < 1)
    interval = anew = same = curve = None
    if asked.half_width is not None:
        interval = units_for_interval(asked.half_width, spread)
    if change is not None:
        anew = units_to_see(Design.TWO_GROUPS, change, spread, asked.power, asked.alpha)
        if differences is not None:
            same = units_to_see(Design.PAIRED, change, differences, asked.power, asked.alpha)
        curve = _curve(basis, asked, change, max(one.units for one in (anew, same) if one))
    return Plan(
        basis=basis,
        asked=asked,
        interval=interval,
        anew=anew,
        same=same,
        table=tabulate_changes(asked.units, differences, spread, asked.power, asked.alpha),
        curve=curve,
        allocations=_allocations(basis.components, asked),
        problems=basis.missing,
    )


def _curve(basis: PlanBasis, asked: PlanAsked, change: float, needed: int) -> PowerCurve:
    """Reckon power from 3 units to somewhat more than are needed."""
    top = min(max(round(1.5 * needed), FEWEST_ON_CURVE), MOST_ON_CURVE)
    units = np.unique(np.linspace(3, top, min(top - 2, 40)).round().astype(int))

    def powers(design: Design, spread: Spread) -> tuple[tuple[float, ...], ...]:
        """Power at the spread, at its upper and at its lower end."""
        lo, hi = spread.ends()
        return tuple(
            tuple(power_to_see(design, units, change, sd, asked.alpha).tolist())
            for sd in (spread.sd, hi, lo)
        )

    anew = powers(Design.TWO_GROUPS, basis.spread)
    same = ((), (), ()) if basis.differences is None else powers(Design.PAIRED, basis.differences)
    return PowerCurve(
        units=tuple(units.tolist()),
        anew=anew[0],
        anew_least=anew[1],
        anew_most=anew[2],
        same=same[0],
        same_least=same[1],
        same_most=same[2],
    )


def _allocations(found: PhotoComponents | None, asked: PlanAsked) -> tuple[Allocation, ...]:
    """Weigh photos and points against units, for the width if it was asked for."""
    half_width, change = asked.half_width, asked.change
    if found is None or (half_width is None and change is None):
        return ()

    def plan(spread: Spread) -> PlannedUnits:
        """Return the units that such a spread needs."""
        if half_width is not None:
            return units_for_interval(half_width, spread)
        return units_to_see(Design.TWO_GROUPS, change or 0.0, spread, asked.power, asked.alpha)

    photos = asked.photos or _around(found.photos_per_unit)
    points = asked.points or _around(found.points_per_photo)
    return share_out(found, photos, points, plan, asked.minutes)


def _around(past: float) -> tuple[int, ...]:
    """Half, the same, and twice of what was done."""
    return tuple(sorted({max(1, round(past * f)) for f in (0.5, 1.0, 2.0)}))
