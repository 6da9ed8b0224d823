"""What readers of a server remember: never older than the records."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from dryslate.store.memory import ReadMemory
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions


@pytest.fixture
def project(tmp_path: Path, rows: ModuleType) -> Path:
    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
    return tmp_path


@pytest.fixture
def read(project: Path) -> Callable[[Callable[[SqliteSurveyStore], Any]], Any]:
    """Ask a new reader that shares the memory."""
    memory = ReadMemory()

    def ask(what: Callable[[SqliteSurveyStore], Any]) -> Any:
        options = StoreOptions(memory=memory)
        with SqliteSurveyStore.open(project, write=False, options=options) as store:
            return what(store)

    return ask


READS: dict[str, Callable[[SqliteSurveyStore], Any]] = {
    "photos": lambda store: store.photos(),
    "photos of a visit": lambda store: store.photos(store.visits()[0].visit_id),
    "corrections": lambda store: store.corrections(),
    "copies": lambda store: store.copies(),
    "derived files": lambda store: store.derived_files(),
    "records": lambda store: store.records(),
    "identifications": lambda store: store.identifications(),
}


@pytest.mark.parametrize("what", READS)
def test_says_what_the_records_say_and_reads_them_once(project, read, what, monkeypatch):
    with SqliteSurveyStore.open(project, write=False) as store:
        plain = READS[what](store)
    assert plain
    assert read(READS[what]) == plain
    monkeypatch.setattr(SqliteSurveyStore, "_rows", lambda *a: pytest.fail("read again"))
    if what != "photos of a visit":  # the visit itself is asked of the database
        monkeypatch.setattr(SqliteSurveyStore, "photo_ids", lambda s, v=None: _ids(plain))
        assert read(READS[what]) == plain


def _ids(rows: Any) -> tuple[str, ...]:
    """Photos that rows are about, in their order."""
    return tuple(dict.fromkeys(r.photo_id for r in rows if hasattr(r, "photo_id")))


def change(rows: ModuleType, what: str, store: SqliteSurveyStore) -> None:
    """Store one more row of a kind."""
    if what.startswith("photos"):
        store.save_original(rows.original("e"))
        store.save_photo(rows.photo("e", "IMG_0009.JPG"))
    elif what == "corrections":
        store.save_correction(rows.correction("a", "later"))
    elif what == "copies":
        store.save_copy(rows.copy(folder="/elsewhere/DCIM"))
    elif what == "derived files":
        store.save_derived_file(rows.derived(path="derived/other.tif"))
    elif what == "records":
        store.save_record(rows.record("r9"))
    else:
        store.save_identification(rows.identification("i9"))


@pytest.mark.parametrize("what", READS)
def test_what_another_writer_stored_is_seen_at_once(project, rows, read, what):
    before = read(READS[what])
    with SqliteSurveyStore.open(project, write=True, options=StoreOptions(who="Tevi")) as store:
        change(rows, what, store)
    after = read(READS[what])
    with SqliteSurveyStore.open(project, write=False) as store:
        assert after == READS[what](store)
    assert after != before


def test_other_tables_leave_it_alone_and_an_undone_change_does_too(project, rows, read):
    first = read(READS["photos"])
    with SqliteSurveyStore.open(project, write=True, options=StoreOptions(who="Tevi")) as store:
        store.save_record(rows.record("r9"))
        with pytest.raises(RuntimeError):
            _begin_and_fail(store, rows)
    again = read(READS["photos"])
    assert again == first
    assert again[0] is first[0]  # the very same: nothing was read anew


def _begin_and_fail(store: SqliteSurveyStore, rows: ModuleType) -> None:
    with store.write():
        change(rows, "photos", store)
        raise RuntimeError


def test_writers_do_not_use_it(project, rows):
    options = StoreOptions(who="Tevi", memory=ReadMemory())
    with SqliteSurveyStore.open(project, write=True, options=options) as store:
        before = store.photos()
        with pytest.raises(RuntimeError):
            _begin_and_fail(store, rows)
        assert store.photos() == before


def test_another_database_in_its_place_is_read_anew(project, rows, read, tmp_path_factory):
    assert read(READS["photos"])
    other = tmp_path_factory.mktemp("other")
    with SqliteSurveyStore.create(other, options=StoreOptions(who="Mara")) as store:
        store.save_visit(rows.visit())
        store.save_original(rows.original("f"))
        store.save_photo(rows.photo("f", "IMG_0100.JPG"))
    for end in ("", "-wal", "-shm"):
        (project / f"dryslate.sqlite{end}").unlink(missing_ok=True)
        if (found := other / f"dryslate.sqlite{end}").is_file():
            found.rename(project / found.name)
    assert [p.files[0].original_name for p in read(READS["photos"])] == ["IMG_0100.JPG"]


def test_readers_beside_a_writer_never_see_less_than_was_stored_before(project, rows, read):
    stored, seen, ends = [0], [], threading.Event()

    def write() -> None:
        for n in range(40):
            options = StoreOptions(who="Tevi")
            with SqliteSurveyStore.open(project, write=True, options=options) as store:
                store.save_record(rows.record(f"more{n}"))
            stored[0] = n + 1
        ends.set()

    def look() -> None:
        while not ends.is_set():
            least = stored[0]
            found = read(lambda s: sum(r.record_id.startswith("more") for r in s.records()))
            seen.append((least, found))

    threads = [threading.Thread(target=look) for _ in range(3)] + [threading.Thread(target=write)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen
    assert all(found >= least for least, found in seen)
