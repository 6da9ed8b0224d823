"""Typing what was noted in a unit: what is there, and storing lines once."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.category_list import newest_version
from dryslate.app.entry_lines import CheckedUnit, TypedLine, check_lines, in_order, typed_line
from dryslate.app.survey_records import NotedRow, SentBatch, StatedDesign
from dryslate.app.unit_edits import changed_meanwhile
from dryslate.app.units import require_unit
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.import_reading import ImportSource, Key
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category
    from dryslate.app.unit_records import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class EntrySheet:
    """
    A unit with all that is noted in it.

    Parameters
    ----------
    unit : Unit
    key : tuple of str
        Site, date and unit.
    stated : StatedDesign or None
        How it was sampled; None where nobody said yet.
    rows : tuple of NotedRow
        In the order of the tape or cells.
    categories : tuple of Category
        The list its rows use.
    """

    unit: Unit
    key: Key
    stated: StatedDesign | None
    rows: tuple[NotedRow, ...]
    categories: tuple[Category, ...]

    @property
    def seal(self) -> str:
        """Return a text that changes when anything noted in the unit does."""
        said = repr((self.stated, sorted(self.rows, key=lambda r: r.row_no or 0)))
        return hashlib.sha256(said.encode("utf-8")).hexdigest()[:32]

    @property
    def lines(self) -> tuple[TypedLine, ...]:
        """Return its rows as they would be typed."""
        return tuple(typed_line(row, n) for n, row in enumerate(self.rows, 1))

    @property
    def known(self) -> frozenset[str]:
        """Return the categories that may be used."""
        return frozenset(one.category for one in self.categories)


def entry_sheet(store: SurveyStore, unit_id: str, usual: Sequence[Category]) -> EntrySheet:
    """
    Return a unit with all that is noted in it.

    Parameters
    ----------
    store : SurveyStore
    unit_id : str
    usual : sequence of Category
        The list of a project that has none of its own.

    Raises
    ------
    InputError
        ``unit-unknown``.
    """
    unit = require_unit(store, unit_id)
    visit = next(v for v in store.visits() if v.visit_id == unit.visit_id)
    stated = next((s for s in store.unit_designs(unit.visit_id) if s.unit_id == unit_id), None)
    version = stated.list_version if stated is not None else newest_version(store)
    return EntrySheet(
        unit=unit,
        key=(visit.site, visit.date, unit.name or ""),
        stated=stated,
        rows=tuple(in_order(store.survey_rows(unit_id))),
        categories=store.categories(version) if version is not None else tuple(usual),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesToSave:
    """
    Lines that a browser sends to be stored.

    Parameters
    ----------
    batch_id : str
        Made in the browser; the same one twice is stored once.
    seal : str
        Of the unit as the browser knew it (`EntrySheet.seal`).
    lines : tuple of TypedLine
        New ones, and stored ones as they are to be.
    gone : tuple of int
        Rows to take out.
    """

    batch_id: str
    seal: str
    lines: tuple[TypedLine, ...] = ()
    gone: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedLines:
    """What came of a batch: the rows' numbers by the line's mark, the new seal, what was held."""

    row_nos: Mapping[str, int]
    seal: str
    held: frozenset[str] = frozenset()


def check_sheet(sheet: EntrySheet, lines: Sequence[TypedLine], source: ImportSource) -> CheckedUnit:
    """Read and check lines as those of a unit that says how it was sampled."""
    return check_lines(require_stated(sheet).design, sheet.key, lines, source, sheet.known)


def require_stated(sheet: EntrySheet) -> StatedDesign:
    """
    Return how a unit was sampled.

    Raises
    ------
    InputError
        ``unit-without-design``.
    """
    if sheet.stated is None:
        raise InputError(
            "unit-without-design",
            "Nobody has said how this unit was sampled.",
            "Say it first; the lines are read by it.",
        )
    return sheet.stated


def save_lines(
    store: SurveyStore,
    unit_id: str,
    wanted: LinesToSave,
    source: ImportSource,
    usual: Sequence[Category],
) -> SavedLines:
    """
    Store a batch of lines in one transaction, once however often it comes.

    A line that cannot stand (a size below zero, a category in no list) is held back and named;
    the others are stored.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    unit_id : str
    wanted : LinesToSave
    source : ImportSource
    usual : sequence of Category

    Returns
    -------
    SavedLines

    Raises
    ------
    InputError
        ``changed-meanwhile`` where somebody else changed the unit since; nothing is stored then.
    """
    with store.write():
        before = store.sent_batch(wanted.batch_id)
        sheet = entry_sheet(store, unit_id, usual)
        if before is not None:
            return SavedLines(row_nos=before.row_nos, seal=sheet.seal)
        stored = {row.row_no: row for row in sheet.rows}
        touched = {line.row_no for line in wanted.lines} | set(wanted.gone)
        is_there = all(no in stored for no in touched - {None})
        if sheet.seal != wanted.seal or not is_there:
            raise changed_meanwhile()
        others = [line for line in sheet.lines if line.row_no not in touched]
        checked = check_sheet(sheet, [*others, *wanted.lines], source)
        sound = [line for line in wanted.lines if line.key not in checked.held]
        sound = [line for line in sound if line.key in checked.rows]
        rows = [_row(line, checked.rows[line.key], stored, unit_id) for line in sound]
        row_nos = _numbered(store, sound)
        store.save_survey_rows(rows)
        for number in wanted.gone:
            store.delete_survey_row(number)
        batch = SentBatch(
            batch_id=wanted.batch_id,
            unit_id=unit_id,
            row_nos=row_nos,
            observer=source.observer,
            stored_at=source.at,
        )
        store.save_sent_batch(batch)
        held = {line.key for line in wanted.lines} - set(row_nos)
        seal = entry_sheet(store, unit_id, usual).seal
    return SavedLines(row_nos=row_nos, seal=seal, held=frozenset(held))


def _row(
    line: TypedLine, noted: NotedRow, stored: Mapping[int | None, NotedRow], unit_id: str
) -> NotedRow:
    """Return the row to store: one that was there keeps who noted it, when, and where it stood."""
    old = stored.get(line.row_no) if line.row_no is not None else None
    place = old.row.place if old is not None else f"typed, line {line.number}"
    row = replace(noted, unit_id=unit_id, row=replace(noted.row, place=place))
    if old is None:
        return row
    return replace(row, observer=old.observer, noted_at=old.noted_at)


def _numbered(store: SurveyStore, lines: Collection[TypedLine]) -> dict[str, int]:
    """Return the numbers that lines have, or will be given in their order."""
    last, found = store.last_row_no(), {}
    for line in lines:
        if line.row_no is None:
            last += 1
        found[line.key] = line.row_no if line.row_no is not None else last
    return found
