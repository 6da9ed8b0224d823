"""Printed sheets for the tests of the stores."""

from __future__ import annotations

from dryslate.app.condition_records import VisitConditions
from dryslate.app.sheet_records import PrintedSheet
from dryslate.core.sheet.page import SheetContent


def printed_sheet(**more: object) -> PrintedSheet:
    content = SheetContent(kind="belt", preset={"unit": "T1"}, rows=({"name": "Acropora"},))
    values = {
        "sheet_id": "311689675917",
        "kind": "belt",
        "layout_version": 1,
        "unit": "T1",
        "language": "en",
        "content": content,
        "observer": "Mara",
        "printed_at": "2026-03-13T20:00:00Z",
    } | more
    return PrintedSheet(**values)


def conditions(visit_id: str, observer: str) -> VisitConditions:
    return VisitConditions(
        visit_id=visit_id,
        tide="rising",
        visibility_m=12.5,
        water_c=27.4,
        weather="thin cloud",
        sea="swell 0.5 m from the south",
        observer=observer,
        stated_at="2026-03-14T20:00:00Z",
    )


def fill(store, visit_id: str, observer: str) -> None:
    """Store a printed sheet, where there is none, and the conditions of a visit."""
    if not store.printed_sheets():
        store.save_printed_sheets([printed_sheet()])
    store.save_visit_conditions(conditions(visit_id, observer))
