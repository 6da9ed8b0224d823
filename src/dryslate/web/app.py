"""Puts the web application together."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import AsyncIterator
from importlib.resources import files

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

import dryslate
from dryslate.base.errors import DryslateError
from dryslate.web.errors import Refusal, answer_to
from dryslate.web.guard import Guard
from dryslate.web.reach import Reach
from dryslate.web.routes import add_routes
from dryslate.web.settings import ServeSettings

LOG = logging.getLogger("dryslate.web")


def create_app(settings: ServeSettings) -> FastAPI:
    """
    Make the application for one project.

    Parameters
    ----------
    settings : ServeSettings

    Returns
    -------
    FastAPI
    """
    reach = Reach(settings)
    app = FastAPI(
        title="dryslate",
        version=dryslate.__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/openapi.json",
        lifespan=_lifespan,
    )
    app.state.reach = reach
    app.add_middleware(Guard, settings=settings, book=reach.sessions)
    app.add_exception_handler(DryslateError, _told)
    app.add_exception_handler(Refusal, _told)
    app.add_exception_handler(RequestValidationError, _unfit)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(Exception, _fault)
    static = files("dryslate.web") / "static"
    app.mount("/static", CachedFiles(directory=str(static)), name="static")
    add_routes(app)
    return app


class CachedFiles(StaticFiles):
    """Static files whose address changes with their content may be kept by the browser."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Answer with a file."""
        response = await super().get_response(path, scope)
        kept = "max-age=604800" if b"v=" in scope.get("query_string", b"") else "no-cache"
        response.headers["cache-control"] = kept
        return response


@contextlib.asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Stop long jobs when the server ends; they go on where they stopped when run again."""
    yield
    app.state.reach.jobs.stop_all()


async def _told(request: Request, error: Exception) -> Response:
    """Answer with what a use case or a route refused."""
    assert isinstance(error, DryslateError | Refusal)
    return answer_to(error, request.headers)


async def _unfit(request: Request, error: Exception) -> Response:
    """Answer where the request's fields cannot be used; what was sent is not echoed."""
    assert isinstance(error, RequestValidationError)
    names = sorted({str(part["loc"][-1]) for part in error.errors()})
    return answer_to(Refusal("page-input", 422, ", ".join(names)[:200]), request.headers)


async def _http(request: Request, error: Exception) -> Response:
    """Answer a missing page, or a method that a page does not know, in the one shape."""
    assert isinstance(error, HTTPException)
    slug = "page-not-found" if error.status_code == 404 else "page-input"
    response = answer_to(Refusal(slug, error.status_code), request.headers)
    for name, value in (error.headers or {}).items():
        response.headers[name] = value
    return response


async def _fault(request: Request, error: Exception) -> Response:
    """Answer without a trace; the server writes it into its log."""
    LOG.error("%s %s failed: %s", request.method, request.url.path, type(error).__name__)
    return answer_to(Refusal("page-fault", 500), request.headers)
