"""Units, their photos, and photos set aside, on SQLite and in memory alike."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.app.project_records import Zone
from dryslate.base.errors import StoreError


@pytest.fixture
def full_store(store, rows):
    """Each store in turn, with a row of everything and a second photo."""
    rows.fill(store)
    with store.write():
        store.save_original(rows.original("c"))
        store.save_photo(rows.photo("c", "IMG_0002.JPG"))
    return store


def test_units_and_their_photos_come_back_as_stored(full_store, rows) -> None:
    assert full_store.units() == (rows.unit(),)
    assert full_store.units(rows.VISIT_ID) == (rows.unit(),)
    assert full_store.units("another") == ()
    assert full_store.unit_photos() == (rows.unit_photo(),)
    assert full_store.unit_photos(rows.VISIT_ID) == (rows.unit_photo(),)
    assert full_store.unit_photos("another") == ()
    assert full_store.photos_set_aside() == (rows.set_aside(),)
    assert full_store.photos_set_aside("another") == ()


def test_what_is_not_said_of_a_unit_stays_unknown(full_store, rows) -> None:
    bare = rows.unit(None, kind=None, zone=None, depth_m=None, depth_m_u=None, note="")
    full_store.save_unit(bare)
    full_store.save_unit(replace(bare, unit_id="another without a name"))
    assert full_store.units()[1] == bare
    assert len(full_store.units()) == 3


def test_two_units_of_a_visit_cannot_have_one_name(full_store, rows) -> None:
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_unit(rows.unit(unit_id="a second T1"))
    full_store.save_unit(rows.unit(note="renumbered"))
    assert [u.note for u in full_store.units()] == ["renumbered"]


def test_new_zone_of_a_unit_comes_to_be_and_a_known_one_keeps_its_depths(full_store, rows) -> None:
    full_store.save_unit(rows.unit("T2", zone="slope"))
    assert full_store.zones(rows.SITE) == (
        Zone(site=rows.SITE, zone="crest", depth_min_m=2.0, depth_max_m=5.0),
        Zone(site=rows.SITE, zone="slope"),
    )


def test_photo_belongs_to_one_unit_and_the_later_word_holds(full_store, rows) -> None:
    full_store.save_unit(rows.unit("T2"))
    joined = rows.unit_photo(unit_id="unit T2", how="time", gap_min=10.0)
    full_store.save_unit_photo(joined)
    assert full_store.unit_photos() == (joined,)
    last = full_store.changes("unit_photos")[-1]
    assert (last.what, last.old["unit_id"], last.new["unit_id"]) == ("update", "unit T1", "unit T2")
    full_store.delete_unit_photo(rows.sha("a"))
    assert full_store.unit_photos() == ()
    assert full_store.changes("unit_photos")[-1].old["unit_id"] == "unit T2"


def test_none_by_hand_is_not_the_same_as_nothing_said(full_store, rows) -> None:
    none = rows.unit_photo("c", unit_id=None, how="hand")
    full_store.save_unit_photo(none)
    assert none in full_store.unit_photos()


def test_unit_with_photos_is_not_taken_out(full_store, rows) -> None:
    full_store.save_unit(rows.unit("T2"))
    full_store.save_unit_photo(rows.unit_photo(unit_id="unit T2"))
    with pytest.raises(StoreError, match="store-refused"):
        full_store.delete_unit("unit T2")
    full_store.delete_unit_photo(rows.sha("a"))
    full_store.delete_unit("unit T2")
    full_store.delete_unit("unit T2")
    assert full_store.units() == (rows.unit(),)
    assert full_store.changes("units")[-1].old["name"] == "T2"


def test_unit_that_was_sampled_is_not_taken_out(full_store, rows) -> None:
    full_store.delete_unit_photo(rows.sha("a"))
    with pytest.raises(StoreError, match="store-refused"):
        full_store.delete_unit("unit T1")
    assert full_store.units() == (rows.unit(),)


def test_photo_of_no_unit_and_unit_of_no_visit_are_refused(full_store, rows) -> None:
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_unit_photo(rows.unit_photo("c", unit_id="nowhere"))
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_unit_photo(rows.unit_photo("z"))
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_unit(rows.unit("T9", visit_id="nowhere", zone=None))
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_set_aside(rows.set_aside("z"))


def test_photo_set_aside_is_taken_back_and_both_are_on_record(full_store, rows) -> None:
    full_store.save_set_aside(rows.set_aside(reason="other", note="the buddy's hand"))
    full_store.delete_set_aside(rows.sha("a"))
    assert full_store.photos_set_aside() == ()
    log = full_store.changes("photos_set_aside")
    assert [c.what for c in log] == ["insert", "update", "delete"]
    assert log[-1].old["note"] == "the buddy's hand"
    assert len(full_store.photos()) == 2


def test_photo_with_a_unit_or_set_aside_is_not_deleted(full_store, rows) -> None:
    full_store.save_unit_photo(rows.unit_photo("c", how="hand"))
    assert full_store.delete_photo(rows.sha("c")) is False
    full_store.delete_unit_photo(rows.sha("c"))
    full_store.save_set_aside(rows.set_aside("c"))
    assert full_store.delete_photo(rows.sha("c")) is False
    full_store.delete_set_aside(rows.sha("c"))
    assert full_store.delete_photo(rows.sha("c")) is True


@pytest.mark.parametrize(
    "words",
    [
        "UPDATE unit_photos SET how = 'guess'",
        "UPDATE unit_photos SET unit_id = NULL",
        "UPDATE unit_photos SET gap_min = 10",
        "UPDATE photos_set_aside SET reason = 'ugly'",
        "UPDATE units SET kind = 'T'",
        "UPDATE units SET depth_m = NULL",
        "UPDATE units SET depth_m = -1",
    ],
)
def test_the_database_itself_refuses_what_makes_no_sense(tmp_path, rows, words) -> None:
    import sqlite3

    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
        with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
            store._db.execute(words)
