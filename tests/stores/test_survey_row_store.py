"""Designs, categories and rows of units in the stores: nothing half stored, nothing forgotten."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.app.survey_records import RowQuery
from dryslate.base.errors import StoreError
from dryslate.core.survey.designs import SurveyRow, UnitDesign


def test_rows_and_design_come_back_as_they_were_stored(store, rows) -> None:
    rows.fill(store)
    assert store.unit_designs() == (rows.design(),)
    assert store.unit_designs("elsewhere 2026-01-01") == ()
    assert store.categories(2) == (rows.category("sand", list_version=2),)
    assert len(store.categories()) == 2
    assert store.category_mappings() == (rows.mapping(),)
    first, second = store.survey_rows("unit T1")
    assert (first.row_no, second.row_no) == (1, 2)
    assert replace(first, row_no=None) == rows.noted()
    assert replace(second, row_no=None) == rows.noted(kind="none_seen", name="Acropora")
    assert store.survey_rows("unit T2") == ()


def test_blank_and_zero_stay_apart(store, rows) -> None:
    rows.fill(store)
    given = {"kind": "count", "longest_cm": None}
    store.save_survey_rows([rows.noted(n=0, **given), rows.noted(n=None, **given)])
    assert [r.row.n for r in store.survey_rows()[-2:]] == [0, None]


def test_changed_row_keeps_its_number_and_the_log_tells_both(store, rows) -> None:
    rows.fill(store)
    (first, _) = store.survey_rows()
    better = replace(first, row=replace(first.row, longest_cm=13.0))
    store.save_survey_rows([better])
    assert store.survey_rows()[0] == better
    last = store.changes("survey_rows")[-1]
    assert last.what == "update"


def test_rows_are_stored_all_or_none(store, rows) -> None:
    rows.fill(store)
    before = store.survey_rows()
    good = rows.noted(longest_cm=20.0)
    with pytest.raises(StoreError):
        store.save_survey_rows([good, replace(good, unit_id="unit nowhere")])
    assert store.survey_rows() == before


def test_rows_of_a_unit_are_taken_out_and_stay_in_the_log(store, rows) -> None:
    rows.fill(store)
    assert store.delete_survey_rows("unit T1") == 2
    assert store.survey_rows() == ()
    assert [c.what for c in store.changes("survey_rows")][-2:] == ["delete", "delete"]


def test_design_of_a_unit_can_be_said_better(store, rows) -> None:
    rows.fill(store)
    better = UnitDesign(design="belt", length_m=25.0, width_m=2.0, edge_rule="two_sides_in")
    store.save_unit_design(rows.design(design=better, list_version=None))
    assert store.unit_designs()[0].design == better
    assert store.unit_designs()[0].list_version is None
    with pytest.raises(StoreError):
        store.save_unit_design(rows.design(unit_id="unit nowhere"))


def test_every_field_of_a_row_is_stored(store, rows) -> None:
    rows.fill(store)
    full = SurveyRow(
        kind="intercept",
        category="sand",
        name="Favites",
        growth_form="massive",
        from_m=1.0,
        to_m=1.2,
        at_m=1.1,
        photo_id=rows.sha("a"),
        x_px=3.5,
        y_px=4.5,
        cell=7,
        cover_pct=40.0,
        n=3,
        longest_cm=20.0,
        across_cm=15.0,
        across_line_m=0.15,
        normal_pct=50.0,
        pale_pct=10.0,
        bleached_pct=20.0,
        recently_dead_pct=5.0,
        old_dead_pct=15.0,
        lesion="a band of loose tissue",
        unreadable="",
        note="by the cable",
        place="belt.csv, row 7",
    )
    store.save_survey_rows([replace(rows.noted(), row=full)])
    assert store.survey_rows()[-1].row == full


def test_photo_with_a_point_on_it_is_not_deleted(store, rows) -> None:
    rows.fill(store)
    with store.write():
        store.save_original(rows.original("c"))
        store.save_photo(rows.photo("c", "IMG_0002.JPG"))
    store.save_survey_rows([rows.noted(kind="point", photo_id=rows.sha("c"), longest_cm=None)])
    assert store.delete_photo(rows.sha("c")) is False
    assert store.photo(rows.sha("c")) is not None


def test_one_row_is_taken_out_and_the_others_stay(store, rows) -> None:
    rows.fill(store)
    assert store.delete_survey_row(1) is True
    assert [r.row_no for r in store.survey_rows()] == [2]
    assert store.delete_survey_row(1) is False
    assert store.changes("survey_rows")[-1].what == "delete"


def test_number_of_a_row_is_never_given_again(store, rows) -> None:
    assert store.last_row_no() == 0
    rows.fill(store)
    store.delete_survey_row(2)
    assert store.last_row_no() == 2
    store.save_survey_rows([rows.noted()])
    assert store.survey_rows()[-1].row_no == 3


def test_batch_that_is_sent_twice_is_there_once(store, rows) -> None:
    rows.fill(store)
    assert store.sent_batch("b" * 32) == rows.batch()
    store.save_sent_batch(rows.batch(row_nos={"k1": 9}))
    assert store.sent_batches() == (rows.batch(),)
    assert store.sent_batch("c" * 32) is None
    with pytest.raises(StoreError):
        store.save_sent_batch(rows.batch(batch_id="d" * 32, unit_id="unit nowhere"))


@pytest.fixture
def table(store, rows):
    """Rows to look for, as (kind, name, n, note)."""
    rows.fill(store)
    store.delete_survey_rows("unit T1")
    said = [("count", "Porites", 3, "by the Cable"), ("count", "Favites", 0, "")]
    said += [("count", "Acropora", None, "under a ledge"), ("none_seen", "Galaxea", None, "")]
    for kind, name, n, note in said:
        store.save_survey_rows([rows.noted(kind=kind, name=name, n=n, note=note, longest_cm=None)])

    def find(**asked):
        found, n_all = store.find_survey_rows(RowQuery(**asked))
        return [one.noted.row.name for one in found], n_all

    return find


def test_rows_are_found_by_what_they_say(table) -> None:
    assert table() == (["Porites", "Favites", "Acropora", "Galaxea"], 4)
    assert table(kind="none_seen") == (["Galaxea"], 1)
    assert table(words="cable PORI") == (["Porites"], 1)
    assert table(words="100%") == ([], 0)
    assert table(unit_id="unit T1")[1] == 4
    assert table(design="timed_swim") == ([], 0)


def test_rows_without_a_number_come_last_in_either_order(table) -> None:
    assert table(order="n")[0] == ["Favites", "Porites", "Acropora", "Galaxea"]
    assert table(order="n", is_backwards=True)[0][:2] == ["Porites", "Favites"]
    assert set(table(order="n", is_backwards=True)[0][2:]) == {"Acropora", "Galaxea"}
    assert table(order="name", first=1, most=2) == (["Favites", "Galaxea"], 4)
