"""Printed sheets and photos of them, as they are stored."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from dryslate.core.sheet.page import SheetContent


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedSheet:
    """
    One printed page, so that a photo of it can be matched later.

    Parameters
    ----------
    sheet_id : str
        The twelve digits on it.
    kind : str
        How the unit is sampled, or ``permanent_plot``, ``tagged_colony``.
    layout_version : int
        Of the geometry.
    unit : str
        Unit or tag that is printed on it; empty where it was left blank.
    language : str
    content : SheetContent
        All that its geometry and its words are made from.
    observer, printed_at : str
    """

    sheet_id: str
    kind: str
    layout_version: int
    unit: str
    language: str
    content: SheetContent
    observer: str
    printed_at: str

    def as_dict(self) -> dict[str, Any]:
        """Return what tells it from others as plain values, for JSON."""
        return {
            "sheet_id": self.sheet_id,
            "kind": self.kind,
            "layout_version": self.layout_version,
            "paper": self.content.paper,
            "unit": self.unit,
            "page_no": self.content.page_no,
            "n_pages": self.content.n_pages,
            "language": self.language,
            "observer": self.observer,
            "printed_at": self.printed_at,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPhoto:
    """
    A photo of a printed page.

    Parameters
    ----------
    photo_id, sheet_id : str
    unit_id : str or None
        The unit whose notes stand on it; None where nobody could say yet.
    to_px : tuple of tuple of float
        Rows of the 3 x 3 homography from millimetres on the page to pixels of the upright photo.
    observer, joined_at : str
    """

    photo_id: str
    sheet_id: str
    unit_id: str | None
    to_px: tuple[tuple[float, float, float], ...]
    observer: str
    joined_at: str


class SheetStore(Protocol):
    """Sheets that were printed for a project, and photos of them."""

    def sheet_photos(self, unit_id: str | None = None) -> tuple[SheetPhoto, ...]:
        """Return the photos of sheets of one unit, or all, in the order joined."""

    def save_sheet_photo(self, row: SheetPhoto) -> None:
        """Store what a photo shows, in place of what was said of it before."""

    def printed_sheets(self) -> tuple[PrintedSheet, ...]:
        """Return every printed page, in the order printed."""

    def save_printed_sheets(self, sheets: Iterable[PrintedSheet]) -> None:
        """Add printed pages, all or none; a number that is there already is refused."""
