"""Figures of a survey as one tidy table: what, where, when, of how many units, with what doubt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, astuple, dataclass, fields
from typing import TYPE_CHECKING, Any

from dryslate.core.survey.cover import estimate_cover, estimate_line_cover, estimate_point_cover
from dryslate.core.survey.density import estimate_density, estimate_line_density, estimate_rate
from dryslate.core.survey.designs import Design
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.prevalence import estimate_prevalence
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.tally import UnitTally, tally_unit
from dryslate.formats.table_csv import write_table_csv

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category, NotedRow
    from dryslate.app.unit_records import Unit
    from dryslate.core.survey.coverage import CoverageTable

COVER_DESIGNS: tuple[Design, ...] = (
    "line_intercept",
    "point_intercept",
    "photo_points",
    "quadrat_cells",
)
COUNT_DESIGNS: tuple[Design, ...] = ("belt", "quadrat_counts", "timed_swim")
ALL = "all corals"


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultRow:
    """
    One figure.

    Parameters
    ----------
    site, date, zone : str
        Zone empty where the units state none.
    design : str
    figure : str
        With its unit at the end: ``cover_frac``, ``density_per_m2``, ``prevalence_frac``.
    kind_of_thing, thing : str
        ``category``, ``group`` or ``name``, and which.
    estimate, u, lo95, hi95 : float or None
    method : str
    n_units, n_blank : int
    df : float or None
    flags : tuple of str
    unit_ids : tuple of str
        The units it rests on: their rows are the trail.
    """

    site: str
    date: str
    zone: str
    design: str
    figure: str
    kind_of_thing: str
    thing: str
    estimate: float | None
    u: float | None
    lo95: float | None
    hi95: float | None
    method: str
    n_units: int
    n_blank: int
    df: float | None
    flags: tuple[str, ...]
    unit_ids: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {**asdict(self), "flags": list(self.flags), "unit_ids": list(self.unit_ids)}


COLUMNS = tuple(f.name for f in fields(ResultRow))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sampled:
    """A unit with what it adds to each figure."""

    unit: Unit
    tally: UnitTally


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultSettings:
    """
    What results are made with beside the records.

    Parameters
    ----------
    usual : tuple of Category
        The list of a project that has none of its own.
    coverage : CoverageTable or None
        Adds the flags of simulated coverage.
    """

    usual: tuple[Category, ...] = ()
    coverage: CoverageTable | None = None


def survey_results(
    store: SurveyStore, settings: ResultSettings | None = None
) -> tuple[ResultRow, ...]:
    """
    Make every figure that the records of a project carry.

    Parameters
    ----------
    store : SurveyStore
    settings : ResultSettings, optional

    Returns
    -------
    tuple of ResultRow
        By site, date, zone, design, figure and thing. Zones are kept apart: a site's figure needs
        weights that the records do not state.

    Notes
    -----
    Points on photos that are set aside are left out. Which interval goes with which figure is
    fixed in `dryslate.core.survey.methods.RULES`. Units of
    one design, zone and visit make a figure together; permanent plots apart from others. A name
    that was looked for and not seen in a unit is a zero there; without "none seen", and where the
    unit does not say what was searched for, names seen elsewhere count as zero only in designs in
    which everything is noted (cover), or where the unit noted corals by name at all.
    """
    settings = settings or ResultSettings()
    visits = {visit.visit_id: visit for visit in store.visits()}
    lists: dict[int | None, dict[str, Category]] = defaultdict(dict)
    for one in store.categories():
        lists[one.list_version][one.category] = one
    lists[None] = {one.category: one for one in settings.usual}
    units = {unit.unit_id: unit for unit in store.units()}
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    aside = {one.photo_id for one in store.photos_set_aside()}
    for noted in store.survey_rows():
        if noted.row.photo_id is None or noted.row.photo_id not in aside:
            rows[noted.unit_id].append(noted)
    groups: dict[tuple[str, str, str, bool], list[_Sampled]] = defaultdict(list)
    for stated in store.unit_designs():
        unit, known = units[stated.unit_id], lists[stated.list_version]
        named = [(noted.row, tuple(_things(noted, known))) for noted in rows[unit.unit_id]]
        tally = tally_unit(stated.design, named)
        for name in stated.design.searched:
            tally.counts.setdefault(f"name\t{name}", 0)
        key = (unit.visit_id, unit.zone or "", stated.design.design, stated.design.is_permanent)
        groups[key].append(_Sampled(unit=unit, tally=tally))
    found = [
        row
        for (visit_id, zone, _, is_permanent), sampled in sorted(groups.items())
        for row in _figures(
            sampled,
            (visits[visit_id].site, visits[visit_id].date, zone),
            SurveySettings(scope="plots" if is_permanent else "area", coverage=settings.coverage),
        )
    ]
    return tuple(found)


def results_table(found: Sequence[ResultRow]) -> bytes:
    """Write figures as CSV, one a row; several flags or units stand divided by semicolons."""
    rows = [
        ["; ".join(cell) if isinstance(cell, tuple) else cell for cell in astuple(row)]
        for row in found
    ]
    return write_table_csv(COLUMNS, rows)


def _things(noted: NotedRow, known: Mapping[str, Category]) -> Iterator[str]:
    """Name what a row counts to: category, group, name, and all corals."""
    row, name = noted.row, noted.name or noted.row.name
    if row.category:
        yield f"category\t{row.category}"
        one = known.get(row.category)
        if one is not None and one.group != row.category:
            yield f"group\t{one.group}"
        if one is not None and one.is_hard_coral and row.kind == "colony":
            yield f"group\t{ALL}"
    elif row.kind == "colony":
        yield f"group\t{ALL}"
    if name:
        yield f"name\t{name}"


def _figures(
    sampled: Sequence[_Sampled], where: tuple[str, str, str], settings: SurveySettings
) -> Iterator[ResultRow]:
    """Make the figures of units that were sampled alike."""
    design = sampled[0].tally.design.design
    made: list[tuple[str, Estimate]] = []
    if design in COVER_DESIGNS:
        made += _covers(sampled, settings)
    if design in COUNT_DESIGNS:
        made += _densities(sampled, settings)
    if design == "line_intercept":
        made += _line_densities(sampled, settings)
    if design not in ("photo_points", "quadrat_cells"):
        made += _prevalences(sampled, settings)
    ids = tuple(one.unit.unit_id for one in sampled)
    for thing, estimate in made:
        kind, word = thing.split("\t")
        yield _row(where, design, kind, word, estimate, ids)


def _row(
    where: tuple[str, str, str],
    design: str,
    kind: str,
    word: str,
    found: Estimate,
    unit_ids: tuple[str, ...],
) -> ResultRow:
    """Put a figure into its row."""
    site, date, zone = where
    return ResultRow(
        site=site,
        date=date,
        zone=zone,
        design=design,
        figure=found.what,
        kind_of_thing=kind,
        thing=word,
        estimate=found.estimate,
        u=found.u,
        lo95=found.lo95,
        hi95=found.hi95,
        method=str(found.method),
        n_units=found.n_units,
        n_blank=found.n_blank,
        df=found.df,
        flags=tuple(str(flag) for flag in found.flags),
        unit_ids=unit_ids,
    )


def _all_things(sampled: Sequence[_Sampled], which: str) -> list[str]:
    """List every thing that any of the units has, in the order of the alphabet."""
    return sorted({thing for one in sampled for thing in getattr(one.tally, which)})


def _covers(
    sampled: Sequence[_Sampled], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Cover of each thing; all that was read stands in the denominator."""
    design = sampled[0].tally.design.design
    read = [one.tally.read for one in sampled]
    blank = float("nan")
    for thing in _all_things(sampled, "on"):
        on = [one.tally.on.get(thing, 0.0) if one.tally.read else blank for one in sampled]
        if design == "line_intercept":
            yield thing, estimate_line_cover(on, read, settings)
        elif design == "quadrat_cells":
            shares = [a / n if n else blank for a, n in zip(on, read, strict=True)]
            yield thing, estimate_cover(shares, settings)
        else:
            unread = [one.tally.unreadable for one in sampled]
            points = [a + b for a, b in zip(read, unread, strict=True)]
            yield thing, estimate_point_cover(on, points, settings, unreadable=unread)


def _densities(
    sampled: Sequence[_Sampled], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Density, or counts a minute, of each thing."""
    designs = [one.tally.design for one in sampled]
    rules = {design.edge_rule for design in designs}
    blank = float("nan")
    for thing in _all_things(sampled, "counts"):
        counts = [one.tally.counts.get(thing, _unseen(one.tally, thing)) for one in sampled]
        if designs[0].design == "timed_swim":
            minutes = [design.minutes or blank for design in designs]
            yield thing, estimate_rate(counts, minutes, settings)
        else:
            areas = [design.searched_m2 or blank for design in designs]
            rule = rules.copy().pop() if len(rules) == 1 else None
            yield thing, estimate_density(counts, areas, settings, edge_rule=rule)


def _unseen(tally: UnitTally, thing: str) -> float:
    """Tell what it means that a unit has no row of a thing: 0 where it noted such things."""
    kind, word = thing.split("\t")
    if tally.design.searched and kind == "name":
        return 0.0 if word in tally.design.searched else float("nan")
    is_noted = any(other.startswith(f"{kind}\t") for other in tally.counts)
    return 0.0 if is_noted else float("nan")


def _line_densities(
    sampled: Sequence[_Sampled], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Density from tapes, where the width across the tape was noted of every colony."""
    for thing in _all_things(sampled, "counts"):
        if any(one.tally.n_without_width.get(thing) for one in sampled):
            continue
        widths = [one.tally.widths_m.get(thing, []) for one in sampled]
        tapes = [one.tally.design.length_m or float("nan") for one in sampled]
        yield thing, estimate_line_density(widths, tapes, settings)


def _prevalences(
    sampled: Sequence[_Sampled], settings: SurveySettings
) -> Iterator[tuple[str, Estimate]]:
    """Colonies with any bleached, and with any pale or bleached share, of those examined."""
    for thing in _all_things(sampled, "examined"):
        examined = [one.tally.examined.get(thing, 0) for one in sampled]
        for which, what in (
            ("with_bleached", "prevalence_bleached_frac"),
            ("with_pale_or_bleached", "prevalence_pale_or_bleached_frac"),
        ):
            cases = [getattr(one.tally, which).get(thing, 0) for one in sampled]
            yield thing, estimate_prevalence(cases, examined, settings, what=what)
