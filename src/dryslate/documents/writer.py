"""The writer of documents that stands behind the port."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dryslate.core.card.definition import CardDefinition
from dryslate.core.sheet.page import SheetPage


class DocumentFiles:
    """Writes cards as PDF and reports as self-contained HTML."""

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
        InputError
            ``document-not-written``.
        """
        from dryslate.documents.card_pdf import SheetSettings, write_card_pdf

        write_card_pdf(card, path, SheetSettings(paper=paper, copies=copies))

    def card_picture(self, card: CardDefinition, dpi: float, path: Path) -> tuple[int, int]:
        """
        Write a picture that is exactly the card, edge to edge, and return its size in pixels.

        Raises
        ------
        SettingsError
            ``dpi-out-of-range``.
        InputError
            ``document-not-written``.
        """
        from dryslate.documents.card_picture import write_card_picture

        return write_card_picture(card, dpi, path)

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
        from dryslate.documents.report import write_report

        write_report(report, path)

    def survey_report(self, report: Any, path: Path, language: str, *, as_pdf: bool) -> None:
        """Write the report of a survey's results as one HTML file or as PDF."""
        from dryslate.documents.survey_report import write_survey_report

        write_survey_report(report, path, language, as_pdf=as_pdf)
