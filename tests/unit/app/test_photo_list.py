"""The list of photos by what belongs to them."""

from __future__ import annotations

from typing import Any

import pytest

from dryslate.app.photo_list import PhotoFilter, list_photos
from dryslate.app.set_aside import set_aside
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import join_by_time, mark_slates, move_photos

WHO = "Ines Varro"


@pytest.fixture
def store(memory_store, dive) -> Any:
    """One unit with two photos, one apart, one of which nobody said anything, one set aside."""
    dive.add_visit(memory_store)
    shots = [("s", 0), ("a", 1), ("b", 2), ("apart", 3), ("late", 60), ("deck", 61)]
    ids = dive.add_photos(memory_store, shots)
    mark_slates(memory_store, [ids[0]], UnitWords(name="T1"), WHO)
    join_by_time(memory_store, dive.VISIT)
    move_photos(memory_store, [ids[3]], None)
    set_aside(memory_store, [ids[5]], ("not_reef", ""), (WHO, "2024-05-19T12:00:00Z"))
    return memory_store


@pytest.mark.parametrize(
    ("show", "names"),
    [
        ("slate", ["s"]),
        ("no_unit", ["late"]),
        ("apart", ["apart"]),
        ("aside", ["deck"]),
        ("all", ["s", "a", "b", "apart", "late", "deck"]),
    ],
)
def test_photos_are_chosen_by_what_was_said_of_them(store, dive, show, names) -> None:
    found = list_photos(store, dive.VISIT, PhotoFilter(show=show))
    assert [line.name for line in found.lines] == [f"{name}.JPG" for name in names]
    assert found.counts[show] == len(names)


def test_photos_of_a_unit_and_of_a_stretch(store, dive) -> None:
    (unit,) = store.units()
    found = list_photos(store, dive.VISIT, PhotoFilter(unit=unit.unit_id))
    assert [(line.name, line.how) for line in found.lines] == [
        ("s.JPG", "slate"),
        ("a.JPG", "time"),
        ("b.JPG", "time"),
    ]
    assert {line.unit for line in found.lines} == {unit}
    among = frozenset({dive.sha_of("b"), dive.sha_of("late")})
    found = list_photos(store, dive.VISIT, PhotoFilter(among=among))
    assert [line.name for line in found.lines] == ["b.JPG", "late.JPG"]


def test_photos_set_aside_wait_for_no_correction(store, dive) -> None:
    found = list_photos(store, None, PhotoFilter())
    assert len(found.found) == 6
    assert len(found.untried) == len(found.standing) == 5
    assert dive.sha_of("deck") not in found.standing
    assert found.lines[-1].aside.reason == "not_reef"


def test_the_first_step_is_a_screen_and_no_photo_is_left_out_or_comes_twice(
    memory_store, dive
) -> None:
    dive.add_visit(memory_store)
    dive.add_photos(memory_store, [(f"p{k:03d}", k) for k in range(140)])
    steps = [list_photos(memory_store, None, PhotoFilter(), page) for page in (1, 2, 3, 4)]
    assert [len(step.lines) for step in steps] == [15, 60, 60, 5]
    assert [step.has_more for step in steps] == [True, True, True, False]
    names = [line.name for step in steps for line in step.lines]
    assert names == [f"p{k:03d}.JPG" for k in range(140)]
