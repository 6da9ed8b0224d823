"""A plan in words and tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryslate.cli.render import print_problem, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.plan import Plan, PowerCurve
    from dryslate.core.survey.planning import PlannedUnits, SmallestChange
    from dryslate.core.survey.spread import Spread

CURVE_ROWS = 12


def show_plan(found: Plan) -> None:
    """Print a plan for people."""
    basis, asked = found.basis, found.asked
    print_text(f"Spread of units: {_spread(basis.spread)}; {basis.source}")
    if basis.level is not None:
        print_text(f"Mean of the past: {basis.level:.3g}; plan for another level with care")
    if basis.differences is not None:
        print_text(f"Spread of differences within a unit: {_spread(basis.differences)}")
    if found.interval is not None:
        print_text(f"Interval of ± {asked.half_width:g}: {_units(found.interval)}")
    if found.anew is not None:
        at = f"Change of {asked.change:g}, power {asked.power:g}, two-sided {asked.alpha:g}"
        print_text(f"{at}, units drawn anew: {_units(found.anew)} at each visit")
        if found.same is not None:
            print_text(f"{at}, the same units again: {_units(found.same)}")
    print_table(
        f"Smallest change seen with power {asked.power:g} (range from the doubt of the spread)",
        ("units at each visit", "the same units again", "units drawn anew"),
        [(str(r.units), _change(r.fixed), _change(r.random)) for r in found.table],
    )
    if found.curve is not None:
        _show_curve(found.curve)
    if found.allocations:
        _show_allocations(found)
    for problem in found.problems:
        print_problem(problem)


def _spread(found: Spread) -> str:
    """Return a standard deviation with its interval."""
    lo, hi = found.ends()
    return f"{found.sd:.3g}" + (f" ({lo:.3g} to {hi:.3g})" if lo < hi else "")


def _units(found: PlannedUnits) -> str:
    """Return units with their range."""
    ends = f" ({found.lo95} to {found.hi95})" if found.lo95 < found.hi95 else ""
    return f"{found.units} units{ends}"


def _change(found: SmallestChange | None) -> str:
    """Return a smallest change with its range."""
    if found is None:
        return "not known"
    ends = f" ({found.lo95:.3g} to {found.hi95:.3g})" if found.lo95 < found.hi95 else ""
    return f"{found.change:.3g}{ends}"


def _show_curve(curve: PowerCurve) -> None:
    """Print some points of the power curve."""
    step = max(1, len(curve.units) // CURVE_ROWS)
    rows = []
    for k in range(0, len(curve.units), step):
        same = (
            f"{curve.same[k]:.2f} ({curve.same_least[k]:.2f} to {curve.same_most[k]:.2f})"
            if curve.same
            else "not known"
        )
        anew = f"{curve.anew[k]:.2f} ({curve.anew_least[k]:.2f} to {curve.anew_most[k]:.2f})"
        rows.append((str(curve.units[k]), same, anew))
    print_table(
        "Power to see that change",
        ("units at each visit", "the same units again", "units drawn anew"),
        rows,
    )


def _show_allocations(found: Plan) -> None:
    """Print photos and points against units."""
    asked = found.asked
    goal = (
        f"an interval of ± {asked.half_width:g}"
        if asked.half_width is not None
        else f"a change of {asked.change:g}, units drawn anew"
    )
    columns = ["photos in a unit", "points on a photo", "SD of units", "units", "photos in all"]
    if asked.minutes is not None:
        columns.append("hours of work")
    rows = [
        (
            str(one.photos), str(one.points), f"{one.sd:.3g}", _units(one.plan),
            str(one.all_photos),
            *([] if one.work_min is None else [f"{one.work_min / 60:.1f}"]),
        )
        for one in found.allocations
    ]  # fmt: skip
    print_table(f"Photos and points against units, for {goal}", columns, rows)
