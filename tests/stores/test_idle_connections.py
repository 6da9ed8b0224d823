"""Connections that a server keeps between two requests: whole, fresh, and nobody else's."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from pathlib import Path
from types import ModuleType

import pytest

from dryslate.base.errors import StoreError
from dryslate.store import sqlite as store_module
from dryslate.store.connection import DATABASE_NAME, connect
from dryslate.store.idle import MOST_IDLE
from dryslate.store.memory import ReadMemory
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions


@pytest.fixture
def project(tmp_path: Path, rows: ModuleType) -> Path:
    folder = tmp_path / "trip"
    folder.mkdir()
    with SqliteSurveyStore.create(folder, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
    return folder


@pytest.fixture
def memory():
    memory = ReadMemory()
    yield memory
    memory.idle.close()


@pytest.fixture
def opened(monkeypatch) -> list[sqlite3.Connection]:
    """Every connection that is opened for reading."""
    made: list[sqlite3.Connection] = []

    def noted(path: Path, *, write: bool) -> sqlite3.Connection:
        connection = connect(path, write=write)
        if not write:
            made.append(connection)
        return connection

    monkeypatch.setattr(store_module, "connect", noted)
    return made


def reading(project: Path, memory: ReadMemory) -> SqliteSurveyStore:
    return SqliteSurveyStore.open(project, write=False, options=StoreOptions(memory=memory))


def is_open(connection: sqlite3.Connection) -> bool:
    try:
        connection.execute("SELECT 1")
    except sqlite3.ProgrammingError:
        return False
    return True


def save_region(project: Path, region: str) -> None:
    with SqliteSurveyStore.open(project, write=True) as store:
        store.save_region(region)


def test_next_reader_goes_on_with_the_connection_and_sees_what_was_saved(project, memory, opened):
    for region in ("indo_pacific", "western_atlantic"):
        save_region(project, region)
        with reading(project, memory) as store:
            assert store.region() == region
    assert len(opened) == 1


def test_readers_at_the_same_time_have_one_each(project, memory, opened):
    with reading(project, memory) as first, reading(project, memory) as second:
        assert first.photos() == second.photos()
    assert len(opened) == 2


def test_reader_of_another_thread_may_take_it_over(project, memory, opened):
    def read() -> None:
        with reading(project, memory) as store:
            seen.append(store.region())

    seen: list[str | None] = []
    save_region(project, "indo_pacific")
    for _ in range(3):
        thread = threading.Thread(target=read)
        thread.start()
        thread.join()
    assert seen == ["indo_pacific"] * 3
    assert len(opened) == 1


def test_only_so_many_wait(project, memory, opened):
    stores = [reading(project, memory) for _ in range(MOST_IDLE + 2)]
    for store in stores:
        store.close()
    assert sum(is_open(connection) for connection in opened) == MOST_IDLE


def test_query_that_is_under_way_is_not_handed_on(project, memory, opened):
    with reading(project, memory) as store:
        rows = store._rows("SELECT * FROM photos")
        next(rows)
    assert not is_open(opened[0])
    with pytest.raises(sqlite3.ProgrammingError):
        rows.close()


def test_reader_that_failed_does_not_hand_on_its_connection(project, memory, opened):
    with pytest.raises(ZeroDivisionError), reading(project, memory):
        raise ZeroDivisionError
    assert not is_open(opened[0])


def test_closed_store_cannot_read_on_with_what_is_anothers_now(project, memory):
    with reading(project, memory) as store:
        pass
    with pytest.raises(AttributeError):
        store.photos()
    store.close()  # and closing twice does not hand it on twice
    with reading(project, memory) as first, reading(project, memory) as second:
        assert first._db is not second._db


def test_other_file_in_its_place_is_read(project, memory, opened, tmp_path):
    save_region(project, "indo_pacific")
    with reading(project, memory) as store:
        assert store.region() == "indo_pacific"
    other = tmp_path / "other"
    shutil.copytree(project, other)
    save_region(other, "western_atlantic")
    (other / DATABASE_NAME).replace(project / DATABASE_NAME)
    with reading(project, memory) as store:
        assert store.region() == "western_atlantic"
    assert not is_open(opened[0])


def test_project_that_a_newer_program_changed_is_refused_all_the_same(project, memory):
    with reading(project, memory):
        pass
    with sqlite3.connect(project / DATABASE_NAME) as db:
        db.execute("INSERT INTO migrations VALUES ('9999_later', '', '', '')")
    db.close()
    with pytest.raises(StoreError) as caught:
        reading(project, memory)
    assert caught.value.slug == "project-newer"


def test_records_are_one_file_once_those_that_wait_are_closed(project, memory):
    log = project / (DATABASE_NAME + "-wal")
    with reading(project, memory):
        pass
    save_region(project, "indo_pacific")
    assert log.exists()  # a reader that waits keeps it
    memory.idle.close()
    save_region(project, "western_atlantic")
    assert not log.exists()
    with reading(project, memory) as store:  # still served, without keeping anything
        assert store.region() == "western_atlantic"
    save_region(project, "indo_pacific")
    assert not log.exists()
