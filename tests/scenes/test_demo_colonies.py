"""Tagged colonies of the made-up trip: rendered small, followed, and held to the truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.demo import run as demo_run
from dryslate.demo.followed import Followed, held_to_truth
from dryslate.demo.following import follow_trip
from dryslate.demo.logger import draw_timelines, log_heat
from dryslate.demo.run import DemoTools, follow_only
from dryslate.demo.trip_plan import TripVisit, plan_trip

SEED = 6
SITE = "Quiet Ledge"


class Silent:
    """Progress that shows nothing."""

    def start(self, what: str, total: int | None) -> None: ...

    def step(self, n: int = 1, note: str = "") -> None: ...

    def done(self) -> None: ...


def small_trip(seed: int) -> tuple[TripVisit, ...]:
    """One site of the real plan on three of its rounds, nine photos of 1.1 MP."""
    found = []
    for visit in plan_trip(seed):
        if visit.site == SITE and visit.date < "2024-06":
            (tagged, *_) = visit.stations
            small = replace(tagged.station, px_per_mm=3.0, size_mm=(480.0, 380.0))
            stations = (replace(tagged, station=small),)
            found.append(replace(visit, stations=stations, size_px=(1200, 900)))
    return tuple(found)


@pytest.fixture(scope="module")
def done(tmp_path_factory) -> tuple[Path, Followed]:
    """The folder of a trip whose colonies were followed, and what came of it."""
    folder = tmp_path_factory.mktemp("colonies")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demo_run, "plan_trip", small_trip)
        return folder, follow_only(folder, SEED, DemoTools(progress=Silent(), say=lambda _: None))


def truth_in(folder: Path) -> list[dict]:
    return [json.loads(p.read_text("utf-8")) for p in sorted((folder / "truth").iterdir())]


def test_colonies_are_followed_over_three_visits(done) -> None:
    folder, found = done
    assert (found.n_colonies, found.n_stressed) == (4, 1)
    assert found.states == {"seen": 10, "not found": 1}
    assert found.n_photos >= 26
    assert len(found.carried_px) >= 12
    assert found.n_due == {"done": 8, "open": 12}
    with wiring.survey_store(folder / "made-up-trip", write=False) as store:
        colonies = {c.label: c for c in store.colonies()}
        visits = {v.visit_id: v.date for v in store.visits()}
        assert colonies["23"].why_tagged == "stressed"
        assert visits[colonies["23"].first_visit_id] == "2024-04-07"
        for colony in colonies.values():
            assert colony.neighbours
            assert colony.depth_m == 4.0
            assert colony.distance_m


def test_truth_lies_in_the_intervals_of_colour(done) -> None:
    _, found = done
    assert len(found.colours) >= 10
    assert sum(one.is_held for one in found.colours) >= 0.9 * len(found.colours)
    assert {one.figure for one in found.colours} >= {"lightness", "chroma"}
    white = [c for c in found.colours if (c.label, c.figure) == ("22", "lightness")]
    assert all(c.true > 10.0 for c in white)
    assert any(c.verdict == "changed" for c in white)
    assert not any(c.is_wrong for c in found.colours)


def test_truth_of_other_corals_is_not_held(done) -> None:
    """The comparison can fail: bleached corals that were not would lie outside."""
    folder, _ = done
    truth = truth_in(folder)
    for doc in truth:
        for coral in doc["colonies"]:
            coral["lab_d65"][0] -= 60.0 if doc["date"] > "2024-04" else 0.0
    other = held_to_truth(folder / "made-up-trip", truth)
    light = [c for c in other.colours if c.figure == "lightness"]
    assert sum(c.is_held for c in light) < 0.5 * len(light)
    assert sum(c.is_wrong for c in light) > 0


def test_carried_outlines_lie_on_their_colonies(done) -> None:
    _, found = done
    assert max(off for off, _ in found.carried_px) < 8.0


def test_followed_again_nothing_changes(done) -> None:
    folder, found = done
    truth = truth_in(folder)
    follow_trip(folder / "made-up-trip", truth, SEED)
    assert held_to_truth(folder / "made-up-trip", truth) == found


def test_timelines_carry_the_heat_of_their_site(done) -> None:
    folder, _ = done
    project = folder / "made-up-trip"
    log_heat(folder, project, {SITE: "Ines Varro"}, SEED)
    pictures = draw_timelines(project)
    texts = {p.stem: p.read_text("utf-8") for p in pictures.iterdir()}
    assert texts.keys() == {"21", "22", "23", "24"}
    assert all("°C-weeks" in text for text in texts.values())
    assert "not found" in texts["24"]
