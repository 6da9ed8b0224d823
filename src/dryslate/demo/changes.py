"""The change between the survey's visits, held against the truth, and a plan for the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dryslate import wiring
from dryslate.demo.survey_rows import SWIM_M2_PER_MINUTE
from dryslate.demo.survey_truth import HARD, Key, VisitTruth, true_figures

if TYPE_CHECKING:
    from dryslate.app.change_rows import ChangeRow

WISHED = 0.10
"""The change of cover that the next visits are planned for."""
PLANNED = "line_intercept"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeHeld:
    """
    One change between two visits to a site, with its truth.

    Parameters
    ----------
    row : ChangeRow
        It states an interval.
    true : float
    """

    row: ChangeRow
    true: float

    @property
    def key(self) -> Key:
        """Site, later date, design, figure, kind of thing, thing."""
        r = self.row
        return r.site, r.last, r.design, r.figure, r.kind_of_thing, r.thing

    @property
    def is_held(self) -> bool:
        """Whether the truth lies in the interval."""
        row = self.row
        return row.lo95 is not None and row.hi95 is not None and row.lo95 <= self.true <= row.hi95


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesDone:
    """
    What changed, and how many units would see a change of cover next time.

    Parameters
    ----------
    table : Path
        Every change, one a row.
    n_rows, n_tests : int
    held : tuple of ChangeHeld
        Those of known truth.
    plan : str
        In words; empty where past units do not tell.
    """

    table: Path
    n_rows: int
    n_tests: int
    held: tuple[ChangeHeld, ...]
    plan: str

    def rows(self) -> list[tuple[str, str, str]]:
        """Return the change of hard coral cover, by each way of sampling, as rows of a table."""
        shown = []
        for one in self.held:
            row = one.row
            if row.figure != "cover_frac" or row.thing != HARD:
                continue
            seen = "" if row.sees is None else f"; sees changes from {100 * row.sees:.0f}"
            found = f"{_points(row.estimate)} ({_points(row.lo95)} to {_points(row.hi95)}{seen})"
            what = f"{row.site}, {row.design.replace('_', ' ')}"
            shown.append((what, found, f"{_points(one.true)}{'' if one.is_held else ' (missed)'}"))
        return shown

    def words(self) -> str:
        """Say how much was compared, and how often the truth lay in the interval."""
        n_held = sum(one.is_held for one in self.held)
        said = [one for one in self.held if one.row.reading == "changed"]
        n_wrong = sum(one.true * (one.row.estimate or 0.0) <= 0 for one in said)
        return (
            f"{self.n_rows} changes, {self.n_tests} tests; truth within the 95 % interval in "
            f"{n_held} of {len(self.held)} whose truth is known; changed said in {len(said)} of "
            f"these, wrongly in {n_wrong}. Every change: {self.table}"
        )


def _points(value: float | None) -> str:
    """Cover as points of a hundred."""
    return "" if value is None else f"{100 * value:+.1f}"


def changes_of_trip(project: Path, table: Path, truths: Sequence[VisitTruth]) -> ChangesDone:
    """
    Compare the visits as ``dryslate change`` does, and plan as ``dryslate plan`` does.

    Parameters
    ----------
    project : Path
    table : Path
        Every change is written there.
    truths : sequence of VisitTruth

    Returns
    -------
    ChangesDone
    """
    from dryslate.app.change import survey_changes
    from dryslate.app.change_rows import changes_table

    usual = wiring.result_settings().usual
    with wiring.survey_store(project, write=False) as store:
        found = survey_changes(store, usual)
    wiring.save_file(table, changes_table(found.rows))
    return ChangesDone(
        table=table,
        n_rows=len(found.rows),
        n_tests=found.n_tests,
        held=held_changes(found.rows, truths),
        plan=_plan(project),
    )


def held_changes(rows: Sequence[ChangeRow], truths: Sequence[VisitTruth]) -> tuple[ChangeHeld, ...]:
    """
    Hold changes between visits to the truth.

    Parameters
    ----------
    rows : sequence of ChangeRow
    truths : sequence of VisitTruth

    Returns
    -------
    tuple of ChangeHeld
        Each change of known truth that states an interval.
    """
    known = {key: value for t in truths for key, value in true_figures(t, SWIM_M2_PER_MINUTE)}
    held = []
    for row in rows:
        what = (row.design, row.figure, row.kind_of_thing, row.thing)
        ends = [known.get((row.site, date, *what)) for date in (row.first, row.last)]
        is_stated = row.lo95 is not None and row.hi95 is not None
        is_drawn = bool(row.zone)  # points on the stations' photos say what the pictures show
        if row.kind != "visits" or not (is_stated and is_drawn):
            continue
        if ends[0] is not None and ends[1] is not None:
            held.append(ChangeHeld(row=row, true=ends[1] - ends[0]))
    return tuple(held)


def _plan(project: Path) -> str:
    """Say how many units would see a change of cover; empty where no visit has two units."""
    from dryslate.app.plan import PlanAsked, make_plan
    from dryslate.app.plan_past import PastAsked, past_basis
    from dryslate.base.errors import InputError

    asked = PastAsked(figure="cover_frac", thing=HARD, design=PLANNED)
    with wiring.survey_store(project, write=False) as store:
        try:
            basis = past_basis(store, wiring.result_settings().usual, asked, None)
        except InputError:
            return ""
    found = make_plan(basis, PlanAsked(change=WISHED))
    if found.anew is None:
        return ""
    n = found.anew
    return (
        f"To see a change of {100 * WISHED:.0f} points of hard coral cover with power "
        f"{found.asked.power:g}, new tapes each time: {n.units} tapes at each visit "
        f"({n.lo95} to {n.hi95} by the doubt of their spread)."
    )
