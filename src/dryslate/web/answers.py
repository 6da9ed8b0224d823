"""Static files, refusals and faults, as the first page and the whole application answer them."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from importlib.resources import files

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from dryslate.base.errors import DryslateError
from dryslate.web.errors import Refusal, answer_to
from dryslate.web.joined import joined

JOINED = "joined/"
LOG = logging.getLogger("dryslate.web")


class CachedFiles(StaticFiles):
    """Static files whose address changes with their content may be kept by the browser."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Answer with a file, or with scripts joined into one."""
        script = joined(path[len(JOINED) : -3]) if path.startswith(JOINED) else None
        response = (
            await super().get_response(path, scope)
            if script is None
            else Response(script, media_type="text/javascript")
        )
        kept = "max-age=604800" if b"v=" in scope.get("query_string", b"") else "no-cache"
        response.headers["cache-control"] = kept
        return response


def static_files() -> CachedFiles:
    """Return our own static files and those of others."""
    return CachedFiles(directory=str(files("dryslate.web") / "static"))


@contextlib.asynccontextmanager
async def lifespan(app: Starlette) -> AsyncIterator[None]:
    """Stop long jobs when the server ends; they go on where they stopped when run again."""
    yield
    app.state.reach.jobs.stop_all()
    app.state.reach.close()


async def _told(request: Request, error: Exception) -> Response:
    """Answer with what a use case or a route refused."""
    assert isinstance(error, DryslateError | Refusal)
    return answer_to(error, request.scope)


async def _http(request: Request, error: Exception) -> Response:
    """Answer a missing page, or a method that a page does not know, in the one shape."""
    assert isinstance(error, HTTPException)
    slug = "page-not-found" if error.status_code == 404 else "page-input"
    response = answer_to(Refusal(slug, error.status_code), request.scope)
    for name, value in (error.headers or {}).items():
        response.headers[name] = value
    return response


async def _fault(request: Request, error: Exception) -> Response:
    """Answer without a trace; the server writes it into its log."""
    LOG.error("%s %s failed: %s", request.method, request.url.path, type(error).__name__)
    return answer_to(Refusal("page-fault", 500), request.scope)


HANDLERS: Mapping[type[Exception], Callable[[Request, Exception], Awaitable[Response]]] = {
    DryslateError: _told,
    Refusal: _told,
    HTTPException: _http,
    Exception: _fault,
}
"""What answers where something was refused or failed."""
