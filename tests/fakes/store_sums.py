"""Sums of the rows of units, in the store in memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from dryslate.app.survey_records import NotedRow
from dryslate.app.survey_sums import CoverSum, Said
from dryslate.core.survey.designs import COVER_KINDS, ROW_KINDS
from dryslate.core.survey.tally import amount_of


class MemorySums:
    """A part of `tests/fakes/store.py`."""

    def _not_aside(self) -> list[NotedRow]:
        aside = {one.photo_id for one in self.photos_set_aside()}
        return [r for r in self.survey_rows() if r.row.photo_id not in aside]

    def cover_sums(self) -> Iterable[CoverSum]:
        found = Counter(
            (
                r.unit_id,
                r.row.category,
                r.name or r.row.name,
                r.rank,
                r.current_names,
                bool(r.name or not r.row.name),
                bool(r.row.unreadable),
                amount_of(r.row),
            )
            for r in self._not_aside()
            if r.row.kind in COVER_KINDS
        )
        names = ("category", "name", "rank", "genera", "is_listed", "is_unreadable")
        for (unit_id, *words, amount), n in sorted(found.items()):
            said = Said(**dict(zip(names, words, strict=True)))
            yield CoverSum(unit_id=unit_id, said=said, amount=amount, n=n)

    def counted_rows(self) -> tuple[NotedRow, ...]:
        counting = {
            u
            for (u,), s in self._tables["unit_designs"].items()
            if not set(ROW_KINDS[s.design.design]) <= set(COVER_KINDS)
        }
        return tuple(
            r for r in self._not_aside() if r.row.kind not in COVER_KINDS and r.unit_id in counting
        )

    def n_survey_rows(self) -> Mapping[str, int]:
        return Counter(r.unit_id for r in self.survey_rows())

    def written_in(self) -> Iterable[tuple[str, str, str]]:
        rows = self.survey_rows()
        return sorted({(r.unit_id, r.row.place, r.row.photo_id or "") for r in rows})

    def n_named(self) -> Mapping[str, int]:
        found: Counter[str] = Counter()
        for r in self.survey_rows():
            called = r.name or r.row.name
            if called and r.row.kind != "none_seen":
                found[called] += 1 if r.row.n is None else r.row.n
        return found

    def has_survey_rows(self, unit_id: str) -> bool:
        return bool(self.survey_rows(unit_id))

    def categories_in_use(self) -> frozenset[str]:
        return frozenset(r.row.category for r in self.survey_rows())
