"""Corals: the list, and one coral with its names over time."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app import coral_page
from dryslate.app.coral_health import HealthRow
from dryslate.app.standing_names import standing_name
from dryslate.base.errors import StoreError
from dryslate.web.benches import tile_bench_of
from dryslate.web.errors import answer_to
from dryslate.web.languages import N_
from dryslate.web.pages import page
from dryslate.web.photo_words import SCRIPT_WORDS
from dryslate.web.reach import observer_of, reach_of, session_of
from dryslate.web.reading_words import reading_words
from dryslate.web.routes.new_coral import Sizes, sizes_form
from dryslate.web.taxon_names import taxa_of

router = APIRouter()
RecordId = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
STATUSES = {
    "no name": N_("no name"),
    "one observer": N_("one observer"),
    "open": N_("two names that differ"),
    "coarser": N_("not confirmed: the second look is coarser"),
    "finer": N_("the second look is finer"),
    "reopened": N_("open again"),
    "agreed": N_("agreed"),
    "settled": N_("settled"),
    "together": N_("settled together"),
}
UNDECIDED = ("open", "coarser", "finer", "reopened")
NOT_CONFIRMED = {"genus": N_("not confirmed to genus"), "family": N_("not confirmed to family")}


def status_words(status: str, rank: str) -> str:
    """Return how a coral's name stands, to be translated."""
    if status == "coarser" and rank in NOT_CONFIRMED:
        return NOT_CONFIRMED[rank]
    return STATUSES.get(status, status)


@router.get("/corals", response_class=HTMLResponse)
def corals(
    request: Request,
    visit: Annotated[str, Query(max_length=300)] = "",
    status: Annotated[str, Query(max_length=40)] = "",
    words: Annotated[str, Query(max_length=200)] = "",
    number: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> HTMLResponse:
    """List the corals, a page at a time."""
    with reach_of(request).reading() as store:
        hidden = coral_page.hidden_names(store, session_of(request).observer)
        wanted = coral_page.CoralFilter(visit_id=visit, status=status, words=words, hidden=hidden)
        found = coral_page.list_corals(store, wanted, number)
        visits = store.visits()
    chosen = {"visit": visit, "status": status, "words": words}
    shown: dict[str, Any] = {"found": found, "visits": visits, "hidden": hidden}
    shown |= {"statuses": STATUSES, "chosen": chosen}
    shown |= {"status_words": status_words, "undecided": UNDECIDED}
    is_part = request.headers.get("hx-request") == "true"
    return page(request, "corals_rows.html" if is_part else "corals.html", 200, **shown)


@router.get("/corals/{record_id}", response_class=HTMLResponse)
def coral(request: Request, record_id: RecordId) -> HTMLResponse:
    """Show one coral."""
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = coral_page.coral_sheet(store, record_id)
        is_hidden = record_id in coral_page.hidden_names(store, session_of(request).observer)
        names = () if is_hidden else coral_page.names_over_time(store, record_id)
        standing = standing_name(store, sheet.record)
        judged = store.coral_health_history(record_id)
    forms = taxa_of(reach).characters["growth_form"].states
    shown = {"sheet": sheet, "names": names, "standing": standing, "forms": forms}
    shown["is_hidden"] = is_hidden
    shown["sizes_written"] = {
        m: (f"{s['value_mm']:g} ± {s['u_mm']:g}", s["how"])
        for m, s in sheet.record.sizes_noted.items()
    }
    shown["health"] = _shares(judged[-1]) if judged else ()
    shown["measured"] = [
        value
        for row in sheet.measurements
        if row.kind in ("outline", "length", "polyline")
        for value in reading_words(request, row.values)["values"]
    ]
    shown |= {"status_words": status_words, "undecided": UNDECIDED}
    return page(request, "coral.html", 200, **shown)


def _shares(row: HealthRow) -> list[tuple[str, float]]:
    """What is known of how a coral's surface looks, in per cent, each with its words."""
    known = row.shares().items()
    return [(SCRIPT_WORDS[name], pct) for name, pct in known if pct is not None]


@router.get("/corals/{record_id}/picture.jpg")
def picture(request: Request, record_id: RecordId) -> Response:
    """Return the coral cut out of its photo."""
    reach = reach_of(request)
    with reach.reading() as store:
        sheet = coral_page.coral_sheet(store, record_id)
        pixels = coral_page.coral_picture(tile_bench_of(reach), store, sheet)
    data = wiring.document_writer().picture_jpeg(pixels)
    kept = {"cache-control": "private, max-age=300"}
    return Response(data, media_type="image/jpeg", headers=kept)


@router.post("/corals/{record_id}/words")
def words(  # noqa: PLR0913, PLR0917  one field of the form each
    request: Request,
    record_id: RecordId,
    sizes: Annotated[Sizes, Depends(sizes_form)],
    version: Annotated[str, Form(max_length=40)],
    growth_form: Annotated[str, Form(max_length=60)] = "",
    age: Annotated[str, Form(pattern="^(|young|grown)$")] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
    place: Annotated[str, Form(max_length=200)] = "",
    has_sizes: Annotated[bool, Form()] = False,
) -> Response:
    """Change what is noted of a coral, unless somebody else did so meanwhile."""
    reach, observer = reach_of(request), observer_of(request)
    coral_page.require_form(taxa_of(reach), growth_form)
    said: dict[str, Any] = {
        "growth_form": growth_form or None,
        "is_juvenile": {"young": True, "grown": False}.get(age),
        "note": note,
        "place": " ".join(place.split()),
        "observer": observer,
        "noted_at": wiring.clock().now_utc(),
    }
    if has_sizes:
        said["sizes"] = sizes
    return _changed(request, record_id, version, said)


def _changed(request: Request, record_id: str, version: str, said: dict[str, Any]) -> Response:
    """Save, or answer with both versions where somebody else was quicker."""
    with reach_of(request).writing(observer_of(request)) as store:
        try:
            coral_page.change_record(store, record_id, version, said)
        except StoreError as error:
            if error.slug != "changed-meanwhile":
                raise
            kept = coral_page.record_of(store, record_id)
            now = {k: getattr(kept, k) for k in said if k != "sizes"}
            both = {"kept": now, "yours": said, "version": coral_page.version_of(kept)}
            if "application/json" in request.headers.get("accept", ""):
                return answer_to(error, request.scope, both)
            return page(request, "coral_both.html", 409, record=kept, **both)
    return RedirectResponse(f"/corals/{record_id}", 303)
