"""A printed sheet is true to the millimetre, and its cells are found again in a slanted photo."""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest

from dryslate.base.errors import InputError
from dryslate.core.card.markers import marker_corners_mm
from dryslate.core.sheet.columns import SHEET_KINDS
from dryslate.core.sheet.layout import lay_out
from dryslate.core.sheet.number import sheet_number
from dryslate.core.sheet.page import CORNER_IDS, PAPERS_MM, SheetContent, SheetPage
from dryslate.core.sheet.squaring import (
    apply_page,
    box_corners_mm,
    cell_corners_px,
    find_corners,
    fit_page,
    read_number,
)
from dryslate.web.languages import catalogue
from dryslate.wiring import document_writer

DPI = 200
NUMBER = sheet_number("a sheet of the tests")


def page_for(kind: str = "belt", paper: str = "a4", **more: object) -> SheetPage:
    preset = {"site": "Lantern Steps", "unit": "T1", "date": "2026-03-14"}
    return lay_out(SheetContent(kind=kind, paper=paper, preset=preset, **more), NUMBER)


def rastered(page: SheetPage, dpi: int = DPI) -> np.ndarray:
    pdf = document_writer().sheet_pdf([page], "en")
    with pdfium.PdfDocument(pdf) as document:
        return document[0].render(scale=dpi / 72).to_numpy()[..., :3].mean(axis=2).astype(np.uint8)


def slanted(img: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A photo of a page: turned, in perspective, on a dark ground, with grain; and the warp."""
    rng = np.random.default_rng(seed)
    h, w = img.shape
    corners = np.array([(0, 0), (w, 0), (w, h), (0, h)], dtype=np.float64)
    angle = np.radians(rng.uniform(-25, 25))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    moved = (corners - (w / 2, h / 2)) @ turn.T * 0.8 * rng.uniform(0.9, 1.1, (4, 1))
    moved -= moved.min(axis=0) - 40
    size = tuple(int(v) + 40 for v in moved.max(axis=0))
    warp = cv2.getPerspectiveTransform(corners.astype(np.float32), moved.astype(np.float32))
    photo = cv2.warpPerspective(img, warp, size, borderValue=70, flags=cv2.INTER_AREA)
    photo = cv2.GaussianBlur(photo, (0, 0), 0.8).astype(np.float64) * 0.7 + 25
    noisy = photo + rng.normal(0, 4, photo.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), warp


def pixel_of_mm(xy_mm: np.ndarray) -> np.ndarray:
    """Pixels of a rastered page; pixel centres on whole numbers."""
    return xy_mm * DPI / 25.4 - 0.5


def carried(warp: np.ndarray, xy_px: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(xy_px[None], warp)[0]


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("kind", SHEET_KINDS)
def test_cells_are_found_in_a_slanted_photo_to_half_a_millimetre(kind, paper) -> None:
    page = page_for(kind, paper)
    photo, warp = slanted(rastered(page), seed=len(kind) + len(paper))
    corners = find_corners(photo)
    assert set(corners) == set(CORNER_IDS)
    assert read_number(photo, corners) == NUMBER
    to_px = fit_page(page, corners)
    found = cell_corners_px(page, to_px)
    back = np.linalg.inv(to_px)
    worst = 0.0
    for cell in page.cells:
        true_px = carried(warp, pixel_of_mm(box_corners_mm(cell.box)))
        # how far the place found is from the true one, in millimetres on the page
        off = apply_page(back, found[cell.cell_id]) - apply_page(back, true_px)
        worst = max(worst, float(np.hypot(*off.T).max()))
    assert worst < 0.5


def test_three_corners_do_and_two_do_not() -> None:
    page = page_for()
    photo, warp = slanted(rastered(page), seed=3)
    corners = find_corners(photo)
    del corners[403]
    to_px = fit_page(page, corners)
    far = np.array([[page.width_mm - 10.0, page.height_mm - 10.0]])
    off = apply_page(np.linalg.inv(to_px), carried(warp, pixel_of_mm(far))) - far
    assert float(np.hypot(*off.T).max()) < 1.0
    del corners[402]
    with pytest.raises(InputError) as caught:
        fit_page(page, corners)
    assert caught.value.slug == "sheet-corners-too-few"


def test_number_that_is_covered_is_not_guessed() -> None:
    page = page_for()
    img = rastered(page)
    corners = find_corners(img)
    third = page.digits[2]
    (x0, y0), _, (x1, y1), _ = pixel_of_mm(marker_corners_mm(third)).round().astype(int)
    img[y0:y1, x0:x1] = 255
    with pytest.raises(InputError) as caught:
        read_number(img, corners)
    assert caught.value.slug == "sheet-number-unreadable"


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_frames_are_printed_where_the_geometry_says(paper) -> None:
    """The dark line of each cell's left edge, measured in the print."""
    page = page_for("line_intercept", paper)
    img = rastered(page, 400)
    px = 400 / 25.4
    for cell in [c for c in page.cells if c.row in (1, 5)][::3]:
        y = round((cell.box.y_mm + cell.box.height_mm / 2) * px)
        at = cell.box.x_mm * px
        line = 255.0 - img[y, int(at - 1.2 * px) : int(at + 1.2 * px)]
        centre = float(np.average(np.arange(len(line)), weights=line)) + int(at - 1.2 * px) + 0.5
        assert centre / px == pytest.approx(cell.box.x_mm, abs=0.1)


def test_same_pages_give_the_same_bytes_and_the_paper_s_size() -> None:
    for paper, (width, height) in PAPERS_MM.items():
        pages = [page_for("belt", paper), page_for("tagged_colony", paper)]
        pdf = document_writer().sheet_pdf(pages, "en")
        assert pdf == document_writer().sheet_pdf(pages, "en")
        with pdfium.PdfDocument(pdf) as document:
            assert len(document) == 2
            for page in document:
                assert page.get_width() == pytest.approx(width * 72 / 25.4, abs=0.05)
                assert page.get_height() == pytest.approx(height * 72 / 25.4, abs=0.05)


def text_of(pdf: bytes) -> str:
    with pdfium.PdfDocument(pdf) as document:
        return "\n".join(page.get_textpage().get_text_range() for page in document)


def flat(text: str) -> str:
    return " ".join(text.replace("-\r\n", "").replace("\ufffe\r\n", "").split())


@pytest.mark.parametrize("kind", SHEET_KINDS)
def test_every_sheet_has_its_cautions_and_its_number_in_print(kind) -> None:
    said = flat(text_of(document_writer().sheet_pdf([page_for(kind)], "en")))
    for words in ("local law", "data come second", "hydrocorals sting", "local rules come first"):
        assert words in said
    assert "decompression" not in said
    assert " ".join(NUMBER[k : k + 3] for k in range(0, 12, 3)) in said


def test_french_sheet_is_in_french() -> None:
    words = catalogue("fr").gettext
    page = lay_out(SheetContent(kind="belt"), NUMBER, words)
    said = flat(text_of(document_writer().sheet_pdf([page], "fr")))
    for english in (
        "Observer",
        "How many",
        "none seen",
        "Dive within",
        "Searched for",
        "page 1 of",
    ):
        assert english not in said
    assert "Observateur" in said
