"""The units that a report of results rests on, with where their rows were written."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dryslate.app.sheet_paper import Paper, find_row, make_papers
from dryslate.core.survey.designs import UnitDesign

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Photo
    from dryslate.app.sheet_records import SheetPhoto
    from dryslate.app.survey_records import NotedRow
    from dryslate.app.unit_records import Unit

MOST_ROWS = 3_000
"""Rows that the trail lists one by one; with more, it names their places only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedUnit:
    """
    One unit, with where its rows were written.

    Parameters
    ----------
    number : int
        In the report.
    unit : Unit
    site, date : str
    design : UnitDesign
    list_version : int or None
        Of the categories its rows use.
    n_rows : int
    rows : tuple of NotedRow
        All of them, or none where the survey has too many to list.
    places : tuple of str
        Files, sheets and cells that rows were taken from, a range each.
    photos : tuple of (str, str)
        Name and hash.
    sheets : tuple of (str, str)
        Number of each photographed sheet it was typed from, and name of the photo.
    on_paper : Mapping
        Row by its number to the number of the sheet and the row on it, where that is known.
    """

    number: int
    unit: Unit
    site: str
    date: str
    design: UnitDesign
    list_version: int | None
    n_rows: int
    rows: tuple[NotedRow, ...]
    places: tuple[str, ...]
    photos: tuple[tuple[str, str], ...]
    sheets: tuple[tuple[str, str], ...] = ()
    on_paper: Mapping[int | None, tuple[str, int]] = field(default_factory=dict)


def reported_units(
    store: SurveyStore, photos: Sequence[Photo], visit_ids: frozenset[str]
) -> tuple[ReportedUnit, ...]:
    """
    Return every unit of some visits that states how it was sampled.

    Parameters
    ----------
    store : SurveyStore
    photos : sequence of Photo
        For their names.
    visit_ids : frozenset of str

    Returns
    -------
    tuple of ReportedUnit
        Numbered by site, date, zone and name. Rows are read one by one only where they are listed.
    """
    visits = {visit.visit_id: visit for visit in store.visits()}
    units = {unit.unit_id: unit for unit in store.units()}
    names = {p.photo_id: p.files[0].original_name for p in photos}
    n_rows = store.n_survey_rows()
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    if sum(n_rows.values()) <= MOST_ROWS:
        for noted in store.survey_rows():
            rows[noted.unit_id].append(noted)
    joined: dict[str, set[str]] = defaultdict(set)
    for one in store.unit_photos():
        if one.unit_id is not None:
            joined[one.unit_id].add(one.photo_id)
    places: dict[str, list[str]] = defaultdict(list)
    for unit_id, place, photo_id in store.written_in():
        if photo_id:
            joined[unit_id].add(photo_id)
        if place:
            places[unit_id].append(place)
    papers = _papers(store)
    found = []
    for stated in store.unit_designs():
        unit = units[stated.unit_id]
        if unit.visit_id in visit_ids:
            visit = visits[unit.visit_id]
            key = (visit.site, visit.date, unit.zone or "", unit.name or "", unit.unit_id)
            found.append((key, unit, visit, stated))
    return tuple(
        ReportedUnit(
            number=number,
            unit=unit,
            site=visit.site,
            date=visit.date,
            design=stated.design,
            list_version=stated.list_version,
            n_rows=n_rows.get(unit.unit_id, 0),
            rows=tuple(rows[unit.unit_id]),
            places=_ranges(places[unit.unit_id]),
            photos=tuple(sorted((names.get(p, p[:12]), p) for p in joined[unit.unit_id])),
            sheets=tuple(
                (paper.sheet.sheet_id, names.get(paper.photo_id, paper.photo_id[:12]))
                for paper in papers.get(unit.unit_id, ())
            ),
            on_paper=_on_paper(papers.get(unit.unit_id, ()), rows[unit.unit_id]),
        )
        for number, (_, unit, visit, stated) in enumerate(sorted(found, key=lambda one: one[0]), 1)
    )


def _papers(store: SurveyStore) -> dict[str, tuple[Paper, ...]]:
    """Return the photographed sheets of each unit that has some."""
    photos: dict[str, list[SheetPhoto]] = defaultdict(list)
    for one in store.sheet_photos():
        if one.unit_id is not None:
            photos[one.unit_id].append(one)
    printed = store.printed_sheets() if photos else ()
    return {unit_id: make_papers(own, printed) for unit_id, own in photos.items()}


def _on_paper(
    papers: Sequence[Paper], rows: Sequence[NotedRow]
) -> dict[int | None, tuple[str, int]]:
    """Return where on its sheets each row stands, as far as that is known."""
    places = {noted.row_no: find_row(papers, noted, rows) for noted in rows if papers}
    return {k: (at[0].sheet.sheet_id, at[1].row) for k, at in places.items() if at is not None}


def _ranges(places: Sequence[str]) -> tuple[str, ...]:
    """Put places of one file that follow one another together: the first and the last."""
    found: dict[str, list[str]] = defaultdict(list)
    for place in places:
        if place:
            head = place.rstrip("0123456789")
            found[head].append(place.removeprefix(head))
    said = []
    for head, ends in found.items():
        numbers = sorted({int(end) for end in ends if end})
        if not numbers:
            said.append(head)
        elif len(numbers) == 1:
            said.append(f"{head}{numbers[0]}")
        else:
            said.append(f"{head}{numbers[0]}\N{EN DASH}{numbers[-1]}")
    return tuple(said)
