"""Who works at this browser, in which language and light; who may sign in; the region."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app.accounts import ROLES, Account, remove_account, set_account
from dryslate.app.name_lookup import set_region
from dryslate.app.people import list_people
from dryslate.app.project_records import Observer
from dryslate.app.team_hit_rate import team_hit_rate
from dryslate.app.visits import require_name, require_observer
from dryslate.web.errors import Refusal
from dryslate.web.languages import offered
from dryslate.web.light import LIGHTS
from dryslate.web.pages import page
from dryslate.web.reach import Reach, observer_of, reach_of, require_role, session_of
from dryslate.web.region_words import REGIONS

router = APIRouter()
YEAR_S = 365 * 24 * 3600


@router.get("/people", response_class=HTMLResponse)
def people(request: Request) -> HTMLResponse:
    """Show who works on the project, and what the project is set to."""
    reach = reach_of(request)
    with reach.reading() as store:
        persons, rate, region = list_people(store), team_hit_rate(store), store.region()
    accounts: tuple[Account, ...] = ()
    if reach.settings.is_team and session_of(request).may("lead"):
        accounts = wiring.account_book(reach.settings.project).accounts()
    shown: dict[str, Any] = {
        "persons": persons,
        "rate": rate.words(),
        "region": region,
        "regions": REGIONS,
        "roles": ROLES,
        "accounts": accounts,
    }
    return page(request, "people.html", **shown)


@router.post("/settings/region")
def region(request: Request, region: Annotated[str, Form()]) -> RedirectResponse:
    """Set the region the project works in."""
    require_role(request, "lead")
    reach = reach_of(request)
    taxa, _ = wiring.reference_tables(reach.settings.project).taxa()
    with reach.writing(observer_of(request)) as store:
        set_region(store, taxa, region)
    reach.forget("identifier")
    return _back("/people")


@router.post("/accounts")
def account(
    request: Request,
    observer: Annotated[str, Form()],
    role: Annotated[str, Form()],
    password: Annotated[str, Form()],
) -> RedirectResponse:
    """Give somebody an account, or another role and password."""
    reach = _team_lead(request)
    hasher = reach.keep("hasher", wiring.password_hasher)
    made = set_account(
        wiring.account_book(reach.settings.project), hasher, observer, role, password
    )
    reach.sessions.close_all_of(made.observer)
    return _back("/people")


@router.post("/accounts/remove")
def remove(request: Request, observer: Annotated[str, Form()]) -> RedirectResponse:
    """Take an account away and end its sessions."""
    reach = _team_lead(request)
    remove_account(wiring.account_book(reach.settings.project), observer)
    reach.sessions.close_all_of(observer)
    return _back("/people")


def _team_lead(request: Request) -> Reach:
    """Only who leads a team's survey manages accounts."""
    require_role(request, "lead")
    if not reach_of(request).settings.is_team:
        raise Refusal("page-not-found", 404)
    return reach_of(request)


@router.post("/people/pick")
def pick(
    request: Request, observer: Annotated[str, Form()], back: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Pick who works at this browser."""
    if reach_of(request).settings.is_team:
        raise Refusal("page-role", 403)
    with reach_of(request).reading() as store:
        session_of(request).observer = require_observer(store, observer)
    return _back(back)


@router.post("/people/new")
def new(
    request: Request, observer: Annotated[str, Form()], back: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Add an observer and pick them."""
    if reach_of(request).settings.is_team:
        raise Refusal("page-role", 403)
    name = require_name(observer, "observer")
    with reach_of(request).writing(name) as store:
        if name not in {one.observer for one in store.observers()}:
            store.save_observer(Observer(observer=require_observer(store, name)))
    session_of(request).observer = name
    return _back(back)


@router.post("/language")
def language(
    request: Request, language: Annotated[str, Form()], back: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Choose the pages' language."""
    if language not in offered():
        raise Refusal("page-input", 422, "language")
    session_of(request).language = language
    answer = _back(back)
    answer.set_cookie("language", language, max_age=YEAR_S, samesite="strict", httponly=True)
    return answer


@router.post("/light")
def light(
    request: Request, light: Annotated[str, Form()], back: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Choose light or dark pages, or what the computer is set to."""
    if light not in LIGHTS:
        raise Refusal("page-input", 422, "light")
    answer = _back(back)
    answer.set_cookie("light", light, max_age=YEAR_S, samesite="strict", httponly=True)
    return answer


def _back(address: str) -> RedirectResponse:
    """Go back to a page of this server, never to another one."""
    parts = urlsplit(address)
    inside = not parts.scheme and not parts.netloc and parts.path.startswith("/")
    path = "/" + address.lstrip("/\\") if inside else "/"
    return RedirectResponse(path, 303)
