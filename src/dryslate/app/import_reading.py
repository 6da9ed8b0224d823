"""Reading rows of somebody's tables into ours: columns, units, names and photos."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.import_mapping import (
    ROW_FIELDS,
    UNIT_FIELDS,
    UNIT_KEY,
    ImportMapping,
    read_cell,
)
from dryslate.app.survey_records import NotedRow
from dryslate.app.visits import visit_id_of
from dryslate.base.problems import Problem, Severity
from dryslate.core.identify.kinds import full_range
from dryslate.core.identify.name_book import NameMatch
from dryslate.core.identify.names import find_names
from dryslate.core.survey.designs import (
    DESIGNS,
    EDGE_RULES,
    POINT_RULES,
    ROW_KINDS,
    SurveyRow,
)

if TYPE_CHECKING:
    from dryslate.app.records import Photo
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.formats.table_csv import Table

Key = tuple[str, str, str]
"""Site, date and unit."""
_ALL_KINDS = frozenset(kind for kinds in ROW_KINDS.values() for kind in kinds)
CHOICES: Mapping[str, Collection[str]] = {
    "design": DESIGNS,
    "edge_rule": EDGE_RULES,
    "point_rule": POINT_RULES,
}
_WIDTH = "colony_diameter"
BEYOND_KNOWN = 1.5
"""A longest diameter this many times the largest known of its genus is asked about."""
_MOST_KNOWN = 200_000
"""Cells that are remembered: tables repeat themselves, and one that does not fills no memory."""
_ROW = tuple(f.name for f in fields(SurveyRow) if f.name not in ("place", "photo_id"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportSource:
    """
    Who imports, when, and what names and photos are looked up in.

    Parameters
    ----------
    observer, at : str
    taxa : TaxaData
    region : str or None
    photos : Mapping
        By id, and by the name on the memory card where no two share it.
    size_of : callable
        Width and height of a photo's upright original; None where the file cannot tell.
    """

    observer: str
    at: str
    taxa: TaxaData
    region: str | None
    photos: Mapping[str, Photo]
    size_of: Callable[[Photo], tuple[int, int] | None]


def fault(
    slug: str, place: str, message: str, fix: str = "", severity: Severity = "error"
) -> Problem:
    """Return a fault of a table."""
    return Problem(slug=slug, severity=severity, place=place, message=message, fix=fix)


def column_faults(tables: Sequence[Table], mapping: ImportMapping) -> Iterator[Problem]:
    """Yield columns that are named and absent, missing in a table, or there and not read."""
    there = {column for table in tables for column in table.columns}
    for field, column in mapping.columns.items():
        if column not in there:
            yield fault(
                "mapping-column-absent",
                f"mapping, {field}",
                f"no table has a column {column!r}",
                f"There are: {', '.join(sorted(there))}.",
            )
    for field in sorted(set(mapping.constants) & there):
        if field not in mapping.columns:
            yield fault(
                "mapping-choice",
                f"mapping, {field}",
                f"{field} is one value for all rows, and a table has a column of that name",
                "Take one of them out: nobody knows which of the two holds.",
            )
    read = {mapping.columns.get(field, field) for field in (*UNIT_FIELDS, *ROW_FIELDS)}
    for table in tables:
        named = {mapping.columns.get(field, field) for field in UNIT_KEY} - set(table.columns)
        named -= {mapping.columns.get(field, field) for field in mapping.constants}
        if named:
            yield fault(
                "table-column-missing",
                table.name,
                f"no column {', '.join(sorted(named))}",
                "Each row says its site, date and unit; the mapping can name other columns.",
            )
        unread = [column for column in table.columns if column and column not in read]
        if unread:
            yield fault(
                "table-column-not-read",
                table.name,
                f"nothing is read from the column {', '.join(unread)}",
                "Correct its name, or name it in the mapping; else what it says is left out.",
                "warning",
            )


class Reader:
    """Reads one table's rows by a mapping."""

    def __init__(self, table: Table, mapping: ImportMapping) -> None:
        self.table, self.mapping = table, mapping
        columns = {column: k for k, column in enumerate(table.columns)}
        self.at = {
            field: columns[mapping.columns.get(field, field)]
            for field in (*UNIT_FIELDS, *ROW_FIELDS)
            if mapping.columns.get(field, field) in columns
        }
        self.has_rows = "kind" in self.at or "kind" in mapping.constants
        self._fields = tuple(
            (field, self.at.get(field)) for field in {**mapping.constants, **self.at}
        )
        self._known: dict[tuple[str, str], Any] = {}
        self._faulty: set[str] = set()

    def read(self, number: int, cells: Sequence[str], problems: list[Problem]) -> dict[str, Any]:
        """Return what a row says, by our fields."""
        said: dict[str, Any] = {}
        known = self._known
        self._faulty.clear()
        for field, at in self._fields:
            text = self.mapping.constants.get(field, "") if at is None else cells[at]
            try:
                value = known[field, text]  # what reads well reads so in every row
            except KeyError:
                column = field if at is None else self.table.columns[at]
                place = f"{self.table.name}, row {number}, column {column}"
                value, problem = self._cell(field, text, place)
                if problem is not None:
                    problems.append(problem)
                    self._faulty.add(field)
                elif len(known) < _MOST_KNOWN:
                    known[field, text] = value
            if value is not None:
                said[field] = value
        return said

    def _cell(self, field: str, text: str, place: str) -> tuple[Any, Problem | None]:
        """Read one cell; what is none of the words it may be is a problem."""
        value, problem = read_cell(field, text, self.mapping, place)
        words = CHOICES.get(field)
        if problem is None and words is not None and value is not None and value not in words:
            return None, _not_a_choice(value, words, place)
        return value, problem

    def key(self, number: int, said: Mapping[str, Any], problems: list[Problem]) -> Key | None:
        """Return site, date and unit; None where one is missing, which is a problem."""
        missing = [name for name in UNIT_KEY if name not in said]
        if missing and self._faulty.issuperset(missing):
            return None  # its cell was told
        if not missing:
            return said["site"], said["date"], said["unit"]
        if all(name in self.at or name in self.mapping.constants for name in missing):
            place = f"{self.table.name}, row {number}"
            problems.append(
                fault("row-without-unit", place, f"does not say its {', '.join(missing)}")
            )
        return None


def _not_a_choice(value: str, known: Collection[str], place: str) -> Problem:
    return fault(
        "cell-not-a-choice",
        place,
        f"{value!r} is none of {', '.join(known)}",
        "Correct it, or give the table's word under `words` in the mapping.",
    )


def searched_names(
    names: Sequence[str], source: ImportSource, place: str, problems: list[Problem]
) -> tuple[str, ...]:
    """
    Return the names that were searched for as rows carry them: current, first letters written out.

    A name that cannot be found is a problem: only of what is named alike is "none seen" an absence.
    """
    found = []
    for name in names:
        match = find_names(name, source.taxa, source.region)
        problems += [
            named_fault(problem, name, place)
            for problem in match.problems
            if problem.severity == "error"
        ]
        if match.kind == "prefix" and not match.is_usable:
            problems.append(letters_ambiguous(name, match, place))
        found.append(match.name or match.text)
    return tuple(dict.fromkeys(found))


def named_fault(problem: Problem, name: str, place: str) -> Problem:
    """Say at a place of a table what is said of a name, with the name itself."""
    return replace(problem, place=place, message=f"{name!r}: {problem.message}")


def letters_ambiguous(text: str, match: NameMatch, place: str) -> Problem:
    """Say that several names begin with these letters."""
    more = "Give more letters, or the whole name."
    return fault("name-letters-ambiguous", place, f"{text!r}: {match.question}", more)


def keep_unit(
    units: dict[Key, dict[str, Any]],
    key: Key,
    said: Mapping[str, Any],
    place: str,
    problems: list[Problem],
) -> None:
    """Remember what is said of a unit; two rows may not say different things of it."""
    known = units.setdefault(key, {"place": place})
    for field in UNIT_FIELDS:
        if field in UNIT_KEY or field not in said:
            continue
        if known.setdefault(field, said[field]) != said[field]:
            problems.append(
                fault(
                    "unit-said-twice",
                    place,
                    f"{field} of unit {key[2]} is {said[field]!r} here and "
                    f"{known[field]!r} in {known['place']}",
                )
            )


class RowMaker:
    """Makes rows of what tables say; each name and each photo is looked up once."""

    def __init__(self, source: ImportSource) -> None:
        self._source = source
        self._names: dict[str, NameMatch] = {}
        self._largest: dict[tuple[str, ...], float] = {}
        self._sizes: dict[str, tuple[int, int] | None] = {}

    def make(
        self, key: Key, said: Mapping[str, Any], place: str, problems: list[Problem]
    ) -> NotedRow | None:
        """Make the row that a line of a table says; None where its kind is none."""
        values = {field: said[field] for field in _ROW if field in said}
        kind = values.get("kind")
        if kind not in _ALL_KINDS:
            problems.append(_not_a_choice(kind or "", sorted(_ALL_KINDS), f"{place}, column kind"))
            return None
        photo = self._photo(key, said, place, problems) if "photo" in said else None
        match = None
        if values.get("name"):
            match = self._name(values["name"], f"{place}, column name", problems)
            values["name"] = match.text
        if match and values.get("longest_cm") and match.genera:
            problems += self._size(match, values["longest_cm"], place)
        return NotedRow(
            unit_id="",
            row=SurveyRow(**values, photo_id=photo.photo_id if photo else None, place=place),
            observer=said.get("observer", self._source.observer),
            noted_at=self._source.at,
            name=match.name if match else "",
            current_names=tuple(match.genera) if match else (),
            rank=match.rank if match else "",
        )

    def _name(self, text: str, place: str, problems: list[Problem]) -> NameMatch:
        """Look a name up; what is noted of it is told once, what is wrong with it at each place."""
        known = self._names.get(text)
        match = known or find_names(text, self._source.taxa, self._source.region)
        self._names[text] = match
        if match.kind == "prefix" and not match.is_usable:
            problems.append(letters_ambiguous(text, match, place))
        problems += [
            named_fault(problem, text, place)
            for problem in match.problems
            if known is None or problem.severity == "error"
        ]
        return match

    def _size(self, match: NameMatch, longest_cm: float, place: str) -> Iterator[Problem]:
        """Ask about a colony far larger than any known of its genera, where that is known."""
        if match.genera not in self._largest:
            known = [
                full_range(p, _WIDTH)[1]
                for p in self._source.taxa.profiles
                if p.genus in match.genera
            ]
            self._largest[match.genera] = max(known, default=math.nan)
            if any(map(math.isnan, known)):
                self._largest[match.genera] = math.nan
        largest_cm = self._largest[match.genera] / 10
        if longest_cm > BEYOND_KNOWN * largest_cm:
            yield fault(
                "row-size-beyond-genus",
                f"{place}, column longest_cm",
                f"{match.text} of {longest_cm:g} cm; {largest_cm:g} cm is the largest known",
                "Was it written in millimetres, or is it another genus? Right as it stands: leave "
                "it.",
                "warning",
            )

    def _photo(
        self, key: Key, said: Mapping[str, Any], place: str, problems: list[Problem]
    ) -> Photo | None:
        """Find the photo of a point: of this visit, with the point on it."""
        photo = self._source.photos.get(said["photo"])
        if photo is None:
            problems.append(
                fault(
                    "row-photo-unknown",
                    place,
                    f"no photo {said['photo']!r} in the project, or several",
                    "Take the photos in first; give digits of the hash where names repeat.",
                )
            )
            return None
        if photo.visit_id != visit_id_of(key[0], key[1]):
            problems.append(
                fault(
                    "row-photo-other-visit",
                    place,
                    f"the photo {said['photo']!r} is of the visit {photo.visit_id}",
                    "Correct the photo, the site or the date.",
                )
            )
        if photo.photo_id not in self._sizes:
            self._sizes[photo.photo_id] = self._source.size_of(photo)
        size = self._sizes[photo.photo_id]
        x, y = said.get("x_px"), said.get("y_px")
        if size is not None and not (_is_on(x, size[0]) and _is_on(y, size[1])):
            problems.append(
                fault(
                    "row-point-outside-photo",
                    place,
                    f"the point {x}, {y} px lies outside the photo of {size[0]} × {size[1]} px",
                    "Pixels are counted on the upright original, from its top left.",
                )
            )
        return photo


def _is_on(at: float | None, length: int) -> bool:
    """Tell whether a coordinate lies on a photo, or is not stated."""
    return at is None or -0.5 <= at < length - 0.5
