"""The first page at once, the others as soon as what is slow to import is there."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.routing import Mount, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from dryslate.web.answers import HANDLERS, lifespan, static_files
from dryslate.web.guard import Guard
from dryslate.web.left_page import left_page
from dryslate.web.reach import Reach
from dryslate.web.settings import ServeSettings

if TYPE_CHECKING:
    from fastapi import FastAPI


class Front:
    """
    ASGI application of a server that has just been started.

    It answers the first page and the static files by itself, and everything else through the whole
    application: that one needs what takes seconds to import (FastAPI, OpenCV, numba, genus data),
    and is made by `load`, or by the first request that needs it.

    Parameters
    ----------
    settings : ServeSettings
    """

    def __init__(self, settings: ServeSettings) -> None:
        self.reach = Reach(settings)
        self._first = Starlette(
            routes=[Route("/", left_page), Mount("/static", static_files())],
            middleware=[Middleware(Guard, settings=settings, book=self.reach.sessions)],
            exception_handlers=dict(HANDLERS),
            lifespan=lifespan,
        )
        self._first.state.reach = self.reach
        self._whole: FastAPI | None = None
        self._lock = threading.Lock()

    def load(self) -> FastAPI:
        """Make the whole application, where that was not done before; returns it."""
        with self._lock:
            if self._whole is None:
                from dryslate.web.app import create_app

                self._whole = create_app(self.reach.settings, self.reach)
            return self._whole

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, once what answers it is there."""
        app: ASGIApp = self._first
        if scope["type"] == "http" and not (self._whole is None and _is_first(scope)):
            app = await run_in_threadpool(self.load) if self._whole is None else self._whole
        await app(scope, receive, send)


def _is_first(scope: Scope) -> bool:
    """Tell whether a request is for the first page or a static file."""
    path = scope["path"]
    return scope["method"] in ("GET", "HEAD") and (path == "/" or path.startswith("/static/"))
