"""Units, their photos, and photos set aside in SQLite."""

from __future__ import annotations

from dataclasses import asdict, fields

from dryslate.app.unit_records import SetAside, Unit, UnitPhoto
from dryslate.store.rows import StoreRoom

_OF_VISIT = "JOIN photos AS p USING (photo_id) WHERE ?1 IS NULL OR p.visit_id = ?1"
_JOINED = ", ".join(f"j.{f.name}" for f in fields(UnitPhoto) if f.name != "photo_id")
_ASIDE = ", ".join(f"a.{f.name}" for f in fields(SetAside) if f.name != "photo_id")


class SqliteUnitRoom(StoreRoom):
    """Implements `dryslate.app.unit_records.UnitStore`."""

    def units(self, visit_id: str | None = None) -> tuple[Unit, ...]:
        """Return the units of one visit, or all, in the order first saved."""
        rows = self._rows(
            "SELECT * FROM units WHERE ?1 IS NULL OR visit_id = ?1 ORDER BY rowid", [visit_id]
        )
        return tuple(Unit(**dict(row)) for row in rows)

    def has_unit(self, unit_id: str) -> bool:
        """Tell whether a unit of this id is there."""
        found = self._rows("SELECT 1 FROM units WHERE unit_id = ?", [unit_id])
        return next(found, None) is not None

    def save_unit(self, unit: Unit) -> None:
        """Store a unit, or its changed words; its zone and observer come to be when not there."""
        with self.write():
            self._keep("observers", {"observer": unit.observer})
            for row in self._rows("SELECT site FROM visits WHERE visit_id = ?", [unit.visit_id]):
                if unit.zone is not None:
                    self._keep("zones", {"site": row["site"], "zone": unit.zone})
            self._put("units", asdict(unit), ["unit_id"])

    def delete_unit(self, unit_id: str) -> None:
        """Take out a unit to which no photo belongs; the change log keeps what it was."""
        self._drop("units", "unit_id", unit_id)

    def unit_photos(self, visit_id: str | None = None) -> tuple[UnitPhoto, ...]:
        """Return which photos of one visit, or of all, belong to which unit, by photo."""
        rows = self._rows(
            f"SELECT photo_id, {_JOINED} FROM unit_photos AS j {_OF_VISIT} ORDER BY photo_id",
            [visit_id],
        )
        return tuple(UnitPhoto(**dict(row)) for row in rows)

    def save_unit_photo(self, joined: UnitPhoto) -> None:
        """Store which unit a photo belongs to; what held before is replaced."""
        self._put("unit_photos", asdict(joined), ["photo_id"])

    def delete_unit_photo(self, photo_id: str) -> None:
        """Let a photo belong to no unit, as if nothing had been said."""
        self._drop("unit_photos", "photo_id", photo_id)

    def photos_set_aside(self, visit_id: str | None = None) -> tuple[SetAside, ...]:
        """Return the photos of one visit, or of all, that are set aside, by photo."""
        rows = self._rows(
            f"SELECT photo_id, {_ASIDE} FROM photos_set_aside AS a {_OF_VISIT} ORDER BY photo_id",
            [visit_id],
        )
        return tuple(SetAside(**dict(row)) for row in rows)

    def save_set_aside(self, aside: SetAside) -> None:
        """Set a photo aside, or change why."""
        with self.write():
            self._keep("observers", {"observer": aside.observer})
            self._put("photos_set_aside", asdict(aside), ["photo_id"])

    def delete_set_aside(self, photo_id: str) -> None:
        """Take a photo back that was set aside."""
        self._drop("photos_set_aside", "photo_id", photo_id)

    def _drop(self, table: str, key: str, value: str) -> None:
        """Take out one row by its key; the log's trigger writes down what it was."""
        with self.write():
            self._db.execute(f'DELETE FROM "{table}" WHERE "{key}" = ?', [value])
