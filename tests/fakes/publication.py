"""Positions, and what an archive says of a project, in memory."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryslate.app.project_records import Site
from dryslate.app.publication_records import NameId, ProjectPerson, SitePlace, UnitPlace

NAMES = ("facts", "site_places", "unit_places", "project_people", "name_ids")


class MemoryPublication:
    """Implements `dryslate.app.publication_records.PublicationStore`; the store mixes it in."""

    _tables: dict[str, Any]

    def project_id(self) -> str:
        return "00000000-0000-4000-8000-000000000000"

    def project_facts(self) -> dict[str, str]:
        return {name: value for (name,), value in self._tables["facts"].items() if value}

    def save_project_fact(self, name: str, value: str) -> None:
        with self.write():
            self._tables["facts"][name,] = value

    def last_changed_utc(self) -> str:
        return self._log[-1].changed_utc if self._log else ""

    def site_places(self) -> tuple[SitePlace, ...]:
        return tuple(self._sorted("site_places"))

    def save_site_place(self, place: SitePlace) -> None:
        with self.write():
            self._put("sites", (place.site,), Site(site=place.site), keep=True)
            self._see(place.observer)
            self._put("site_places", (place.site,), place)

    def unit_places(self) -> tuple[UnitPlace, ...]:
        return tuple(self._sorted("unit_places"))

    def save_unit_place(self, place: UnitPlace) -> None:
        self._need("units", (place.unit_id,), "unit")
        with self.write():
            self._see(place.observer)
            self._put("unit_places", (place.unit_id,), place)

    def project_people(self) -> tuple[ProjectPerson, ...]:
        return tuple(self._tables["project_people"].values())

    def save_project_person(self, person: ProjectPerson) -> None:
        self._put("project_people", (person.person, person.role), person)

    def delete_project_person(self, person: str, role: str) -> None:
        with self.write():
            old = self._tables["project_people"].pop((person, role), None)
            if old is not None:
                self._note("delete", "project_people", (person, role), old, None)

    def name_ids(self) -> tuple[NameId, ...]:
        return tuple(self._sorted("name_ids"))

    def replace_name_ids(self, rows: Sequence[NameId]) -> None:
        with self.write():
            kept = {(row.name,) for row in rows}
            for key in [k for k in self._tables["name_ids"] if k not in kept]:
                self._drop("name_ids", *key)
            for row in rows:
                self._put("name_ids", (row.name,), row)
