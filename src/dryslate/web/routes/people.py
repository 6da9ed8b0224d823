"""Who works at this browser, in which language and light."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse

from dryslate.app.project_records import Observer
from dryslate.app.visits import require_name, require_observer
from dryslate.web.errors import Refusal
from dryslate.web.languages import LANGUAGES
from dryslate.web.pages import LIGHTS
from dryslate.web.reach import reach_of, session_of

router = APIRouter()
YEAR_S = 365 * 24 * 3600


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
    if language not in LANGUAGES:
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
