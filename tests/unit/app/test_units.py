"""Units: names, slates, moving, merging, setting photos aside, and undoing all of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dryslate.app.set_aside import set_aside, standing_photos, take_back
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_edits import save_edit
from dryslate.app.unit_list import find_unit, list_units
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import (
    add_slates,
    change_unit,
    join_by_time,
    mark_slates,
    merge_unit,
    move_photos,
    remove_unit,
    start_unit,
    surveyor_of,
    unmark_slates,
)
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import SurveyRow, UnitDesign

NOW = "2024-05-19T12:00:00Z"
WHO = "Ines Varro"
T1 = UnitWords(name="T1", kind="transect", zone="crest", depth_m=8.5, depth_m_u=0.5)


@pytest.fixture
def store(memory_store, dive) -> Any:
    """A visit with two slates and four photos."""
    dive.add_visit(memory_store)
    dive.add_photos(memory_store, [("s1", 0), ("a", 1), ("b", 2), ("s2", 5), ("c", 6), ("d", 7)])
    return memory_store


@pytest.fixture
def ids(dive) -> dict[str, str]:
    """Photos by name."""
    return {name: dive.sha_of(name) for name in ("s1", "a", "b", "s2", "c", "d")}


def state(store) -> tuple[object, ...]:
    """All that units consist of."""
    return tuple(sorted(store.units(), key=lambda u: u.unit_id)), store.unit_photos()


def test_a_unit_is_of_whose_photos_it_is_where_that_is_asked_for(store, ids, dive) -> None:
    with store.write():
        store.save_photo(replace(store.photo(ids["s2"]), observer="Tomo Halle"))
    mark_slates(store, [ids["s1"], ids["s2"]], None, "Mara", by_photos=True)
    assert [unit.observer for unit in store.units()] == [dive.OBSERVER, "Tomo Halle"]
    assert surveyor_of(store, [ids["a"], ids["b"]], "Mara") == dive.OBSERVER
    assert surveyor_of(store, [ids["a"], ids["s2"]], "Mara") == "Mara"
    assert surveyor_of(store, [], "Mara") == "Mara"


def test_slate_with_its_words_starts_a_unit(store, ids, dive) -> None:
    edit = mark_slates(store, [ids["s1"]], T1, WHO)
    (unit,) = store.units()
    assert (unit.name, unit.kind, unit.zone) == ("T1", "transect", "crest")
    assert (unit.depth_m, unit.depth_m_u, unit.observer) == (8.5, 0.5, WHO)
    assert [z.zone for z in store.zones(dive.SITE)] == ["crest"]
    (join,) = store.unit_photos()
    assert (join.photo_id, join.unit_id, join.how) == (ids["s1"], unit.unit_id, "slate")
    assert edit.units[unit.unit_id] == (None, unit)


def test_slates_can_be_marked_first_and_named_later(store, ids) -> None:
    mark_slates(store, [ids["s1"], ids["s2"]], None, WHO)
    assert [u.name for u in store.units()] == [None, None]
    assert mark_slates(store, [ids["s1"]], None, WHO).is_empty
    for unit, name in zip(store.units(), ("1", "2"), strict=True):
        change_unit(store, unit.unit_id, UnitWords(name=name, kind="Photo station"))
    assert [(u.name, u.kind) for u in store.units()] == [
        ("1", "photo_station"),
        ("2", "photo_station"),
    ]


@pytest.mark.parametrize("name", ["T1", "t1", " T1  "])
def test_second_unit_of_a_name_is_refused_with_which(store, ids, name) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    before = state(store)
    with pytest.raises(InputError, match=r"transect T1, slate s1\.JPG.*unit-name-taken"):
        mark_slates(store, [ids["s2"]], UnitWords(name=name), WHO)
    assert state(store) == before


def test_same_name_on_another_visit_is_another_unit(store, ids, dive) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    other = dive.add_visit(store, date="2024-05-20")
    (photo,) = dive.add_photos(store, [("s1", 0)], visit_id=other)
    mark_slates(store, [photo], T1, WHO)
    assert len({u.unit_id for u in store.units()}) == 2
    with pytest.raises(InputError, match=r"2024-05-19.*2024-05-20.*unit-ambiguous"):
        find_unit(store, "t1")
    assert find_unit(store, "T1", other).visit_id == other
    with pytest.raises(InputError, match="unit-not-found"):
        find_unit(store, "T9")


def test_photo_of_another_visit_is_refused(store, ids, dive) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    (unit,) = store.units()
    other = dive.add_visit(store, date="2024-05-20")
    (photo,) = dive.add_photos(store, [("z", 0)], visit_id=other)
    for tried in (
        lambda: move_photos(store, [ids["a"], photo], unit.unit_id),
        lambda: add_slates(store, unit.unit_id, [photo]),
        lambda: mark_slates(store, [ids["s2"], photo], UnitWords(name="T2"), WHO),
        lambda: start_unit(store, dive.VISIT, UnitWords(name="T2"), WHO, [photo]),
    ):
        with pytest.raises(InputError, match="unit-other-visit"):
            tried()
    assert len(store.unit_photos()) == 1


def test_what_is_not_there_is_refused(store, ids, dive) -> None:
    with pytest.raises(InputError, match="photo-not-in-project"):
        mark_slates(store, ["f" * 64], None, WHO)
    with pytest.raises(InputError, match="photo-not-in-project"):
        move_photos(store, [*ids.values(), "f" * 64], None)
    with pytest.raises(InputError, match="unit-unknown"):
        move_photos(store, [ids["a"]], "f" * 64)
    with pytest.raises(InputError, match="visit-unknown"):
        start_unit(store, "Nowhere 2024-01-01", UnitWords(name="T1"), WHO)
    with pytest.raises(InputError, match="name-empty"):
        start_unit(store, dive.VISIT, UnitWords(), WHO)
    with pytest.raises(InputError, match="unit-no-photo"):
        mark_slates(store, [], T1, WHO)
    assert state(store) == ((), ())


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (UnitWords(name="T\x00"), "name-odd"),
        (UnitWords(name="T" * 201), "name-odd"),
        (UnitWords(kind="belt of rubber"), "unit-kind"),
        (UnitWords(depth_m=-1.0), "unit-depth"),
        (UnitWords(depth_m=float("nan")), "unit-depth"),
        (UnitWords(depth_m=850.0), "unit-depth"),
        (UnitWords(depth_m_u=0.5), "unit-depth"),
        (UnitWords(depth_m=8.0, depth_m_u=-0.5), "unit-depth"),
        (UnitWords(zone="Crest"), "name-nearly"),
    ],
)
def test_words_that_cannot_be_are_refused(store, ids, words, slug) -> None:
    mark_slates(store, [ids["s2"]], T1, WHO)
    with pytest.raises(InputError, match=slug):
        mark_slates(store, [ids["s1"]], words, WHO)


def test_what_is_not_said_stays_unknown(store, ids) -> None:
    mark_slates(store, [ids["s1"]], UnitWords(name="T1", kind=" ", zone=""), WHO)
    (unit,) = store.units()
    assert (unit.kind, unit.zone, unit.depth_m, unit.depth_m_u) == (None, None, None, None)


def test_slate_moved_to_another_unit_is_an_ordinary_photo_of_it(store, ids) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    mark_slates(store, [ids["s2"]], None, WHO)
    (unit,) = [u for u in store.units() if u.name == "T1"]
    move_photos(store, [ids["s1"], ids["s2"]], unit.unit_id)
    assert store.units() == (unit,)
    assert {(j.photo_id, j.how) for j in store.unit_photos()} == {
        (ids["s1"], "slate"),
        (ids["s2"], "hand"),
    }


def test_slate_photographed_again_is_put_to_the_first_unit(store, ids, dive) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    mark_slates(store, [ids["s2"]], None, WHO)
    join_by_time(store, dive.VISIT)
    first, second = (u.unit_id for u in store.units())
    merge_unit(store, second, first)
    (summary,) = list_units(store)
    assert len(summary.slates) == 2
    assert len(summary.photos) == 4
    with pytest.raises(InputError, match="unit-other-visit"):
        merge_unit(store, first, first)


def test_unit_taken_out_frees_its_photos(store, ids, dive) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    join_by_time(store, dive.VISIT)
    remove_unit(store, store.units()[0].unit_id)
    assert state(store) == ((), ())
    assert len(store.photos()) == 6


def test_unit_without_a_slate_holds_what_was_put_to_it(store, ids, dive) -> None:
    start_unit(store, dive.VISIT, UnitWords(name="P1", kind="permanent plot"), WHO, [ids["a"]])
    (summary,) = list_units(store, dive.VISIT)
    assert (summary.unit.kind, summary.n_by_hand, len(summary.slates)) == ("permanent_plot", 1, 0)
    join_by_time(store, dive.VISIT)
    assert len(store.unit_photos()) == 1
    assert summary.as_dict()["photos"] == ["a.JPG"]
    assert summary.as_row()[:2] == ("P1", "permanent plot")


def test_every_edit_is_undone_and_done_again(store, ids, dive) -> None:
    edits, states = [], [state(store)]
    for step in (
        lambda: mark_slates(store, [ids["s1"]], T1, WHO),
        lambda: mark_slates(store, [ids["s2"]], None, WHO),
        lambda: join_by_time(store, dive.VISIT)[0],
        lambda: move_photos(store, [ids["c"]], None),
        lambda: unmark_slates(store, [ids["s2"]]),
        lambda: start_unit(store, dive.VISIT, UnitWords(name="P"), WHO, [ids["d"]]),
        lambda: change_unit(store, find_unit(store, "P").unit_id, UnitWords(name="P2")),
        lambda: merge_unit(store, find_unit(store, "P2").unit_id, find_unit(store, "T1").unit_id),
        lambda: remove_unit(store, find_unit(store, "T1").unit_id),
    ):
        edits.append(step())
        states.append(state(store))
        assert not edits[-1].is_empty
    for edit, before in zip(reversed(edits), reversed(states[:-1]), strict=True):
        save_edit(store, edit.reversed())
        assert state(store) == before
    for edit, after in zip(edits, states[1:], strict=True):
        save_edit(store, edit)
        assert state(store) == after


def test_undo_is_refused_where_somebody_changed_the_same_meanwhile(store, ids, dive) -> None:
    edit = mark_slates(store, [ids["s1"]], T1, WHO)
    (unit,) = store.units()
    change_unit(store, unit.unit_id, UnitWords(name="T1b"))
    with pytest.raises(InputError, match="changed-meanwhile"):
        save_edit(store, edit.reversed())
    assert store.units()[0].name == "T1b"


def test_undo_is_refused_where_others_put_photos_to_the_new_unit(store, ids) -> None:
    edit = mark_slates(store, [ids["s1"]], T1, WHO)
    move_photos(store, [ids["a"]], store.units()[0].unit_id)
    with pytest.raises(InputError, match="changed-meanwhile"):
        save_edit(store, edit.reversed())
    assert len(store.unit_photos()) == 2


def test_undo_is_refused_where_the_name_is_taken_meanwhile(store, ids) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    gone = remove_unit(store, store.units()[0].unit_id)
    mark_slates(store, [ids["s2"]], T1, WHO)
    with pytest.raises(InputError, match="changed-meanwhile"):
        save_edit(store, gone.reversed())


def test_unit_whose_sampling_is_stated_is_not_taken_out(store, ids) -> None:
    edit = mark_slates(store, [ids["s1"]], None, WHO)
    mark_slates(store, [ids["s2"]], T1, WHO)
    unnamed, other = (u.unit_id for u in store.units())
    store.save_unit_design(
        StatedDesign(
            unit_id=unnamed,
            design=UnitDesign(design="timed_swim", minutes=30.0),
            list_version=None,
            observer=WHO,
            stated_at=NOW,
        )
    )
    before = state(store)
    for tried in (
        lambda: remove_unit(store, unnamed),
        lambda: merge_unit(store, unnamed, other),
        lambda: save_edit(store, edit.reversed()),
    ):
        with pytest.raises(InputError, match="unit-in-use"):
            tried()
        assert state(store) == before
    unmark_slates(store, [ids["s1"]])
    assert unnamed in {u.unit_id for u in store.units()}


def test_a_photo_of_which_something_is_noted_stays_in_its_unit(store, ids) -> None:
    mark_slates(store, [ids["s1"]], T1, WHO)
    mark_slates(store, [ids["s2"]], UnitWords(name="T2"), WHO)
    (one, two) = (unit.unit_id for unit in store.units())
    move_photos(store, [ids["a"], ids["b"]], one)
    points = UnitDesign(design="photo_points", n_points=1, point_rule="random", seed=1)
    words = {"design": points, "list_version": None, "observer": WHO, "stated_at": NOW}
    store.save_unit_design(StatedDesign(unit_id=one, **words))
    row = SurveyRow(kind="point", category="sand", photo_id=ids["a"], x_px=5.0, y_px=5.0)
    store.save_survey_rows([NotedRow(unit_id=one, row=row, observer=WHO, noted_at=NOW)])
    before = state(store)
    for tried in (
        lambda: move_photos(store, [ids["a"], ids["b"]], two),
        lambda: move_photos(store, [ids["a"]], None),
        lambda: mark_slates(store, [ids["a"]], UnitWords(name="T3"), WHO),
    ):
        with pytest.raises(InputError, match=r"a\.JPG: what is noted of it is of transect T1"):
            tried()
        assert state(store) == before
    move_photos(store, [ids["b"]], two)
    move_photos(store, [ids["a"]], one)


def test_photos_are_set_aside_with_a_reason_and_taken_back(store, ids) -> None:
    edit = set_aside(store, [ids["a"], ids["b"]], ("not reef", " the deck "), (WHO, NOW))
    first = store.photos_set_aside()[0]
    assert (first.reason, first.note, first.observer, first.set_at) == (
        "not_reef",
        "the deck",
        WHO,
        NOW,
    )
    assert len(standing_photos(store)) == 4
    assert len(store.photos()) == 6
    again = set_aside(store, [ids["a"]], ("not_reef", "the deck"), (WHO, "2025-01-01T00:00:00Z"))
    assert again.is_empty
    take_back(store, [ids["a"], ids["c"]])
    assert len(standing_photos(store)) == 5
    with pytest.raises(InputError, match="changed-meanwhile"):
        save_edit(store, edit.reversed())


@pytest.mark.parametrize(
    ("reason", "note"), [("", ""), ("ugly", ""), ("other", "  "), ("other", "x" * 501)]
)
def test_reason_that_is_none_is_refused(store, ids, reason, note) -> None:
    with pytest.raises(InputError, match="aside-reason"):
        set_aside(store, [ids["a"]], (reason, note), (WHO, NOW))
    assert store.photos_set_aside() == ()
