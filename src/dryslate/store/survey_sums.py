"""Sums of what was noted in units, made by SQLite."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from dryslate.app.survey_records import NotedRow
from dryslate.app.survey_sums import CoverSum, Said
from dryslate.core.survey.designs import COVER_KINDS, ROW_KINDS
from dryslate.store.rows import StoreRoom, from_json, maker_of
from dryslate.store.survey_rows import READ_ROWS, noted_of

_NOT_ASIDE = "(photo_id IS NULL OR photo_id NOT IN (SELECT photo_id FROM photos_set_aside))"
_AMOUNT = """CASE kind
    WHEN 'intercept' THEN coalesce(to_m, 0.0) - coalesce(from_m, 0.0)
    WHEN 'cell' THEN coalesce(cover_pct / 100, 1.0)
    ELSE 1.0 END"""
_COVER = f"""
SELECT category, CASE WHEN name <> '' THEN name ELSE name_as_recorded END AS called,
    rank, current_names, name <> '' OR name_as_recorded = '' AS is_listed,
    unreadable <> '' AS is_unreadable, {_AMOUNT} AS amount, count(*) AS n
FROM survey_rows
WHERE unit_id = ? AND kind IN ({", ".join(f"'{kind}'" for kind in COVER_KINDS)}) AND {_NOT_ASIDE}
GROUP BY 1, 2, 3, 4, 5, 6, 7
ORDER BY 1, 2, 3, 4, 5, 6, 7
"""
_COUNTING = [d for d, kinds in ROW_KINDS.items() if not set(kinds) <= set(COVER_KINDS)]
# The cross join keeps the order of the tables: units first, so that points are not gone through.
_COUNTED = f"""
SELECT {READ_ROWS} FROM unit_designs AS d CROSS JOIN survey_rows AS r USING (unit_id)
WHERE d.design IN ({", ".join(f"'{design}'" for design in _COUNTING)})
    AND r.kind NOT IN ({", ".join(f"'{kind}'" for kind in COVER_KINDS)}) AND {_NOT_ASIDE}
ORDER BY row_no
"""
_cover_sum = maker_of(CoverSum, ("unit_id", "said", "amount", "n"))


class SqliteSurveySumRoom(StoreRoom):
    """Implements `dryslate.app.survey_sums.SurveySumStore`."""

    def cover_sums(self) -> Iterator[CoverSum]:
        """Return stretches of tape, points and cells of all units, alike ones together."""
        units = list(self._rows("SELECT unit_id FROM unit_designs ORDER BY unit_id"))
        for (unit_id,) in units:  # each by itself: all at once would be sorted on the disk
            for *words, amount, n in self._rows(_COVER, [unit_id]):
                yield _cover_sum((unit_id, _said_of(*words), amount, n))

    def counted_rows(self) -> tuple[NotedRow, ...]:
        """Return counts, colonies and "none seen" of all units, in the order they were stored."""
        return tuple(noted_of(row) for row in self._rows(_COUNTED))

    def n_survey_rows(self) -> Mapping[str, int]:
        """Return how many rows each unit has; units without any are not there."""
        return dict(self._db.execute("SELECT unit_id, count(*) FROM survey_rows GROUP BY unit_id"))

    def written_in(self) -> Iterator[tuple[str, str, str]]:
        """Return unit, place and photo (empty: none) of what was noted, each of them once."""
        query = "SELECT DISTINCT unit_id, place, coalesce(photo_id, '') FROM survey_rows"
        for unit_id, place, photo_id in self._rows(query):  # rows as tuples
            yield str(unit_id), str(place), str(photo_id)

    def n_named(self) -> Mapping[str, int]:
        """Return how often each name was noted: rows, and what counts say; zeros are no finds."""
        found = self._rows(
            "SELECT CASE WHEN name <> '' THEN name ELSE name_as_recorded END AS called, "
            "sum(coalesce(n, 1)) FROM survey_rows WHERE kind <> 'none_seen' "
            "GROUP BY called HAVING called <> '' ORDER BY called"
        )
        return {str(name): int(n) for name, n in found}

    def has_survey_rows(self, unit_id: str) -> bool:
        """Tell whether anything was noted in a unit."""
        found = self._rows("SELECT 1 FROM survey_rows WHERE unit_id = ? LIMIT 1", [unit_id])
        return next(found, None) is not None

    def categories_in_use(self) -> frozenset[str]:
        """Return the categories that rows use, whatever list they are of."""
        return frozenset(row[0] for row in self._rows("SELECT DISTINCT category FROM survey_rows"))


@lru_cache(maxsize=100_000)
def _said_of(
    category: str, name: str, rank: str, genera: str, is_listed: int, is_unreadable: int
) -> Said:
    """Read what rows say: the same few words again and again."""
    return Said(
        category=category,
        name=name,
        rank=rank,
        genera=tuple(from_json(genera)),
        is_listed=bool(is_listed),
        is_unreadable=bool(is_unreadable),
    )
