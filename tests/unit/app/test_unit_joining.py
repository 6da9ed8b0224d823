"""Photos joined to units by time: gaps, cameras, slates, and what was said by hand."""

from __future__ import annotations

from typing import Any

import pytest

from dryslate.app.project_records import ClockOffset
from dryslate.app.set_aside import set_aside, take_back
from dryslate.app.unit_joining import camera_strips
from dryslate.app.unit_list import list_units
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import (
    add_slates,
    join_by_time,
    let_time_say,
    look_at_times,
    mark_slates,
    move_photos,
    unmark_slates,
    usual_gap,
)
from dryslate.base.errors import InputError

NOW = "2024-05-19T12:00:00Z"
WHO = "Ines Varro"


@pytest.fixture
def store(memory_store, dive) -> Any:
    """A visit without photos."""
    dive.add_visit(memory_store)
    return memory_store


def start(store, photo: str, name: str, kind: str = "transect") -> str:
    """Mark a slate; returns the unit."""
    edit = mark_slates(store, [photo], UnitWords(name=name, kind=kind), WHO)
    (unit,) = edit.units
    return unit


def units_of(store, ids: list[str]) -> list[str | None]:
    """Names of the units photos belong to."""
    name = {u.unit_id: u.name for u in store.units()}
    joins = {j.photo_id: j.unit_id for j in store.unit_photos()}
    return [name.get(joins.get(i) or "") for i in ids]


def test_what_follows_a_slate_belongs_to_it_until_the_next(store, dive) -> None:
    ids = dive.add_photos(
        store, [("a", 0), ("s1", 1), ("b", 2), ("c", 9), ("s2", 12), ("d", 13), ("e", 14)]
    )
    start(store, ids[1], "T1")
    start(store, ids[4], "T2")
    edit, plan = join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == [None, "T1", "T1", "T1", "T2", "T2", "T2"]
    assert plan.before_first == (ids[0],)
    assert plan.breaks == ()
    assert {edit.photos[i][1].how for i in (ids[2], ids[3], ids[5], ids[6])} == {"time"}
    assert {edit.photos[i][1].gap_min for i in ids[2:4]} == {10.0}
    assert join_by_time(store, dive.VISIT)[0].is_empty


def test_pause_just_at_the_limit_is_joined_and_a_longer_one_is_told(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 10), ("b", 20.02), ("c", 21)])
    unit = start(store, ids[0], "T1")
    _, plan = join_by_time(store, dive.VISIT, 10.0)
    assert units_of(store, ids) == ["T1", "T1", None, None]
    (gap,) = plan.breaks
    assert (gap.unit_id, gap.last, gap.next) == (unit, ids[1], ids[2])
    assert gap.gap_min == pytest.approx(10.02, abs=0.001)
    assert plan.after_break == (ids[2], ids[3])
    join_by_time(store, dive.VISIT, 10.5)
    assert units_of(store, ids) == ["T1"] * 4
    assert usual_gap(store, dive.VISIT) == 10.5


def test_each_camera_follows_its_own_slate(store, dive) -> None:
    one = dive.add_photos(store, [("s1", 0), ("a", 1), ("b", 5)], camera="One")
    two = dive.add_photos(store, [("c", 1.5), ("s1b", 2), ("d", 3)], camera="Two")
    three = dive.add_photos(store, [("e", 2.5)], camera="Two", serial="77")
    unit = start(store, one[0], "T1")
    add_slates(store, unit, [two[1]])
    _, plan = join_by_time(store, dive.VISIT)
    assert units_of(store, one) == ["T1"] * 3
    assert units_of(store, two) == [None, "T1", "T1"]
    assert units_of(store, three) == [None]
    assert set(plan.before_first) == {two[0], three[0]}


def test_slate_photographed_twice_and_again_at_the_end_is_one_unit(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("s again", 0.2), ("a", 1), ("s end", 30), ("b", 31)])
    unit = start(store, ids[0], "T1")
    add_slates(store, unit, [ids[1], ids[3]])
    join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1"] * 5
    (summary,) = list_units(store, dive.VISIT)
    assert [p.photo_id for p in summary.slates] == [ids[0], ids[1], ids[3]]
    assert [p.photo_id for p in summary.photos] == [ids[2], ids[4]]


def test_photos_without_a_time_are_told_and_never_joined(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 1), ("x", None), ("y", None)])
    start(store, ids[0], "T1")
    mark_slates(store, [ids[3]], None, WHO)
    _, plan = join_by_time(store, dive.VISIT)
    assert units_of(store, ids)[:3] == ["T1", "T1", None]
    assert plan.without_time == (ids[2],)
    assert plan.slates_without_time == (ids[3],)


def test_words_by_hand_outlive_a_clock_correction_and_a_new_joining(store, dive) -> None:
    ids = dive.add_photos(store, [("s1", 0), ("a", 1), ("b", 2), ("c", 3), ("s2", 4), ("d", 5)])
    late = dive.add_photos(store, [("e", 65)], camera="Two")
    first = start(store, ids[0], "T1")
    start(store, ids[4], "T2")
    join_by_time(store, dive.VISIT)
    move_photos(store, [ids[5]], first)
    move_photos(store, [ids[1], late[0]], None)
    store.save_clock_offset(
        ClockOffset(visit_id=dive.VISIT, camera="Made One", offset_s=3600.0, utc_offset="+07:00")
    )
    edit, plan = join_by_time(store, dive.VISIT)
    assert edit.is_empty
    assert units_of(store, ids) == ["T1", None, "T1", "T1", "T2", "T1"]
    assert plan.n_by_hand == 3
    let_time_say(store, [ids[5], ids[1], ids[2]])
    edit, _ = join_by_time(store, dive.VISIT)
    assert edit.photo_ids == {ids[1], ids[5]}
    assert units_of(store, ids) == ["T1"] * 4 + ["T2"] * 2


def test_clock_of_one_camera_moves_its_photos_only(store, dive) -> None:
    """Camera Two's clock is an hour off; a slate of its own keeps its order whatever the clock."""
    one = dive.add_photos(store, [("s", 0), ("a", 1)])
    two = dive.add_photos(store, [("s2", 60), ("b", 61)], camera="Two")
    unit = start(store, one[0], "T1")
    add_slates(store, unit, [two[0]])
    join_by_time(store, dive.VISIT)
    (before,) = list_units(store, dive.VISIT)
    store.save_clock_offset(ClockOffset(visit_id=dive.VISIT, camera="Made Two", offset_s=-3600.0))
    (after,) = list_units(store, dive.VISIT)
    assert (before.end - before.begin).total_seconds() == 61 * 60
    assert (after.end - after.begin).total_seconds() == 60
    assert look_at_times(store, dive.VISIT).changes == {}


def test_photo_by_hand_of_another_unit_bridges_no_gap(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 6), ("b", 12), ("s2", 40)])
    start(store, ids[0], "T1")
    other = start(store, ids[3], "T2")
    move_photos(store, [ids[1]], other)
    _, plan = join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1", "T2", None, "T2"]
    assert [round(b.gap_min) for b in plan.breaks] == [12]


def test_photos_set_aside_are_not_joined_and_bridge_no_gap(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 6), ("b", 12)])
    start(store, ids[0], "T1")
    set_aside(store, [ids[1]], ("blurred", ""), (WHO, NOW))
    join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1", None, None]
    take_back(store, [ids[1]])
    join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1"] * 3


def test_slate_set_aside_starts_its_unit_all_the_same(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 1)])
    start(store, ids[0], "T1")
    set_aside(store, [ids[0]], ("blurred", ""), (WHO, NOW))
    join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1", "T1"]


def test_raw_and_jpeg_are_one_photo_and_any_of_its_files_names_it(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 1)], with_raw=True)
    edit = mark_slates(store, [dive.sha_of("s.NEF")], None, WHO)
    assert set(edit.photos) == {ids[0]}
    join_by_time(store, dive.VISIT)
    assert len(store.unit_photos()) == 2


def test_slate_taken_away_gives_its_photos_to_the_one_before(store, dive) -> None:
    ids = dive.add_photos(store, [("s1", 0), ("a", 1), ("s2", 2), ("b", 3)])
    start(store, ids[0], "T1")
    mark_slates(store, [ids[2]], None, WHO)
    join_by_time(store, dive.VISIT)
    assert len(store.units()) == 2
    unmark_slates(store, [ids[2]])
    assert [u.name for u in store.units()] == ["T1"]
    join_by_time(store, dive.VISIT)
    assert units_of(store, ids) == ["T1"] * 4


def test_what_was_looked_at_is_what_is_saved_or_nothing_is(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 1), ("b", 2)])
    start(store, ids[0], "T1")
    seen = look_at_times(store, dive.VISIT).key
    move_photos(store, [ids[2]], None)
    with pytest.raises(InputError, match="changed-meanwhile"):
        join_by_time(store, dive.VISIT, 10.0, seen)
    assert units_of(store, ids) == ["T1", None, None]
    join_by_time(store, dive.VISIT, 10.0, look_at_times(store, dive.VISIT).key)
    assert units_of(store, ids) == ["T1", "T1", None]


@pytest.mark.parametrize("gap_min", [0.0, -1.0, float("nan"), 1441.0, float("inf")])
def test_limit_that_is_none_is_refused(store, dive, gap_min) -> None:
    with pytest.raises(InputError, match="unit-gap"):
        look_at_times(store, dive.VISIT, gap_min)


def test_strip_is_cut_by_units_gaps_and_cameras(store, dive) -> None:
    ids = dive.add_photos(store, [("s", 0), ("a", 1), ("b", 30), ("c", 31), ("x", None)])
    dive.add_photos(store, [("d", 0.5)], camera="Two")
    start(store, ids[0], "T1")
    join_by_time(store, dive.VISIT)
    joins = {j.photo_id: j for j in store.unit_photos()}
    one, two = camera_strips(store.photos(dive.VISIT), joins, ())
    assert (one.camera, two.camera) == ("Made One", "Made Two")
    assert [len(s.photos) for s in one.stretches] == [2, 2]
    assert [s.gap_before_min for s in one.stretches] == [None, 29.0]
    assert one.stretches[0].slates == (ids[0],)
    assert [p.photo_id for p in one.without_time] == [ids[4]]
    assert two.stretches[0].unit_id is None
