"""Tagged colonies in the stores: one identity, nothing lost, blanks kept."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest

from dryslate.base.errors import StoreError


@pytest.fixture
def full_store(store, rows):
    """Each store in turn, with a row of everything."""
    rows.fill(store)
    return store


def test_everything_of_a_colony_comes_back_as_it_was_stored(full_store, rows) -> None:
    colony = rows.colony()
    assert full_store.colonies() == (colony,)
    assert full_store.colonies("elsewhere") == ()
    for read, row in (
        (full_store.colony_sightings, rows.sighting()),
        (full_store.colony_fractions, rows.fractions()),
        (full_store.colony_fraction_history, rows.fractions()),
        (full_store.colony_frames, rows.frame()),
        (full_store.colony_colours, rows.colony_colour()),
    ):
        assert read(colony.organism_id) == (row,)
        assert read("another") == ()
    assert full_store.stress_onsets() == (rows.onset(),)


def test_label_changes_and_identity_does_not(full_store, rows) -> None:
    full_store.save_colony(rows.colony(label="17b"))
    assert [c.label for c in full_store.colonies()] == ["17b"]
    assert full_store.changes("colonies")[-1].old["label"] == "17"
    with pytest.raises(StoreError):
        full_store.save_colony(rows.colony(first_visit_id="nowhere 2026-01-01"))
    with pytest.raises(StoreError):
        full_store.save_colony(rows.colony("22222222-bbbb", label="17b"))


def test_later_judgement_follows_and_both_observers_stand(full_store, rows) -> None:
    second = rows.fractions(observer="Tevi", normal_pct=60.0, pale_pct=30.0)
    later = rows.fractions(normal_pct=None, lesion="")
    full_store.save_colony_fractions(second)
    full_store.save_colony_fractions(later)
    full_store.save_colony_fractions(replace(later, noted_at="2026-03-15T20:00:00+07:00"))
    assert full_store.colony_fractions() == (second, later)
    assert len(full_store.colony_fraction_history("11111111-aaaa")) == 3


def test_corrected_sighting_is_in_the_log_with_what_it_was(full_store, rows) -> None:
    full_store.save_colony_sighting(rows.sighting(state="tag_lost"))
    last = full_store.changes("colony_sightings")[-1]
    assert (last.what, last.old["state"], last.new["state"]) == ("update", "seen", "tag_lost")


def test_frame_goes_with_its_colour_and_keeps_its_photo(full_store, rows) -> None:
    with full_store.write():
        full_store.save_original(rows.original("c"))
        full_store.save_photo(rows.photo("c", "IMG_0002.JPG"))
        full_store.save_colony_frame(rows.frame(photo_id=rows.sha("c"), is_reference=False))
    assert full_store.delete_photo(rows.sha("c")) is False
    full_store.delete_colony_frame("11111111-aaaa", rows.sha("a"))
    assert [f.photo_id for f in full_store.colony_frames()] == [rows.sha("c")]
    assert full_store.colony_colours() == ()
    assert full_store.changes("colony_frames")[-1].what == "delete"


def test_onset_taken_back_no_longer_holds_and_stays_on_record(full_store, rows) -> None:
    full_store.save_stress_onset(rows.onset(is_taken_back=True))
    assert full_store.stress_onsets() == ()
    assert full_store.stress_onsets(with_taken_back=True) == (rows.onset(is_taken_back=True),)


def test_words_of_a_colony_that_is_not_there_are_refused(full_store, rows) -> None:
    with pytest.raises(StoreError):
        full_store.save_colony_sighting(rows.sighting(organism_id="nobody"))
    with pytest.raises(StoreError):
        full_store.save_colony_fractions(rows.fractions(organism_id="nobody"))


def test_the_database_keeps_colonies_and_judgements_for_life(tmp_path, rows) -> None:
    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
        for words, why in (
            ("DELETE FROM colonies", "for life"),
            ("UPDATE colonies SET organism_id = 'other'", "keeps its identity"),
            ("UPDATE colony_fractions SET pale_pct = 1", "only grow"),
            ("DELETE FROM colony_fractions", "only grow"),
        ):
            with pytest.raises(sqlite3.IntegrityError, match=why):
                store._db.execute(words)
