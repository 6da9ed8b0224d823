"""Printed sheets in the stores: added only, each number once."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from dryslate.base.errors import StoreError
from dryslate.core.sheet.page import SheetContent, SheetQuestion


def test_printed_sheet_comes_back_as_it_was_stored(store, rows) -> None:
    content = SheetContent(
        kind="tagged_colony",
        part="characters",
        paper="a5",
        page_no=2,
        n_pages=3,
        preset={"colony": "C7"},
        questions=(
            SheetQuestion(character="tissue", question="Thin?", states=(("thin", "thin"),)),
            SheetQuestion(character="valley_width", question="How wide?"),
        ),
    )
    sheet = rows.printed_sheet(sheet_id="794000000012", content=content, unit="C7")
    store.save_printed_sheets([rows.printed_sheet(), sheet])
    assert store.printed_sheets() == (rows.printed_sheet(), sheet)


def test_number_that_was_printed_is_not_given_twice(store, rows) -> None:
    store.save_printed_sheets([rows.printed_sheet()])
    other = rows.printed_sheet(sheet_id="794000000012")
    with pytest.raises(StoreError):
        store.save_printed_sheets([other, rows.printed_sheet(unit="T2")])
    assert store.printed_sheets() == (rows.printed_sheet(),)


def test_rows_of_printed_sheets_stay(tmp_path, rows) -> None:
    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    options = StoreOptions(who="Mara", on_network=False)
    with SqliteSurveyStore.create(tmp_path, options=options) as store:
        store.save_printed_sheets([rows.printed_sheet()])
        for sql in ("DELETE FROM printed_sheets", "UPDATE printed_sheets SET unit = 'x'"):
            with pytest.raises(sqlite3.IntegrityError, match="only added"):
                store._db.execute(sql)
        assert store.log_faults() == ()
    with closing(sqlite3.connect(tmp_path / "dryslate.sqlite")) as db:
        assert db.execute("SELECT count(*) FROM printed_sheets").fetchone() == (1,)


def test_photo_of_a_sheet_is_kept_and_put_to_another_unit(store, rows) -> None:
    rows.fill(store)
    (kept,) = store.sheet_photos()
    assert kept.to_px[0] == (10.5, 0.25, 80.0)
    assert kept.unit_id is not None
    assert store.sheet_photos(kept.unit_id) == (kept,)
    store.save_sheet_photo(rows.sheet_photo(kept.photo_id, None))
    assert store.sheet_photos(kept.unit_id) == ()
    assert [one.unit_id for one in store.sheet_photos()] == [None]
    assert [c.what for c in store.changes("sheet_photos")] == ["insert", "update"]


def test_photo_of_a_sheet_stays_when_its_unit_is_taken_out(store, rows) -> None:
    from dryslate.app.unit_words import UnitWords
    from dryslate.app.units import remove_unit, start_unit

    rows.fill(store)
    (kept,) = store.sheet_photos()
    start_unit(store, rows.VISIT_ID, UnitWords(name="T99"), rows.OBSERVER)
    unit_id = next(u.unit_id for u in store.units() if u.name == "T99")
    store.save_sheet_photo(rows.sheet_photo(kept.photo_id, unit_id))
    remove_unit(store, unit_id)
    assert [one.unit_id for one in store.sheet_photos()] == [None]
