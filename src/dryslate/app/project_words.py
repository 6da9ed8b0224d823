"""What a project says of itself: title, licence, people, names in registers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dryslate.app.publication_records import FACTS, ROLES, NameId, ProjectPerson
from dryslate.app.visits import require_name
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.formats.table_csv import Table

LICENCES: Mapping[str, str] = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/legalcode",
    "CC-BY-NC-4.0": "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
}
"""Licences that are written as their address; others stand as the team writes them."""
NAME_COLUMNS = ("name", "scientific_name", "rank", "kingdom", "name_id", "register", "matched_on")
LONGEST = 20_000


def set_facts(store: SurveyStore, said: Mapping[str, str | None]) -> None:
    """
    Set what the project says of itself; None leaves it, an empty text takes it out.

    Raises
    ------
    InputError
        ``project-fact-odd`` for signs that no file can carry; ``licence-unknown`` for short names
        of a licence that are nearly one of ours.
    """
    with store.write():
        for name in FACTS:
            text = said.get(name)
            if text is not None:
                store.save_project_fact(name, _fact(name, text))


def _fact(name: str, text: str) -> str:
    """Return a text as it is kept."""
    kept = "\n".join(" ".join(line.split()) for line in text.strip().splitlines())
    if len(kept) > LONGEST or any(ord(c) < 32 and c != "\n" for c in kept):
        raise InputError(
            "project-fact-odd",
            f"The {name} holds signs that no file can carry, or is over {LONGEST} signs long.",
            "Type it again.",
        )
    if name != "licence" or kept in LICENCES or kept in LICENCES.values():
        return kept
    close = {_plain(key): key for key in LICENCES}
    if _plain(kept) in close:
        return close[_plain(kept)]
    if re.fullmatch(r"(?i)cc[- ]?\S*(?:[- ]\S+)?", kept):
        raise InputError(
            "licence-unknown",
            f"{kept!r} is no licence that dryslate knows the address of.",
            f"Give one of {', '.join(LICENCES)}, or the address or the words of your licence.",
        )
    return kept


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9.]", "", text.lower())


def licence_address(licence: str) -> str:
    """
    Return a licence as it is exported: its address where known, else the team's words.

    Examples
    --------
    >>> licence_address("CC-BY-4.0")
    'https://creativecommons.org/licenses/by/4.0/legalcode'
    """
    return LICENCES.get(licence, licence)


def set_person(store: SurveyStore, said: ProjectPerson) -> None:
    """
    Store a person with a role.

    Raises
    ------
    InputError
        ``person-role``, ``person-email``, ``name-empty``, ``name-odd``.
    """
    if said.role not in ROLES:
        raise InputError("person-role", f"{said.role!r} is no role.", f"Roles: {', '.join(ROLES)}.")
    if said.email and not re.fullmatch(r"[^@\s]+@[^@\s]+", said.email):
        raise InputError("person-email", f"{said.email!r} is no address.", "Or leave it out.")
    store.save_project_person(
        ProjectPerson(
            person=require_name(said.person, "person"),
            role=said.role,
            organisation=" ".join(said.organisation.split()),
            email=said.email,
        )
    )


def read_name_ids(table: Table) -> tuple[NameId, ...]:
    """
    Read a table of names and what a register calls them.

    Raises
    ------
    InputError
        ``names-table-column``, ``names-table-row`` with its row.
    """
    missing = [c for c in ("name", "scientific_name") if c not in table.columns]
    unknown = [c for c in table.columns if c and c not in NAME_COLUMNS]
    if missing or unknown:
        raise InputError(
            "names-table-column",
            f"{table.name}: "
            + (f"no column {', '.join(missing)}" if missing else f"unknown: {', '.join(unknown)}")
            + ".",
            f"Columns: {', '.join(NAME_COLUMNS)}; name and scientific_name are needed.",
        )
    found: dict[str, NameId] = {}
    for number, cells in table.rows:
        said: dict[str, Any] = dict(zip(table.columns, cells, strict=True))
        why = _row_fault(said, found)
        if why:
            raise InputError(
                "names-table-row", f"{table.name}, row {number}: {why}.", "Nothing was stored."
            )
        row = NameId(**{c: said.get(c, "") for c in NAME_COLUMNS})
        found[row.name] = row
    return tuple(found.values())


def _row_fault(said: Mapping[str, str], found: Mapping[str, NameId]) -> str:
    """Say what is wrong with a row; empty where nothing is."""
    if not said["name"] or not said["scientific_name"]:
        return "name or scientific_name is empty"
    if said["name"] in found:
        return f"{said['name']!r} stands twice"
    if said.get("matched_on") and not re.fullmatch(r"\d{4}-\d\d-\d\d", said["matched_on"]):
        return f"matched_on {said['matched_on']!r} is no date (year-month-day)"
    return ""


def described(store: SurveyStore) -> dict[str, Any]:
    """Return what the project says of itself, for JSON and words."""
    people: Sequence[ProjectPerson] = store.project_people()
    return {
        "facts": dict(store.project_facts()),
        "people": [
            {"person": p.person, "role": p.role, "organisation": p.organisation, "email": p.email}
            for p in people
        ],
        "n_name_ids": len(store.name_ids()),
    }
