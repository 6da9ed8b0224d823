"""Points of a unit: the same on every machine, on photos that count, in the seed's order."""

from __future__ import annotations

import hashlib

import pytest

from dryslate.app.set_aside import set_aside
from dryslate.app.survey_records import StatedDesign
from dryslate.app.unit_points import place_unit_points, points_table, seed_of
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import mark_slates, start_unit
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import UnitDesign

WHO = "Ines Varro"


@pytest.fixture
def unit(memory_store, dive) -> str:
    visit_id = dive.add_visit(memory_store)
    shots = [(name, n) for n, name in enumerate(("a", "b", "c", "d", "e"))]
    ids = dive.add_photos(memory_store, shots)
    edit = start_unit(memory_store, visit_id, UnitWords(name="P1", kind="photo_station"), WHO, ids)
    return next(iter(edit.units))


def stated(unit: str, **more: object) -> StatedDesign:
    values = {"design": "photo_points", "n_points": 6, "point_rule": "random", "seed": 3, **more}
    design = UnitDesign(**values)
    return StatedDesign(
        unit_id=unit, design=design, list_version=None, observer=WHO, stated_at="2024-05-19T12:00Z"
    )


def place(store, unit: str, size=(600, 400), **more: object):
    return place_unit_points(store, stated(unit, **more), lambda photo: size)


def test_same_seed_same_points_and_order_and_another_seed_others(memory_store, unit) -> None:
    first, again = place(memory_store, unit), place(memory_store, unit)
    other = place(memory_store, unit, seed=4)
    assert points_table(first) == points_table(again)
    assert {f.photo.photo_id for f in first} == {f.photo.photo_id for f in other}
    assert points_table(first) != points_table(other)
    orders = {tuple(f.name for f in place(memory_store, unit, seed=n)) for n in range(12)}
    assert len(orders) > 6, "the order of photos tells when they were taken"
    for frame in first:
        assert all(-0.5 <= x < 599.5 and -0.5 <= y < 399.5 for x, y in frame.points_px)


def test_points_are_what_their_stated_rule_gives(memory_store, unit) -> None:
    frame = place(memory_store, unit)[0]
    words = f"dryslate points 3 {frame.photo.photo_id} 0"
    for value, axis, length in zip(frame.points_px[0], "xy", (600, 400), strict=True):
        first = int(hashlib.sha256(f"{words} {axis}".encode()).hexdigest()[:16], 16) >> 11
        assert value == round(first / 2**53 * length - 0.5, 2)


def test_a_unit_without_a_seed_has_one_of_its_own(memory_store, unit) -> None:
    assert seed_of(stated(unit, seed=None)) == seed_of(stated(unit, seed=None))
    assert seed_of(stated(unit, seed=None)) != seed_of(stated("another", seed=None))
    assert seed_of(stated(unit, seed=0)) == 0


def test_slates_and_photos_set_aside_or_unreadable_have_no_points(memory_store, unit, dive) -> None:
    set_aside(memory_store, [dive.sha_of("b")], ("blurred", ""), (WHO, "2024-05-19T12:00:00Z"))
    mark_slates(memory_store, [dive.sha_of("c")], None, WHO)
    names = {f.name for f in place(memory_store, unit)}
    assert not names & {"b.JPG", "c.JPG"}
    assert place(memory_store, unit, size=None) == ()


def test_a_unit_of_another_design_has_no_points(memory_store, unit) -> None:
    with pytest.raises(InputError) as told:
        place(memory_store, unit, design="belt")
    assert told.value.slug == "points-not-of-design"
    with pytest.raises(InputError):
        place(memory_store, unit, n_points=None)
