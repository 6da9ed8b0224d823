"""Puts the web application together."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.requests import Request
from starlette.responses import Response

import dryslate
from dryslate.web.answers import HANDLERS, lifespan, static_files
from dryslate.web.errors import Refusal, answer_to
from dryslate.web.guard import Guard
from dryslate.web.reach import Reach
from dryslate.web.routes import add_routes
from dryslate.web.settings import ServeSettings


def create_app(settings: ServeSettings, reach: Reach | None = None) -> FastAPI:
    """
    Make the application for one project.

    Parameters
    ----------
    settings : ServeSettings
    reach : Reach, optional
        What the server keeps, where something answered before this was made.

    Returns
    -------
    FastAPI
    """
    reach = reach or Reach(settings)
    app = FastAPI(
        title="dryslate",
        version=dryslate.__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        lifespan=lifespan,
    )
    app.state.reach = reach
    app.add_middleware(Guard, settings=settings, book=reach.sessions)
    for kind, handler in HANDLERS.items():
        app.add_exception_handler(kind, handler)
    app.add_exception_handler(RequestValidationError, _unfit)
    app.mount("/static", static_files(), name="static")
    add_routes(app)
    return app


async def _unfit(request: Request, error: Exception) -> Response:
    """Answer where the request's fields cannot be used; what was sent is not echoed."""
    assert isinstance(error, RequestValidationError)
    names = sorted({str(part["loc"][-1]) for part in error.errors()})
    return answer_to(Refusal("page-input", 422, ", ".join(names)[:200]), request.scope)
