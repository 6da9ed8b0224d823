"""Tagged colonies on the command line, on made photos whose colours and views are known."""

from __future__ import annotations

import importlib.util
import json
import shutil
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.colony_colours import colour_series
from dryslate.cli.main import build_app

SITE, FIRST, LATER = "Quiet Ledge", "2031-05-04", "2031-06-20"
BY = ("--observer", "Ana")


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [*map(str, words)])


def documents(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


@pytest.fixture(scope="module")
def photos() -> ModuleType:
    """A maker of photos of one colony."""
    path = Path(__file__).resolve().parents[1] / "fakes" / "colony_photos.py"
    spec = importlib.util.spec_from_file_location("colony_photos", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def followed(
    tmp_path_factory: pytest.TempPathFactory, card_photos, photos
) -> tuple[Path, list[dict[str, Any]]]:
    """
    Three frames of a colony on each of two visits, paler on the second, all corrected; its outline
    carried to all of them and confirmed, its colour measured. With what carrying told.
    """
    made = tmp_path_factory.mktemp("colonies")
    for date, lab, turns in (
        (FIRST, photos.HEALTHY, (0.0, 1.0, 2.0)),
        (LATER, photos.PALE, (-4.0, 5.0, 7.0)),
    ):
        (made / date).mkdir()
        for k, turn in enumerate(turns, start=1):
            name = f"{'A' if date == FIRST else 'B'}{k}.jpg"
            light = (0.9, 1.0, 1.1)[k - 1]
            photos.save_frame(card_photos, made / date / name, lab, light=light, turn=turn)
        taken = run("take", made / date, "--into", made / "trip", "--visit", SITE, date, *BY)
        assert taken.exit_code in (0, 3), taken.output
    corrected = run("correct", "--project", made / "trip", "--json")
    assert corrected.exit_code in (0, 3), corrected.output
    there = cv2.perspectiveTransform(np.array([photos.OUTLINE]), photos.view(0.0))[0]
    outline = "\n".join(f"{x:.2f},{y:.2f}" for x, y in there)
    (made / "outline.csv").write_text(outline, "utf-8")
    done = run(
        *("colonies", "tag", made / "trip", "17", "--visit", SITE, FIRST, "--why", "random"),
        *("--neighbour", "boulder coral=120,0.8", "--depth-m", 7.5, *BY, "--json"),
    )
    assert done.exit_code == 0, done.output
    drawn = run(
        *("colonies", "outline", made / "trip", "17", "A1.jpg"),
        *("--draw", made / "outline.csv", *BY),
    )
    assert drawn.exit_code == 0, drawn.output
    others = ("A2.jpg", "A3.jpg", "B1.jpg", "B2.jpg", "B3.jpg")
    result = run("colonies", "outline", made / "trip", "17", *others, *BY, "--json")
    assert result.exit_code == 0, result.output
    confirmed = run("colonies", "outline", made / "trip", "17", *others, "--confirm", *BY)
    assert confirmed.exit_code == 0, confirmed.output
    assert run("colonies", "follow", made / "trip", *BY).exit_code == 0
    return made / "trip", documents(result)


@pytest.fixture
def trip(followed, tmp_path: Path) -> Path:
    """A copy of that trip that a test may change."""
    return Path(shutil.copytree(followed[0], tmp_path / "trip"))


@pytest.fixture
def carried(followed) -> list[dict[str, Any]]:
    """What carrying the outline told."""
    found: list[dict[str, Any]] = followed[1]
    return found


def judge_later(trip: Path) -> None:
    """Say how the colony looked at the second visit."""
    shares = ("--normal", 10, "--pale", 60, "--bleached", 30, "--recently-dead", 0, "--old-dead", 0)
    seen = run("colonies", "see", trip, "17", "--visit", SITE, LATER, *shares, *BY)
    assert seen.exit_code == 0, seen.output


def tag_another(trip: Path) -> None:
    """Tag a second colony, which has no outline."""
    other = run("colonies", "tag", trip, "18", "--visit", SITE, FIRST, "--why", "stressed", *BY)
    assert other.exit_code == 0, other.output


def test_outline_is_carried_to_where_the_colony_lies(carried, photos) -> None:
    turns = {"A2.jpg": 1.0, "A3.jpg": 2.0, "B1.jpg": -4.0, "B2.jpg": 5.0, "B3.jpg": 7.0}
    for frame in carried:
        matrix = photos.view(turns[frame["photo"]])
        true = cv2.perspectiveTransform(np.array([photos.OUTLINE]), matrix)[0]
        off = np.linalg.norm(np.array(frame["outline_px"]) - true, axis=1)
        assert off.max() < 3.0
        assert frame["misfit_px"] < 2.0
        assert 0.0 < frame["misfit_mm"] < 1.0
        assert not frame["is_confirmed"]


def test_paling_is_seen_against_the_own_first_visit(trip: Path, photos) -> None:
    result = run("colonies", "follow", trip, *BY, "--json")
    assert result.exit_code == 0, result.output
    (found,) = documents(result)
    assert found["first_visit_id"] == f"{SITE} {FIRST}"
    changes = {c["figure"]: c for c in found["changes"][f"{SITE} {LATER}"]}
    chroma = [float(np.hypot(*lab[1:])) for lab in (photos.HEALTHY, photos.PALE)]
    true = {"lightness": photos.PALE[0] - photos.HEALTHY[0], "chroma": chroma[1] - chroma[0]}
    for figure, difference in true.items():
        change = changes[figure]
        assert change["lo95"] <= difference <= change["hi95"]
        assert change["n_frames"] == [3, 3]
    assert changes["lightness"]["verdict"] == "changed"
    assert changes["white_distance"]["verdict"] == "changed"
    assert changes["white_distance"]["difference"] < -10.0
    again = run("colonies", "follow", trip, *BY, "--json")
    assert documents(again) == [found]


def test_colours_of_an_earlier_version_hold_and_are_measured_again(trip: Path) -> None:
    (now,) = documents(run("colonies", "follow", trip, *BY, "--json"))
    with wiring.survey_store(trip, write=True, who="Ana") as store:
        rows = store.colony_colours()
        store.save_colony_colours(
            replace(row, measured={k: v for k, v in row.measured.items() if k != "mismatch_u"})
            for row in rows
        )
    with wiring.survey_store(trip, write=False) as store:
        before = colour_series(store, store.colonies()[0])
    assert before.n_stale == 0
    assert len(before.visits) == 2
    assert documents(run("colonies", "follow", trip, *BY, "--json")) == [now]
    with wiring.survey_store(trip, write=False) as store:
        assert all("mismatch_u" in row.measured for row in store.colony_colours() if row.measured)


def test_words_name_a_change_only_beyond_its_doubt(trip: Path) -> None:
    result = run("colonies", "follow", trip, *BY)
    assert "median of 3 frames, spread" in result.output
    assert "L*: changed, +" in result.output
    assert f"against {SITE} {FIRST}" in result.output


def test_state_and_fractions_are_noted_and_summed_up(trip: Path) -> None:
    shares = ("--normal", 10, "--pale", 60, "--bleached", 30, "--recently-dead", 0)
    words = ("colonies", "see", trip, "17", "--visit", SITE, LATER)
    bad = run(*words, *shares, "--old-dead", 5, *BY)
    assert bad.exit_code == 1
    assert "health-sum-not-100" in str(bad.exception)
    good = run(*words, *shares, "--old-dead", 0, "--lesion", "white edge", *BY, "--json")
    assert good.exit_code == 0, good.output
    (told,) = documents(good)
    assert told["mean_shares"]["pale_pct"] == 60.0
    assert len(told["frames"]) == 3
    listed = run("colonies", "list", trip)
    assert "at random" in listed.output
    health = documents(run("health", trip, "--json"))
    last = next(h for h in health if h.get("visit_id") == f"{SITE} {LATER}")
    assert (last["group"], last["n_judged"]) == ("not_chosen", 1)
    assert last["median_pct"]["bleached_pct"] == 30.0
    said = run("health", trip).output
    assert "pale 60 %" in said
    assert "L*: changed" in said


def test_looks_are_due_from_the_onset_and_overdue_when_missed(trip: Path) -> None:
    judge_later(trip)
    why = ("--reason", "first white colonies seen")
    missing = run("colonies", "onset", trip, SITE, "2031-04-20", *BY)
    assert "onset-reason-missing" in str(missing.exception)
    unknown = run("colonies", "onset", trip, "Nowhere", "2031-04-20", *why, *BY)
    assert "onset-site-unknown" in str(unknown.exception)
    assert run("colonies", "onset", trip, SITE, "2031-04-20", *why, *BY).exit_code == 0
    due = {d["step"]: d for d in documents(run("colonies", "due", trip, "--today", "2032-01-01",
                                               "--json"))}  # fmt: skip
    states = {step: d["state"] for step, d in due.items()}
    assert states == {
        "weeks_2_4": "done",
        "months_2": "done",
        "months_6": "overdue",
        "months_12": "open",
        "months_24": "open",
    }
    assert due["months_2"]["due_date"] == "2031-06-20"
    table = run("colonies", "due", trip, "--today", "2032-01-01", "--overdue")
    assert "1 look " in table.output
    assert "overdue," in table.output
    assert "2032-03-20" in table.output  # the day before the next look begins
    to_do = run("colonies", "due", trip, "--today", "2032-01-01", "--to-do", "--json")
    assert [d["state"] for d in documents(to_do)] == ["overdue"]
    later = run("colonies", "due", trip, "--today", "2032-04-01", "--json")
    assert [d["state"] for d in documents(later)] == ["done", "done", "missed", "due", "open"]
    back = run("colonies", "onset", trip, SITE, "2031-04-20", "--take-back", *BY)
    assert back.exit_code == 0, back.output
    none = run("colonies", "due", trip, "--json")
    assert none.exit_code == 0, none.output
    assert documents(none) == []
    twice = run("colonies", "onset", trip, SITE, "2031-04-20", "--take-back", *BY)
    assert "onset-unknown" in str(twice.exception)


def test_what_cannot_be_carried_or_confirmed_is_said(trip: Path, tmp_path: Path) -> None:
    words = ("colonies", "outline", trip)
    tag_another(trip)
    for extra, slug in ((("18", "B1.jpg"), "colony-no-outline"),
                        (("17", "A1.jpg"), "colony-outline-kept")):  # fmt: skip
        result = run(*words, *extra, *BY)
        assert result.exit_code == 3
        assert slug in result.output
    assert "colony-no-outline" in str(run(*words, "18", "A2.jpg", "--confirm", *BY).exception)
    assert "colony-reference-needed" in str(run(*words, "17", "A1.jpg", "--remove", *BY).exception)
    (tmp_path / "bad.csv").write_text("1,1\n2,2\n", "utf-8")
    bad = run(*words, "18", "A2.jpg", "--draw", tmp_path / "bad.csv", *BY)
    assert "colony-outline-odd" in str(bad.exception)


def test_points_picked_by_hand_carry_it_too(trip: Path, photos, tmp_path: Path) -> None:
    places = np.array([[(1050.0, 40.0), (1400.0, 60.0), (1390.0, 330.0), (1040.0, 320.0)]])
    move = photos.view(5.0) @ np.linalg.inv(photos.view(0.0))
    there = cv2.perspectiveTransform(places, move)[0]
    lines = [f"{a[0]},{a[1]},{b[0]},{b[1]}" for a, b in zip(places[0], there, strict=True)]
    (tmp_path / "pairs.csv").write_text("\n".join(lines), "utf-8")
    result = run(
        *("colonies", "outline", trip, "17", "B2.jpg", "--points", tmp_path / "pairs.csv"),
        *(*BY, "--json"),
    )
    assert result.exit_code == 0, result.output
    (frame,) = documents(result)
    assert (frame["model"], frame["outline_how"]) == ("similarity", "tie_points")
    given = ("colonies", "outline", trip, "17", "B2.jpg", "--points", tmp_path / "pairs.csv")
    assert "Pairs off by 1: 0.0 mm, 2: 0.0 mm" in " ".join(run(*given, *BY).output.split())
    assert run("colonies", "outline", trip, "17", "B2.jpg", "--confirm", *BY).exit_code == 0


def test_frame_without_a_card_in_it_says_why_it_has_no_colour(trip: Path) -> None:
    from dryslate import wiring
    from dryslate.app.colony_colours import measure_frame

    class NoCorrections:
        """The project's store, as if nothing had been corrected."""

        def __init__(self, store: Any) -> None:
            self._store = store

        def __getattr__(self, name: str) -> Any:
            return getattr(self._store, name)

        def correction(self, photo_id: str) -> None:
            return None

    with wiring.survey_store(trip, write=False) as store:
        bench = wiring.measure_bench(trip, NoCorrections(store))
        frame = store.colony_frames()[0]
        found = measure_frame(bench, frame, "2031-06-20T00:00:00Z").measured
    slugs = [p["slug"] for p in found["problems"]]
    assert slugs == ["measure-colour-no-fit", "white-not-readable"]
    assert "lab" not in found


def test_project_with_colonies_is_sound_and_comes_back_from_a_backup(
    trip: Path, tmp_path: Path
) -> None:
    assert not [p for p in documents(run("check", trip, "--json"))[0]["problems"]
                if p["slug"].startswith(("colony-", "log-"))]  # fmt: skip
    made = run("backup", trip, "--to", tmp_path / "safe", *BY, "--json")
    (folder,) = [p for p in (tmp_path / "safe").iterdir() if p.is_dir()]
    assert made.exit_code in (0, 3), made.output
    back = run("restore", folder, "--into", tmp_path / "again")
    assert back.exit_code in (0, 3), back.output
    assert documents(run("health", tmp_path / "again", "--json")) == documents(
        run("health", trip, "--json")
    )


def test_timeline_is_the_same_picture_each_time_and_says_what_it_shows(
    trip: Path, tmp_path: Path
) -> None:
    shares = ("--normal", 90, "--pale", 10, "--bleached", 0, "--recently-dead", 0, "--old-dead", 0)
    run("colonies", "see", trip, "17", "--visit", SITE, FIRST, *shares, *BY)
    tag_another(trip)
    run("colonies", "see", trip, "18", "--visit", SITE, LATER, "--state", "not_found", *BY)
    rows = [f"2031-{m:02d}-{d:02d}T12:00Z,{29.5}" for m in (4, 5, 6) for d in range(1, 29)]
    (tmp_path / "logger.csv").write_text("time,temperature_c\n" + "\n".join(rows), "utf-8")
    heat = ("--logger", tmp_path / "logger.csv", "--warmest-month", 28.0, "made up")
    for name in ("a.svg", "b.svg"):
        done = run("colonies", "plot", trip, "17", "-o", tmp_path / name, *heat)
        assert done.exit_code == 0, done.output
    text = (tmp_path / "a.svg").read_text("utf-8")
    assert text == (tmp_path / "b.svg").read_text("utf-8")
    for words in ("recently dead", "distance from white", "°C-weeks", "hollow"):
        assert words in text
    assert run("colonies", "plot", trip, "18", "-o", tmp_path / "c.svg").exit_code == 0
    assert "not found" in (tmp_path / "c.svg").read_text("utf-8")
    bare = run("colonies", "plot", trip, "17", "-o", tmp_path / "d.svg", *heat[:2])
    assert bare.exit_code == 2


def test_shares_that_make_the_whole_leave_nothing_to_the_others(trip: Path) -> None:
    words = ("colonies", "see", trip, "17", "--visit", SITE, LATER, *BY, "--json")
    part = documents(run(*words, "--normal", 60, "--pale", 30))[0]
    assert part["mean_shares"] is None  # ten per cent are not told
    whole = documents(run(*words, "--normal", 60, "--pale", 40))[0]
    assert whole["mean_shares"]["bleached_pct"] == 0.0
    assert whole["mean_shares"]["pale_pct"] == 40.0


def test_project_without_tagged_colonies_says_so(tmp_path: Path) -> None:
    assert run("new", tmp_path / "p").exit_code == 0
    assert "No tagged colonies yet" in run("health", tmp_path / "p").output
    assert documents(run("health", tmp_path / "p", "--json")) == []
