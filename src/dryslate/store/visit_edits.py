"""Visits taken out, corrected and joined in SQLite; undone by what the change log kept."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from dryslate.app.visit_edit_records import Moving, VisitEdit
from dryslate.store.rows import StoreRoom, to_json

_CONTENTS = {
    "photos": "photos WHERE visit_id = ?1",
    "files": "card_files AS f WHERE visit_id = ?1 AND NOT EXISTS (SELECT 1 FROM card_files AS o "
    "WHERE o.sha256 = f.sha256 AND o.visit_id <> ?1)",
    "units": "units WHERE visit_id = ?1",
    "records": "records WHERE visit_id = ?1",
    "sightings": "colony_sightings WHERE visit_id = ?1",
    "judgements": "colony_fractions WHERE visit_id = ?1",
    "colonies": "colonies WHERE first_visit_id = ?1",
    "archived_photos": "archived_photos WHERE visit_id = ?1",
}
_BY_VISIT = ("photos", "units", "records", "colony_fractions", "archived_photos")
"""Tables whose rows name their visit beside a key of their own."""
_KEYED_BY_VISIT = ("clock_offsets", "card_files", "colony_sightings", "visit_conditions")
"""Tables with the visit in their key: a row goes out and another comes in, so the log has both."""
_STAY = ("sites", "zones", "observers")
"""Rows of these that an edit brought along stay when it is undone: others may need them by now."""
_OF_SITE = (
    "visits",
    "colonies",
    "site_places",
    "zone_weights",
    "site_loggers",
    "stress_onsets",
)


class SqliteVisitEditRoom(StoreRoom):
    """Implements `dryslate.app.visit_edit_records.VisitEditStore`."""

    def visit_edits(self) -> tuple[VisitEdit, ...]:
        """Return every edit, oldest first."""
        rows = self._rows("SELECT * FROM visit_edits ORDER BY edit_no")
        return tuple(VisitEdit(**dict(row)) for row in rows)

    def save_visit_edit(self, edit: VisitEdit) -> int:
        """Add an edit; returns its number."""
        row = {name: value for name, value in asdict(edit).items() if name != "edit_no"}
        names, marks = ", ".join(row), ", ".join("?" for _ in row)
        with self.write():
            self._keep("observers", {"observer": edit.observer})
            made = self._db.execute(
                f"INSERT INTO visit_edits ({names}) VALUES ({marks})", list(row.values())
            )
        return int(made.lastrowid or 0)

    def visit_contents(self, visit_id: str) -> dict[str, int]:
        """Count what a visit holds."""
        return {
            name: int(self._db.execute(f"SELECT count(*) FROM {of}", [visit_id]).fetchone()[0])
            for name, of in _CONTENTS.items()
        }

    def move_between_visits(self, moving: Moving) -> None:
        """Put what a visit holds to another; rows of the same key that are there already stay."""
        old, new = moving.old, moving.new
        with self.write():
            self._bring_zones(moving)
            if moving.photos is not None:
                self._move("photos", "photo_id", moving.photos, new)
                self._move("units", "unit_id", moving.units, new)
                self._move("records", "record_id", moving.records, new)
                self._rekey("card_files", old, new, ("sha256", moving.files))
                self._rekey("clock_offsets", old, new, ("camera", moving.clocks), is_copy=True)
                return
            for table in _BY_VISIT:
                self._db.execute(f"UPDATE {table} SET visit_id = ? WHERE visit_id = ?", [new, old])
            for table in _KEYED_BY_VISIT:
                self._rekey(table, old, new)
            self._move_colonies(old, new)

    def _move(self, table: str, key: str, ids: Iterable[str], new: str) -> None:
        """Put chosen rows to a visit."""
        self._db.execute(
            f"UPDATE {table} SET visit_id = ?1 WHERE {key} IN (SELECT value FROM json_each(?2))",
            [new, to_json(sorted(ids))],
        )

    def _rekey(
        self,
        table: str,
        old: str,
        new: str,
        only: tuple[str, Iterable[str]] | None = None,
        *,
        is_copy: bool = False,
    ) -> None:
        """Bring rows under another visit's key: all, or those with one of some values."""
        columns = [row["name"] for row in self._db.execute(f"PRAGMA table_info({table})")]
        names = ", ".join(f'"{name}"' for name in columns)
        values = ", ".join("?1" if name == "visit_id" else f'"{name}"' for name in columns)
        where, given = "visit_id = ?2", [new, old]
        if only is not None:
            where += f" AND {only[0]} IN (SELECT value FROM json_each(?3))"
            given.append(to_json(sorted(only[1])))
        self._db.execute(
            f"INSERT INTO {table} ({names}) SELECT {values} FROM {table} WHERE {where} "
            "ON CONFLICT DO NOTHING",
            given,
        )
        if not is_copy:
            self._db.execute(f"DELETE FROM {table} WHERE {where} AND ?1 <> ?2", given)

    def _move_colonies(self, old: str, new: str) -> None:
        """Colonies first tagged on the visit stand at the site of the other."""
        (site,) = self._db.execute("SELECT site FROM visits WHERE visit_id = ?", [new]).fetchone()
        self._db.execute(
            "UPDATE stress_onsets SET site = ?1 WHERE site <> ?1 AND organism_id IN "
            "(SELECT organism_id FROM colonies WHERE first_visit_id = ?2)",
            [site, old],
        )
        self._db.execute(
            "UPDATE colonies SET site = ?, first_visit_id = ? WHERE first_visit_id = ?",
            [site, new, old],
        )

    def _bring_zones(self, moving: Moving) -> None:
        """Let the zones of units be at the site they come to, with depths and note."""
        (site,) = self._db.execute(
            "SELECT site FROM visits WHERE visit_id = ?", [moving.new]
        ).fetchone()
        for zone, before in moving.zones.items():
            self._db.execute(
                "INSERT INTO zones (site, zone, depth_min_m, depth_max_m, note) "
                "SELECT ?1, zone, depth_min_m, depth_max_m, note FROM zones "
                "WHERE site = ?2 AND zone = ?3 AND ?1 <> ?2 ON CONFLICT DO NOTHING",
                [site, before, zone],
            )

    def save_visit_observer(self, visit_id: str, old: str, new: str) -> None:
        """Change whose a visit is, and those of its photos and files that were `old`'s."""
        with self.write():
            self._keep("observers", {"observer": new})
            for table in ("visits", "photos", "card_files"):
                self._db.execute(
                    f"UPDATE {table} SET observer = ? WHERE visit_id = ? AND observer = ?",
                    [new, visit_id, old],
                )

    def drop_visit(self, visit_id: str) -> None:
        """Take out a visit that holds nothing, and its site where that is of no more use."""
        with self.write():
            found = self._db.execute("SELECT site FROM visits WHERE visit_id = ?", [visit_id])
            (site,) = found.fetchone()
            for table in ("clock_offsets", "visit_conditions", "card_files", "visits"):
                self._db.execute(f"DELETE FROM {table} WHERE visit_id = ?", [visit_id])
            self._drop_site(site)

    def _drop_site(self, site: str) -> None:
        """Take out a site that nothing is known of and nothing refers to, with its bare zones."""
        is_used = any(
            self._db.execute(f"SELECT 1 FROM {table} WHERE site = ? LIMIT 1", [site]).fetchone()
            for table in _OF_SITE
        )
        told = self._db.execute(
            "SELECT 1 FROM sites WHERE site = ?1 AND note <> '' UNION SELECT 1 FROM zones WHERE "
            "site = ?1 AND (depth_min_m IS NOT NULL OR depth_max_m IS NOT NULL OR note <> '')",
            [site],
        ).fetchone()
        if not is_used and told is None:
            self._db.execute("DELETE FROM zones WHERE site = ?", [site])
            self._db.execute("DELETE FROM sites WHERE site = ?", [site])

    def last_change(self) -> int:
        """Return the number of the change log's last line."""
        (last,) = self._db.execute("SELECT ifnull(max(change_no), 0) FROM change_log").fetchone()
        return int(last)

    def turn_back(self, first: int, last: int) -> bool:
        """Make every row what it was before these lines of the log, the latest line first."""
        lines = self._db.execute(
            "SELECT * FROM change_log WHERE change_no BETWEEN ? AND ? ORDER BY change_no DESC",
            [first, last],
        ).fetchall()
        sites = set()
        with self.write():
            for line in lines:
                table, what = line["table_name"], line["what"]
                if table == "visit_edits" or (what == "insert" and table in _STAY):
                    continue
                if what == "insert" and table == "visits":
                    sites.add(json.loads(line["new"])["site"])
                try:
                    if not self._turn_row(line):
                        return False
                except sqlite3.IntegrityError:  # something came since that refers to it
                    return False
            for site in sites:
                self._drop_zones(site, [line for line in lines if line["what"] == "insert"])
                self._drop_site(site)
        return True

    def _drop_zones(self, site: str, lines: Iterable[sqlite3.Row]) -> None:
        """Take out zones that an edit brought to a site and that nobody uses."""
        for line in lines:
            made: dict[str, Any] = json.loads(line["new"])
            if line["table_name"] == "zones" and made["site"] == site:
                self._db.execute(
                    "DELETE FROM zones WHERE site = ?1 AND zone = ?2 "
                    "AND NOT EXISTS (SELECT 1 FROM zone_weights WHERE site = ?1 AND zone = ?2) "
                    "AND NOT EXISTS (SELECT 1 FROM units JOIN visits USING (visit_id) "
                    "WHERE site = ?1 AND zone = ?2)",
                    [site, made["zone"]],
                )

    def _turn_row(self, line: sqlite3.Row) -> bool:
        """Make one row what it was; False where it is not as the line left it."""
        table, what = line["table_name"], line["what"]
        old: dict[str, Any] = json.loads(line["old"] or "{}")
        new: dict[str, Any] = json.loads(line["new"] or "{}")
        known = old or new
        keys = self._keys(table)
        where = " AND ".join(f'"{key}" = ?' for key in keys)
        key = [known[name] for name in keys]
        if self._standing(table, where, key, known) != new:
            return table in _STAY and what == "delete"  # it came to be again since
        if what == "insert":
            self._db.execute(f'DELETE FROM "{table}" WHERE {where}', key)
        elif what == "delete":
            self._keep(table, old)
        else:
            differ = [name for name in old if old[name] != new[name]]
            sets = ", ".join(f'"{name}" = ?' for name in differ)
            values = [old[name] for name in differ]
            self._db.execute(f'UPDATE "{table}" SET {sets} WHERE {where}', [*values, *key])
        return True

    def _keys(self, table: str) -> list[str]:
        """Columns of a table's primary key, in order."""
        columns = self._db.execute(f'PRAGMA table_info("{table}")').fetchall()
        return [str(c[1]) for c in sorted(columns, key=lambda c: int(c[5])) if c[5]]

    def _standing(
        self, table: str, where: str, key: list[Any], names: Iterable[str]
    ) -> dict[str, Any]:
        """Return a row as the log writes rows; empty where there is none."""
        row = ", ".join(f"'{name}', \"{name}\"" for name in names)
        found = self._db.execute(
            f'SELECT json_object({row}) FROM "{table}" WHERE {where}', key
        ).fetchone()
        standing: dict[str, Any] = json.loads(found[0] if found else "{}")
        return standing
