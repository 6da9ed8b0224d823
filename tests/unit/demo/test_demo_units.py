"""The stations of the made-up trip become units, once."""

from __future__ import annotations

from pathlib import Path

from dryslate import wiring
from dryslate.app.unit_list import list_units
from dryslate.demo.units import begin_units


def test_stations_become_photo_stations_and_again_changes_nothing(tmp_path: Path, dive) -> None:
    with wiring.new_store(tmp_path, who=dive.OBSERVER) as store:
        dive.add_visit(store)
        dive.add_photos(store, [("A1", 0), ("A2", 1), ("B1", 20)])
    said = {"site": dive.SITE, "date": dive.DATE, "observer": dive.OBSERVER, "depth_m": 8.0}
    names = ("A1", "A2", "B1")
    truth = [
        {**said, "photo": f"{name}.JPG", "station": name[0], "shows": "station"} for name in names
    ]
    assert begin_units(tmp_path, truth) == 2
    assert begin_units(tmp_path, truth) == 0
    with wiring.survey_store(tmp_path, write=False) as store:
        units = list_units(store)
    assert [(u.unit.name, u.unit.kind, len(u.photos)) for u in units] == [
        ("A", "photo_station", 2),
        ("B", "photo_station", 1),
    ]
    assert {(u.unit.depth_m, u.unit.depth_m_u) for u in units} == {(8.0, 0.3)}


def test_frames_that_repeat_a_colony_are_of_no_unit(tmp_path: Path, dive) -> None:
    with wiring.new_store(tmp_path, who=dive.OBSERVER) as store:
        dive.add_visit(store)
        dive.add_photos(store, [("A1", 0), ("A2", 1), ("B1", 20)])
    said = {"site": dive.SITE, "date": dive.DATE, "observer": dive.OBSERVER, "depth_m": 8.0}
    shows = {"A1": "both", "A2": "colonies", "B1": "colonies"}
    truth = [
        {**said, "photo": f"{name}.JPG", "station": name[0], "shows": what}
        for name, what in shows.items()
    ]
    assert begin_units(tmp_path, truth) == 1
    assert begin_units(tmp_path, truth) == 0
    with wiring.survey_store(tmp_path, write=False) as store:
        (unit,) = list_units(store)
        names = {photo.photo_id: photo.files[0].original_name for photo in store.photos()}
        joins = {names[join.photo_id]: (join.unit_id, join.how) for join in store.unit_photos()}
    assert unit.unit.name == "A"
    own = unit.unit.unit_id
    assert joins == {"A1.JPG": (own, "hand"), "A2.JPG": (None, "hand"), "B1.JPG": (None, "hand")}
