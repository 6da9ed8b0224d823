"""What is left to do in words, and where a click on it leads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request

from dryslate.web.languages import N_, catalogue, language_of

if TYPE_CHECKING:
    from dryslate.app.left_to_do import LeftItem, VisitLeft


SENTENCES: dict[str, tuple[str, str]] = {
    "one_copy": (
        N_("photo exists in one proved copy: do not wipe its memory card"),
        N_("photos exist in one proved copy: do not wipe their memory card"),
    ),
    "not_corrected": (N_("photo is not corrected yet"), N_("photos are not corrected yet")),
    "unit_no_name": (N_("unit without a name yet"), N_("units without a name yet")),
    "no_unit": (
        N_("photo that belongs to no unit"),
        N_("photos that belong to no unit"),
    ),
    "unit_no_photos": (N_("unit without photos"), N_("units without photos")),
    "unit_blank": (
        N_("unit in which nothing is noted, and not that nothing was seen"),
        N_("units in which nothing is noted, and not that nothing was seen"),
    ),
    "points_open": (
        N_("unit in which not all points are named"),
        N_("units in which not all points are named"),
    ),
    "unit_faults": (
        N_("unit whose notes do not add up"),
        N_("units whose notes do not add up"),
    ),
    "unreadable": (N_("photo cannot be read"), N_("photos cannot be read")),
    "no_card": (
        N_("photo in which no card was found"),
        N_("photos in which no card was found"),
    ),
    "refused": (
        N_("photo whose colour was refused"),
        N_("photos whose colour was refused"),
    ),
    "no_scale": (
        N_("coral without a scale that can be trusted"),
        N_("corals without a scale that can be trusted"),
    ),
    "no_corals": (N_("visit without a coral marked"), N_("visits without a coral marked")),
    "no_name": (N_("coral without a name"), N_("corals without a name")),
    "second_look": (
        N_("coral that waits for a second observer"),
        N_("corals that wait for a second observer"),
    ),
    "third_look": (
        N_("coral on which two observers differ"),
        N_("corals on which two observers differ"),
    ),
    "not_confirmed": (
        N_("coral whose second look is coarser or finer: to be decided"),
        N_("corals whose second look is coarser or finer: to be decided"),
    ),
}
BUTTONS: dict[str, str] = {
    "one_copy": N_("Make the second copy"),
    "not_corrected": N_("Correct them"),
    "unit_no_name": N_("Name the first"),
    "no_unit": N_("Put them to units"),
    "unit_no_photos": N_("Look at the first"),
    "unit_blank": N_("Type the first"),
    "points_open": N_("Go on with the first"),
    "unit_faults": N_("Look at the first"),
    "unreadable": N_("Look at the first"),
    "no_card": N_("Look at the first"),
    "refused": N_("Look at the first"),
    "no_scale": N_("Look at the first"),
    "no_corals": N_("Mark the first coral"),
    "no_name": N_("Name the first"),
    "second_look": N_("Look at the first"),
    "third_look": N_("Settle the first"),
    "not_confirmed": N_("Settle the first"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftRow:
    """One line of the first page; `seen_at` leads who may only look, where there is something."""

    item: LeftItem
    sentence: str
    button: str
    address: str
    seen_at: str


def rows_of(request: Request, left: VisitLeft) -> list[LeftRow]:
    """Put a visit's items into words."""
    texts = catalogue(language_of(request))
    return [
        LeftRow(
            item=item,
            sentence=texts.gettext(SENTENCES[item.kind][item.n != 1]),
            button=texts.gettext(BUTTONS[item.kind]),
            address=address_of(item, left.visit.visit_id),
            seen_at=seen_at(item, left.visit.visit_id),
        )
        for item in left.items
    ]


def address_of(item: LeftItem, visit_id: str) -> str:
    """Return the page on which the first thing of an item is done."""
    visit = quote(visit_id, safe="")
    by_kind = {
        "one_copy": f"/take/copies?visit={visit}",
        "not_corrected": f"/photos?visit={visit}&show=not_corrected",
        "unit_no_name": f"/units/{item.first}",
        "unit_no_photos": f"/units/{item.first}",
        "unit_blank": f"/records/units/{item.first}",
        "points_open": f"/records/points/{item.first}",
        "unit_faults": f"/records/units/{item.first}",
        "no_unit": f"/photos?visit={visit}&show=no_unit",
        "no_name": f"/corals/{item.first}/name",
        "no_scale": f"/corals/{item.first}",
        "second_look": "/second",
        "third_look": f"/second/{item.first}/settle",
        "not_confirmed": f"/second/{item.first}/settle",
    }
    return by_kind.get(item.kind, f"/photos/{item.first}")


def seen_at(item: LeftItem, visit_id: str) -> str:
    """Return the page that shows the first thing of an item and asks for nothing."""
    by_kind = {
        "unit_blank": f"/records?visit={quote(visit_id, safe='')}",
        "points_open": f"/records?visit={quote(visit_id, safe='')}",
        "unit_faults": f"/records?visit={quote(visit_id, safe='')}",
        "no_name": f"/corals/{item.first}",
        "second_look": "",
        "third_look": f"/corals/{item.first}",
        "not_confirmed": f"/corals/{item.first}",
    }
    return by_kind.get(item.kind, address_of(item, visit_id))
