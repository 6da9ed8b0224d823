"""
Take in a memory card again and again, killed at one point after another.

Run as ``python kill_driver.py CARD WORK FIRST STEP``: for each point FIRST, FIRST + STEP, ... a
process takes in CARD and kills itself (SIGKILL) at that point, then another takes in the same
card undisturbed. Prints one JSON line a point with the state of the project afterwards; the
first line is of a run that nobody killed.

A point is any moment at which something on the disk is about to change: a file opened for
writing, bytes written, a flush, a rename, and the beginning, end and aftermath of a transaction.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import signal
import sqlite3
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import dryslate.files.photos
from dryslate import wiring
from dryslate.app.new import make_project
from dryslate.app.take import plan_take, run_take
from dryslate.app.take_records import TakeRequest, TakeTools
from dryslate.store.sqlite import SqliteSurveyStore


class Silent:
    """Progress that shows nothing."""

    def start(self, what: str, total: int | None) -> None: ...
    def step(self, n: int = 1, note: str = "") -> None: ...
    def done(self) -> None: ...


def take(card: Path, project: Path, second: Path) -> None:
    request = TakeRequest(
        sources=(card,),
        project=project,
        second=second,
        site="North wall",
        date="2030-05-06",
        observer="Mara",
    )
    _, store = make_project(
        project, wiring.project_folders(), lambda f: wiring.new_store(f, who="Mara")
    )
    tools = TakeTools(
        store=store,
        files=wiring.intake_files(),
        reader=wiring.photo_reader(),
        clock=wiring.clock(),
        progress=Silent(),
    )
    run_take(plan_take(request, tools), tools)
    store.close()


class Fuse:
    """Kills this process at the n-th point."""

    def __init__(self, n: int) -> None:
        self.left = n

    def point(self) -> None:
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
            time.sleep(60)  # the signal may take a moment to arrive

    def install(self) -> None:
        for name in ("write", "fsync", "rename"):
            setattr(os, name, self.wrapped(getattr(os, name)))
        opening = os.open

        def open_counted(path, flags, *rest, **more):
            if flags & os.O_CREAT:
                self.point()
            return opening(path, flags, *rest, **more)

        os.open = open_counted
        writing = SqliteSurveyStore.write

        @contextlib.contextmanager
        def write_counted(store: SqliteSurveyStore) -> Iterator[None]:
            outer = not store._db.in_transaction
            if outer:
                self.point()
            with writing(store):
                yield
                if outer:
                    self.point()
            if outer:
                self.point()

        SqliteSurveyStore.write = write_counted

    def wrapped(self, function):
        def counted(*args, **more):
            self.point()
            return function(*args, **more)

        return counted


def in_child(work) -> int:
    """Run in a process of its own; return the signal that ended it, or 0."""
    child = os.fork()
    if child == 0:
        try:
            work()
        except BaseException as error:
            print(f"{type(error).__name__}: {error}", file=sys.stderr)
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return os.WTERMSIG(status)
    assert os.WEXITSTATUS(status) == 0
    return 0


def state(*folders: Path) -> dict[str, object]:
    """Everything that must be the same: rows without times, files with their contents."""
    found: dict[str, object] = {}
    database = sqlite3.connect(folders[0] / "dryslate.sqlite")
    names = database.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    for (table,) in names:
        if table in ("project", "migrations"):
            continue
        columns = [
            row[1]
            for row in database.execute(f'PRAGMA table_info("{table}")')
            if not row[1].endswith("_utc") and row[1] not in ("change_no", "old", "new")
        ]
        listed = ", ".join(f'"{c}"' for c in columns)
        rows = database.execute(f'SELECT {listed} FROM "{table}"').fetchall()
        found[table] = sorted([list(row) for row in rows], key=str)
    database.close()
    for number, folder in enumerate(folders):
        for path in sorted((folder / "originals").rglob("*")):
            if path.is_file():
                name = f"{number}/{path.relative_to(folder)}"
                mode = oct(path.stat().st_mode & 0o777)
                found[name] = [mode, hashlib.sha256(path.read_bytes()).hexdigest()]
    return found


def main(card: Path, work: Path, first: int, step: int) -> None:
    assert dryslate.files.photos  # imported before the forks, so that each is quick
    point = 0
    while True:
        trip, second = work / "trip", work / "second"
        for folder in (trip, second):
            shutil.rmtree(folder, ignore_errors=True)
        ended = 0

        def killed(n: int = point, trip: Path = trip, second: Path = second) -> None:
            if n:
                Fuse(n).install()
            take(card, trip, second)

        ended = in_child(killed)
        in_child(lambda trip=trip, second=second: take(card, trip, second))
        seen = state(trip, second)
        digest = hashlib.sha256(json.dumps(seen, sort_keys=True).encode()).hexdigest()
        line = {"point": point, "signal": ended, "digest": digest}
        if point == 0:
            line["state"] = seen
        print(json.dumps(line), flush=True)
        if point and not ended:
            return
        point = point + step if point else first


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
