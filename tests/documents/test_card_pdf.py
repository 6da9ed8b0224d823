"""The printed card is true to a tenth of a millimetre, and its greys hold black ink alone."""

from __future__ import annotations

import re
import zlib
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest

from dryslate.base.errors import MissingPartError, SettingsError, StoreError
from dryslate.core.card.finding import find_cards
from dryslate.documents.card_pdf import PAPERS_MM, SheetSettings, draw_card, lay_out_card
from dryslate.documents.typesetting import make_grey_device
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.wiring import document_writer

DPI = 400
TABLES = FileReferenceTables()


def rastered(path: Path, page: int, dpi: int = DPI) -> np.ndarray:
    with pdfium.PdfDocument(path) as document:
        return document[page].render(scale=dpi / 72).to_numpy()[..., :3].copy()


def crossing_mm(profile: np.ndarray, start_mm: float, dpi: int = DPI) -> float:
    """Where a profile crosses half between its two ends, in mm along the page."""
    values = profile.astype(float)
    half = (values[0] + values[-1]) / 2
    side = values > half if values[-1] > values[0] else values < half
    k = int(np.argmax(side))
    part = (half - values[k - 1]) / (values[k] - values[k - 1])
    first_px = round(start_mm * dpi / 25.4)
    return (first_px + k - 1 + part + 0.5) * 25.4 / dpi


def edge_mm(img: np.ndarray, at_mm: float, across_mm: float, axis: int) -> float:
    """Find the edge near `at_mm` along `axis` (0 down, 1 across), averaged over 0.6 mm across."""
    grey = img[..., 1] if axis == 1 else img[..., 1].T
    px = DPI / 25.4
    rows = slice(round((across_mm - 0.3) * px), round((across_mm + 0.3) * px))
    cols = slice(round((at_mm - 0.8) * px), round((at_mm + 0.8) * px))
    return crossing_mm(grey[rows, cols].mean(axis=0), at_mm - 0.8)


@pytest.fixture(scope="module")
def field_pdf(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("pdf") / "field.pdf"
    document_writer().card_pdf(TABLES.card("field"), path)
    return path


@pytest.fixture(scope="module")
def field_page(field_pdf) -> np.ndarray:
    return rastered(field_pdf, 0)


def test_marker_edges_lie_where_the_definition_says_on_both_cards(field_page) -> None:
    card = TABLES.card("field")
    first, second, _, fourth = card.markers
    across = second.x_mm + second.side_mm - first.x_mm
    down = fourth.y_mm + fourth.side_mm - first.y_mm
    for x0, y0 in lay_out_card(card, SheetSettings())["sheets"][0]["cards_mm"]:
        # A quarter of a cell inside the marker's border, which is black all the way.
        for upper in (first.y_mm + 0.6, fourth.y_mm + fourth.side_mm - 0.6):
            left = edge_mm(field_page, x0 + first.x_mm, y0 + upper, axis=1)
            right = edge_mm(field_page, x0 + second.x_mm + second.side_mm, y0 + upper, axis=1)
            assert left == pytest.approx(x0 + first.x_mm, abs=0.05)
            assert right - left == pytest.approx(across, abs=0.1)
        for along in (first.x_mm + 0.6, second.x_mm + second.side_mm - 0.6):
            top = edge_mm(field_page, y0 + first.y_mm, x0 + along, axis=0)
            bottom = edge_mm(field_page, y0 + fourth.y_mm + fourth.side_mm, x0 + along, axis=0)
            assert top == pytest.approx(y0 + first.y_mm, abs=0.05)
            assert bottom - top == pytest.approx(down, abs=0.1)


def dark_centres_mm(profile: np.ndarray, start_mm: float) -> list[float]:
    """Centres of the dark lines along a profile, weighted by their darkness."""
    dark = profile.max() - profile.astype(float)
    is_dark = dark > dark.max() * 0.25
    edges = np.flatnonzero(np.diff(np.r_[0, is_dark.astype(int), 0]))
    first = round(start_mm * DPI / 25.4)
    spans = zip(edges[::2], edges[1::2], strict=True)
    return [
        (first + float(np.average(np.arange(a - 1, b + 1), weights=dark[a - 1 : b + 1])) + 0.5)
        * 25.4
        / DPI
        for a, b in spans
    ]


def test_scale_on_the_card_is_100_mm_long_to_a_tenth(field_page) -> None:
    card = TABLES.card("field")
    for x0, y0 in lay_out_card(card, SheetSettings())["sheets"][0]["cards_mm"]:
        bar = card.scale_bar
        px = DPI / 25.4
        row = y0 + bar.y_mm - bar.height_mm * 0.9  # only the ticks of each tenth reach so high
        start = x0 + bar.x_mm - 2
        profile = field_page.mean(axis=2)[
            round(row * px) - 2 : round(row * px) + 3,
            round(start * px) : round((start + bar.length_mm + 4) * px),
        ].mean(axis=0)
        ticks = dark_centres_mm(profile, start)
        assert len(ticks) == 14
        assert ticks[11] - ticks[1] == pytest.approx(100.0, abs=0.1)
        assert np.diff(ticks) == pytest.approx(10.0, abs=0.05)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", ["field", "large", "stick"])
def test_check_lines_are_100_mm_across_and_down(tmp_path, name, paper) -> None:
    document_writer().card_pdf(TABLES.card(name), tmp_path / "c.pdf", paper=paper)
    page = rastered(tmp_path / "c.pdf", 0).mean(axis=2)
    lines = [
        i
        for i in lay_out_card(TABLES.card(name), SheetSettings(paper=paper))["sheets"][0]["items"]
        if i["kind"] == "line" and i["stroke"] == 0.2
    ]
    long_across, long_down = (
        next(i for i in lines if abs(i[b] - i[a]) > 50) for a, b in (("x", "x2"), ("y", "y2"))
    )
    px = DPI / 25.4
    row = round((long_across["y"] - 2.8) * px)  # above the line and its words
    start = long_across["x"] - 2
    ticks = dark_centres_mm(page[row, round(start * px) : round((start + 104) * px)], start)
    assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)
    column = round((long_down["x"] + 0.6) * px)
    start = long_down["y2"] - 2
    ticks = dark_centres_mm(page[round(start * px) : round((start + 104) * px), column], start)
    assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_page_has_the_paper_s_own_size(tmp_path, paper) -> None:
    document_writer().card_pdf(TABLES.card("field"), tmp_path / "c.pdf", paper=paper)
    with pdfium.PdfDocument(tmp_path / "c.pdf") as document:
        assert len(document) == 2
        size_mm = sorted(v * 25.4 / 72 for v in document[0].get_size())
    assert size_mm == pytest.approx(sorted(PAPERS_MM[paper]), abs=0.02)


def content_streams(pdf: bytes) -> list[bytes]:
    """Every stream that sets a colour, unpacked."""
    found = []
    for match in re.finditer(rb"/FlateDecode[^>]*>>\s*stream\r?\n", pdf):
        packed = pdf[match.end() : pdf.index(b"endstream", match.end())]
        text = zlib.decompressobj().decompress(packed)
        if b" scn" in text or b" SCN" in text:
            found.append(text)
    return found


def test_greys_are_device_grey_and_only_colour_patches_are_not(field_pdf) -> None:
    pdf = field_pdf.read_bytes()
    spaces = dict(re.findall(rb"/(c\d) (\d+) 0 R", pdf))
    grey = {
        name
        for name, number in spaces.items()
        if re.search(rb"(?m)^%s 0 obj\s+/DeviceGray\s+endobj" % number, pdf)
    }
    assert grey == {b"c0"}
    text = b"\n".join(content_streams(pdf))
    in_grey = re.findall(rb"/c0 cs ([\d.]+) scn", text)
    in_colour = re.findall(rb"/c(?!0\b)\d+ cs ([\d. ]+) scn", text)
    colours = TABLES.card("field").colours
    assert len(in_colour) == 2 * len(colours)  # two cards on the page
    assert all(len(set(c.split())) > 1 for c in in_colour)
    assert len(in_grey) > 2 * len(TABLES.card("field").neutrals)
    assert not re.search(rb"(?m)\s(rg|RG|k|K)\s*$", text)


def test_ground_neutrals_and_markers_are_drawn_grey() -> None:
    card = TABLES.card("field")
    rects = [i for i in draw_card(card) if i["kind"] == "rect"]
    assert "grey" in rects[0]
    assert rects[0]["w"] == card.width_mm + 4  # the ground, with its bleed
    with_colour = [i for i in rects if "rgb" in i]
    assert len(with_colour) == len(card.colours)


def test_same_card_gives_the_same_bytes(field_pdf, tmp_path) -> None:
    document_writer().card_pdf(TABLES.card("field"), tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == field_pdf.read_bytes()


def test_both_printed_cards_are_found_by_their_markers(field_pdf) -> None:
    page = rastered(field_pdf, 0, dpi=200)
    names = [f.card.name for f in find_cards(page, TABLES.cards()).cards]
    assert names == ["field", "field"]


def test_second_page_tells_how_to_print_and_cautions(field_pdf) -> None:
    with pdfium.PdfDocument(field_pdf) as document:
        text = " ".join(document[1].get_textpage().get_text_range().split())
    for words in ("100 %", "matt", "Serial no.", "touch nothing", "training", "every year", "twin"):
        assert words in text
    assert "decompress" not in text.lower()


def test_serial_number_is_on_card_and_label(tmp_path) -> None:
    from dataclasses import replace

    card = replace(TABLES.card("field"), serial="A17")
    document_writer().card_pdf(card, tmp_path / "c.pdf")
    with pdfium.PdfDocument(tmp_path / "c.pdf") as document:
        pages = [document[k].get_textpage().get_text_range() for k in range(2)]
    assert pages[0].count("A17") == 2
    assert pages[1].count("A17") == 2


def test_faulty_wishes_are_refused(tmp_path) -> None:
    card = TABLES.card("field")
    wishes = [
        (card, {"paper": "napkin"}, "paper-unknown"),
        (card, {"copies": 0}, "copies-not-positive"),
        (TABLES.card("target24"), {}, "card-larger-than-paper"),
    ]
    for which, options, slug in wishes:
        with pytest.raises(SettingsError) as caught:
            document_writer().card_pdf(which, tmp_path / "c.pdf", **options)
        assert caught.value.slug == slug
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError) as caught_store:
        document_writer().card_pdf(card, tmp_path / "file" / "c.pdf")
    assert caught_store.value.slug == "write-failed"


def test_pdf_without_a_grey_profile_is_refused() -> None:
    with pytest.raises(MissingPartError) as caught:
        make_grey_device(b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n")
    assert caught.value.slug == "grey-not-device"
