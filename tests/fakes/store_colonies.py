"""The room of tagged colonies in the survey store in memory."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from dryslate.app.colony_records import (
    Colony,
    ColonyColour,
    ColonyFractions,
    ColonyFrame,
    Sighting,
    StressOnset,
)
from dryslate.base.errors import StoreError


class MemoryColonyRoom:
    """Implements `dryslate.app.colony_records.ColonyStore` without a disk."""

    _tables: dict[str, dict[tuple[Any, ...], Any]]
    _put: Callable[..., None]
    _need: Callable[..., None]
    _see: Callable[[str], None]
    _note: Callable[..., None]
    write: Callable[[], Any]

    def _of_colony(self, table: str, organism_id: str | None) -> tuple[Any, ...]:
        rows = self._tables[table].values()
        return tuple(r for r in rows if organism_id in (None, r.organism_id))

    def colonies(self, site: str | None = None) -> tuple[Colony, ...]:
        return tuple(c for c in self._tables["colonies"].values() if site in (None, c.site))

    def save_colony(self, colony: Colony) -> None:
        self._need("visits", (colony.first_visit_id,), "visit")
        if colony.sketch_sha256 is not None:
            self._need("originals", (colony.sketch_sha256,), "original")
        old = self._tables["colonies"].get((colony.organism_id,))
        fixed = ("site", "first_visit_id")
        if old is not None and any(getattr(old, n) != getattr(colony, n) for n in fixed):
            raise StoreError("store-refused", "a colony keeps its site and first visit.")
        same = [c for c in self.colonies(colony.site) if c.label == colony.label]
        if any(c.organism_id != colony.organism_id for c in same):
            raise StoreError("store-refused", f"two colonies are labelled {colony.label!r}.")
        with self.write():
            self._see(colony.observer)
            self._put("colonies", (colony.organism_id,), colony)

    def colony_sightings(self, organism_id: str | None = None) -> tuple[Sighting, ...]:
        visits = self._tables["visits"]
        rows = self._of_colony("colony_sightings", organism_id)
        return tuple(sorted(rows, key=lambda s: visits[s.visit_id,].date))

    def save_colony_sighting(self, sighting: Sighting) -> None:
        self._need("colonies", (sighting.organism_id,), "colony")
        self._need("visits", (sighting.visit_id,), "visit")
        if sighting.record_id is not None:
            self._need("records", (sighting.record_id,), "record")
        with self.write():
            self._see(sighting.observer)
            key = (sighting.organism_id, sighting.visit_id)
            self._put("colony_sightings", key, sighting)

    def colony_fractions(self, organism_id: str | None = None) -> tuple[ColonyFractions, ...]:
        latest: dict[tuple[str, str, str], tuple[int, ColonyFractions]] = {}
        for (number,), row in self._tables["colony_fractions"].items():
            if organism_id in (None, row.organism_id):
                latest[row.organism_id, row.visit_id, row.observer] = (number, row)
        return tuple(row for _, row in sorted(latest.values(), key=lambda pair: pair[0]))

    def colony_fraction_history(self, organism_id: str) -> tuple[ColonyFractions, ...]:
        return self._of_colony("colony_fractions", organism_id)

    def save_colony_fractions(self, row: ColonyFractions) -> None:
        self._need("colonies", (row.organism_id,), "colony")
        self._need("visits", (row.visit_id,), "visit")
        key = (row.visit_id, row.observer)
        standing = self.colony_fractions(row.organism_id)
        last = next((r for r in standing if (r.visit_id, r.observer) == key), None)
        if last is not None and (last.shares(), last.lesion) == (row.shares(), row.lesion):
            return
        with self.write():
            self._see(row.observer)
            number = len(self._tables["colony_fractions"]) + 1
            self._put("colony_fractions", (number,), row)

    def colony_frames(self, organism_id: str | None = None) -> tuple[ColonyFrame, ...]:
        return self._of_colony("colony_frames", organism_id)

    def save_colony_frame(self, frame: ColonyFrame) -> None:
        self._need("colonies", (frame.organism_id,), "colony")
        self._need("photos", (frame.photo_id,), "photo")
        with self.write():
            self._see(frame.observer)
            self._put("colony_frames", (frame.organism_id, frame.photo_id), frame)

    def delete_colony_frame(self, organism_id: str, photo_id: str) -> None:
        key = (organism_id, photo_id)
        with self.write():
            for table in ("colony_colours", "colony_frames"):
                old = self._tables[table].pop(key, None)
                if old is not None:
                    self._note("delete", table, key, old, None)

    def colony_colours(self, organism_id: str | None = None) -> tuple[ColonyColour, ...]:
        return self._of_colony("colony_colours", organism_id)

    def save_colony_colours(self, rows: Iterable[ColonyColour]) -> None:
        with self.write():
            for row in rows:
                self._need("colonies", (row.organism_id,), "colony")
                self._put("colony_colours", (row.organism_id, row.photo_id), row)

    def tagged_rows(self) -> tuple[tuple[int, str, str], ...]:
        rows = self._tables["survey_rows"].values()
        return tuple((r.row_no, r.unit_id, r.row.tag) for r in rows if r.row.tag)

    def stress_onsets(self, *, with_taken_back: bool = False) -> tuple[StressOnset, ...]:
        rows = sorted(self._tables["stress_onsets"].values(), key=lambda o: o.onset_date)
        return tuple(o for o in rows if with_taken_back or not o.is_taken_back)

    def save_stress_onset(self, onset: StressOnset) -> None:
        self._need("sites", (onset.site,), "site")
        with self.write():
            self._see(onset.observer)
            self._put("stress_onsets", (onset.onset_id,), onset)
