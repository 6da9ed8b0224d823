"""One registry and one shape for everything that a page or a request can be refused with."""

from __future__ import annotations

import html
import logging
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode, urlsplit

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import Scope

from dryslate.base.errors import (
    DryslateError,
    FormatError,
    InputError,
    MissingPartError,
    SettingsError,
    StoreError,
)
from dryslate.base.problems import Problem
from dryslate.web.languages import N_, catalogue, language_of
from dryslate.web.light import light_of
from dryslate.web.said import told

LOG = logging.getLogger("dryslate.web")

REFUSALS: Mapping[str, tuple[str, str]] = {
    "page-host": (
        "This server was asked under a name that is not its own.",
        "Open the address that `dryslate serve` printed.",
    ),
    "page-origin": (
        "Another web page asked this server to change something; nothing was changed.",
        "Close that page; work from the pages of this server only.",
    ),
    "page-token": (
        "The page was opened before this server was started, or in another session; nothing was "
        "saved.",
        "Load the page again and repeat the last step.",
    ),
    "page-no-session": (
        "This browser is not known to the server.",
        "Open the whole address that `dryslate serve` printed, with its key.",
    ),
    "page-sign-in": ("Nobody is signed in at this browser.", "Sign in first."),
    "page-no-observer": (
        "Nobody is picked as observer, so nothing was saved.",
        "Pick who works at this browser, at the top of the page, and repeat the last step.",
    ),
    "page-role": (
        "Your role does not allow this.",
        "Ask somebody who leads the survey.",
    ),
    "page-not-blind": (
        "This coral does not wait for a look of yours: you named it before, or it is done.",
        "Go back to Second look and take one that waits.",
    ),
    "page-not-here": (
        "Nobody said that the other of the two is at this screen too, so nothing was settled.",
        "Settle it with both of you here, or let a third person decide.",
    ),
    "page-wrong-password": (
        "Name and password do not belong together.",
        "Type both again; capitals count.",
    ),
    "page-too-many-tries": (
        "There were too many wrong passwords for this name.",
        "Wait five minutes, then try again.",
    ),
    "page-too-large": (
        "What was sent is larger than this server takes.",
        "Take in large memory cards by the path of their folder.",
    ),
    "page-not-found": (
        "There is no such page, or what it shows is gone.",
        "Go back to what is left to do.",
    ),
    "page-input": ("Something in the request cannot be used.", "Check what was typed."),
    "page-fault": (
        "The program made a mistake; what was saved before is kept.",
        "Try again; if it stays so, tell the makers what you did. The server's log has the reason.",
    ),
}

STATUS_BY_SLUG: Mapping[str, int] = {
    "project-busy": 503,
    "changed-meanwhile": 409,
    "measure-corrected-anew": 409,
    "measure-not-standing": 409,
    "correction-unknown": 404,
    "disk-full": 507,
    "photo-not-in-project": 404,
    "picture-no-tile": 404,
    "picture-not-corrected": 404,
    "record-unknown": 404,
    "coral-not-in-project": 404,
    "coral-no-photo": 404,
    "coral-still-blind": 403,
    "unit-unknown": 404,
    "unit-name-taken": 409,
    "visit-changed-since": 409,
    "visit-there-already": 409,
}
STATUS_BY_CLASS: tuple[tuple[type[DryslateError], int], ...] = (
    (InputError, 422),
    (FormatError, 422),
    (SettingsError, 422),
    (StoreError, 500),
    (MissingPartError, 501),
)


class Refusal(Exception):  # noqa: N818  a refusal is an answer, not a fault
    """
    A request that is refused.

    Parameters
    ----------
    slug : str
        One of `REFUSALS`.
    status : int
        HTTP status.
    detail : str
        What exactly, where it can be said; put before the fix.
    """

    def __init__(self, slug: str, status: int, detail: str = "") -> None:
        super().__init__(slug)
        self.slug, self.status, self.detail = slug, status, detail

    def problem(self) -> Problem:
        """Return what is said to the person."""
        message, fix = REFUSALS[self.slug]
        said = f"{message} ({self.detail})" if self.detail else message
        return Problem(slug=self.slug, severity="error", place="", message=said, fix=fix)


def status_of(error: DryslateError) -> int:
    """Return the HTTP status of an error that a use case raised."""
    if error.slug in STATUS_BY_SLUG:
        return STATUS_BY_SLUG[error.slug]
    return next((code for kind, code in STATUS_BY_CLASS if isinstance(error, kind)), 500)


def error_body(
    language: str, problems: list[Problem], more: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return the one JSON shape of everything that went wrong."""
    return {"problems": [told(language, problem) for problem in problems], **(more or {})}


def problem_of_error(error: Refusal | DryslateError) -> Problem:
    """Return what is said to the person."""
    if isinstance(error, Refusal):
        return error.problem()
    return Problem(
        slug=error.slug, severity="error", place="", message=error.message, fix=error.fix
    )


def answer_to(
    error: Refusal | DryslateError, scope: Scope, more: Mapping[str, Any] | None = None
) -> Response:
    """
    Answer with what went wrong: JSON for scripts, a line for htmx, a page for people.

    Parameters
    ----------
    error : Refusal or DryslateError
    scope : Scope
        Of the request.
    more : Mapping, optional
        Further fields of the JSON document.

    Returns
    -------
    Response
    """
    request = Request(scope)
    language, headers = language_of(request), request.headers
    status = error.status if isinstance(error, Refusal) else status_of(error)
    problem = problem_of_error(error)
    if headers.get("hx-request") == "true":
        return HTMLResponse(_line(language, problem), status)
    if "text/html" in headers.get("accept", ""):
        return HTMLResponse(_page(request, problem), status)
    return JSONResponse(error_body(language, [problem], more), status)


def _line(language: str, problem: Problem) -> str:
    """Put a problem into one block of HTML."""
    words = {k: html.escape(str(v)) for k, v in told(language, problem).items()}
    lang = f' lang="{words["lang"]}"' if words["lang"] else ""
    return (
        f'<p class="stop" role="alert" data-slug="{words["slug"]}">'
        f"<b{lang}>{words['message']}</b> {words['fix']} "
        f'<a href="/help/messages#{words["slug"]}">{words["slug"]}</a></p>'
    )


def _form_of(request: Request) -> str:
    """
    Return the page of this server whose form was refused, as an address; empty where unknown.

    Its script fills in again what was typed, by the mark at the end of the address.
    """
    came = urlsplit(request.headers.get("referer", ""))
    if request.method != "POST" or came.netloc != request.headers.get("host") or not came.path:
        return ""
    return came.path + (f"?{came.query}" if came.query else "") + "#again"


def _page(request: Request, problem: Problem) -> str:
    """Put a problem onto a page of its own, which needs no session."""
    language, form = language_of(request), _form_of(request)
    texts = catalogue(language)
    sign_in, left = texts.gettext(N_("Sign in")), texts.gettext(N_("Left to do"))
    title = texts.gettext(N_("Not done"))
    back = texts.gettext(N_("Back, with what was typed"))
    onward = "?" + urlencode({"next": form}) if form else ""
    more = (
        f'<p><a class="button main" href="/sign-in{onward}">{sign_in}</a></p>'
        if problem.slug == "page-sign-in"
        else f'<p><a href="/">{left}</a></p>'
    )
    if form and problem.slug != "page-sign-in":
        more = f'<p><a class="button main" href="{html.escape(form)}">{back}</a></p>{more}'
    return (
        f'<!DOCTYPE html><html lang="{language}" data-light="{light_of(request)}">'
        '<head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title} · dryslate</title>"
        '<link rel="icon" href="/static/css/icon.svg" type="image/svg+xml">'
        '<link rel="stylesheet" href="/static/css/pages.css"></head><body><main>'
        f"<h1>{title}</h1>{_line(language, problem)}{more}</main></body></html>"
    )
