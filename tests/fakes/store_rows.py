"""Finding rows of units, and batches that browsers sent, in the store in memory."""

from __future__ import annotations

import json
from typing import Any

from dryslate.app.survey_records import FoundRow, RowQuery, SentBatch


class MemoryRows:
    """A part of `tests/fakes/store.py`."""

    def delete_survey_row(self, row_no: int) -> bool:
        with self.write():
            is_there = (row_no,) in self._tables["survey_rows"]
            if is_there:
                self._drop("survey_rows", row_no)
        return is_there

    def last_row_no(self) -> int:
        logged = [c for c in self._log if c.table_name == "survey_rows" and c.what == "insert"]
        return max((json.loads(c.row_key)[0] for c in logged), default=0)

    def find_survey_rows(self, query: RowQuery) -> tuple[tuple[FoundRow, ...], int]:
        found = []
        for noted in self.survey_rows():
            unit = self._tables["units"][noted.unit_id,]
            stated = self._tables["unit_designs"][noted.unit_id,]
            one = FoundRow(
                noted=noted,
                visit_id=unit.visit_id,
                unit=unit.name or "",
                zone=unit.zone or "",
                design=stated.design.design,
            )
            if _is_wanted(one, query):
                found.append(one)

        def key(one: FoundRow) -> Any:
            around = {"visit_id": one.visit_id, "unit": one.unit}
            return around.get(
                query.order,
                getattr(one.noted, query.order, None) or getattr(one.noted.row, query.order, None),
            )

        having = [one for one in found if key(one) not in (None, "")]
        without = [one for one in found if key(one) in (None, "")]
        way = {"reverse": query.is_backwards}
        having.sort(key=lambda one: (key(one), one.noted.row_no), **way)
        without.sort(key=lambda one: one.noted.row_no, **way)
        rows = [*having, *without][query.first : query.first + query.most]
        return tuple(rows), len(found)

    def sent_batches(self) -> tuple[SentBatch, ...]:
        return tuple(self._tables["sent_batches"].values())

    def sent_batch(self, batch_id: str) -> SentBatch | None:
        return self._tables["sent_batches"].get((batch_id,))

    def save_sent_batch(self, batch: SentBatch) -> None:
        self._need("units", (batch.unit_id,), "unit")
        with self.write():
            self._see(batch.observer)
            self._put("sent_batches", (batch.batch_id,), batch, keep=True)


def _is_wanted(one: FoundRow, query: RowQuery) -> bool:
    """Whether a row is asked for."""
    noted, row = one.noted, one.noted.row
    pairs = (
        (one.visit_id, query.visit_id),
        (noted.unit_id, query.unit_id),
        (one.design, query.design),
        (row.kind, query.kind),
        (row.category, query.category),
        (noted.observer, query.observer),
    )
    parts = (row.name, noted.name, row.category, one.unit, row.note, row.lesion, row.unreadable)
    text = "\n".join((*parts, row.place)).lower()
    is_said = all(word in text for word in query.words.lower().split())
    return is_said and all(not asked or there == asked for there, asked in pairs)
