"""What may be right in imported tables and is asked about: units twice, names alike, dates."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from dryslate.base.problems import Problem
from dryslate.core.survey.designs import COVER_KINDS

if TYPE_CHECKING:
    from dryslate.app.import_rows import PlannedUnit
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category, NotedRow

FEWEST_ALIKE = 5
"""Rows in which two units must agree before one is taken for a copy of the other."""
EARLIEST = "1900"


def doubts_of(units: Sequence[PlannedUnit], today: str) -> Iterator[Problem]:
    """
    Yield what is asked about units of tables.

    Parameters
    ----------
    units : sequence of PlannedUnit
    today : str
        Year-month-day.

    Yields
    ------
    Problem
        Warnings.
    """
    latest = (date.fromisoformat(today[:10]) + timedelta(days=1)).isoformat()
    for day in dict.fromkeys(unit.key[1] for unit in units):
        if day > latest or day[:4] < EARLIEST:
            first = next(unit for unit in units if unit.key[1] == day)
            yield _problem("unit-date-odd", first.place, f"a visit on {day}", "Is the year right?")
    copies: dict[tuple[object, ...], PlannedUnit] = {}
    for unit in units:
        said = tuple(replace(noted.row, place="") for noted in unit.rows)
        if len(said) < FEWEST_ALIKE:
            continue
        other = copies.setdefault((*unit.key[:2], unit.design, said), unit)
        if other is not unit:
            yield _problem(
                "unit-like-another",
                unit.place,
                f"{' '.join(unit.key)}: all of its {len(said)} rows are those of unit "
                f"{other.key[2]}",
                "Was one pasted under another name?",
            )


def blank_of_corals(
    units: Sequence[PlannedUnit], categories: Collection[Category]
) -> Iterator[Problem]:
    """
    Yield units that say nothing of corals beside units of their kind that do.

    Parameters
    ----------
    units : sequence of PlannedUnit
    categories : collection of Category

    Yields
    ------
    Problem
        Notes: such a unit is blank for all corals, not zero.
    """
    listed = {one.category for one in categories}
    alike: dict[tuple[str, ...], list[PlannedUnit]] = defaultdict(list)
    for unit in units:
        if unit.rows and not any(noted.row.kind in COVER_KINDS for noted in unit.rows):
            zone = str(unit.said.get("zone", ""))
            alike[(*unit.key[:2], zone, unit.design.design)].append(unit)
    for group in alike.values():
        says = [any(_says_corals(one, listed) for one in unit.rows) for unit in group]
        for unit, is_said in zip(group, says, strict=True):
            if any(says) and not is_said:
                yield Problem(
                    slug="unit-corals-blank",
                    severity="note",
                    place=unit.place,
                    message=f"{' '.join(unit.key)}: nothing says whether corals were there, beside "
                    "units that note them: for all corals it stays blank, not zero",
                    fix='Where there was none, note "none seen" of the category of hard corals.',
                )


def _says_corals(noted: NotedRow, listed: Collection[str]) -> bool:
    """Tell whether a row counts corals, or categories, of which one not mentioned is 0."""
    row = noted.row
    if row.kind == "none_seen" and row.name:
        return noted.rank in ("order", "none")
    if row.category in listed:
        return True
    return bool(noted.current_names) or (row.kind == "colony" and not row.category)


def place_doubts(units: Sequence[PlannedUnit], store: SurveyStore) -> Iterator[Problem]:
    """
    Yield what tables say of sites and units otherwise than the project, or nearly alike.

    Parameters
    ----------
    units : sequence of PlannedUnit
    store : SurveyStore

    Yields
    ------
    Problem
        Errors where a unit of the project lies in another zone or depth, or a name differs from
        another by capitals only.
    """
    visits = {(visit.site, visit.date): visit.visit_id for visit in store.visits()}
    sites = [*dict.fromkeys([*(site for site, _ in visits), *(u.key[0] for u in units)])]
    yield from _nearly("site", sites, {unit.key[0]: unit.place for unit in reversed(units)})
    people = {str(u.said["observer"]): u.place for u in reversed(units) if "observer" in u.said}
    known = [one.observer for one in store.observers()]
    yield from _nearly("observer", [*dict.fromkeys([*known, *reversed(people)])], people)
    zones: dict[str, dict[str, str]] = defaultdict(dict)
    for unit in reversed(units):
        if "zone" in unit.said:
            zones[unit.key[0]][str(unit.said["zone"])] = unit.place
    for site, told in zones.items():
        known = [one.zone for one in store.zones(site)] if site in {s for s, _ in visits} else []
        yield from _nearly("zone", [*dict.fromkeys([*known, *reversed(told)])], told)
    by_visit: dict[tuple[str, str], list[PlannedUnit]] = defaultdict(list)
    for unit in units:
        by_visit[unit.key[:2]].append(unit)
    for key, planned in by_visit.items():
        stored = store.units(visits[key]) if key in visits else ()
        there = {unit.name: unit for unit in stored if unit.name}
        names = [*dict.fromkeys([*there, *(unit.key[2] for unit in planned)])]
        yield from _nearly("unit", names, {u.key[2]: u.place for u in reversed(planned)})
        for one in planned:
            held = there.get(one.key[2])
            for field in ("zone", "depth_m"):
                old = None if held is None else getattr(held, field)
                new = one.said.get(field)
                if old is not None and new is not None and old != new:
                    yield Problem(
                        slug="unit-said-twice",
                        severity="error",
                        place=one.place,
                        message=f"{field} of unit {one.key[2]} is {new!r} here and {old!r} in the "
                        "project",
                    )


def _nearly(what: str, names: Sequence[str], places: Mapping[str, str]) -> Iterator[Problem]:
    """
    Yield names of a table that differ from another by capitals, or by spaces, signs and accents.

    By capitals alone they are one name, of which the spelling met first holds.
    """
    spelt: dict[str, list[str]] = defaultdict(list)
    for name in names:
        spelt[_plain(name)].append(name)
    for alike in (one for one in spelt.values() if len(one) > 1):
        for k, name in enumerate(alike):
            earlier = alike[:k]
            same = next((one for one in earlier if one.casefold() == name.casefold()), None)
            if not earlier or name not in places:
                continue
            if same is not None:
                yield Problem(
                    slug="name-nearly",
                    severity="error",
                    place=places[name],
                    message=f"the {what} {name!r} is written {same!r} elsewhere",
                    fix=f"Write it as {same!r}.",
                )
            else:
                yield _problem(
                    "place-name-alike",
                    places[name],
                    f"the {what} {name!r} looks like {earlier[0]!r}; they are taken as different",
                    "Where they are one, spell it alike.",
                )


def _plain(name: str) -> str:
    """Return a name without case, spaces, signs and accents; figures stay apart."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    parts = re.findall(r"\d+|[^\W\d_]+", bare.casefold())
    joined = "".join(f" {part.lstrip('0') or '0'} " if part.isdigit() else part for part in parts)
    return joined.strip() or name


def _problem(slug: str, place: str, message: str, fix: str) -> Problem:
    return Problem(slug=slug, severity="warning", place=place, message=message, fix=fix)
