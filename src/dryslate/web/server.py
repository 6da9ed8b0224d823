"""Runs the server, and says what to open."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import logging
import os
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from dryslate.base.errors import DryslateError, SettingsError
from dryslate.base.problems import Problem
from dryslate.web.settings import ServeSettings

if TYPE_CHECKING:
    from dryslate.web.front import Front

FIRST_PORT = 8321
TRIED_PORTS = 40
BACKLOG = 2048
WARM_AFTER_S = 0.3
"""How long the first page has the machine for itself before slow parts are loaded beside it."""


def serve(settings: ServeSettings, say: Callable[[str], None]) -> None:
    """
    Serve one project until it is stopped.

    Parameters
    ----------
    settings : ServeSettings
    say : callable
        Takes each line that the person should read.

    Raises
    ------
    StoreError
        As opening the project does.
    """
    gc.disable()
    try:
        _serve(settings, say)
    finally:
        gc.unfreeze()
        gc.enable()


def _serve(settings: ServeSettings, say: Callable[[str], None]) -> None:
    """Serve with nothing collected until all is loaded."""
    import uvicorn

    from dryslate import wiring
    from dryslate.web.front import Front
    from dryslate.web.pages import vendor_is_there

    with wiring.survey_store(settings.project, write=False):
        pass  # refuses a folder that is no project before anything is made
    front = Front(settings)
    config = uvicorn.Config(
        front,
        log_level="warning",
        access_log=False,
        server_header=False,
        ws="none",
        proxy_headers=False,  # nobody stands in between, so nobody may say who asks
        timeout_graceful_shutdown=3,
    )
    logging.getLogger("uvicorn.error").addFilter(is_no_stopping)  # after its own set-up
    logging.getLogger("dryslate.web").setLevel(logging.INFO)
    with _records_at_hand(settings.project), listening(settings) as sock:
        if not vendor_is_there():
            say(str(parts_missing()))
        say(f"Open: {settings.address}")
        say("Stop with Ctrl+C. Everything that the pages called saved is on disk.")
        beside = threading.Timer(WARM_AFTER_S, _load_beside, (front,))
        beside.daemon = True
        beside.start()
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[sock])


def _load_beside(front: Front) -> None:
    """
    Load what is slow, then let unused objects be collected again, among what comes from now on.

    What is loaded stays for good: going through it time and again would hold up starts and answers.
    """
    from dryslate.web.warm import warm

    warm(front)
    gc.freeze()
    gc.enable()


def is_no_stopping(record: logging.LogRecord) -> bool:
    """Tell whether a line of the log is about more than requests cut short by Ctrl+C."""
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, asyncio.CancelledError)


@contextlib.contextmanager
def _records_at_hand(project: Path) -> Iterator[None]:
    """
    Keep the records open while the server runs, and leave them in one file when it ends.

    Otherwise each saving is the last to close them: it folds the write-ahead log into the database,
    and whoever reads meanwhile has to wait for that.
    """
    from dryslate import wiring

    with wiring.survey_store(project, write=False):
        yield
    with contextlib.suppress(DryslateError), wiring.survey_store(project, write=True):
        pass  # the last writer to close folds the log


def listening(settings: ServeSettings) -> socket.socket:
    """
    Return a socket that listens already; whoever asks from now on is answered.

    Raises
    ------
    SettingsError
        ``serve-port`` where the port was taken meanwhile.
    """
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    # named as TCP: asyncio sends small answers at once (TCP_NODELAY) only on sockets that say so,
    # and else each waits some 40 ms for the browser's acknowledgement
    sock = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((settings.host, settings.port))
        sock.listen(BACKLOG)
        return sock
    except OSError as error:
        sock.close()
        raise _taken(f"Port {settings.port} is taken.") from error


def parts_missing() -> Problem:
    """Say that the browser code of others did not come with this build."""
    return Problem(
        slug="serve-parts-missing",
        severity="warning",
        place="",
        message="the browser code of others did not come with this build: the photo page cannot "
        "zoom, and lists do not update by themselves; all else works",
        fix="Build again with a network, or install the released wheel.",
    )


def free_port(host: str, wanted: int | None) -> int:
    """
    Return the wanted port, or the first free one from 8321 on.

    Raises
    ------
    SettingsError
        ``serve-port`` where it is taken, or none is free.
    """
    for port in [wanted] if wanted else range(FIRST_PORT, FIRST_PORT + TRIED_PORTS):
        with _bound(host, port) as is_free:
            if is_free:
                return port
    raise _taken(f"Port {wanted} is taken." if wanted else f"No port from {FIRST_PORT} on is free.")


def _taken(words: str) -> SettingsError:
    """Make the error for a port that cannot be had."""
    return SettingsError(
        "serve-port", words, "Stop the other server, or give another port with --port."
    )


@contextlib.contextmanager
def _bound(host: str, port: int) -> Iterator[bool]:
    """Try to bind a port, and let go of it."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((host, port))
        except OSError:
            yield False
            return
        yield True


def settings_for(
    project: Path, host: str = "127.0.0.1", port: int | None = None, names: tuple[str, ...] = ()
) -> ServeSettings:
    """Return the settings of a server on a free port."""
    return ServeSettings(project=project, host=host, port=free_port(host, port), names=names)
