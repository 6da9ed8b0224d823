"""Signing in and out, where the pages are open to a team."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from dryslate import wiring
from dryslate.app.accounts import Account
from dryslate.app.accounts import sign_in as open_account
from dryslate.web.errors import Refusal
from dryslate.web.guard import session_cookie
from dryslate.web.pages import page
from dryslate.web.reach import reach_of
from dryslate.web.sessions import LONGEST_TEAM_S, Session

router = APIRouter()


@router.get("/sign-in", response_class=HTMLResponse)
def form(
    request: Request, onward: Annotated[str, Query(max_length=4000, alias="next")] = ""
) -> HTMLResponse:
    """Ask for name and password."""
    _require_team(request)
    return page(request, "sign_in.html", onward=onward, observer="", problem=None)


@router.post("/sign-in")
def sign_in(
    request: Request,
    observer: Annotated[str, Form()],
    password: Annotated[str, Form()],
    onward: Annotated[str, Form(max_length=4000, alias="next")] = "",
) -> Response:
    """Open a session for somebody who has an account, and go on to the page that was asked for."""
    _require_team(request)
    reach = reach_of(request)
    try:
        account = account_of(request, observer, password)
    except Refusal as refusal:
        if "text/html" not in request.headers.get("accept", ""):
            raise
        said = {"observer": observer, "onward": onward, "problem": refusal.problem()}
        return page(request, "sign_in.html", refusal.status, **said)
    session = Session(observer=account.observer, role=account.role, longest_s=LONGEST_TEAM_S)
    path = "/" + onward.lstrip("/\\")  # never an address on another machine
    return _to(path, session_cookie(reach.settings.cookie, reach.sessions.open(session)))


def account_of(request: Request, observer: str, password: str) -> Account:
    """Return the account that a name and its password open; wrong tries are counted."""
    reach = reach_of(request)
    address = request.client.host if request.client else ""
    if reach.tries.are_over(observer, address):
        raise Refusal("page-too-many-tries", 429)
    book = wiring.account_book(reach.settings.project)
    account = open_account(book, reach.keep("hasher", wiring.password_hasher), observer, password)
    if account is None:
        reach.tries.note_wrong(observer, address)
        raise Refusal("page-wrong-password", 403)
    reach.tries.note_right(observer)
    return account


@router.post("/sign-out")
def sign_out(request: Request) -> RedirectResponse:
    """End the session of this browser."""
    reach = reach_of(request)
    reach.sessions.close(request.cookies.get(reach.settings.cookie))
    return _to("/sign-in" if reach.settings.is_team else "/", "")


def _require_team(request: Request) -> None:
    """Signing in is for teams; alone, the printed address is the key."""
    if not reach_of(request).settings.is_team:
        raise Refusal("page-not-found", 404)


def _to(path: str, cookie: str) -> RedirectResponse:
    """Send the browser on, with its new cookie."""
    answer = RedirectResponse(path, 303)
    if cookie:
        answer.headers["set-cookie"] = cookie
    return answer
