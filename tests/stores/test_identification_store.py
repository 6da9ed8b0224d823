"""Records, identifications and the second observer in every store."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from dryslate.base.errors import StoreError
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

RELEASED = Path(__file__).resolve().parent / "released"


def test_names_and_second_looks_come_back_as_they_were_stored(store, rows) -> None:
    rows.fill(store)
    assert store.region() == "indo_pacific"
    assert store.records() == (rows.record(),)
    assert store.records("another") == ()
    second = rows.identification("i2", role="second", observer="Tevi")
    assert store.identifications() == (rows.identification(), second)
    assert store.identifications("r1") == store.identifications()
    assert store.identifications("r2") == ()
    assert store.review_draws() == (rows.draw(),)
    assert store.review_chances() == (rows.chance(),)
    assert store.review_outcomes() == (rows.outcome(),)


def test_one_record_is_found_by_its_whole_id(store, rows) -> None:
    rows.fill(store)
    assert store.record("r1") == rows.record()
    assert store.record("r") is None


def test_named_records_are_those_that_a_first_observer_named(store, rows) -> None:
    rows.fill(store)
    store.save_record(rows.record("r2"))
    store.save_record(rows.record("r3"))
    store.save_identification(rows.identification("i3", record_id="r3", role="second"))
    assert store.named_records() == frozenset({"r1"})


def test_what_was_not_noted_stays_unknown(store, rows) -> None:
    rows.fill(store)
    bare = rows.record("r2", photo_id=None, growth_form=None, is_juvenile=None, measurement_ids=())
    store.save_record(bare)
    name = rows.identification(
        "i3", record_id="r2", confidence=None, p_stated=None, probability=None, region=None
    )
    store.save_identification(name)
    assert store.records()[1] == bare
    assert store.identifications("r2") == (name,)
    open_ = rows.outcome("o2", is_agreed=None, rank_shared="", agreed_at="", settled_name="")
    store.save_review_outcome(open_)
    assert store.review_outcomes()[-1] == open_


def test_project_without_a_region_says_none_and_a_later_one_holds(store) -> None:
    assert store.region() is None
    store.save_region("atlantic")
    store.save_region("western_atlantic")
    assert store.region() == "western_atlantic"


def test_changed_record_leaves_its_earlier_words_in_the_log(store, rows) -> None:
    rows.fill(store)
    store.save_record(rows.record(growth_form="columnar"))
    assert store.records() == (rows.record(growth_form="columnar"),)
    change = store.changes("records")[-1]
    assert (change.what, change.old["growth_form"]) == ("update", "massive")


def test_identification_is_followed_and_never_replaced(store, rows) -> None:
    rows.fill(store)
    store.save_identification(rows.identification(name="Porites"))
    assert store.identifications("r1")[0] == rows.identification()
    store.save_identification(rows.identification("i9", name="Porites"))
    assert [i.identification_id for i in store.identifications("r1")] == ["i1", "i2", "i9"]


def test_name_of_a_record_that_is_not_there_is_refused(store, rows) -> None:
    rows.fill(store)
    for save in (
        lambda: store.save_identification(rows.identification("i3", record_id="nowhere")),
        lambda: store.save_record(rows.record("r9", visit_id="nowhere")),
        lambda: store.save_record(rows.record("r9", photo_id=rows.sha("z"))),
        lambda: store.save_review_outcome(rows.outcome("o9", second_id="nobody")),
        lambda: store.save_review_draw(rows.draw(draw_id="d9"), [rows.chance("nobody")]),
    ):
        with pytest.raises(StoreError, match="store-refused"):
            save()
    assert store.review_draws() == (rows.draw(),)


def test_photo_that_a_record_or_a_name_rests_on_stays(store, rows) -> None:
    with store.write():
        store.save_visit(rows.visit())
        for letter in "abc":
            store.save_original(rows.original(letter))
            store.save_photo(rows.photo(letter, f"{letter}.jpg"))
        store.save_record(rows.record())
        box = (rows.sha("b"), 0.0, 0.0, 5.0, 5.0)
        store.save_identification(rows.identification(photo_regions=(box,)))
    assert [store.delete_photo(rows.sha(letter)) for letter in "abc"] == [False, False, True]


@pytest.mark.parametrize("table", ["identifications", "review_chances", "review_outcomes"])
def test_database_itself_refuses_to_change_or_drop_what_was_said(tmp_path, rows, table) -> None:
    with SqliteSurveyStore.create(tmp_path) as store:
        rows.fill(store)
        for sql in (f"DELETE FROM {table}", f"UPDATE {table} SET record_id = record_id"):
            with pytest.raises(sqlite3.IntegrityError, match="only grow"):
                store._db.execute(sql)


def test_project_of_the_first_schema_gains_the_tables_after_a_backup(tmp_path, rows) -> None:
    shutil.copy(RELEASED / "0001.sqlite", tmp_path / "dryslate.sqlite")
    with SqliteSurveyStore.open(tmp_path, write=True, options=StoreOptions(who="Mara")) as store:
        assert store.records() == ()
        assert store.region() is None
        store.save_record(rows.record())
        store.save_identification(rows.identification())
        logged = store.changes("identifications")[0]
        assert json.loads(logged.new["current_names"]) == ["Dipsastraea", "Goniastrea"]
        assert logged.who == "Mara"
    backup = min((tmp_path / "backups").iterdir(), key=lambda path: path.name)
    assert backup.name.startswith("before-0002_identifications-")
