"""Lengths, outlines and corallites: values, budgets, intervals, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.measure.budget import find_interval95
from dryslate.core.measure.lengths import (
    MeasureSettings,
    measure_corallites,
    measure_length,
    measure_outline,
)
from dryslate.core.measure.off_plane import OffPlane, height_of
from dryslate.core.scale.lens import Lens, lens_prior
from dryslate.core.scale.plane import Plane, ViewSettings, fit_plane, project_plane

SIZE = (4000, 3000)
FLAT = OffPlane(kind="in_plane")
CARD = np.concatenate(
    [
        np.array([(0, 0), (15, 0), (15, 15), (0, 15)], dtype=float) + at
        for at in ((5, 5), (130, 5), (130, 80), (5, 80))
    ]
)


def square_on(distance_mm: float = 600.0, *, print_u: float = 0.0, known: bool = True) -> Plane:
    """A card squarely before the camera, 5 px a millimetre at 600 mm."""
    focal = 3000.0
    params = np.array([focal, focal, 1999.5, 1499.5, 0, 0, 0, 0, 0])
    lens = Lens(
        name="made",
        model="normal",
        image_size_px=SIZE,
        params=params,
        covariance=np.diag([1e-4] * 4 + [1e-12] * 5),
    )
    seen = params[2:4] + (CARD - [75, 50]) * focal / distance_mm
    prior = lens_prior(None, SIZE, under_water=False)
    view = ViewSettings(
        image_size_px=SIZE,
        lens=lens if known else prior,
        print_scale_u_frac=print_u,
        centre_mm=(75, 50),
        size_mm=(150, 100),
    )
    return fit_plane(CARD, seen, 0.05, view)


def settings(u: float = 1.0, off: OffPlane | None = FLAT) -> MeasureSettings:
    return MeasureSettings(point_u_px=u, off_plane=off)


def at(plane: Plane, *mm: tuple[float, float]) -> np.ndarray:
    return project_plane(plane, np.array(mm, dtype=float))


def test_length_has_the_doubt_of_two_picked_points() -> None:
    plane = square_on()
    told = measure_length(plane, at(plane, (20, 50), (120, 50)), settings())
    assert told.kind == "length"
    assert told.values["length_mm"] == pytest.approx(100.0, abs=1e-4)
    # two points, each 1 px = 0.2 mm along the line
    assert told.budget["pointing_mm_u"] == pytest.approx(0.2 * np.sqrt(2), rel=1e-3)
    assert told.values["length_mm_u"] == pytest.approx(
        np.sqrt(sum(u**2 for u in told.budget.values())), rel=1e-9
    )
    half = 1.96 * told.values["length_mm_u"]
    assert told.values["length_mm_hi95"] - told.values["length_mm"] == pytest.approx(half, rel=1e-3)


def test_print_scale_is_one_factor_for_every_length() -> None:
    plane = square_on(print_u=0.004)
    for length in (20.0, 100.0):
        told = measure_length(plane, at(plane, (20, 50), (20 + length, 50)), settings(0.0))
        assert told.budget["print_scale_mm_u"] == pytest.approx(0.004 * length, rel=1e-6)
    area = measure_outline(plane, at(plane, (20, 20), (60, 20), (60, 60), (20, 60)), settings(0.0))
    assert area.budget["area_cm2"]["print_scale_cm2_u"] == pytest.approx(0.008 * 16.0, rel=1e-6)


def test_exact_points_in_an_exact_plane_leave_hardly_any_doubt() -> None:
    plane = square_on()
    told = measure_length(plane, at(plane, (20, 50), (120, 50)), settings(0.0))
    assert told.values["length_mm_u"] < 0.02
    assert told.problems == ()


def test_an_unstated_distance_is_taken_as_a_quarter_of_the_diameter() -> None:
    plane = square_on()
    told = measure_length(plane, at(plane, (0, 50), (150, 50)), settings(0.0, None))
    # rectangular, plus or minus 37.5 mm at 600 mm: u = 150 * 37.5 / 600 / sqrt 3
    assert told.budget["off_plane_mm_u"] == pytest.approx(150 * 37.5 / 600 / np.sqrt(3), rel=2e-3)
    # its 95 % interval is 0.95 of the whole width, not 1.96 standard uncertainties
    half = (told.values["length_mm_hi95"] - told.values["length_mm_lo95"]) / 2
    assert half == pytest.approx(0.95 * 150 * 37.5 / 600, rel=5e-3)
    assert Flag.ASSUMED_OFF_PLANE in told.flags
    assert "measure-off-plane-assumed" in {p.slug for p in told.problems}


@pytest.mark.parametrize(("stood", "mean"), [("top", -0.125), ("edge", 0.0), ("base", 0.125)])
def test_saying_where_the_card_stood_halves_the_interval(stood: str, mean: float) -> None:
    plane = square_on()
    ends = at(plane, (25, 50), (125, 50))
    wide = measure_length(plane, ends, settings(0.0, None)).values
    told = measure_length(plane, ends, settings(0.0, OffPlane(kind=stood)))
    narrow = told.values
    ratio = (narrow["length_mm_hi95"] - narrow["length_mm_lo95"]) / (
        wide["length_mm_hi95"] - wide["length_mm_lo95"]
    )
    assert ratio == pytest.approx(0.5, abs=0.02)
    assert narrow["length_mm"] == pytest.approx(100 * (1 - mean * 100 / 600), rel=1e-4)
    assert Flag.ASSUMED_OFF_PLANE not in told.flags


def test_a_stated_distance_corrects_and_carries_its_doubt() -> None:
    plane = square_on()
    ends = at(plane, (25, 50), (125, 50))
    told = measure_length(plane, ends, settings(0.0, OffPlane(kind="stated", mm=30, mm_u=6)))
    assert told.values["length_mm"] == pytest.approx(95.0, rel=1e-4)
    assert told.budget["off_plane_mm_u"] == pytest.approx(1.0, rel=2e-2)


def test_an_unknown_focal_length_widens_a_stated_distance_only() -> None:
    known, unknown = square_on(), square_on(known=False)
    ends = at(known, (25, 50), (125, 50))
    off = OffPlane(kind="stated", mm=30, mm_u=0)
    sure = measure_length(known, ends, settings(0.0, off))
    unsure = measure_length(unknown, ends, settings(0.0, off))
    assert unsure.budget["off_plane_mm_u"] > 5 * sure.budget["off_plane_mm_u"]
    # the same length in the plane hardly needs the focal length
    flat = measure_length(unknown, ends, settings(0.0))
    assert flat.values["length_mm_u"] < 0.15


@pytest.mark.parametrize("ratio", [0.0, 0.05, 0.5, 1.0, 3.0, 30.0])
def test_interval_of_rectangular_and_normal_together_holds_95_of_100(ratio: float) -> None:
    length, camera = 100.0, 600.0
    height = height_of(OffPlane(), length, camera)
    u = ratio * length * height.mm_u / camera
    lo, hi = find_interval95(length, u, height)
    rng = np.random.default_rng(6)
    draws = (length + rng.normal(0, u, 400_000)) * (
        1 - rng.uniform(-length / 4, length / 4, 400_000) / camera
    )
    # 400,000 draws: standard error 0.03 points
    assert np.mean((draws >= lo) & (draws <= hi)) == pytest.approx(0.95, abs=0.002)
    assert np.mean(draws < lo) == pytest.approx(0.025, abs=0.0015)


def test_interval_of_a_normal_value_is_the_textbook_one() -> None:
    flat = height_of(FLAT, 50.0, 500.0)
    lo, hi = find_interval95(50.0, 2.0, flat)
    assert (lo, hi) == pytest.approx(norm.interval(0.95, 50.0, 2.0), abs=1e-9)


def test_jittered_lengths_fall_into_their_interval_95_times_of_100() -> None:
    rng = np.random.default_rng(11)
    plane = square_on()
    held = []
    for _ in range(1500):
        ends = rng.uniform((-50, -50), (200, 150), (2, 2))
        true = float(np.hypot(*(ends[1] - ends[0])))
        if true < 15:
            continue
        px = project_plane(plane, ends) + rng.normal(0, 1.0, (2, 2))
        told = measure_length(plane, px, settings()).values
        held.append(told["length_mm_lo95"] <= true <= told["length_mm_hi95"])
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


def test_polyline_takes_the_bias_of_pointing_out() -> None:
    rng = np.random.default_rng(12)
    plane = square_on()
    line = np.column_stack([np.linspace(0, 150, 76), np.full(76, 50.0)])  # steps of 10 px
    px = project_plane(plane, line)
    told = [
        measure_length(plane, px + rng.normal(0, 1.0, px.shape), settings()).values
        for _ in range(60)
    ]
    raw = [
        measure_length(plane, px + rng.normal(0, 1.0, px.shape), settings(0.0)).values["length_mm"]
        for _ in range(60)
    ]
    assert np.mean(raw) > 151.0
    assert np.mean([v["length_mm"] for v in told]) == pytest.approx(150.0, abs=0.25)


def test_outline_of_a_square_colony() -> None:
    plane = square_on()
    corners = at(plane, (20, 20), (100, 20), (100, 80), (20, 80), (20, 20))
    told = measure_outline(plane, corners, settings(0.5))
    v = told.values
    assert v["area_cm2"] == pytest.approx(48.0, rel=1e-3)
    assert v["perimeter_mm"] == pytest.approx(280.0, rel=1e-3)
    assert v["diameter_max_mm"] == pytest.approx(100.0, rel=1e-3)
    # extent of the 80 x 60 rectangle at right angles to its diagonal: 2 * 80 * 60 / 100
    assert v["diameter_across_mm"] == pytest.approx(96.0, rel=1e-3)
    for name in ("area_cm2", "perimeter_mm", "diameter_max_mm", "diameter_across_mm"):
        assert v[f"{name}_lo95"] < v[name] < v[f"{name}_hi95"]
        assert v[f"{name}_u"] > 0


def test_outline_doubts_match_a_simulation_of_its_picked_points() -> None:
    rng = np.random.default_rng(13)
    plane = square_on()
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = np.column_stack([75 + 45 * np.cos(angle), 50 + 30 * np.sin(angle)])
    px = project_plane(plane, rim)
    told = measure_outline(plane, px, settings()).values
    draws = [
        measure_outline(plane, px + rng.normal(0, 1.0, px.shape), settings()).values
        for _ in range(300)
    ]
    for name in ("area_cm2", "perimeter_mm", "diameter_max_mm"):
        spread = np.std([d[name] for d in draws])
        # 300 draws: 4 % standard error; a half of the perimeter's bias is kept as doubt
        assert told[f"{name}_u"] == pytest.approx(spread, rel=0.25), name


def test_corallites_share_the_scale_but_not_their_spread() -> None:
    rng = np.random.default_rng(14)
    plane = square_on(print_u=0.01)
    size = rng.normal(8.0, 0.8, 12)
    starts = rng.uniform((10, 10), (130, 80), (12, 2))
    ends = starts + np.column_stack([size, np.zeros(12)])
    px = project_plane(plane, np.stack([starts, ends], axis=1).reshape(-1, 2))
    told = measure_corallites(plane, px, settings(0.3))
    v = told.values
    assert v["n_corallites"] == 12
    assert v["corallite_mm"] == pytest.approx(size.mean(), rel=1e-4)
    assert v["corallite_sd_mm"] == pytest.approx(size.std(ddof=1), rel=1e-3)
    assert v["corallite_sd_between_mm"] < v["corallite_sd_mm"]
    assert told.budget["spread_mm_u"] == pytest.approx(size.std(ddof=1) / np.sqrt(12), rel=1e-3)
    assert told.budget["print_scale_mm_u"] == pytest.approx(0.01 * size.mean(), rel=1e-3)
    assert told.budget["pointing_mm_u"] == 0.0  # it is in the spread already


def test_mean_of_few_corallites_is_held_95_times_of_100() -> None:
    rng = np.random.default_rng(15)
    plane, held = square_on(), []
    for _ in range(800):
        size = rng.normal(8.0, 0.8, 4)
        starts = rng.uniform((10, 10), (130, 80), (4, 2))
        ends = starts + np.column_stack([size, np.zeros(4)])
        px = project_plane(plane, np.stack([starts, ends], axis=1).reshape(-1, 2))
        v = measure_corallites(plane, px + rng.normal(0, 0.5, px.shape), settings(0.5)).values
        held.append(v["corallite_mm_lo95"] <= 8.0 <= v["corallite_mm_hi95"])
    assert np.mean(held) == pytest.approx(0.95, abs=0.025)


def test_corallites_picked_alike_keep_the_doubt_of_pointing() -> None:
    plane = square_on()
    px = project_plane(plane, np.array([[20.0, 50], [28, 50], [40, 50], [48, 50]]))
    two, one = (
        measure_corallites(plane, px, settings(1.0)),
        measure_corallites(plane, px[:2], settings(1.0)),
    )
    least = one.budget["pointing_mm_u"] / np.sqrt(2)
    assert two.values["corallite_sd_mm"] == pytest.approx(0.0, abs=1e-6)
    assert two.budget["spread_mm_u"] == pytest.approx(least, rel=1e-2)


def test_few_corallites_and_short_lengths_are_said() -> None:
    plane = square_on()
    pair = at(plane, (20, 50), (28, 50))
    slugs = {p.slug for p in measure_corallites(plane, pair, settings()).problems}
    assert "measure-few-corallites" in slugs
    short = at(plane, (20, 50), (20.5, 50))
    assert "measure-too-short" in {
        p.slug for p in measure_length(plane, short, settings()).problems
    }


def test_points_far_from_the_card_and_at_the_edge_of_a_wide_lens_are_flagged() -> None:
    plane = replace(square_on(known=False), size_mm=(60.0, 40.0))
    told = measure_length(plane, [(5.0, 5.0), (400.0, 5.0)], settings())
    assert {Flag.FAR_FROM_CARD, Flag.FRAME_EDGE} <= set(told.flags)
    assert {"measure-far-from-card", "measure-frame-edge"} <= {p.slug for p in told.problems}
    covered = replace(square_on(), lens_radius_px=1200.0)
    told = measure_length(covered, [(100.0, 100.0), (400.0, 100.0)], settings())
    assert Flag.FRAME_EDGE in told.flags


def test_an_outline_with_crowded_points_is_said() -> None:
    plane = square_on()
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    rim = np.column_stack([75 + 25 * np.cos(angle), 50 + 25 * np.sin(angle)])
    told = measure_outline(plane, project_plane(plane, rim), settings(2.0))
    assert "outline-points-crowded" in {p.slug for p in told.problems}


@pytest.mark.parametrize(
    ("measure", "points", "how", "slug"),
    [
        (measure_length, [(10, 10)], settings(), "measure-too-few-points"),
        (measure_length, [(10, 10), (10, 10)], settings(), "measure-points-coincide"),
        (measure_length, [(10, 10), (4000, 10)], settings(), "measure-point-outside-photo"),
        (measure_length, [(-1, 10), (40, 10)], settings(), "measure-point-outside-photo"),
        (measure_length, [(10, np.nan), (40, 10)], settings(), "measure-point-not-finite"),
        (measure_length, [(10, 10), (40, 10)], settings(-1), "measure-point-u-impossible"),
        (
            measure_length,
            [(10, 10), (40, 10)],
            settings(1, OffPlane(kind="stated", mm=590, mm_u=5)),
            "measure-off-plane-impossible",
        ),
        (
            measure_length,
            [(10, 10), (40, 10)],
            settings(1, OffPlane(kind="stated", mm=5, mm_u=-1)),
            "measure-off-plane-impossible",
        ),
        (measure_outline, [(10, 10), (40, 10)], settings(), "measure-too-few-points"),
        (measure_outline, [(10, 10), (40, 10), (70, 10)], settings(), "outline-flat"),
        (
            measure_outline,
            [(10, 10), (90, 90), (90, 10), (10, 90)],
            settings(),
            "outline-crosses-itself",
        ),
        (measure_corallites, [(1, 1), (9, 9), (5, 5)], settings(), "measure-points-odd"),
        (measure_corallites, [(1, 1), (1, 1)], settings(), "measure-points-coincide"),
    ],
)
def test_points_that_cannot_be_measured_are_refused(measure, points, how, slug) -> None:
    with pytest.raises(InputError) as caught:
        measure(square_on(), points, how)
    assert caught.value.slug == slug
