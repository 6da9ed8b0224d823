"""Positions, and what an archive says of the project, in SQLite."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

from dryslate.store.rows import StoreRoom

if TYPE_CHECKING:  # else where they are used: the first page shows none, and is there sooner
    from dryslate.app.publication_records import NameId, ProjectPerson, SitePlace, UnitPlace


class SqlitePublicationRoom(StoreRoom):
    """Implements `dryslate.app.publication_records.PublicationStore`."""

    def project_id(self) -> str:
        """Return what tells this project from every other."""
        rows = self._rows("SELECT value FROM project WHERE name = 'project_id'")
        return str(next(rows)["value"])

    def project_facts(self) -> dict[str, str]:
        """Return what the project says of itself: those of `FACTS` that are set."""
        from dryslate.app.publication_records import FACTS

        found = {str(row["name"]): str(row["value"]) for row in self._rows("SELECT * FROM project")}
        return {name: found[name] for name in FACTS if found.get(name)}

    def save_project_fact(self, name: str, value: str) -> None:
        """Set one of `FACTS`."""
        self._put("project", {"name": name, "value": value}, ["name"])

    def last_changed_utc(self) -> str:
        """Return when the records were changed last, UTC; empty where nothing ever was."""
        rows = self._rows("SELECT changed_utc FROM change_log ORDER BY change_no DESC LIMIT 1")
        return next((str(row["changed_utc"]) for row in rows), "")

    def site_places(self) -> tuple[SitePlace, ...]:
        """Return where sites lie, by site."""
        from dryslate.app.publication_records import SitePlace

        rows = self._rows("SELECT * FROM site_places ORDER BY site")
        return tuple(SitePlace(**dict(row)) for row in rows)

    def save_site_place(self, place: SitePlace) -> None:
        """Store where a site lies, or its changed words; site and observer come to be."""
        with self.write():
            self._keep("sites", {"site": place.site})
            self._keep("observers", {"observer": place.observer})
            self._put("site_places", asdict(place), ["site"])

    def unit_places(self) -> tuple[UnitPlace, ...]:
        """Return where units lie that have a position of their own, by unit."""
        from dryslate.app.publication_records import UnitPlace

        rows = self._rows("SELECT * FROM unit_places ORDER BY unit_id")
        return tuple(UnitPlace(**dict(row)) for row in rows)

    def save_unit_place(self, place: UnitPlace) -> None:
        """Store where a unit lies."""
        with self.write():
            self._keep("observers", {"observer": place.observer})
            self._put("unit_places", asdict(place), ["unit_id"])

    def project_people(self) -> tuple[ProjectPerson, ...]:
        """Return who stands for the project, in the order first saved."""
        from dryslate.app.publication_records import ProjectPerson

        rows = self._rows("SELECT * FROM project_people ORDER BY rowid")
        return tuple(ProjectPerson(**dict(row)) for row in rows)

    def save_project_person(self, person: ProjectPerson) -> None:
        """Store a person with a role, or the changed address."""
        self._put("project_people", asdict(person), ["person", "role"])

    def delete_project_person(self, person: str, role: str) -> None:
        """Take out a person's role."""
        with self.write():
            self._db.execute(
                "DELETE FROM project_people WHERE person = ? AND role = ?", [person, role]
            )

    def name_ids(self) -> tuple[NameId, ...]:
        """Return what names are called in registers, by name."""
        from dryslate.app.publication_records import NameId

        rows = self._rows("SELECT * FROM name_ids ORDER BY name")
        return tuple(NameId(**dict(row)) for row in rows)

    def replace_name_ids(self, rows: Sequence[NameId]) -> None:
        """Store the whole list anew; names that are not in it are taken out."""
        kept = {row.name for row in rows}
        with self.write():
            for known in self.name_ids():
                if known.name not in kept:
                    self._db.execute("DELETE FROM name_ids WHERE name = ?", [known.name])
            for row in rows:
                self._put("name_ids", asdict(row), ["name"])
