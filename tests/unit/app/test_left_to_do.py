"""What is left to do, and how long things take at the team's own pace."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_visits import add_frame
from dryslate.app.identification_rows import IdentificationRow
from dryslate.app.left_to_do import FEWEST_GAPS, left_to_do, own_pace_min
from dryslate.app.records import CorrectionRow
from dryslate.app.set_aside import set_aside
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import change_unit, join_by_time, mark_slates, move_photos, start_unit
from dryslate.core.survey.designs import SurveyRow, UnitDesign

EIGHT = datetime(2026, 3, 14, 8, tzinfo=UTC)


def looks(minutes: list[float], observer: str = "Mara") -> list[IdentificationRow]:
    """Identifications at so many minutes after eight in the morning."""
    return [
        IdentificationRow(
            identification_id=f"{observer} {m}",
            record_id=f"r{m}",
            role="first",
            name_as_recorded="Favites",
            name="Favites",
            current_names=("Favites",),
            rank="genus",
            observer=observer,
            identified_at=(EIGHT + timedelta(minutes=m)).isoformat(),
            data_version="1",
        )
        for m in minutes
    ]


def test_pace_is_the_median_gap_and_breaks_do_not_count() -> None:
    times = [0.0, 1.0, 3.0, 5.0, 7.0, 60.0, 62.0, 64.0, 66.0, 70.0]  # a break of 53 minutes
    assert own_pace_min(looks(times)) == 2.0


def test_names_stored_in_one_go_tell_nothing_of_the_pace() -> None:
    assert own_pace_min(looks([5.0] * (FEWEST_GAPS + 5))) is None


def test_pace_is_not_told_before_there_are_enough_gaps() -> None:
    times = [2.0 * n for n in range(FEWEST_GAPS)]
    assert own_pace_min(looks(times)) is None
    assert own_pace_min(looks([*times, 2.0 * FEWEST_GAPS])) == 2.0


def test_two_people_at_once_do_not_make_each_other_look_quick() -> None:
    mine = [3.0 * n for n in range(FEWEST_GAPS)]
    hers = [3.0 * n + 1.0 for n in range(FEWEST_GAPS)]
    assert own_pace_min([*looks(mine), *looks(hers, "Tevi")]) == 3.0


def kinds_of(store) -> dict[str, int]:
    """What is left on the one visit."""
    (visit,) = left_to_do(store)
    return {item.kind: item.n for item in visit.items}


def test_visit_without_units_has_nothing_left_about_units(memory_store, dive) -> None:
    dive.add_visit(memory_store)
    dive.add_photos(memory_store, [("a", 0), ("b", 1)])
    assert kinds_of(memory_store) == {"one_copy": 2, "not_corrected": 2}


def test_units_without_name_or_photos_and_photos_without_a_unit_are_left(
    memory_store, dive
) -> None:
    store = memory_store
    dive.add_visit(store)
    ids = dive.add_photos(store, [("s1", 0), ("a", 1), ("s2", 5), ("b", 90), ("c", 91)])
    mark_slates(store, [ids[0]], UnitWords(name="T1"), "Ines Varro")
    mark_slates(store, [ids[2]], None, "Ines Varro")
    join_by_time(store, dive.VISIT)
    left = kinds_of(store)
    assert left == {"one_copy": 5, "unit_no_name": 1, "no_unit": 2, "not_corrected": 3}
    unnamed = next(u for u in store.units() if u.name is None)
    change_unit(store, unnamed.unit_id, UnitWords(name="T2"))
    move_photos(store, [ids[3]], None)
    left = kinds_of(store)
    assert (left["no_unit"], left["unit_no_photos"]) == (1, 1)
    assert "unit_no_name" not in left


def test_photos_set_aside_are_left_out_but_for_the_copies_that_keep_them(
    memory_store, dive
) -> None:
    store = memory_store
    dive.add_visit(store)
    ids = dive.add_photos(store, [("s", 0), ("a", 1), ("deck", 60)])
    mark_slates(store, [ids[0]], UnitWords(name="T1"), "Ines Varro")
    join_by_time(store, dive.VISIT)
    assert kinds_of(store)["no_unit"] == 1
    set_aside(store, [ids[2]], ("not_reef", ""), ("Ines Varro", "2024-05-19T12:00:00Z"))
    assert kinds_of(store) == {"one_copy": 3, "not_corrected": 1}
    (visit,) = left_to_do(store)
    assert (visit.n_photos, visit.n_left_alone, visit.n_units) == (2, 1, 1)


def test_slate_is_not_expected_to_have_a_card(memory_store, dive) -> None:
    store = memory_store
    dive.add_visit(store)
    ids = dive.add_photos(store, [("s", 0), ("a", 1), ("torn", 2)])
    for photo_id, outcome in zip(ids, ("no_card", "no_card", "unreadable"), strict=True):
        row = {"key": "k", "result": {}, "geometry": {}, "colour": {}}
        store.save_correction(CorrectionRow(photo_id=photo_id, outcome=outcome, **row))
    assert kinds_of(store)["no_card"] == 2
    mark_slates(store, [ids[0], ids[2]], None, "Ines Varro")
    left = kinds_of(store)
    assert (left["no_card"], left["unreadable"]) == (1, 1)


def test_units_that_are_noted_on_paper_need_no_photos(memory_store, dive) -> None:
    store = memory_store
    dive.add_visit(store)
    ways = {"L1": UnitDesign(design="photo_points"), "T1": UnitDesign(design="belt")}
    for name in ways:
        start_unit(store, dive.VISIT, UnitWords(name=name), "Ines Varro")
    ids = {unit.name: unit.unit_id for unit in store.units()}
    assert kinds_of(store) == {"unit_no_photos": 2}
    for name, design in ways.items():
        store.save_unit_design(
            StatedDesign(
                unit_id=ids[name],
                design=design,
                list_version=None,
                observer="Ines Varro",
                stated_at="2024-05-19T12:00:00Z",
            )
        )
    (visit,) = left_to_do(store)
    assert [(item.kind, item.n, item.first) for item in visit.items] == [
        ("unit_no_photos", 1, ids["L1"]),
        ("unit_blank", 1, ids["T1"]),
    ]


def test_units_that_are_blank_or_do_not_add_up_are_left(memory_store, dive) -> None:
    store = memory_store
    dive.add_visit(store)
    tape = UnitDesign(design="line_intercept", length_m=10.0)
    ids = []
    for name in ("T1", "T2", "T3"):
        start_unit(store, dive.VISIT, UnitWords(name=name), "Ines Varro")
        unit_id = next(unit.unit_id for unit in store.units() if unit.name == name)
        words = {"unit_id": unit_id, "design": tape, "list_version": None, "observer": "Ines Varro"}
        store.save_unit_design(StatedDesign(**words, stated_at="2024-05-19T12:00:00Z"))
        ids.append(unit_id)
    for unit_id, end in ((ids[0], 10.0), (ids[1], 7.5)):  # the second tape ends early
        row = SurveyRow(kind="intercept", category="sand", from_m=0.0, to_m=end)
        said = {"unit_id": unit_id, "row": row, "observer": "Ines Varro"}
        store.save_survey_rows([NotedRow(**said, noted_at="2024-05-19T12:00:00Z")])
    left = kinds_of(store)
    assert (left["unit_faults"], left["unit_blank"]) == (1, 1)
    (visit,) = left_to_do(store)
    found = {item.kind: item for item in visit.items}
    assert found["unit_faults"].first == ids[1]
    assert found["unit_blank"].first == ids[2]
    assert found["unit_faults"].reasons == (("intercepts-gap", 1),)


def test_units_whose_points_are_not_all_named_are_left(memory_store, dive) -> None:
    store, who, now = memory_store, "Ines Varro", "2024-05-19T12:00:00Z"
    dive.add_visit(store)
    ids = dive.add_photos(store, [("a", 0), ("b", 1), ("blurred", 2), ("torn", 3)])
    start_unit(store, dive.VISIT, UnitWords(name="P1"), who, ids)
    set_aside(store, [ids[2]], ("blurred", ""), (who, now))
    torn = {"key": "k", "result": {}, "geometry": {}, "colour": {}, "outcome": "unreadable"}
    store.save_correction(CorrectionRow(photo_id=ids[3], **torn))
    (unit,) = store.units()
    points = UnitDesign(design="photo_points", n_points=2, point_rule="random", seed=1)
    words = {"unit_id": unit.unit_id, "design": points, "list_version": None, "observer": who}
    store.save_unit_design(StatedDesign(**words, stated_at=now))
    assert "points_open" not in kinds_of(store)  # blank, which is said already
    for n, photo_id in enumerate((ids[0], ids[0], ids[1], ids[1]), start=1):
        row = SurveyRow(kind="point", category="sand", photo_id=photo_id, x_px=n, y_px=n)
        said = {"unit_id": unit.unit_id, "row": row, "observer": who}
        store.save_survey_rows([NotedRow(**said, noted_at=now)])
        assert ("points_open" in kinds_of(store)) == (n < 4)


def test_visit_on_which_tagged_colonies_were_photographed_has_its_corals(
    memory_store, dive
) -> None:
    store = memory_store
    dive.add_visit(store)
    (photo_id,) = dive.add_photos(store, [("a", 0)])
    row = {"key": "k", "result": {}, "geometry": {}, "colour": {}}
    store.save_correction(CorrectionRow(photo_id=photo_id, outcome="corrected", **row))
    assert "no_corals" in kinds_of(store)
    who = ("Ines Varro", "2024-05-19T12:00:00Z")
    request = TagRequest(label="17", observer=who[0], visit=(dive.SITE, dive.DATE), why="random")
    colony = tag_colony(store, request, who[1], lambda: "00000001-aaaa")
    add_frame(store, colony, photo_id, who)
    assert "no_corals" not in kinds_of(store)
