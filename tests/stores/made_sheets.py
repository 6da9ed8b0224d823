"""Printed sheets for the tests of the stores."""

from __future__ import annotations

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
