"""Making a data package: the tidy figures and the records they rest on, with what each field is."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_ids import Identifiers
from dryslate.app.package_tables import RESULTS, TABLES, PackageTable, cells_of, schema_of
from dryslate.app.package_words import leaving_words
from dryslate.app.project_words import licence_address
from dryslate.app.published_sites import sensitive_note
from dryslate.app.telling_texts import TextGate, Texts, text_gate

if TYPE_CHECKING:
    from dryslate.app.archive_make import ArchiveBox
    from dryslate.app.ports import SurveyStore
    from dryslate.app.result_rows import ResultRow
    from dryslate.base.problems import Problem

DESCRIPTOR = "datapackage.json"
VERSION = 5


@dataclass(frozen=True, kw_only=True)
class PackageReport:
    """
    What a package holds.

    Parameters
    ----------
    n_rows : Mapping
        By table.
    n_left_out : int
        Points on photos that are set aside.
    n_texts : int
        Texts that were replaced, for they tell where a sensitive site lies.
    sensitive : tuple of Problem
        A note for each sensitive site: what is published of it.
    """

    n_rows: Mapping[str, int]
    n_left_out: int
    n_texts: int = 0
    sensitive: tuple[Problem, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "n_rows": dict(self.n_rows),
            "n_left_out": self.n_left_out,
            "n_texts_withheld": self.n_texts,
            "problems": [one.as_dict() for one in self.sensitive],
        }


def make_package(
    store: SurveyStore, results: Sequence[ResultRow], box: ArchiveBox, texts: Texts = "refuse"
) -> PackageReport:
    """
    Write a data package.

    Parameters
    ----------
    store : SurveyStore
    results : sequence of ResultRow
    box : ArchiveBox
    texts : {"refuse", "withhold", "as-written"}
        What is done with texts that tell where a sensitive site lies.

    Returns
    -------
    PackageReport

    Raises
    ------
    InputError
        ``archive-texts-tell``.

    Notes
    -----
    Records are as they are stored, so that reading them back gives the same figures; of sensitive
    sites positions are coarsened, and names and localities are the words that the archive has.
    Photos and their corrections are not in it. The same records give the same bytes.
    """
    counts: dict[str, int] = {}
    words, ids = leaving_words(store), Identifiers(store.project_id())
    withheld = [site for site, one in words.published.items() if one.is_withheld]
    gate = text_gate(store, withheld, texts, lambda text: ids.of("text", text))
    for table in (RESULTS, *TABLES):
        rows = results if table is RESULTS else table.rows(store)
        out = csv.writer(box.table(_file(table)), lineterminator="\n")
        out.writerow(table.columns())
        counts[table.name] = 0
        for record in rows:
            cells = cells_of(table, words.of(record))
            out.writerow(gate.row(table.name, list(table.columns()), cells))
            counts[table.name] += 1
    box.add_text(
        DESCRIPTOR, json.dumps(_descriptor(store, gate), ensure_ascii=False, indent=1) + "\n"
    )
    n_told = gate.close()
    box.add_tables([_file(table) for table in (RESULTS, *TABLES)])
    n_stored = sum(len(store.survey_rows(one.unit_id)) for one in store.unit_designs())
    return PackageReport(
        n_rows=counts,
        n_left_out=n_stored - counts["survey_rows"],
        n_texts=n_told if texts == "withhold" else 0,
        sensitive=tuple(sensitive_note(site) for site in sorted(words.sensitive)),
    )


def _file(table: PackageTable) -> str:
    return f"data/{table.name}.csv"


def _descriptor(store: SurveyStore, gate: TextGate) -> dict[str, Any]:
    """Return what the package says of itself."""
    facts: dict[str, str] = gate.value("project", dict(store.project_facts()))
    found: dict[str, Any] = {
        "profile": "tabular-data-package",
        "name": "coral-reef-survey",
        "id": Identifiers(store.project_id()).of("archive", "data package"),
        "title": facts.get("title") or "Coral reef survey",
        "version": store.last_changed_utc()[:10],
        "dryslate": {"package": VERSION, "facts": facts, "region": store.region()},
        "resources": [
            {
                "name": table.name,
                "path": _file(table),
                "profile": "tabular-data-resource",
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "schema": schema_of(table),
            }
            for table in (RESULTS, *TABLES)
        ],
    }
    if facts.get("summary"):
        found["description"] = facts["summary"]
    licence = facts.get("licence", "")
    if licence:
        address = licence_address(licence)
        is_address = address.startswith("http")
        found["licenses"] = [{"path": address} if is_address else {"name": "other"}]
        found["licenses"][0] |= {"title": licence}
        if is_address and licence != address:
            found["licenses"][0] |= {"name": licence}
    people = [
        {"title": p.person, "role": p.role}
        | ({"organization": p.organisation} if p.organisation else {})
        | ({"email": p.email} if p.email else {})
        for p in store.project_people()
    ]
    if people:
        found["contributors"] = people
    return found
