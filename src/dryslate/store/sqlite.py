"""The survey store on SQLite: one file in the project folder, one writer, readers always."""

from __future__ import annotations

import contextlib
import sqlite3
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

import dryslate
from dryslate.base.errors import StoreError
from dryslate.base.problems import Problem
from dryslate.store.archived import SqliteArchivedRoom
from dryslate.store.backups import SqliteBackupRoom
from dryslate.store.colonies import SqliteColonyRoom
from dryslate.store.conditions import SqliteConditionRoom
from dryslate.store.connection import (
    DATABASE_NAME,
    account,
    add_functions,
    connect,
    database_error,
    is_on_network,
    is_unchanging,
    network_problem,
    now_utc,
    set_journal,
)
from dryslate.store.health import SqliteHealthRoom
from dryslate.store.identifications import SqliteIdentificationRoom
from dryslate.store.idle import Place, place_of
from dryslate.store.lock import WriterLock
from dryslate.store.loggers import SqliteLoggerRoom
from dryslate.store.memory import ReadMemory
from dryslate.store.migrate import Migration, Stamp, apply_migrations, load_migrations, pending
from dryslate.store.photos import SqlitePhotoRoom
from dryslate.store.places import SqlitePlaceRoom
from dryslate.store.proof import SqliteProofRoom
from dryslate.store.publication import SqlitePublicationRoom
from dryslate.store.results import SqliteResultRoom
from dryslate.store.sheets import SqliteSheetRoom
from dryslate.store.survey_rows import SqliteSurveyRowRoom
from dryslate.store.survey_sums import SqliteSurveySumRoom
from dryslate.store.units import SqliteUnitRoom
from dryslate.store.visit_edits import SqliteVisitEditRoom

if TYPE_CHECKING:
    from dryslate.app.ports import Clock

WAIT_S = 10.0
"""How long a second writer waits for the first, in seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreOptions:
    """
    How to open a store, where the usual way does not do.

    Parameters
    ----------
    who : str or None
        Name written into the change log; the account on the computer where not given.
    clock : Clock or None
        Tells the time for the change log; the system's where not given.
    wait_s : float
        How long to wait for another writer, in seconds.
    on_network : bool or None
        Whether the folder lies on another machine; found out where not given.
    migrations : sequence of Migration or None
        Steps of the schema; those of the program where not given.
    by_turns : bool
        Let other writers in between transactions, for long work beside people who save.
    memory : ReadMemory or None
        What readers of this project share; a writer does not use it.
    """

    who: str | None = None
    clock: Clock | None = None
    wait_s: float = WAIT_S
    on_network: bool | None = None
    migrations: Sequence[Migration] | None = None
    by_turns: bool = False
    memory: ReadMemory | None = None


class SqliteSurveyStore(
    SqlitePlaceRoom,
    SqlitePhotoRoom,
    SqliteResultRoom,
    SqliteIdentificationRoom,
    SqliteHealthRoom,
    SqliteUnitRoom,
    SqliteVisitEditRoom,
    SqliteBackupRoom,
    SqliteProofRoom,
    SqliteSurveyRowRoom,
    SqliteSurveySumRoom,
    SqliteColonyRoom,
    SqlitePublicationRoom,
    SqliteSheetRoom,
    SqliteConditionRoom,
    SqliteLoggerRoom,
    SqliteArchivedRoom,
):
    """
    A project's records in SQLite; implements `dryslate.app.ports.SurveyStore`.

    Open it with `open` or `create` and use it as a context manager.
    """

    def __init__(
        self, project: Path, connection: sqlite3.Connection, options: StoreOptions
    ) -> None:
        self.project = project
        self.who = options.who or account()
        self._db = connection
        self._clock = options.clock
        self._wait_s = options.wait_s
        self._by_turns = False
        self._lock: WriterLock | None = None
        self._place: Place | None = None
        self._problems: tuple[Problem, ...] = ()
        add_functions(connection, lambda: self.who, self._now)

    @classmethod
    def open(
        cls, project: Path, *, write: bool, options: StoreOptions | None = None
    ) -> SqliteSurveyStore:
        """
        Open a project's records.

        Parameters
        ----------
        project : Path
            The project folder.
        write : bool
            Whether anything is to be stored. There is one writer at a time, until it closes
            the store; a second one waits. Readers are never kept waiting.
        options : StoreOptions or None

        Returns
        -------
        SqliteSurveyStore

        Raises
        ------
        StoreError
            ``project-not-found``, ``project-not-ours``, ``project-newer``, ``project-busy``,
            ``project-read-only``, ``project-no-locks``, ``project-database-broken``,
            ``migration-failed``.
        """
        options = options or StoreOptions()
        path = project / DATABASE_NAME
        if not path.is_file():
            raise StoreError(
                "project-not-found",
                f"{project}: no project there (expected a file {DATABASE_NAME}).",
                "Give the folder of a project, or make one with `dryslate new`.",
            )
        migrations = load_migrations() if options.migrations is None else options.migrations
        if write:
            return cls._open_writer(project, options, migrations)
        place = place_of(path) if options.memory and not is_unchanging(path) else None
        waiting = options.memory.idle.take(place) if options.memory else None
        connection = waiting or connect(path, write=False)
        try:
            outdated = bool(pending(connection, migrations, project))
        except BaseException:
            connection.close()
            raise
        if outdated:
            connection.close()
            cls._open_writer(project, options, migrations).close()
            connection = connect(path, write=False)
        store = cls(project, connection, options)
        store._memory = options.memory
        store._place = place
        return store

    @classmethod
    def create(cls, project: Path, *, options: StoreOptions | None = None) -> SqliteSurveyStore:
        """
        Make a project's database in a folder, or open it for writing where it is there already.

        Parameters
        ----------
        project : Path
            An existing folder.
        options : StoreOptions or None

        Raises
        ------
        StoreError
            As `open` does, ``project-not-found`` excepted.
        """
        options = options or StoreOptions()
        migrations = load_migrations() if options.migrations is None else options.migrations
        return cls._open_writer(project, options, migrations)

    @classmethod
    def _open_writer(
        cls, project: Path, options: StoreOptions, migrations: Sequence[Migration]
    ) -> SqliteSurveyStore:
        """Take the lock, open, bring the schema up to date."""
        path = project / DATABASE_NAME
        now = options.clock.now_utc() if options.clock else now_utc()
        lock = WriterLock(project)
        lock.acquire(options.who or account(), now, options.wait_s)
        connection: sqlite3.Connection | None = None
        try:
            connection = connect(path, write=True)
            store = cls(project, connection, options)
            steps = pending(connection, migrations, project)
            network = is_on_network(project) if options.on_network is None else options.on_network
            set_journal(connection, path, network=network)
            if network:
                store._problems = (network_problem(project),)
            stamp = Stamp(applied_utc=now, program_version=dryslate.__version__)
            apply_migrations(connection, steps, project / "backups", stamp)
            store._lock = lock
            store._name_project(now)
            if options.by_turns:
                lock.release()
                store._by_turns = True
        except BaseException:
            if connection is not None:
                connection.close()
            lock.release()
            raise
        return store

    def _name_project(self, now: str) -> None:
        """Write down once which project this is and when it was made."""
        if self._db.execute("SELECT 1 FROM project LIMIT 1").fetchone():
            return
        facts = {
            "project_id": str(uuid.uuid4()),
            "made_utc": now,
            "made_by": f"dryslate {dryslate.__version__}",
        }
        with self.write():
            self._db.executemany("INSERT INTO project VALUES (?, ?)", list(facts.items()))

    @contextlib.contextmanager
    def write(self) -> Iterator[None]:
        """
        One transaction: all of it or nothing; a write inside a write joins it.

        Raises
        ------
        StoreError
            ``store-read-only`` where it was opened for reading; ``disk-full``;
            ``store-refused`` where a row refers to one that is not there.
        """
        if self._lock is None:
            raise StoreError(
                "store-read-only",
                f"{self.project}: opened for reading, nothing can be stored.",
                "Open the project with write=True.",
            )
        if self._db.in_transaction:
            yield
            return
        with self._turn(self._lock):
            yield from self._transaction()

    @contextlib.contextmanager
    def _turn(self, lock: WriterLock) -> Iterator[None]:
        """Take the writer's lock for one transaction, where it is not held all along."""
        if not self._by_turns:
            yield
            return
        lock.acquire(self.who, self._now(), self._wait_s)
        try:
            yield
        finally:
            lock.release()

    def _transaction(self) -> Iterator[None]:
        """Begin, hand over, commit; undo on any error and say what SQLite refused."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except BaseException as error:
            self._roll_back()
            if isinstance(error, sqlite3.IntegrityError):
                raise StoreError(
                    "store-refused",
                    f"{self.project}: a row was refused ({error}).",
                    "Store what it refers to first.",
                ) from error
            if isinstance(error, sqlite3.Error):
                raise database_error(self.project / DATABASE_NAME, error) from error
            raise

    def _roll_back(self) -> None:
        """Undo the open transaction, where SQLite has not done so itself."""
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")

    def problems(self) -> tuple[Problem, ...]:
        """Return what is to be said about how the store is kept."""
        return self._problems

    def close(self) -> None:
        """Close the database and let the next writer in."""
        db: sqlite3.Connection | None = self.__dict__.pop("_db", None)
        if db is not None and (self._memory is None or self._n_under_way):
            db.close()
        elif db is not None and self._memory is not None:
            self._memory.idle.give_back(self._place, db)
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def _now(self) -> str:
        """Tell the time for the change log."""
        return self._clock.now_utc() if self._clock else now_utc()

    def __enter__(self) -> SqliteSurveyStore:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is not None:
            self._place = None  # a query that broke off may still be under way
        self.close()
