"""
What every request has to pass before a page sees it, on loopback too: any web page in the same
browser can post to 127.0.0.1.
"""

from __future__ import annotations

import secrets
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dryslate.base.errors import DryslateError
from dryslate.web.errors import Refusal, answer_to
from dryslate.web.sessions import Session, SessionBook
from dryslate.web.settings import LARGEST_BODY_BYTES, LARGEST_UPLOAD_BYTES, ServeSettings

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN_PATHS = ("/static/", "/sign-in")
"""Paths that are answered without a session."""
NO_OBSERVER_PATHS = ("/people/pick", "/people/new", "/language", "/light", "/sign-in", "/sign-out")
"""Paths that may change something before an observer is picked: they save no record."""
UPLOAD_PATHS = ("/take/upload", "/records/import", "/colonies/loggers")
CSRF_HEADER = "x-dryslate-token"
CSRF_FIELD = "csrf"
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
        "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """
    ASGI middleware: names, origins, sizes, sessions, the change token, and the answer's headers.

    Parameters
    ----------
    app : ASGIApp
    settings : ServeSettings
    book : SessionBook
    """

    def __init__(self, app: ASGIApp, settings: ServeSettings, book: SessionBook) -> None:
        self.app = app
        self.settings = settings
        self.book = book

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it with the reason."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        sending = _with_headers(send, self.settings.is_team)
        try:
            receive = await self._admit(scope, receive)
        except (Refusal, DryslateError) as refusal:
            if refusal.slug == "page-sign-in" and _is_page(scope):
                await _redirect(sending, _sign_in(scope), "")
                return
            await answer_to(refusal, scope)(scope, receive, sending)
            return
        entry = self._entry(scope)
        if entry is not None:
            await _redirect(sending, *entry)
            return
        await self.app(scope, receive, sending)

    async def _admit(self, scope: Scope, receive: Receive) -> Receive:
        """Check one request; returns what its body is read from."""
        headers = Headers(scope=scope)
        if headers.get("host", "").lower() not in self.settings.allowed_hosts:
            raise Refusal("page-host", 421)
        limit = LARGEST_UPLOAD_BYTES if scope["path"] in UPLOAD_PATHS else LARGEST_BODY_BYTES
        if _stated_length(headers) > limit:
            raise Refusal("page-too-large", 413)
        receive = _bounded(receive, limit)
        scope["state"] = scope.get("state", {})
        session = self.book.find(_cookie(headers, self.settings.cookie))
        scope["state"]["session"] = session
        is_open = scope["path"].startswith(OPEN_PATHS)
        if session is None and not is_open and not self._is_entry(scope):
            raise Refusal("page-sign-in" if self.settings.is_team else "page-no-session", 403)
        if scope["method"] in SAFE_METHODS:
            return receive
        self._require_origin(headers)
        if session is None:
            return receive
        receive = await _require_token(scope, headers, receive, session)
        if scope["path"].startswith(NO_OBSERVER_PATHS):
            return receive
        if session.observer is None:
            raise Refusal("page-no-observer", 409)
        if not session.may("surveyor"):
            raise Refusal("page-role", 403)
        return receive

    def _require_origin(self, headers: Headers) -> None:
        """Refuse a change that another page asked for."""
        origin = headers.get("origin")
        site = headers.get("sec-fetch-site", "same-origin")
        if origin is not None and urlsplit(origin).netloc.lower() not in (
            self.settings.allowed_hosts
        ):
            raise Refusal("page-origin", 403)
        if site not in ("same-origin", "none"):
            raise Refusal("page-origin", 403)

    def _is_entry(self, scope: Scope) -> bool:
        """Tell whether the address carries the right start-up token."""
        if self.settings.is_team or scope["method"] != "GET":
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        return secrets.compare_digest(given.encode(), self.settings.token.encode())

    def _entry(self, scope: Scope) -> tuple[str, str] | None:
        """Open a session for the printed address; returns where to go on, and the cookie."""
        if not self._is_entry(scope):
            return None
        cookie = ""
        if scope["state"]["session"] is None:
            cookie = session_cookie(self.settings.cookie, self.book.open(Session()))
        rest = [(k, v) for k, v in parse_qsl(scope["query_string"].decode("latin-1")) if k != "key"]
        path = scope["path"] if scope["path"].startswith("/") else "/"
        path = "/" + path.lstrip("/\\")  # never an address on another machine
        return path + ("?" + urlencode(rest) if rest else ""), cookie


def _is_page(scope: Scope) -> bool:
    """Tell whether a person asks for a page, and not a script of one for a part of it."""
    headers = Headers(scope=scope)
    is_part = headers.get("hx-request") == "true"
    return scope["method"] == "GET" and "text/html" in headers.get("accept", "") and not is_part


def _sign_in(scope: Scope) -> str:
    """Return where to sign in, with the page that was asked for."""
    query = scope["query_string"].decode("latin-1")
    asked = scope["path"] + (f"?{query}" if query else "")
    return "/sign-in" + ("" if asked == "/" else "?" + urlencode({"next": asked}))


def session_cookie(name: str, value: str) -> str:
    """Return the text of the session's cookie."""
    return f"{name}={value}; Path=/; HttpOnly; SameSite=Strict"


def _cookie(headers: Headers, name: str) -> str | None:
    """Return one cookie of a request."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return None
    return found.value if found else None


def _stated_length(headers: Headers) -> int:
    """Return the length a request states, zero where it states none that can be read."""
    text = headers.get("content-length", "0")
    return int(text) if text.isdecimal() else 0


def _bounded(receive: Receive, limit: int) -> Receive:
    """Stop reading a body that is longer than allowed, whatever length it stated."""
    seen = 0

    async def read() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise Refusal("page-too-large", 413)
        return message

    return read


async def _require_token(
    scope: Scope, headers: Headers, receive: Receive, session: Session
) -> Receive:
    """Refuse a change without the session's token, in its header or among a form's fields."""
    given = headers.get(CSRF_HEADER)
    if given is None and headers.get("content-type", "").startswith(
        "application/x-www-form-urlencoded"
    ):
        body = await _whole(receive)
        receive = _again(body)
        fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=1000)
        given = fields.get(CSRF_FIELD, [""])[0]
    if not secrets.compare_digest((given or "").encode(), session.csrf.encode()):
        raise Refusal("page-token", 403)
    return receive


async def _whole(receive: Receive) -> bytes:
    """Read a whole body; it is bounded already."""
    parts = []
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            break
        parts.append(message.get("body", b""))
        if not message.get("more_body", False):
            break
    return b"".join(parts)


def _again(body: bytes) -> Receive:
    """Hand out a body that was read already."""
    waiting = [body]

    async def read() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return {"type": "http.disconnect"}

    return read


def _with_headers(send: Send, is_team: bool) -> Send:
    """
    Put the safety headers on every answer; a made report states what it may do: nothing.

    Browsers take the opener policy over loopback or TLS only; elsewhere they call it an error.
    """
    left_out = "cross-origin-opener-policy" if is_team else ""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                if name == left_out:
                    continue
                if name != "content-security-policy" or name not in headers:
                    headers[name] = value
            if "cache-control" not in headers:
                headers["cache-control"] = "no-store"
        await send(message)

    return sending


async def _redirect(send: Send, path: str, cookie: str) -> None:
    """Send the browser on, with its new session."""
    headers = [(b"location", path.encode("latin-1", "replace")), (b"content-length", b"0")]
    if cookie:
        headers.append((b"set-cookie", cookie.encode()))
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})
