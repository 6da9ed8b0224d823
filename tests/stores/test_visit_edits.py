"""Visits taken out, corrected, put to another, and all of it taken back."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest

from dryslate.app import visit_edits
from dryslate.app.note_records import NoteRequest, note_record
from dryslate.app.shots import camera_key
from dryslate.app.visit_edits import Chosen, Why
from dryslate.base.errors import InputError
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

WHY = Why(reason="wrong date typed", observer="Mara", at="2026-03-14T20:00:00Z")
OLD = "North wall 2026-03-14"
BOOKS = ("change_log", "visit_edits", "migrations", "column_notes", "sqlite_sequence", "observers")


@pytest.fixture
def full(tmp_path, rows):
    """A store with a row in every table."""
    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
        yield store


def everything(store) -> dict[str, list[tuple]]:
    """All rows of all tables but the log and what describes them."""
    db = store._db
    names = [r[0] for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {
        name: sorted(map(repr, map(tuple, db.execute(f'SELECT * FROM "{name}"'))))
        for name in names
        if name not in BOOKS
    }


def slug_of(refused: pytest.ExceptionInfo[InputError]) -> str:
    return refused.value.slug


def naming(store, visit_id: str) -> set[str]:
    """Tables with a row that holds an id of a visit anywhere."""
    return {
        name for name, rows in everything(store).items() if any(visit_id in row for row in rows)
    }


def test_empty_visit_is_taken_out_with_its_mistyped_site_and_comes_back(full, rows) -> None:
    full.save_visit(rows.visit(visit_id="Nort wall 2026-03-14", site="Nort wall"))
    before = everything(full)
    done = visit_edits.withdraw_visit(full, "Nort wall 2026-03-14", WHY)
    assert [visit.visit_id for visit in full.visits()] == [OLD]
    assert [site.site for site in full.sites()] == ["North wall"]
    assert done.edit.reason == "wrong date typed"
    back = visit_edits.take_back_edit(full, done.edit.edit_no, WHY)
    assert back.edit.undoes == done.edit.edit_no
    assert everything(full) == before
    visit_edits.take_back_edit(full, back.edit.edit_no, WHY)  # done again
    assert len(full.visits()) == 1
    assert full.log_faults() == ()


def test_visit_that_holds_anything_stays(full) -> None:
    before = everything(full)
    with pytest.raises(InputError) as refused:
        visit_edits.withdraw_visit(full, OLD, WHY)
    assert slug_of(refused) == "visit-not-empty"
    assert everything(full) == before


def test_corrected_date_reaches_every_table_and_is_taken_back_wholly(full) -> None:
    before = everything(full)
    named = naming(full, OLD)
    done = visit_edits.correct_visit(full, OLD, WHY, date="2026-03-15")
    new = "North wall 2026-03-15"
    assert done.edit.to_visit_id == new
    assert done.edit.n_photos == 1
    assert naming(full, OLD) == set()
    assert naming(full, new) == named
    assert full.log_faults() == ()
    assert full.visits()[0].clock_offset_s
    assert full.colonies()[0].first_visit_id == new
    visit_edits.take_back_edit(full, done.edit.edit_no, WHY)
    assert everything(full) == before
    assert full.log_faults() == ()


def test_corrected_site_takes_zones_and_colonies_along(full, rows) -> None:
    full.save_stress_onset(rows.onset(onset_id="s2", organism_id="11111111-aaaa"))
    full._db.execute("UPDATE units SET zone = 'crest'")
    before = everything(full)
    done = visit_edits.correct_visit(full, OLD, WHY, site="South wall")
    assert full.colonies()[0].site == "South wall"
    (zone,) = full.zones("South wall")
    assert (zone.zone, zone.depth_min_m, zone.depth_max_m) == ("crest", 2.0, 5.0)
    assert {one.organism_id: one.site for one in full.stress_onsets()} == {
        None: "North wall",
        "11111111-aaaa": "South wall",
    }
    assert "North wall" in {site.site for site in full.sites()}, "its place is known"
    visit_edits.take_back_edit(full, done.edit.edit_no, WHY)
    assert everything(full) == before


def test_observer_is_corrected_where_it_was_the_first_ones(full) -> None:
    visit_edits.correct_visit(full, OLD, WHY, whose="Odalys Brem")
    assert full.visits()[0].observer == "Odalys Brem"
    assert {photo.observer for photo in full.photos()} == {"Odalys Brem"}
    assert {unit.observer for unit in full.units()} == {"Mara"}


def test_colony_that_other_visits_know_keeps_its_site(full, rows) -> None:
    later = rows.visit(visit_id="North wall 2026-04-14", date="2026-04-14")
    full.save_visit(later)
    full.save_colony_sighting(rows.sighting(visit_id=later.visit_id, record_id=None))
    for correct, slug in (
        ({"site": "South wall"}, "visit-tagged-colonies"),
        ({"date": "2026-05-01"}, "visit-before-tagging"),
        ({"date": "2026-04-14"}, "visit-there-already"),
        ({"date": "2026-03-14"}, "visit-same"),
        ({"date": "14.3."}, "visit-date"),
    ):
        with pytest.raises(InputError) as refused:
            visit_edits.correct_visit(full, OLD, WHY, **correct)
        assert slug_of(refused) == slug
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(full, OLD, ("North wall", "2026-04-14"), WHY)
    assert slug_of(refused) == "visit-colonies-clash"
    visit_edits.correct_visit(full, OLD, WHY, date="2026-03-20")


@pytest.fixture
def plain(tmp_path, rows):
    """A visit of three photos: two of unit T1, one of none, a coral in each of the first two."""
    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        store.save_visit(rows.visit())
        for letter in "abc":
            store.save_original(rows.original(letter))
            store.save_card_file(rows.card_file(sha256=rows.sha(letter), card_path=f"{letter}.JPG"))
            store.save_photo(rows.photo(letter, f"{letter}.JPG"))
        store.save_clock_offset(rows.clock())
        store.save_unit(rows.unit())
        for letter in "ab":
            store.save_unit_photo(rows.unit_photo(letter))
        measured = rows.measurement("m1", photo_id=rows.sha("a"))
        store.save_measurements([measured])
        store.save_record(rows.record("r1", photo_id=rows.sha("a"), measurement_ids=("m1",)))
        store.save_record(rows.record("r2", photo_id=rows.sha("c"), measurement_ids=()))
        yield store


def some(store, rows, letters: str):
    return Chosen(photos=tuple(store.photo(rows.sha(letter)) for letter in letters))


def test_chosen_photos_go_with_their_unit_and_corals_and_come_back(plain, rows) -> None:
    before = everything(plain)
    to = ("South wall", "2026-03-14")
    done = visit_edits.move_to_visit(plain, OLD, to, WHY, some(plain, rows, "ab"))
    new = "South wall 2026-03-14"
    assert {p.photo_id: p.visit_id for p in plain.photos()} == {
        rows.sha("a"): new,
        rows.sha("b"): new,
        rows.sha("c"): OLD,
    }
    assert [unit.visit_id for unit in plain.units()] == [new]
    assert {r.record_id: r.visit_id for r in plain.records()} == {"r1": new, "r2": OLD}
    assert {f.sha256 for f in plain.card_files() if f.visit_id == new} == {
        rows.sha("a"),
        rows.sha("b"),
    }
    assert {o.visit_id for o in plain.clock_offsets()} == {OLD, new}
    assert plain.log_faults() == ()
    visit_edits.take_back_edit(plain, done.edit.edit_no, WHY)
    assert everything(plain) == before
    assert plain.log_faults() == ()


def test_nothing_is_torn_apart(plain, rows) -> None:
    to = ("South wall", "2026-03-14")
    before = everything(plain)
    plain.save_measurements([rows.measurement("m2", photo_id=rows.sha("b"))])
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(plain, OLD, to, WHY, some(plain, rows, "a"))
    assert slug_of(refused) == "visit-would-split"
    assert "T1" in refused.value.message
    plain.save_record(rows.record("r2", photo_id=rows.sha("c"), measurement_ids=("m2",)))
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(plain, OLD, to, WHY, some(plain, rows, "c"))
    assert slug_of(refused) == "visit-would-split"
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(plain, OLD, to, WHY, Chosen())
    assert slug_of(refused) == "visit-no-photos"
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(plain, OLD, ("North wall", "2026-03-14"), WHY)
    assert slug_of(refused) == "visit-same"
    assert everything(plain)["visits"] == before["visits"]


def test_a_unit_noted_on_paper_goes_without_a_photo(plain, rows) -> None:
    plain.save_unit(rows.unit("Tape 1", unit_id="tape"))
    chosen = visit_edits.chosen_of(plain, plain.visits()[0], (), ("tape 1",))
    visit_edits.move_to_visit(plain, OLD, ("South wall", "2026-03-14"), WHY, chosen)
    assert [u.name for u in plain.units("South wall 2026-03-14")] == ["Tape 1"]
    assert len(plain.photos(OLD)) == 3


def test_visits_are_joined_where_no_name_is_twice(plain, rows) -> None:
    other = rows.visit(visit_id="North wall 2026-03-15", date="2026-03-15")
    plain.save_visit(other)
    plain.save_unit(rows.unit("T1", unit_id="other", visit_id=other.visit_id))
    to = ("North wall", "2026-03-15")
    with pytest.raises(InputError) as refused:
        visit_edits.move_to_visit(plain, OLD, to, WHY)
    assert slug_of(refused) == "visit-names-clash"
    plain.save_unit(rows.unit("T9", unit_id="other", visit_id=other.visit_id))
    done = visit_edits.move_to_visit(plain, OLD, to, WHY)
    assert [visit.visit_id for visit in plain.visits()] == [other.visit_id]
    assert len(plain.units(other.visit_id)) == 2
    assert plain.log_faults() == ()
    visit_edits.take_back_edit(plain, done.edit.edit_no, WHY)
    assert len(plain.photos(OLD)) == 3


def test_clock_of_the_other_visit_stands_where_it_has_photos_of_the_camera(plain, rows) -> None:
    plain.save_visit(rows.visit(visit_id="North wall 2026-03-15", date="2026-03-15"))
    plain.save_original(rows.original("d"))
    plain.save_photo(replace(rows.photo("d", "d.JPG"), visit_id="North wall 2026-03-15"))
    photo = plain.photo(rows.sha("c"))
    camera = camera_key(photo.metadata)
    plain.save_clock_offset(rows.clock(camera=camera, offset_s=60.0))
    done = visit_edits.move_to_visit(
        plain, OLD, ("North wall", "2026-03-15"), WHY, Chosen(photos=(photo,))
    )
    assert done.clocks_left == (camera,)
    assert plain.clock_offsets("North wall 2026-03-15") == ()


def test_what_was_changed_since_is_not_taken_back(plain, rows) -> None:
    done = visit_edits.correct_visit(plain, OLD, WHY, date="2026-03-15")
    new = "North wall 2026-03-15"
    plain.save_unit(rows.unit("T2", unit_id="since", visit_id=new))
    before = everything(plain)
    with pytest.raises(InputError) as refused:
        visit_edits.take_back_edit(plain, done.edit.edit_no, WHY)
    assert slug_of(refused) == "visit-changed-since"
    assert everything(plain) == before
    with pytest.raises(InputError) as refused:
        visit_edits.take_back_edit(plain, 99, WHY)
    assert slug_of(refused) == "visit-edit-unknown"


def test_a_reason_is_asked_for(plain) -> None:
    for reason in ("", "  ", "x" * 501):
        with pytest.raises(InputError) as refused:
            visit_edits.withdraw_visit(plain, OLD, Why(reason=reason, observer="Mara", at="t"))
        assert slug_of(refused) == "visit-reason"


def test_edits_stay_on_record(full) -> None:
    for words in ("DELETE FROM visit_edits", "UPDATE visit_edits SET reason = 'other'"):
        with pytest.raises(sqlite3.IntegrityError, match="only added"):
            full._db.execute(words)


def test_the_same_coral_may_be_noted_on_both_visits(plain, rows) -> None:
    """An id is made of the visit; one that went along with it is not taken a second time."""
    taxa, _ = FileReferenceTables(None).taxa()
    asked = NoteRequest(colony="C1", observer="Mara", visit=("North wall", "2026-03-14"))
    first = note_record(plain, taxa, asked, "2026-03-14T20:00:00Z")
    visit_edits.correct_visit(plain, OLD, WHY, date="2026-03-15")
    plain.save_visit(rows.visit())
    second = note_record(plain, taxa, asked, "2026-03-14T20:00:00Z")
    assert second.record_id != first.record_id
    assert {r.visit_id for r in plain.records() if r.colony == "C1"} == {
        OLD,
        "North wall 2026-03-15",
    }
