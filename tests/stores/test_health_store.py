"""Judgements of a coral's health, on SQLite and in memory alike; and measurements taken back."""

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


def test_latest_judgement_of_a_coral_holds_and_all_are_kept(full_store, rows) -> None:
    worse = rows.health(normal_pct=40.0, bleached_pct=40.0, noted_at="2026-03-15T09:00:00+07:00")
    full_store.save_coral_health(worse)
    full_store.save_coral_health(replace(worse, noted_at="2026-03-16T09:00:00+07:00"))
    assert full_store.coral_health() == (worse,)
    assert full_store.coral_health_history("r1") == (rows.health(), worse)
    full_store.save_coral_health(rows.health(noted_at="2026-03-17T09:00:00+07:00"))
    assert len(full_store.coral_health_history("r1")) == 3
    assert full_store.changes("coral_health")[-1].new["normal_pct"] == 70.0


def test_unknown_shares_stay_unknown(full_store, rows) -> None:
    some = rows.health(normal_pct=None, pale_pct=None, old_dead_pct=None)
    full_store.save_coral_health(some)
    assert full_store.coral_health()[0].normal_pct is None


def test_health_of_no_coral_is_refused(full_store, rows) -> None:
    with pytest.raises(StoreError, match="store-refused"):
        full_store.save_coral_health(rows.health("nobody"))


def test_a_measurement_taken_back_no_longer_stands_and_is_kept(full_store, rows) -> None:
    row = full_store.measurements()[0]
    said = {"why": "undone", "followed_by": None}
    back = replace(row, values={**row.values, "taken_back": said})
    full_store.save_measurements([back])
    assert full_store.measurements() == ()
    assert full_store.measurements(with_taken_back=True) == (back,)
    full_store.save_measurements([row])
    assert full_store.measurements() == (row,)


def test_the_database_lets_no_judgement_change(tmp_path, rows) -> None:
    from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
        for words in ("UPDATE coral_health SET pale_pct = 1", "DELETE FROM coral_health"):
            with pytest.raises(sqlite3.IntegrityError, match="only grow"):
                store._db.execute(words)
