"""The writer of documents that stands behind the port."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from dryslate.core.card.definition import CardDefinition
from dryslate.core.sheet.page import SheetPage


class DocumentFiles:
    """
    Writes cards as PDF and reports as self-contained HTML.

    Parameters
    ----------
    save : callable
        Puts bytes into a file, whole or not at all.
    """

    def __init__(self, save: Callable[[Path, bytes], None]) -> None:
        self._save = save

    def card_pdf(
        self, card: CardDefinition, path: Path, *, paper: str = "a4", copies: int | None = None
    ) -> None:
        """
        Write the millimetre-true PDF of a card.

        Parameters
        ----------
        card : CardDefinition
        path : Path
        paper : str
            ``"a4"`` or ``"letter"``.
        copies : int or None
            How many cards; None for one to dive with and its twin (eight of a stick).

        Raises
        ------
        SettingsError
            ``paper-unknown``, ``copies-not-positive``, ``card-larger-than-paper``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``write-failed``.
        """
        from dryslate.documents.card_pdf import SheetSettings, card_pdf

        self._save(path, card_pdf(card, SheetSettings(paper=paper, copies=copies)))

    def card_picture(self, card: CardDefinition, dpi: float, path: Path) -> tuple[int, int]:
        """
        Write a picture that is exactly the card, edge to edge, and return its size in pixels.

        Raises
        ------
        SettingsError
            ``dpi-out-of-range``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``write-failed``.
        """
        from dryslate.documents.card_picture import card_png

        png, size_px = card_png(card, dpi)
        self._save(path, png)
        return size_px

    def sheet_pdf(self, pages: Sequence[SheetPage], language: str) -> bytes:
        """Return the millimetre-true PDF of sheets for the dive; same pages, same bytes."""
        from dryslate.documents.sheet_pdf import sheet_pdf

        return sheet_pdf(pages, language)

    def picture_jpeg(self, img_srgb: Any) -> bytes:
        """Encode a small picture (uint8 sRGB) as JPEG, for a report; same pixels, same bytes."""
        import io

        from PIL import Image

        buffer = io.BytesIO()
        Image.fromarray(img_srgb).save(buffer, format="JPEG", quality=84, optimize=True)
        return buffer.getvalue()

    def crop_png(self, crop: Any) -> bytes:
        """Return a part of a photo as PNG, its scale bar burnt in, its texts in the metadata."""
        from dryslate.documents.crop_picture import crop_png

        return crop_png(crop)

    def colony_timeline(self, timeline: Any) -> str:
        """Draw a tagged colony's timeline as an SVG element; same timeline, same bytes."""
        from dryslate.documents.colony_timeline import timeline_svg

        return timeline_svg(timeline)

    def report_html(self, report: Any, path: Path) -> None:
        """Write the self-contained report."""
        from dryslate.documents.report import render_report

        self._save(path, render_report(report).encode("utf-8"))

    def survey_report(self, report: Any, path: Path, language: str, *, as_pdf: bool) -> None:
        """Write the report of a survey's results as one HTML file or as PDF."""
        from dryslate.documents.survey_report import survey_html, survey_pdf

        if as_pdf:
            self._save(path, survey_pdf(report, language))
        else:
            self._save(path, survey_html(report, language).encode("utf-8"))
