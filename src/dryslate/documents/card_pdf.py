"""The millimetre-true PDF of a card: its geometry in millimetres, set by typst."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryslate.base.errors import SettingsError
from dryslate.core.card.definition import Box, CardDefinition, Marker
from dryslate.core.card.markers import marker_cells, rim_mm
from dryslate.core.card.picture import STRIP_LAB, scale_ticks
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb
from dryslate.documents.typesetting import typeset

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
EDGE_MM = 7.0
"""What printers commonly cannot reach at the paper's edge."""
BLEED_MM = 2.0
GAP_MM = 11.0
CHECK_BAND_MM = 13.0
"""Room along the bottom and the left for the lines of 100 mm."""
CHECK_MM = 100.0
BARE_PAPER_FROM_L = 95.0
SOLID_INK_TO_L = 20.5

Item = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSettings:
    """
    How cards are laid on paper.

    Parameters
    ----------
    paper : str
        ``"a4"`` or ``"letter"``.
    copies : int or None
        How many cards in all; None for two (one to dive with and its twin), eight of a stick.
    """

    paper: str = "a4"
    copies: int | None = None


def lay_out_card(card: CardDefinition, settings: SheetSettings) -> dict[str, Any]:
    """
    Lay copies of a card on sheets of paper, in millimetres from the paper's top left corner.

    Parameters
    ----------
    card : CardDefinition
    settings : SheetSettings

    Returns
    -------
    dict
        ``width_mm``, ``height_mm`` of the page and ``sheets``: per sheet the top left corners
        of the cards and the items to draw. JSON-able; the template draws exactly this.

    Raises
    ------
    SettingsError
        ``paper-unknown`` if the paper has no known size; ``copies-not-positive`` if there is
        nothing to print; ``card-larger-than-paper`` if not one card fits.
    """
    if settings.paper not in PAPERS_MM:
        raise SettingsError(
            "paper-unknown",
            f"There is no paper called {settings.paper!r}.",
            f"Known papers: {', '.join(PAPERS_MM)}.",
        )
    copies = settings.copies if settings.copies is not None else (2 if card.width_mm > 80 else 8)
    if copies < 1:
        raise SettingsError(
            "copies-not-positive", f"{copies} copies cannot be printed.", "Give 1 or more."
        )
    page, places = _places(card, PAPERS_MM[settings.paper], settings.paper)
    sheets = []
    for first in range(0, copies, len(places)):
        here = places[: copies - first]
        items: list[Item] = _check_lines(page)
        for x_mm, y_mm in here:
            items += _shifted(draw_card(card), x_mm, y_mm)
            items += _shifted(_crop_marks(card), x_mm, y_mm)
        sheets.append({"cards_mm": here, "items": items})
    return {"width_mm": page[0], "height_mm": page[1], "sheets": sheets}


def draw_card(card: CardDefinition) -> list[Item]:
    """
    Return what is printed on a card, bottom layer first, in millimetres of the card.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    list of dict
        Rectangles, circles, arcs and texts. Neutral things carry ``grey`` (0 to 1, printed with
        black ink alone); colours carry ``rgb`` (sRGB, 0 to 1).

    Notes
    -----
    The ground runs 2 mm beyond the edge for trimming. The lightest neutrals are bare paper and
    the darkest are solid ink: the two that a printer holds best.
    """
    whole = Box(x_mm=0.0, y_mm=0.0, width_mm=card.width_mm, height_mm=card.height_mm)
    items = [_rect(_grown(whole, BLEED_MM), {"grey": _grey(card.ground_lab_d65[0])})]
    if card.pencil_strip is not None:
        items.append(_rect(card.pencil_strip, {"grey": _grey(STRIP_LAB[0])}))
        items += _serial(card, card.pencil_strip)
    for patch in card.patches:
        ink = (
            {"grey": _grey(patch.lab_d65[0])}
            if patch.role == "neutral"
            else {"rgb": _srgb(patch.lab_d65)}
        )
        box = Box(
            x_mm=patch.x_mm, y_mm=patch.y_mm, width_mm=patch.width_mm, height_mm=patch.height_mm
        )
        items.append(_rect(box, ink))
    for marker in card.markers:
        items += draw_marker(marker)
    if card.scale_bar is not None:
        items += [_rect(tick, {"grey": 0.0}) for tick in scale_ticks(card.scale_bar)]
    if card.lanyard_hole is not None:
        x_mm, y_mm, diameter = card.lanyard_hole
        items.append({"kind": "circle", "x": x_mm, "y": y_mm, "r": diameter / 2, "stroke": 0.2})
    return items + _corner_arcs(card)


def card_pdf(card: CardDefinition, settings: SheetSettings) -> bytes:
    """
    Return the PDF of a card: the sheets to print, then how to print, seal and look after it.

    Parameters
    ----------
    card : CardDefinition
    settings : SheetSettings

    Returns
    -------
    bytes

    Raises
    ------
    SettingsError
        Those of `lay_out_card`.
    """
    data = lay_out_card(card, settings) | {
        "card": {
            "name": card.name,
            "title": card.title,
            "serial": card.serial,
            "width_mm": card.width_mm,
            "height_mm": card.height_mm,
            "status": card.status,
            "medium": card.medium,
            "has_strip": card.pencil_strip is not None,
            "has_hole": card.lanyard_hole is not None,
            "has_markers": bool(card.markers),
        },
        "paper": {"a4": "A4", "letter": "Letter"}[settings.paper],
    }
    return typeset("card.typ", data)


def _places(
    card: CardDefinition, paper: tuple[float, float], name: str
) -> tuple[tuple[float, float], list[tuple[float, float]]]:
    """Find the page orientation that takes most cards, and their top left corners."""
    best: tuple[tuple[float, float], int, int] = (paper, 0, 0)
    for page in (paper, paper[::-1]):
        across = _n_fitting(card.width_mm, page[0])
        down = _n_fitting(card.height_mm, page[1])
        if across * down > best[1] * best[2]:
            best = (page, across, down)
    page, across, down = best
    if across * down == 0:
        raise SettingsError(
            "card-larger-than-paper",
            f"Card {card.name!r} ({card.width_mm:g} x {card.height_mm:g} mm) does not fit on "
            f"{name} with room for trimming and the check lines.",
            "Choose a smaller card, or have this one printed from: dryslate card picture",
        )
    step_x, step_y = card.width_mm + GAP_MM, card.height_mm + GAP_MM
    free_x = page[0] - CHECK_BAND_MM - EDGE_MM
    free_y = page[1] - CHECK_BAND_MM - EDGE_MM
    left = CHECK_BAND_MM + (free_x - (across * step_x - GAP_MM)) / 2
    top = EDGE_MM + (free_y - (down * step_y - GAP_MM)) / 2
    places = [
        (round(left + i * step_x, 3), round(top + k * step_y, 3))
        for k in range(down)
        for i in range(across)
    ]
    return page, places


def _n_fitting(side_mm: float, page_mm: float) -> int:
    """How many cards fit along one side, with crop marks, edges and check line."""
    room = page_mm - CHECK_BAND_MM - EDGE_MM - 2 * (GAP_MM / 2)
    return max(int((room + GAP_MM) // (side_mm + GAP_MM)), 0)


def _grown(box: Box, by_mm: float) -> Box:
    """Return a box grown on every side."""
    return Box(
        x_mm=box.x_mm - by_mm,
        y_mm=box.y_mm - by_mm,
        width_mm=box.width_mm + 2 * by_mm,
        height_mm=box.height_mm + 2 * by_mm,
    )


def _rect(box: Box, ink: Item) -> Item:
    """Return a filled rectangle."""
    return {
        "kind": "rect",
        "x": box.x_mm,
        "y": box.y_mm,
        "w": box.width_mm,
        "h": box.height_mm,
    } | ink


def _grey(lightness: float) -> float:
    """Level of black ink alone (0 solid, 1 bare paper) for a lightness."""
    if lightness >= BARE_PAPER_FROM_L:
        return 1.0
    if lightness <= SOLID_INK_TO_L:
        return 0.0
    return round(_srgb((lightness, 0.0, 0.0))[1], 4)


def _srgb(lab: Sequence[float]) -> list[float]:
    """CIELAB (D65) to coded sRGB within 0 to 1."""
    linear = np.clip(lab_to_linear_srgb(np.array([lab], dtype=np.float64)), 0.0, 1.0)
    return [round(float(v), 4) for v in np.clip(linear_to_srgb(linear), 0.0, 1.0)[0]]


def draw_marker(marker: Marker) -> list[Item]:
    """Return white rim, black square and white cells; rows and columns overlap, no seam shows."""
    square = Box(
        x_mm=marker.x_mm, y_mm=marker.y_mm, width_mm=marker.side_mm, height_mm=marker.side_mm
    )
    items = [_rect(_grown(square, rim_mm(marker)), {"grey": 1.0}), _rect(square, {"grey": 0.0})]
    cells = np.rot90(marker_cells(marker.dictionary, marker.marker_id), -(marker.turn_deg // 90))
    step = marker.side_mm / len(cells)
    for is_column, lines in ((False, cells), (True, cells.T)):
        for k, line in enumerate(lines):
            for first, n in _runs([bool(v) for v in line]):
                x, y, w, h = (k, first, 1, n) if is_column else (first, k, n, 1)
                box = Box(
                    x_mm=marker.x_mm + x * step,
                    y_mm=marker.y_mm + y * step,
                    width_mm=w * step,
                    height_mm=h * step,
                )
                items.append(_rect(box, {"grey": 1.0}))
    return items


def _runs(line: list[bool]) -> list[tuple[int, int]]:
    """First index and length of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.array([False, *line, False], dtype=np.int8)))
    return [(int(a), int(b - a)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _serial(card: CardDefinition, strip: Box) -> list[Item]:
    """The serial number, small, at the end of the strip that takes pencil."""
    if not card.serial:
        return []
    return [
        {
            "kind": "text",
            "x": strip.x_mm + 1.0,
            "y": strip.y_mm + 0.8,
            "size": 2.0,
            "body": f"no. {card.serial}",
        }
    ]


def _corner_arcs(card: CardDefinition) -> list[Item]:
    """Hairlines to cut the rounded corners by: centre and the quadrant's direction."""
    r = card.corner_radius_mm
    if r <= 0:
        return []
    w, h = card.width_mm, card.height_mm
    corners = ((0, 0, 1, 1), (w, 0, -1, 1), (w, h, -1, -1), (0, h, 1, -1))
    return [{"kind": "arc", "x": x, "y": y, "dx": r * sx, "dy": r * sy} for x, y, sx, sy in corners]


def _crop_marks(card: CardDefinition) -> list[Item]:
    """Short lines outside the bleed that show where to cut."""
    near, far = BLEED_MM + 0.6, BLEED_MM + 3.1
    w, h = card.width_mm, card.height_mm
    marks = []
    for x, sx in ((0.0, -1.0), (w, 1.0)):
        for y, sy in ((0.0, -1.0), (h, 1.0)):
            marks.append((x + sx * near, y, x + sx * far, y))
            marks.append((x, y + sy * near, x, y + sy * far))
    return [
        {"kind": "line", "x": x1, "y": y1, "x2": x2, "y2": y2, "stroke": 0.15}
        for x1, y1, x2, y2 in marks
    ]


def _check_lines(page: tuple[float, float]) -> list[Item]:
    """A line of 100 mm across and one down, with end ticks, to lay a ruler on."""
    x0, y0 = CHECK_BAND_MM, page[1] - EDGE_MM
    items: list[Item] = []
    tick = 3.0
    for x1, y1, dx, dy in ((x0, y0, CHECK_MM, 0.0), (EDGE_MM, y0 - CHECK_BAND_MM, 0.0, -CHECK_MM)):
        x2, y2 = x1 + dx, y1 + dy
        nx, ny = (0.0, -tick) if dx else (tick, 0.0)
        items.append({"kind": "line", "x": x1, "y": y1, "x2": x2, "y2": y2, "stroke": 0.2})
        for x, y in ((x1, y1), (x2, y2)):
            items.append(
                {"kind": "line", "x": x, "y": y, "x2": x + nx, "y2": y + ny, "stroke": 0.2}
            )
    say = "100 mm between the middles of the end lines. Measured: ______ mm"
    items.append({"kind": "text", "x": x0 + 2, "y": y0 - 3.4, "size": 2.4, "body": say})
    items.append(
        {
            "kind": "text",
            "x": EDGE_MM + 1.0,
            "y": y0 - CHECK_BAND_MM - 2,
            "size": 2.4,
            "turn": True,
            "body": "100 mm downwards. Measured:  ________ mm",
        }
    )
    return items


def _shifted(items: list[Item], x_mm: float, y_mm: float) -> list[Item]:
    """Move items; lengths and directions stay."""
    moved = []
    for item in items:
        copy = dict(item)
        for key in ("x", "x2"):
            if key in copy:
                copy[key] = round(copy[key] + x_mm, 4)
        for key in ("y", "y2"):
            if key in copy:
                copy[key] = round(copy[key] + y_mm, 4)
        moved.append(copy)
    return moved
