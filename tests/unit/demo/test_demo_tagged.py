"""Tagged colonies of the made-up trip as planned and judged, and the loggers' heat stress."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from dryslate.app.project_records import Site
from dryslate.app.site_loggers import site_heat
from dryslate.demo.following import coral_of, is_near, judged, off_px, points_around
from dryslate.demo.logger import DEPLOYED, GAP, OFFSET_C, WARMEST, log_heat, logger_table
from dryslate.demo.survey_rows import TAPE_M, draw_records
from dryslate.demo.survey_truth import plan_survey
from dryslate.demo.tagged import ROUND_DATES, TAGGED, health_of, tagged_at
from dryslate.demo.trip_plan import plan_trip
from dryslate.store.sqlite import SqliteSurveyStore


def test_stories_are_whole_and_of_every_sort() -> None:
    for tagged in TAGGED:
        assert len(tagged.health) == len(ROUND_DATES) >= 3
        for round_ in range(len(ROUND_DATES)):
            health = health_of(tagged, round_, 1)
            if health is not None:
                shares = [getattr(health, name) for name in health.__dataclass_fields__]
                assert sum(shares) == pytest.approx(1.0)
                assert min(shares) >= 0.0
    assert len(TAGGED) >= 6
    assert {t.why for t in TAGGED} == {"random", "place", "stressed"}
    stressed = [t for t in TAGGED if t.why == "stressed"]
    assert all(health_of(t, t.first_round, 1).bleached > 0.5 for t in stressed)
    gone = [t for t in TAGGED if None in t.health]
    assert [t.state_on(3) for t in gone] == ["not_found"]  # lost is not dead
    assert any(t.health[-1] is not None and t.health[-1].old_dead > 0.25 for t in TAGGED)
    assert any(t.state_on(r) == "tag_lost" for t in TAGGED for r in range(4))
    steady = [t for t in TAGGED if len(set(t.health)) == 1]
    assert all(health_of(t, 0, seed) == t.health[0] for t in steady for seed in (1, 2))
    assert health_of(TAGGED[0], 1, 1) == health_of(TAGGED[0], 1, 1) != health_of(TAGGED[0], 1, 2)


def test_lost_colony_is_in_no_photo_and_the_others_are_where_they_were() -> None:
    by_date = {v.date: {c.name: c for s in v.stations for c in s.station.colonies}
               for v in plan_trip(1)}  # fmt: skip
    for tagged in TAGGED:
        dates = [dates[tagged.station // 3] for dates in ROUND_DATES]
        there = [coral_of(tagged) in by_date[date] for date in dates]
        assert there == [health is not None for health in tagged.health]
        places = {by_date[d][coral_of(tagged)].centre_mm
                  for d, is_there in zip(dates, there, strict=True) if is_there}  # fmt: skip
        assert len(places) == 1
    assert tagged_at(1, 0) is None


def test_fractions_judged_by_eye_make_a_hundred_and_stay_near() -> None:
    rng = np.random.default_rng(3)
    true = {"normal": 0.34, "pale": 0.2, "bleached": 0.26, "recently_dead": 0.2, "old_dead": 0.0}
    off = []
    for _ in range(200):
        found = judged(true, rng)
        assert sum(found.values()) == pytest.approx(100.0)
        assert all(value >= 0 and value % 5 == pytest.approx(0.0) for value in found.values())
        assert found["old_dead"] == 0.0
        off += [found[name] - 100.0 * true[name] for name in true if true[name]]
    assert abs(float(np.mean(off))) < 1.0
    assert 3.0 < float(np.std(off)) < 8.0


def test_outline_that_lies_wrong_is_told_from_one_that_lies_right() -> None:
    turn = np.arange(72) * 2.0 * np.pi / 72
    round_ = np.column_stack([500.0 + 150.0 * np.cos(turn), 400.0 + 130.0 * np.sin(turn)])
    coral = {"outline_px": round_.tolist()}
    points = points_around(coral)
    gaps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    assert gaps.max() / gaps.min() < 1.05
    assert off_px(points.tolist(), coral) < 0.5
    assert is_near((points + np.array([3.0, 0.0])).tolist(), coral)
    assert not is_near((points + np.array([25.0, 0.0])).tolist(), coral)


def test_logger_has_a_gap_and_hours_on_deck_and_gives_the_heat_of_the_rule(tmp_path: Path) -> None:
    with SqliteSurveyStore.create(tmp_path) as store:
        store.save_site(Site(site="Quiet Ledge"))
    (one,) = log_heat(tmp_path, tmp_path, {"Quiet Ledge": "Ines Varro"}, 5)
    with SqliteSurveyStore.open(tmp_path, write=False) as store:
        (kept,) = site_heat(store, "Quiet Ledge")
    assert kept.found is not None
    assert kept.found.dhw == pytest.approx(one.found.dhw)
    assert one.logger.read_bytes() == logger_table(np.random.default_rng([5, 76_000]))
    table = [line.split(",") for line in one.logger.read_text("utf-8").splitlines()[1:]]
    times = [datetime.fromisoformat(row[0]) for row in table]
    ends = [datetime.fromisoformat(text) for text in DEPLOYED]
    inside = [ends[0] <= time <= ends[1] for time in times]
    assert one.found.n_out_of_water == inside.count(False) > 24
    gap = [str(np.datetime64(text[:10])) for text in GAP]
    (empty,) = [g for g in one.found.gaps if g.n_readings == 0]
    assert (str(empty.first), str(empty.last + np.timedelta64(1, "D"))) == tuple(gap)
    # by hand: Liu et al. 2003, excesses of 1 degree and more over 84 days, divided by 7
    by_day: dict[str, list[float]] = {}
    for time, row, is_in in zip(times, table, inside, strict=True):
        if is_in:
            by_day.setdefault(time.date().isoformat(), []).append(float(row[1]))
    days = [str(day) for day in one.found.days]
    means = [
        np.mean(by_day[d]) - OFFSET_C if len(by_day.get(d, [])) >= 18 else np.nan for d in days
    ]
    excess = np.nan_to_num(np.array(means) - WARMEST[0])
    excess[excess < 1.0 - 1e-9] = 0.0
    dhw = [excess[max(k - 83, 0) : k + 1].sum() / 7.0 for k in range(len(days))]
    assert one.found.dhw == pytest.approx(dhw, abs=1e-6)
    assert max(dhw) > 4.0
    assert "4 reached on 2024-" in one.row()[1]


def test_same_seed_gives_the_same_plan_and_records_and_another_gives_others() -> None:
    assert plan_trip(2) == plan_trip(2) != plan_trip(3)
    (truth, *_) = plan_survey([("Quiet Ledge", "2024-03-10", "Tomo Halle")], 2)
    assert draw_records(truth, 2) == draw_records(truth, 2) != draw_records(truth, 3)


def test_colonies_under_a_tape_carry_their_reach_across_it() -> None:
    (truth, *_) = plan_survey([("Quiet Ledge", "2024-03-10", "Tomo Halle")], 2)
    units, rows = draw_records(truth, 2)
    tapes = {u["unit"] for u in units if u["design"] == "line_intercept"}
    met = [r for r in rows if r["unit"] in tapes and r["kind"] == "colony"]
    assert {r["unit"] for r in met} == tapes
    for row in met:
        assert 0.0 <= row["at_m"] <= TAPE_M
        assert row["across_line_m"] <= row["longest_cm"] / 100.0 + 0.006
        assert row["across_line_m"] >= row["across_cm"] / 100.0 - 0.006
    plain = [math.log(r["longest_cm"]) for r in rows if r["unit"] not in tapes
             and r["kind"] == "colony"]  # fmt: skip
    assert np.mean([math.log(r["longest_cm"]) for r in met]) > np.mean(plain)  # wide ones are met
