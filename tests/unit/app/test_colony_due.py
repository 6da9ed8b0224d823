"""When a look is due, late or missed; what is done is done once."""

from __future__ import annotations

from typing import Any

import pytest

from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_due import due_dates, due_together, state_onset
from dryslate.app.colony_visits import Seen, see_colony

WHO = ("Ines Varro", "2024-05-19T12:00:00Z")
ONSET = "2024-03-16"


@pytest.fixture
def store(memory_store, dive) -> Any:
    """A colony tagged before stress set in."""
    dive.add_visit(memory_store, date="2024-03-01")
    request = TagRequest(label="17", observer=WHO[0], visit=(dive.SITE, "2024-03-01"), why="random")
    tag_colony(memory_store, request, WHO[1], lambda: "00000001-aaaa")
    state_onset(memory_store, (dive.SITE, None), (ONSET, "white colonies seen"), WHO)
    return memory_store


def states(store, today: str) -> dict[str, str]:
    return {d.step: d.state for d in due_dates(store, today)}


def look(store, dive, date: str, state: str = "seen") -> None:
    dive.add_visit(store, date=date)
    visit = next(v for v in store.visits() if v.date == date)
    see_colony(store, store.colonies()[0], visit, Seen(state=state), WHO)


@pytest.mark.parametrize(
    ("today", "state"),
    [
        ("2024-08-16", "open"),
        ("2024-08-17", "due"),
        ("2024-10-16", "due"),
        ("2024-10-17", "overdue"),  # its time was over, the next begins on 14 February
        ("2025-02-13", "overdue"),
        ("2025-02-14", "missed"),
        ("2027-01-01", "missed"),
    ],
)
def test_look_is_overdue_until_the_next_begins_and_missed_from_then_on(store, today, state) -> None:
    assert states(store, today)["months_6"] == state


def test_last_look_can_be_late_by_as_long_as_its_time_was(store) -> None:
    """24 months, 60 days either way: to 15 May 2026, then late to 12 September."""
    (last,) = [d for d in due_dates(store, "2026-09-12") if d.step == "months_24"]
    assert (last.to_date, last.until_date, last.state) == ("2026-05-15", "2026-09-12", "overdue")
    assert states(store, "2026-09-13")["months_24"] == "missed"
    assert set(states(store, "2030-01-01").values()) == {"missed"}


def test_late_look_is_told_from_one_in_time_and_is_no_longer_asked_for(store, dive) -> None:
    look(store, dive, "2024-11-01")
    late = {d.step: d for d in due_dates(store, "2024-12-01")}["months_6"]
    assert late.state == "late"
    assert late.visit_id is not None
    assert late.visit_id.endswith("2024-11-01")
    look(store, dive, "2024-09-20", "not_found")
    assert states(store, "2024-12-01")["months_6"] == "done"  # not found was looked for


def test_not_looked_for_is_no_look(store, dive) -> None:
    look(store, dive, "2024-11-01", "not_looked_for")
    assert states(store, "2024-12-01")["months_6"] == "overdue"


def test_later_onset_ends_what_was_late(store, dive) -> None:
    state_onset(store, (dive.SITE, None), ("2024-11-10", "white again"), WHO)
    look(store, dive, "2024-11-20")  # counts for nothing of the earlier onset
    mine = {d.step: d for d in due_dates(store, "2024-11-21") if d.onset_date == ONSET}
    assert (mine["months_6"].until_date, mine["months_6"].state) == ("2024-11-09", "missed")
    assert "months_12" not in mine


def test_dead_colony_is_not_asked_for_and_its_death_may_be_a_late_look(store, dive) -> None:
    look(store, dive, "2024-11-01", "dead")
    assert states(store, "2027-01-01") == {
        "weeks_2_4": "missed",
        "months_2": "missed",
        "months_6": "late",
        "months_12": "not_asked",
        "months_24": "not_asked",
    }


def test_looks_of_one_visit_stand_together(store, dive) -> None:
    request = TagRequest(label="18", observer=WHO[0], visit=(dive.SITE, "2024-03-01"), why="place")
    tag_colony(store, request, WHO[1], lambda: "00000002-aaaa")
    groups = due_together(d for d in due_dates(store, "2024-09-01") if d.state == "due")
    assert [[d.label for d in group] for group in groups] == [["17", "18"]]
