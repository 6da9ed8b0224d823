"""How a route reaches the project: reading, writing, who asks, and what the server keeps."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, cast

from starlette.requests import Request

from dryslate import wiring
from dryslate.base.errors import StoreError
from dryslate.web.errors import Refusal
from dryslate.web.jobs import JobBoard
from dryslate.web.sessions import Session, SessionBook
from dryslate.web.settings import ServeSettings
from dryslate.web.tries import Tries

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.store.memory import ReadMemory

WAIT_S = 10.0


class Reach:
    """
    What a running server keeps: its settings, sessions, jobs, and the turn of the writers.

    Parameters
    ----------
    settings : ServeSettings
    """

    def __init__(self, settings: ServeSettings) -> None:
        self.settings = settings
        self.sessions = SessionBook()
        self.jobs = JobBoard()
        self.tries = Tries()
        self._turn = threading.Lock()
        self._memory: ReadMemory | None = None
        self._kept: dict[str, Any] = {}
        self._keeping = threading.Lock()

    @contextlib.contextmanager
    def reading(self) -> Iterator[SurveyStore]:
        """Open the project's records for reading."""
        self._memory = self._memory or wiring.read_memory()
        with wiring.survey_store(self.settings.project, write=False, memory=self._memory) as store:
            yield store

    def close(self) -> None:
        """Let go of the project's records, so that the last to write can leave them in one file."""
        if self._memory is not None:
            self._memory.idle.close()

    @contextlib.contextmanager
    def writing(self, who: str) -> Iterator[SurveyStore]:
        """
        Open the project's records for writing, one request after the other.

        Raises
        ------
        StoreError
            ``project-busy`` where another request or program keeps it for too long.
        """
        if not self._turn.acquire(timeout=WAIT_S):
            raise StoreError(
                "project-busy",
                "Somebody else is saving to this project, for over 10 seconds.",
                "Wait a moment and save again.",
            )
        try:
            with wiring.survey_store(self.settings.project, write=True, who=who) as store:
                yield store
        finally:
            self._turn.release()

    def keep(self, name: str, make: Any) -> Any:
        """Return what `make` returned the first time it was asked under this name."""
        with self._keeping:
            if name not in self._kept:
                self._kept[name] = make()
            return self._kept[name]

    def forget(self, name: str) -> None:
        """Let what is kept under a name be made again."""
        with self._keeping:
            self._kept.pop(name, None)


def reach_of(request: Request) -> Reach:
    """Return what the running server keeps."""
    return cast(Reach, request.app.state.reach)


def session_of(request: Request) -> Session:
    """Return the session of the browser that asks."""
    session = request.scope.get("state", {}).get("session")
    if session is None:
        raise Refusal("page-no-session", 403)
    return cast(Session, session)


def observer_of(request: Request) -> str:
    """Return who works at this browser; nothing is saved without one."""
    observer = session_of(request).observer
    if observer is None:
        raise Refusal("page-no-observer", 409)
    return observer


def require_role(request: Request, role: str) -> None:
    """Refuse a session without this role or one above it."""
    if not session_of(request).may(role):
        raise Refusal("page-role", 403)
