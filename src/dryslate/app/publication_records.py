"""Where sites and units lie, and what a published archive says of the project and its names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

FACTS = ("title", "summary", "licence", "rights_holder", "methods", "language", "permit")
"""What a project says of itself, beside its region."""

ROLES = (
    "creator",
    "contact",
    "metadataProvider",
    "principalInvestigator",
    "surveyor",
    "identifier",
    "photographer",
    "data entry",
)
"""What a person did; the first four are words of the metadata standard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SitePlace:
    """
    Where a site lies and the words for it.

    Parameters
    ----------
    site : str
    latitude_deg, longitude_deg : float or None
        WGS 84; both or neither.
    position_text : str
        As typed.
    precision_deg : float or None
        What one step of the last digit typed stands for.
    uncertainty_m : float or None
        Radius that holds the whole site; None is not stated, never zero.
    grid_deg : float or None
        Sensitive: everything exported gives the position to this grid only.
    country, country_code, water_body, locality : str
    published_locality : str
        Published in place of the site's own words; empty: of a sensitive site its wider area only.
    observer, stated_at : str
    """

    site: str
    observer: str
    stated_at: str
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    position_text: str = ""
    precision_deg: float | None = None
    uncertainty_m: float | None = None
    grid_deg: float | None = None
    country: str = ""
    country_code: str = ""
    water_body: str = ""
    locality: str = ""
    published_locality: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlace:
    """Where a unit lies, where that is known apart from its site; as `SitePlace`."""

    unit_id: str
    latitude_deg: float
    longitude_deg: float
    observer: str
    stated_at: str
    position_text: str = ""
    precision_deg: float | None = None
    uncertainty_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectPerson:
    """Somebody who stands for the project, with one of `ROLES`."""

    person: str
    role: str
    organisation: str = ""
    email: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NameId:
    """What a name or category is called in a register of names, as the team supplied it."""

    name: str
    scientific_name: str
    rank: str = ""
    kingdom: str = ""
    name_id: str = ""
    register: str = ""
    matched_on: str = ""


class PublicationStore(Protocol):
    """Positions, and what an archive says of the project."""

    def project_id(self) -> str:
        """Return what tells this project from every other."""

    def project_facts(self) -> Mapping[str, str]:
        """Return what the project says of itself: those of `FACTS` that are set."""

    def save_project_fact(self, name: str, value: str) -> None:
        """Set one of `FACTS`."""

    def last_changed_utc(self) -> str:
        """Return when the records were changed last, UTC; empty where nothing ever was."""

    def site_places(self) -> tuple[SitePlace, ...]:
        """Return where sites lie, by site."""

    def save_site_place(self, place: SitePlace) -> None:
        """Store where a site lies, or its changed words; site and observer come to be."""

    def unit_places(self) -> tuple[UnitPlace, ...]:
        """Return where units lie that have a position of their own, by unit."""

    def save_unit_place(self, place: UnitPlace) -> None:
        """Store where a unit lies."""

    def project_people(self) -> tuple[ProjectPerson, ...]:
        """Return who stands for the project, in the order first saved."""

    def save_project_person(self, person: ProjectPerson) -> None:
        """Store a person with a role, or the changed address."""

    def delete_project_person(self, person: str, role: str) -> None:
        """Take out a person's role."""

    def name_ids(self) -> tuple[NameId, ...]:
        """Return what names are called in registers, by name."""

    def replace_name_ids(self, rows: Sequence[NameId]) -> None:
        """Store the whole list anew; names that are not in it are taken out."""
