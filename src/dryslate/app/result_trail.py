"""From a figure back to what it rests on: its units, the rows in them that count to it, photos."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from dryslate.app.result_tallies import rows_about
from dryslate.app.sheet_paper import Paper, find_row, make_papers
from dryslate.app.survey_words import BY_LOOKS, TOGETHER
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.result_rows import ResultRow
    from dryslate.app.survey_records import Category, NotedRow
    from dryslate.app.unit_records import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailKey:
    """
    Which figure is meant, by the words of its row.

    Parameters
    ----------
    site, date, zone, design, figure, about, kind, thing : str
    """

    site: str
    date: str
    zone: str
    design: str
    figure: str
    about: str
    kind: str
    thing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailUnit:
    """
    A unit that a figure rests on.

    Parameters
    ----------
    unit : Unit
    rows : tuple of NotedRow
        Those that count to it; empty where the unit says that there is none.
    n_rows : int
        All that was noted in the unit.
    n_photos : int
        Photos of the unit that are not set aside.
    papers : tuple of Paper
        Photographed sheets that it was typed from.
    on_paper : Mapping
        Where on them a row stands, by its number: the paper's photo and the row of the sheet.
    """

    unit: Unit
    rows: tuple[NotedRow, ...]
    n_rows: int
    n_photos: int
    papers: tuple[Paper, ...] = ()
    on_paper: Mapping[int | None, tuple[str, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """
    A figure with what it rests on.

    Parameters
    ----------
    row : ResultRow
    units : tuple of TrailUnit
    """

    row: ResultRow
    units: tuple[TrailUnit, ...]


def key_of(row: ResultRow) -> TrailKey:
    """Return what tells a figure from all others of a project."""
    return TrailKey(
        site=row.site,
        date=row.date,
        zone=row.zone,
        design=row.design,
        figure=row.figure,
        about=row.about,
        kind=row.kind_of_thing,
        thing=row.thing,
    )


def trail_of(
    store: SurveyStore, usual: Sequence[Category], found: Sequence[ResultRow], key: TrailKey
) -> Trail:
    """
    Follow a figure to its units and rows.

    Parameters
    ----------
    store : SurveyStore
    usual : sequence of Category
        The list of a project that has none of its own.
    found : sequence of ResultRow
        The figures of the project, as they are now.
    key : TrailKey

    Returns
    -------
    Trail

    Raises
    ------
    InputError
        ``results-figure-unknown`` where the records carry no such figure.
    """
    row = next((one for one in found if key_of(one) == key), None)
    if row is None:
        raise InputError(
            "results-figure-unknown",
            f"The records carry no figure {key.figure} of {key.thing} at {key.site}, {key.date}.",
            "Look at the results again: what was noted may have changed.",
        )
    units = {unit.unit_id: unit for unit in store.units()}
    aside = {one.photo_id for one in store.photos_set_aside()}
    used = (j for j in store.unit_photos() if j.how != "slate")
    joined = [join for join in used if join.photo_id not in aside]
    told = []
    for unit_id in row.unit_ids:
        noted = [one for one in store.survey_rows(unit_id) if one.row.photo_id not in aside]
        told.append(
            TrailUnit(
                unit=units[unit_id],
                rows=_rows_of(store, usual, noted, key),
                n_rows=len(noted),
                n_photos=sum(join.unit_id == unit_id for join in joined),
            )
        )
    return Trail(row=row, units=with_papers(store, told))


def with_papers(store: SurveyStore, units: Sequence[TrailUnit]) -> tuple[TrailUnit, ...]:
    """
    Add to units the photographed sheets that they were typed from.

    Parameters
    ----------
    store : SurveyStore
    units : sequence of TrailUnit
    """
    photos = store.sheet_photos()
    if not photos:
        return tuple(units)
    printed = store.printed_sheets()
    found = []
    for one in units:
        own = [photo for photo in photos if photo.unit_id == one.unit.unit_id]
        papers = make_papers(own, printed)
        rows = store.survey_rows(one.unit.unit_id) if papers else ()
        places = {noted.row_no: find_row(papers, noted, rows) for noted in one.rows if papers}
        on_paper = {k: (at[0].photo_id, at[1].row) for k, at in places.items() if at is not None}
        found.append(replace(one, papers=papers, on_paper=on_paper))
    return tuple(found)


def _rows_of(
    store: SurveyStore, usual: Sequence[Category], noted: Sequence[NotedRow], key: TrailKey
) -> tuple[NotedRow, ...]:
    """Return the rows that count to a figure; of names corrected together, those of each."""
    names = [key.thing]
    if key.about in (BY_LOOKS, TOGETHER):
        names += [one for one in key.thing.split(" or ") if one != key.thing]
    things = [f"{key.kind}\t{name}" for name in names]
    return tuple(row for thing in things for row in rows_about(store, usual, noted, thing))
