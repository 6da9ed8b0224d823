"""The photos of a visit: what came of each, and correcting them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate.app.photo_list import SEEN, SHOWS, PhotoFilter, list_photos, usual_port
from dryslate.app.visits import list_visits
from dryslate.web.correcting import start_correcting
from dryslate.web.errors import Refusal
from dryslate.web.pages import page
from dryslate.web.photos_words import (
    OUTCOMES,
    PORTS,
    SEEN_CHOICES,
    SHOWN,
    card_words,
    in_language,
)
from dryslate.web.reach import observer_of, reach_of

router = APIRouter()
Short = Annotated[str, Query(max_length=20)]
TIME = r"^([01]\d|2[0-3]):[0-5]\d$|^$"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address of the list asks for."""

    visit: str
    filter: PhotoFilter
    page: int

    def query(self, **changed: object) -> str:
        """Return the address's query with some of it changed; empty parts are left out."""
        told: dict[str, object] = {
            "visit": self.visit,
            "show": self.filter.show,
            "name": self.filter.name,
            "after": self.filter.after,
            "before": self.filter.before,
            "seen": self.filter.seen,
            **changed,
        }
        return urlencode({k: v for k, v in told.items() if v and (k, v) != ("show", "all")})


def asked_of(  # noqa: PLR0913, PLR0917  one part of the address each
    visit: Annotated[str, Query(max_length=300)] = "",
    show: Short = "all",
    name: Annotated[str, Query(max_length=200)] = "",
    after: Annotated[str, Query(pattern=TIME)] = "",
    before: Annotated[str, Query(pattern=TIME)] = "",
    seen: Short = "",
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> Asked:
    """Read what the address asks for."""
    if show not in SHOWS or seen not in ("", *SEEN):
        raise Refusal("page-input", 422, "show, seen")
    chosen = PhotoFilter(
        show=show,
        name=name.strip(),
        after=after,
        before=before,
        seen=seen,  # type: ignore[arg-type]
    )
    return Asked(visit=visit, filter=chosen, page=page)


@router.get("/photos", response_class=HTMLResponse)
def photos(request: Request, asked: Annotated[Asked, Depends(asked_of)]) -> HTMLResponse:
    """Show the photos of a visit, or the next step of them."""
    with reach_of(request).reading() as store:
        visits = list_visits(store)
        known = {v.visit.visit_id for v in visits}
        if asked.visit and asked.visit not in known:
            raise Refusal("page-not-found", 404)
        found = list_photos(store, asked.visit or None, asked.filter, asked.page)
        port = usual_port(store)
    shown: dict[str, Any] = {
        "asked": asked,
        "found": found,
        "outcomes": in_language(request, OUTCOMES),
        "cards": {line.photo_id: card_words(request, line) for line in found.lines},
    }
    if request.headers.get("hx-request") == "true":
        return page(request, "photos_step.html", **shown)
    return page(
        request,
        "photos.html",
        visits=visits,
        at=next((v for v in visits if v.visit.visit_id == asked.visit), None),
        shows=in_language(request, SHOWN),
        seen=in_language(request, SEEN_CHOICES),
        port=port,
        ports=in_language(request, PORTS),
        **shown,
    )


@router.post("/photos/correct")
def correct(
    request: Request,
    asked: Annotated[Asked, Depends(asked_of)],
    port: Annotated[str, Form(max_length=20)] = "unknown",
    again: Annotated[bool, Form()] = False,
) -> RedirectResponse:
    """Correct the photos that the filter leaves; corrected ones only where asked to."""
    if port not in PORTS:
        raise Refusal("page-input", 422, "port")
    back = "/photos?" + asked.query()
    with reach_of(request).reading() as store:
        found = list_photos(store, asked.visit or None, asked.filter)
    ids = found.standing if again else found.uncorrected
    after = "/photos?" + urlencode({"visit": asked.visit} if asked.visit else {})
    start_correcting(request, observer_of(request), frozenset(ids), port, after)
    return RedirectResponse(back, 303)
