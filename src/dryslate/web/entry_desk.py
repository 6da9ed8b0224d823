"""What the pages for typing records work with: lists to choose from, and checked lines as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.entry_columns import SECTIONS
from dryslate.app.entry_lines import CheckedUnit, TypedLine, running_sums
from dryslate.app.import_reading import ImportSource
from dryslate.app.name_lookup import names_to_type
from dryslate.web.languages import catalogue, language_of, number
from dryslate.web.reach import observer_of, reach_of
from dryslate.web.record_words import FIELD_WORDS, FORM_WORDS, REASONS, SECTION_WORDS, plainly
from dryslate.web.taxon_names import taxa_of

if TYPE_CHECKING:
    from dryslate.app.entry_unit import EntrySheet
    from dryslate.app.import_run import ImportTools
    from dryslate.app.ports import SurveyStore
    from dryslate.web.reach import Reach

NUMBERS = frozenset(
    {"from_m", "to_m", "at_m", "across_line_m", "cover_pct", "longest_cm", "across_cm"}
    | {"normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct"}
)
WHOLE = frozenset({"n", "cell"})
COMPLETED = {
    "category": "categories",
    "name": "names",
    "growth_form": "forms",
    "unreadable": "reasons",
}
"""Cells that complete first letters, and from which list."""


def tools_of(reach: Reach) -> ImportTools:
    """Return what reading of typed and imported records works with, made once."""
    found = reach.keep("import tools", lambda: wiring.import_tools(reach.settings.project))
    return cast("ImportTools", found)


def source_of(
    request: Request, store: SurveyStore, lines: Iterable[TypedLine] = ()
) -> ImportSource:
    """Return who types, when, and what names and photos are looked up in."""
    reach = reach_of(request)
    ids = {line.cells["photo"] for line in lines if "photo" in line.cells}
    photos = {one: store.photo(one) for one in ids}
    return ImportSource(
        observer=observer_of(request),
        at=wiring.clock().now_utc(),
        taxa=taxa_of(reach),
        region=store.region(),
        photos={one: photo for one, photo in photos.items() if photo is not None},
        size_of=tools_of(reach).size_of,
    )


def choices(request: Request, sheet: EntrySheet, region: str | None) -> dict[str, list[Any]]:
    """Return what cells complete from: each with its value, its word and what it means."""
    language = language_of(request)
    gettext = catalogue(language).gettext
    taxa = taxa_of(reach_of(request))
    meanings = taxa.characters["growth_form"].states
    names = names_to_type(taxa, region)
    return {
        "categories": [[c.category, c.category, c.definition] for c in sheet.categories],
        "names": [[name, name, ""] for name in names],
        "forms": [
            [key, gettext(FORM_WORDS.get(key, key)), gettext(meaning)]
            for key, meaning in meanings.items()
        ],
        "reasons": [[gettext(word), gettext(word), ""] for word in REASONS],
    }


def sections(request: Request, sheet: EntrySheet) -> list[dict[str, Any]]:
    """Return the grids of a unit with their columns."""
    if sheet.stated is None:
        return []
    gettext = catalogue(language_of(request)).gettext
    design = sheet.stated.design
    return [
        {
            "kind": one.kind,
            "title": gettext(SECTION_WORDS[one.kind]),
            "columns": [
                {
                    "field": name,
                    "label": gettext(FIELD_WORDS[name]),
                    "type": _type(name),
                    "list": COMPLETED.get(name, ""),
                    "carry": _carry(one.carry.get(name, ""), design),
                }
                for name in one.fields
            ],
        }
        for one in SECTIONS[design.design]
    ]


def _type(name: str) -> str:
    """Return how a cell is typed."""
    if name in NUMBERS:
        return "number"
    if name in WHOLE:
        return "whole"
    return "tick" if name == "none_seen" else "words"


def _carry(rule: str, design: Any) -> Any:
    """Return what a new line takes from the one above: a field's name, or a step."""
    if not rule.startswith("+"):
        return rule
    return getattr(design, rule[1:]) if rule[1:].isidentifier() else float(rule[1:])


def lines_json(lines: Sequence[TypedLine], rows: Iterable[Any]) -> list[dict[str, Any]]:
    """Return stored lines for the page, with who noted each."""
    noted = {row.row_no: row for row in rows}
    return [
        {
            "key": line.key,
            "kind": line.kind,
            "row_no": line.row_no,
            "cells": dict(line.cells),
            "by": noted[line.row_no].observer,
            "place": noted[line.row_no].row.place,
        }
        for line in lines
    ]


def checked_json(request: Request, sheet: EntrySheet, checked: CheckedUnit) -> dict[str, Any]:
    """Return what the checks found: faults at their cells, running sums, names written out."""
    faults = []
    for fault in checked.faults:
        if fault.problem.severity == "note":
            continue
        bare = replace(fault.problem, place="") if fault.key else fault.problem
        said = plainly(request, bare)
        faults.append({"key": fault.key, "field": fault.field, **said})
    stated = sheet.stated
    rows = checked.rows
    sums = running_sums(stated.design, (noted.row for noted in rows.values())) if stated else {}
    return {
        "faults": faults,
        "held": sorted(checked.held),
        "whole": {key: noted.row.name for key, noted in rows.items() if noted.row.name},
        "shares": {key: share for key, noted in rows.items() if (share := _shares(noted.row))},
        "sums": sum_words(request, sums, stated.design.design if stated else ""),
        "share": min(1.0, sums.get("noted", 0.0) / sums["of"]) if sums.get("of") else None,
        "is_whole": checked.is_whole and bool(rows),
    }


def _shares(row: Any) -> float | None:
    """Add up the shares of a colony's surface, None where none is given."""
    given = (row.normal_pct, row.pale_pct, row.bleached_pct, row.recently_dead_pct)
    known = [value for value in (*given, row.old_dead_pct) if value is not None]
    return sum(known) if known else None


def sum_words(request: Request, sums: Mapping[str, float], design: str) -> list[str]:
    """Say what is noted so far, against what there is."""
    language = language_of(request)
    texts = catalogue(language)

    def figure(amount: float) -> str:
        return number(amount, 2 if design == "line_intercept" else 0, language)

    found = []
    if "of" in sums:
        noted, of = figure(sums.get("noted", 0.0)), figure(sums["of"])
        words = {
            "line_intercept": texts.gettext("%(n)s of %(all)s m of tape"),
            "point_intercept": texts.gettext("%(n)s of %(all)s points"),
            "quadrat_cells": texts.gettext("%(n)s of %(all)s cells"),
        }
        found.append(words[design] % {"n": noted, "all": of})
    if sums.get("unreadable"):
        found.append(texts.gettext("%(n)s not readable") % {"n": figure(sums["unreadable"])})
    if "counted" in sums:
        found.append(texts.gettext("%(n)s counted") % {"n": number(sums["counted"], 0, language)})
    if "colonies" in sums:
        n = round(sums["colonies"])
        found.append(texts.ngettext("%(num)s colony", "%(num)s colonies", n) % {"num": n})
    return found
