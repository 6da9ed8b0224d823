"""Tagged colonies in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, fields
from typing import TYPE_CHECKING

from dryslate.store.rows import StoreRoom, from_json, to_json

if TYPE_CHECKING:  # else where they are used: a trip without any has its first page sooner
    from dryslate.app.colony_records import (
        Colony,
        ColonyColour,
        ColonyFractions,
        ColonyFrame,
        Sighting,
        StressOnset,
    )

_OF_COLONY = "WHERE ?1 IS NULL OR organism_id = ?1"


class SqliteColonyRoom(StoreRoom):
    """Implements `dryslate.app.colony_records.ColonyStore`."""

    def colonies(self, site: str | None = None) -> tuple[Colony, ...]:
        """Return the colonies of one site, or all, in the order tagged."""
        rows = self._rows(
            "SELECT * FROM colonies WHERE ?1 IS NULL OR site = ?1 ORDER BY rowid", [site]
        )
        return tuple(_colony_of(row) for row in rows)

    def save_colony(self, colony: Colony) -> None:
        """Store a colony, or its changed words; identity, site and first visit never change."""
        row = asdict(colony) | {"neighbours": to_json([asdict(n) for n in colony.neighbours])}
        with self.write():
            self._keep("observers", {"observer": colony.observer})
            self._put("colonies", row, ["organism_id"])

    def colony_sightings(self, organism_id: str | None = None) -> tuple[Sighting, ...]:
        """Return what became of one colony, or of all, by date of the visit."""
        from dryslate.app.colony_records import Sighting

        rows = self._rows(
            "SELECT s.* FROM colony_sightings AS s JOIN visits AS v USING (visit_id) "
            f"{_OF_COLONY} ORDER BY v.date, s.rowid",
            [organism_id],
        )
        return tuple(Sighting(**dict(row)) for row in rows)

    def save_colony_sighting(self, sighting: Sighting) -> None:
        """Store what became of a colony on a visit; what held before is in the change log."""
        with self.write():
            self._keep("observers", {"observer": sighting.observer})
            self._put("colony_sightings", asdict(sighting), ["organism_id", "visit_id"])

    def colony_fractions(self, organism_id: str | None = None) -> tuple[ColonyFractions, ...]:
        """Return the latest judgement of each colony, visit and observer, in the order saved."""
        latest = (
            "SELECT max(judgement_no) FROM colony_fractions "
            f"{_OF_COLONY} GROUP BY organism_id, visit_id, observer"
        )
        return self._fractions(f"WHERE judgement_no IN ({latest})", [organism_id])

    def colony_fraction_history(self, organism_id: str) -> tuple[ColonyFractions, ...]:
        """Return every judgement of one colony, oldest first."""
        return self._fractions("WHERE organism_id = ?1", [organism_id])

    def _fractions(self, where: str, values: list[str | None]) -> tuple[ColonyFractions, ...]:
        """Read judgements, oldest first."""
        from dryslate.app.colony_records import ColonyFractions

        columns = ", ".join(f.name for f in fields(ColonyFractions))
        rows = self._rows(
            f"SELECT {columns} FROM colony_fractions {where} ORDER BY judgement_no",
            values,
        )
        return tuple(ColonyFractions(**dict(row)) for row in rows)

    def save_colony_fractions(self, row: ColonyFractions) -> None:
        """Add a judgement; the same words of the same observer again change nothing."""
        key = (row.visit_id, row.observer)
        with self.write():
            standing = self.colony_fractions(row.organism_id)
            last = next((r for r in standing if (r.visit_id, r.observer) == key), None)
            if last is not None and (last.shares(), last.lesion) == (row.shares(), row.lesion):
                return
            self._keep("observers", {"observer": row.observer})
            self._keep("colony_fractions", asdict(row))

    def colony_frames(self, organism_id: str | None = None) -> tuple[ColonyFrame, ...]:
        """Return the frames of one colony, or of all, in the order added."""
        rows = self._rows(f"SELECT * FROM colony_frames {_OF_COLONY} ORDER BY rowid", [organism_id])
        return tuple(_frame_of(row) for row in rows)

    def save_colony_frame(self, frame: ColonyFrame) -> None:
        """Store a frame, or its changed outline."""
        row = asdict(frame) | {
            "is_reference": int(frame.is_reference),
            "is_confirmed": int(frame.is_confirmed),
            "outline_px": to_json([list(p) for p in frame.outline_px]),
            "tie_points_px": to_json([[list(a), list(b)] for a, b in frame.tie_points_px]),
        }
        with self.write():
            self._keep("observers", {"observer": frame.observer})
            self._put("colony_frames", row, ["organism_id", "photo_id"])

    def delete_colony_frame(self, organism_id: str, photo_id: str) -> None:
        """Take a photo away from a colony, with its colour; the change log keeps what was."""
        with self.write():
            for table in ("colony_colours", "colony_frames"):
                self._db.execute(
                    f"DELETE FROM {table} WHERE organism_id = ? AND photo_id = ?",
                    [organism_id, photo_id],
                )

    def colony_colours(self, organism_id: str | None = None) -> tuple[ColonyColour, ...]:
        """Return the measured colours of one colony's frames, or of all."""
        from dryslate.app.colony_records import ColonyColour

        rows = self._rows(
            f"SELECT * FROM colony_colours {_OF_COLONY} ORDER BY rowid", [organism_id]
        )
        return tuple(
            ColonyColour(**dict(row) | {"measured": from_json(row["measured"])}) for row in rows
        )

    def save_colony_colours(self, rows: Iterable[ColonyColour]) -> None:
        """Store measured colours; those of an earlier outline or correction are replaced."""
        with self.write():
            for colour in rows:
                row = asdict(colour) | {"measured": to_json(colour.measured)}
                self._put("colony_colours", row, ["organism_id", "photo_id"])

    def tagged_rows(self) -> tuple[tuple[int, str, str], ...]:
        """Return number, unit and tag of the rows in units that name a tag."""
        rows = self._rows("SELECT row_no, unit_id, tag FROM survey_rows WHERE tag <> ''")
        return tuple((row["row_no"], row["unit_id"], row["tag"]) for row in rows)

    def stress_onsets(self, *, with_taken_back: bool = False) -> tuple[StressOnset, ...]:
        """Return when stress set in, by date."""
        from dryslate.app.colony_records import StressOnset

        rows = self._rows(
            "SELECT * FROM stress_onsets WHERE ?1 OR NOT is_taken_back ORDER BY onset_date, rowid",
            [with_taken_back],
        )
        return tuple(
            StressOnset(**dict(row) | {"is_taken_back": bool(row["is_taken_back"])}) for row in rows
        )

    def save_stress_onset(self, onset: StressOnset) -> None:
        """Store an onset, or its changed words."""
        row = asdict(onset) | {"is_taken_back": int(onset.is_taken_back)}
        with self.write():
            self._keep("observers", {"observer": onset.observer})
            self._put("stress_onsets", row, ["onset_id"])


def _colony_of(row: sqlite3.Row) -> Colony:
    """Read a colony."""
    from dryslate.app.colony_records import Colony, Neighbour

    neighbours = tuple(Neighbour(**n) for n in from_json(row["neighbours"]))
    return Colony(**dict(row) | {"neighbours": neighbours})


def _frame_of(row: sqlite3.Row) -> ColonyFrame:
    """Read a frame."""
    from dryslate.app.colony_records import ColonyFrame

    values = dict(row)
    values["outline_px"] = tuple((float(x), float(y)) for x, y in from_json(row["outline_px"]))
    values["tie_points_px"] = tuple(
        ((float(x1), float(y1)), (float(x2), float(y2)))
        for (x1, y1), (x2, y2) in from_json(row["tie_points_px"])
    )
    for name in ("is_reference", "is_confirmed"):
        values[name] = bool(values[name])
    return ColonyFrame(**values)
