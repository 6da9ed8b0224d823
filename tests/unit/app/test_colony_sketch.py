"""Where a colony stands, from bearings and distances: hand-worked places."""

from __future__ import annotations

import pytest

from dryslate.app.colony_records import Colony, Neighbour
from dryslate.app.colony_sketch import location_sketch


def colony(**more: object) -> Colony:
    values = {
        "organism_id": "o",
        "site": "s",
        "label": "17",
        "first_visit_id": "v",
        "why_tagged": "random",
        "observer": "x",
        "tagged_at": "t",
    } | more
    return Colony(**values)


def beside(what: str, bearing: float | None, far: float | None) -> Neighbour:
    return Neighbour(what=what, bearing_deg=bearing, distance_m=far)


def test_bearings_turn_from_north_by_east_and_the_stake_lies_back_along_its_own() -> None:
    around = (beside("north", 0.0, 1.0), beside("east", 90.0, 2.0), beside("sw", 225.0, 2.0))
    found = location_sketch(
        colony(from_what="stake", bearing_deg=150.0, distance_m=2.0, neighbours=around)
    )
    places = {m.what: (m.east, m.north) for m in found.marks}
    assert places["north"] == pytest.approx((0.0, 0.5))
    assert places["east"] == pytest.approx((1.0, 0.0), abs=1e-9)
    assert places["sw"] == pytest.approx((-(0.5**0.5), -(0.5**0.5)))
    # 150 degrees from the stake to the colony: from the colony it lies at 330, west of north
    assert places["stake"] == pytest.approx((-0.5, 0.75**0.5))
    assert [m.number for m in found.marks] == [1, 2, 3, 4]
    assert (found.half_m, found.bar_m) == (2.0, 2.0)


def test_far_stake_is_drawn_at_the_edge_and_neighbours_keep_their_scale() -> None:
    found = location_sketch(
        colony(
            from_what="stake", bearing_deg=90.0, distance_m=40.0,
            neighbours=(beside("18", 0.0, 0.8),),
        )
    )  # fmt: skip
    stake, other = found.marks
    assert (stake.east, stake.is_beyond) == (pytest.approx(-1.0), True)
    assert (other.north, other.is_beyond) == (pytest.approx(1.0), False)
    assert (found.half_m, found.bar_m) == (0.8, 0.5)
    alone = location_sketch(colony(from_what="stake", bearing_deg=90.0, distance_m=40.0))
    assert not alone.marks[0].is_beyond
    assert alone.bar_m == 20.0


def test_what_lacks_bearing_or_distance_is_listed_and_not_drawn() -> None:
    found = location_sketch(
        colony(from_what="stake", neighbours=(beside("fan", 20.0, None), beside("rock", None, 1.0)))
    )
    assert [m.what for m in found.marks] == ["stake", "fan", "rock"]
    assert not found.is_drawn
    assert location_sketch(colony()).marks == ()
