"""Occurrences and measurements of an archive, from what was noted in units."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from dryslate.app.archive_tables import TableWriter, flat
from dryslate.app.archive_words import IN_COLUMNS, Also, also_words, number, row_words

if TYPE_CHECKING:
    from dryslate.app.archive_ids import Identifiers
    from dryslate.app.archive_names import ArchiveName, NameRoom
    from dryslate.app.survey_records import NotedRow, StatedDesign
    from dryslate.core.survey.designs import SurveyRow, UnitDesign

Sums = dict[tuple[str, str, str, str], float]
"""Event, what, unit and remark to how much."""
SIZES: tuple[tuple[str, str, str], ...] = (
    ("longest_cm", "longest diameter", "centimetres"),
    ("across_cm", "widest diameter across the longest", "centimetres"),
    ("across_line_m", "extent across the tape", "metres"),
    ("normal_pct", "share of surface that looks normal", "per cent"),
    ("pale_pct", "share of surface that is pale", "per cent"),
    ("bleached_pct", "share of surface that is bleached", "per cent"),
    ("recently_dead_pct", "share of surface that died recently", "per cent"),
    ("old_dead_pct", "share of surface that is long dead", "per cent"),
)
"""What is measured of a colony: our field, its type in words, its unit."""
SHARE_WORDS = {name: what for name, what, _ in SIZES if name.endswith("_pct")}


_NOTHING: frozenset[str] = frozenset()
_PHOTO = frozenset({"photo_id"})
_ALIKE = _PHOTO | {"place"}
_ROW = _ALIKE | IN_COLUMNS
"""What columns carry of a row whose place is all that is remarked, and of a colony."""


@dataclass(kw_only=True)
class RowMaker:
    """
    Writes occurrences and measurements.

    Parameters
    ----------
    ids : Identifiers
    names : NameRoom
    occurrences, measurements : TableWriter
    dead : set of str
        Categories of what is dead.
    organisms : Mapping
        Tagged colony of the site by what its tag says.
    met : dict
        Tagged colony to event and occurrence on the present visit.
    named : dict
        Tagged colony to the name that it was last given.
    left_out : Counter
        What is not in the archive, by reason.
    has_withheld : bool
        Whether a site's name stays in the project.
    """

    ids: Identifiers
    names: NameRoom
    occurrences: TableWriter
    measurements: TableWriter
    dead: set[str] = field(default_factory=set)
    organisms: Mapping[str, str] = field(default_factory=dict)
    met: dict[str, tuple[str, str]] = field(default_factory=dict)
    named: dict[str, ArchiveName] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)
    n_absent: int = 0
    has_withheld: bool = False

    def unit(
        self, stated: StatedDesign, rows: Sequence[NotedRow], event: str, photos: Mapping[str, str]
    ) -> Also:
        """
        Write what was noted in a unit; returns what is no occurrence, by event.

        Parameters
        ----------
        stated : StatedDesign
        rows : sequence of NotedRow
        event : str
            The unit's event.
        photos : Mapping
            Event of each photo that has one.
        """
        sums: Sums = defaultdict(float)
        also: Also = defaultdict(list)
        is_read = stated.design.design == "photo_points"
        basis = "MachineObservation" if is_read else "HumanObservation"
        for noted in rows:
            photo = noted.row.photo_id
            at = photos.get(photo, "") if photo is not None else ""
            if not self._row(noted, at or event, basis, stated.design, sums):
                also[at or event].append(also_words(noted, stated, _PHOTO if at else _NOTHING))
        for (at, what, unit, note), amount in sorted(sums.items()):
            self.measure((at, ""), (what, _sum(amount), unit), key=(at, what, note), remarks=note)
        self._absences(stated, rows, event)
        return also

    def _row(
        self,
        noted: NotedRow,
        event: str,
        basis: str,
        design: UnitDesign,
        sums: Sums,
    ) -> bool:
        """Write one row as an occurrence, or add it to what is told of the event: False."""
        row = noted.row
        if row.kind == "none_seen":
            if not _is_searched(noted, design):
                self.left_out["absences of names not declared searched for"] += 1
            return False
        amount, unit = _amount(row)
        if row.unreadable:
            sums[event, f"not readable: {unit}", unit, flat(row.unreadable)] += amount
            return False
        name = self.names.of((row.category, row.name, noted.name, noted.current_names, noted.rank))
        if name is None or (not row.name and row.category in self.dead):
            what = f"{unit} on {row.category or 'nothing named'}"
            sums[event, what, unit, ""] += amount
            return False
        if row.kind in ("count", "colony") and row.n == 0:
            if not _is_searched(noted, design):
                sums[event, f"count of {row.name or row.category}", "colonies", ""] += 0
            return False
        self._occurrence(noted, name, event, basis)
        return True

    def _occurrence(self, noted: NotedRow, name: ArchiveName, event: str, basis: str) -> None:
        """Write an occurrence with its measurements."""
        row = noted.row
        occurrence = self.ids.of("row", noted.row_no)
        amount, unit = _amount(row)
        is_count = row.kind in ("count", "colony")
        count = "" if not is_count or (row.kind == "count" and row.n is None) else f"{amount:.0f}"
        organism = self.organisms.get(row.tag, "") if row.tag else ""
        place, leave = row.place, _ROW if row.kind == "colony" else _ALIKE
        if row.kind != "point":  # such a photo has no event of its own
            leave -= _PHOTO
        if organism:
            self.met[organism] = event, occurrence
            self.named[organism] = name
        if row.note or row.lesion or row.growth_form or "\t" in place or "\n" in place:
            told = [row.note, row.growth_form and f"growth form: {row.growth_form}"]
            told += [row.lesion and f"lesion: {row.lesion}", place]
            place, leave = flat("; ".join(part for part in told if part)), leave - {"place"}
        self.occurrences.row(
            (
                event,
                occurrence,
                basis,
                "present",
                name.name,
                name.name_id,
                name.rank,
                name.kingdom,
                name.genus,
                name.verbatim,
                name.qualifier,
                noted.observer,
                noted.noted_at,
                "unverified",
                name.remarks,
                count,
                "" if is_count else _sum(amount),
                "" if is_count else unit,
                organism and self.ids.of("organism", organism),
                noted.observer,
                str(noted.row_no),
                self._vitality(row),
                "",
                place,
                row_words(noted, leave),
            )
        )
        if row.kind == "colony":
            for field_name, what, size_unit in SIZES:
                value = getattr(row, field_name)
                if value is not None:
                    self.measure(
                        (event, occurrence),
                        (what, number(value), size_unit),
                        key=(noted.row_no, field_name),
                        who=noted.observer,
                        when=noted.noted_at,
                        method="by eye or ruler in the water",
                    )
            for what, text in (("growth form", row.growth_form), ("lesion", row.lesion)):
                if text:
                    self.measure(
                        (event, occurrence),
                        (what, text, ""),
                        key=(noted.row_no, what),
                        who=noted.observer,
                        when=noted.noted_at,
                    )

    def _vitality(self, row: SurveyRow) -> str:
        """Say whether a colony lives, where its shares or its category tell."""
        if row.category in self.dead:
            return "dead"
        living = (row.normal_pct, row.pale_pct, row.bleached_pct)
        if living == (None, None, None):
            return ""
        if any(living):
            return "alive"
        return "dead" if None not in living else ""

    def _absences(self, stated: StatedDesign, rows: Sequence[NotedRow], event: str) -> None:
        """Write that names were searched for and not seen; a unit left blank tells nothing."""
        if not rows or not stated.design.searched:
            return
        seen: set[str] = set()
        for noted in rows:
            if noted.row.kind != "none_seen" and noted.row.n != 0:
                seen |= {noted.name, noted.row.name, *noted.current_names}
        for name in dict.fromkeys(stated.design.searched):
            found, genera = self.names.typed(name)
            if name in seen or found.name in seen or genera & seen:
                continue
            self.n_absent += 1
            self.occurrences.named(
                {
                    "eventID": event,
                    "occurrenceID": self.ids.of("absent", f"{stated.unit_id}\t{name}"),
                    "basisOfRecord": "HumanObservation",
                    "occurrenceStatus": "absent",
                    "scientificName": found.name,
                    "scientificNameID": found.name_id,
                    "taxonRank": found.rank,
                    "kingdom": found.kingdom,
                    "genus": found.genus,
                    "verbatimIdentification": name,
                    "identifiedBy": stated.observer,
                    "dateIdentified": stated.stated_at,
                    "individualCount": "0",
                    "recordedBy": stated.observer,
                    "occurrenceRemarks": "searched for in this unit, none seen",
                    "dynamicProperties": '{"searched":true}',
                }
            )

    def shares(
        self,
        of: tuple[str, str],
        shares: Mapping[str, float | None],
        lesion: str,
        key: tuple[object, ...],
        by: tuple[str, str],
        remarks: str = "",
    ) -> None:
        """Write shares of a colony's surface and its lesions; `by` is who and when."""
        who, when = by
        for part, value in shares.items():
            if value is not None:
                self.measure(
                    of,
                    (SHARE_WORDS[part], number(value), "per cent"),
                    key=(*key, part, who),
                    who=who,
                    when=when,
                    method="by eye",
                    remarks=remarks,
                )
        if lesion:
            self.measure(
                of, ("lesion", lesion, ""), key=(*key, "lesion", who), who=who, when=when,
                remarks=remarks,
            )  # fmt: skip

    def measure(  # noqa: PLR0913  what a measurement says, by name
        self,
        of: tuple[str, str],
        said: tuple[str, str, str],
        *,
        key: tuple[object, ...],
        accuracy: str = "",
        who: str = "",
        when: str = "",
        method: str = "",
        remarks: str = "",
    ) -> None:
        """Write a measurement: of event and occurrence; type, value and unit."""
        self.measurements.row(
            (
                of[0],
                self.ids.of("measurement", "\t".join(map(str, key))),
                of[1],
                flat(said[0]),
                "",
                flat(said[1]),
                "",
                said[2],
                "",
                accuracy,
                when,
                who,
                method,
                remarks,
            )
        )


@lru_cache(maxsize=4096)
def _sum(amount: float) -> str:
    """Write a sum, without the dust of adding."""
    return number(round(amount, 9))


def _amount(row: SurveyRow) -> tuple[float, str]:
    """Return how much a row stands for, with its unit."""
    if row.kind == "intercept":
        return round((row.to_m or 0.0) - (row.from_m or 0.0), 6), "metres of tape"
    if row.kind == "cell":
        return (1.0 if row.cover_pct is None else row.cover_pct / 100), "cells"
    if row.kind == "point":
        return 1.0, "points"
    return float(1 if row.n is None else row.n), "colonies"


def _is_searched(noted: NotedRow, design: UnitDesign) -> bool:
    """Tell whether a row's name was declared searched for."""
    return bool({noted.name, noted.row.name} & set(design.searched))
