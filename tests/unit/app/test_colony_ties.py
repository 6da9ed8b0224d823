"""An outline carried by pairs of points: tried, saved with its pairs, and refused where poor."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_outlines import confirm_outline, draw_outline
from dryslate.app.colony_ties import carry_by_pairs, try_pairs
from dryslate.app.colony_visits import add_frame, frame_of
from dryslate.base.errors import InputError

WHO = ("Ines Varro", "2024-05-19T12:00:00Z")
OUTLINE = ((100.0, 100.0), (300.0, 110.0), (290.0, 300.0), (110.0, 290.0))
AROUND = ((80.0, 70.0), (330.0, 90.0), (320.0, 330.0), (70.0, 310.0), (200.0, 60.0))


def moved(by: float = 40.0) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return [((x, y), (x + by, y - by)) for x, y in AROUND]


@pytest.fixture
def held(memory_store, dive) -> Any:
    """A colony outlined in one photo, with a second photo; store, colony and photo ids."""
    dive.add_visit(memory_store)
    dive.add_photos(memory_store, [("a", 0), ("b", 1)])
    ids = [p.photo_id for p in memory_store.photos()]
    request = TagRequest(label="17", observer=WHO[0], visit=(dive.SITE, dive.DATE), why="random")
    colony = tag_colony(memory_store, request, WHO[1], lambda: "00000001-aaaa")
    draw_outline(memory_store, colony, ids[0], OUTLINE, WHO)
    add_frame(memory_store, colony, ids[1], WHO)
    return memory_store, colony, ids


def test_tried_pairs_say_where_the_outline_lies_and_save_nothing(held) -> None:
    store, colony, ids = held
    tried = try_pairs(store, colony, ids[1], moved())
    assert tried.may_save
    assert tried.problems == ()
    assert tried.outline_px[0] == pytest.approx((140.0, 60.0))
    assert tried.misfit_px == pytest.approx(0.0, abs=1e-6)
    assert tried.misfit_mm is None  # the photo has no scale
    assert [p.is_odd for p in tried.pairs] == [False] * 5
    assert frame_of(store, colony, ids[1]).outline_px == ()


def test_poor_few_and_one_sided_pairs_are_told(held) -> None:
    store, colony, ids = held
    few = try_pairs(store, colony, ids[1], moved()[:3])
    assert [p.slug for p in few.problems] == ["align-too-few-points"]
    assert not few.may_save
    wrong = [*moved()[:4], ((200.0, 60.0), (300.0, 100.0))]
    poor = try_pairs(store, colony, ids[1], wrong)
    assert "align-misfit" in [p.slug for p in poor.problems]
    assert [p.is_odd for p in poor.pairs] == [False, False, False, False, True]
    assert poor.words().startswith("Pairs off by 1: ")
    assert "Pair 5 does not fit the others." in poor.words()
    assert few.words() == ""
    assert not poor.may_save
    with pytest.raises(InputError, match="align-misfit"):
        carry_by_pairs(store, colony, ids[1], wrong, WHO)
    left = [((x / 4, y), (x / 4 + 9, y)) for (x, y), _ in moved()]
    aside = try_pairs(store, colony, ids[1], left)
    assert [(p.slug, p.severity) for p in aside.problems] == [("align-one-sided", "warning")]
    assert aside.may_save
    assert "do not lie all around" in aside.words()


def test_saved_with_its_pairs_confirmed_and_the_drawn_one_in_the_change_log(held) -> None:
    store, colony, ids = held
    draw_outline(store, colony, ids[1], OUTLINE, WHO)
    carried = carry_by_pairs(store, colony, ids[1], moved(), WHO)
    frame = frame_of(store, colony, ids[1])
    assert frame == carried.frame
    assert (frame.outline_how, frame.is_confirmed, frame.n_matches) == ("tie_points", True, 5)
    assert frame.carried_from == ids[0]
    assert [tuple(map(tuple, p)) for p in frame.as_dict()["tie_points_px"]] == moved()
    assert confirm_outline(store, colony, ids[1], WHO) == frame
    assert draw_outline(store, colony, ids[1], OUTLINE, WHO).tie_points_px == ()


def test_reference_and_photos_of_others_are_refused(held) -> None:
    store, colony, ids = held
    with pytest.raises(InputError, match="colony-outline-kept"):
        try_pairs(store, colony, ids[0], moved())
    store.delete_colony_frame(colony.organism_id, ids[1])
    with pytest.raises(InputError, match="colony-frame-unknown"):
        try_pairs(store, colony, ids[1], moved())
    reference = frame_of(store, colony, ids[0])
    store.save_colony_frame(replace(reference, is_reference=False))
    with pytest.raises(InputError, match="colony-no-outline"):
        try_pairs(store, colony, ids[0], moved())
