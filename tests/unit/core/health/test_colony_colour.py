"""Change of one colony's colour against its own first visit: does the interval hold the truth?"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from dryslate.core.health.colony_colour import (
    FrameColour,
    VisitFigure,
    compare_colour,
    compare_visits,
    median_sd,
    visit_figures,
)


def figure(values, shared_u=0.0, card_u=0.0, card_key="k", **more):
    """A figure of one visit."""
    return VisitFigure(
        median=float(np.median(values)),
        spread=float(np.std(values, ddof=1)) if len(values) > 1 else None,
        n_frames=len(values),
        shared_u=shared_u,
        card_u=card_u,
        card_key=card_key,
        values=tuple(values),
        **more,
    )


def frame(lightness, a, b, u=1.0, **more):
    """A frame with a colour."""
    return FrameColour(
        lab=np.array([lightness, a, b]),
        lab_cov=np.eye(3) * u**2,
        card_u=np.zeros(3),
        card_key="k",
        **more,
    )


@pytest.mark.parametrize("n", [1, 3, 5, 7, 9])
def test_median_varies_as_the_order_statistic_says(n) -> None:
    """Density of the middle order statistic (David & Nagaraja 2003, eq. 2.1.6), integrated."""
    k = (n - 1) // 2
    factor = special.gamma(n + 1) / special.gamma(k + 1) ** 2

    def moment(x):
        both = stats.norm.cdf(x) ** k * stats.norm.sf(x) ** k
        return x**2 * factor * both * stats.norm.pdf(x)

    assert median_sd(n) == pytest.approx(math.sqrt(integrate.quad(moment, -9, 9)[0]), abs=6e-5)


@pytest.mark.parametrize("n", [11, 21, 51])
def test_median_of_many_varies_as_the_order_statistic_says(n) -> None:
    k = (n - 1) // 2
    log_factor = special.gammaln(n + 1) - 2 * special.gammaln(k + 1)

    def moment(x):
        both = k * (stats.norm.logcdf(x) + stats.norm.logsf(x))
        return x**2 * math.exp(log_factor + both) * stats.norm.pdf(x)

    assert median_sd(n) == pytest.approx(math.sqrt(integrate.quad(moment, -6, 6)[0]), rel=2e-3)


def test_one_frame_more_never_makes_a_median_less_sure() -> None:
    found = [median_sd(n) for n in range(1, 60)]
    assert all(b < a for a, b in itertools.pairwise(found))


def test_even_and_many_values_follow_simulation() -> None:
    draw = np.random.default_rng(11).standard_normal((100_000, 24))
    for n, off in ((2, 0.02), (4, 0.02), (10, 0.02), (24, 0.05)):  # the limit is from above
        assert median_sd(n) == pytest.approx(np.median(draw[:, :n], axis=1).std(), rel=off)


def coverage(n, spread, shared_u, n_surveys=1500):
    """Share of simulated pairs of visits whose interval holds the true change, and of verdicts."""
    rng = np.random.default_rng(7)
    held = changed = 0
    for _ in range(n_surveys):
        pair = [
            figure(rng.normal(rng.normal(0.0, shared_u), s, k).tolist(), shared_u)
            for k, s in zip(n, spread, strict=True)
        ]
        found = compare_colour("lightness", *pair)
        held += found.lo95 <= 0.0 <= found.hi95
        changed += found.verdict == "changed"
    return held / n_surveys, changed / n_surveys


@pytest.mark.parametrize(
    ("n", "spread", "shared_u"),
    [
        ((3, 3), (1.0, 1.0), 0.0),
        ((3, 3), (1.0, 3.0), 0.0),
        ((3, 3), (1.0, 1.0), 1.0),
        ((3, 3), (1.0, 3.0), 1.0),
        ((5, 3), (1.0, 1.0), 0.0),
        ((5, 5), (1.0, 3.0), 0.5),
        ((2, 3), (1.0, 1.0), 0.0),
        ((1, 3), (1.0, 1.0), 0.0),
    ],
)
def test_interval_holds_the_true_change(n, spread, shared_u) -> None:
    """Monte Carlo error 0.6 % at 95 %."""
    held, changed = coverage(n, spread, shared_u)
    assert 0.93 <= held <= 0.995
    assert changed == pytest.approx(1.0 - held)


@pytest.mark.parametrize("shared_u", [0.0, 1.0])
def test_one_frame_in_threefold_flicker_is_held_by_the_widened_doubt(shared_u) -> None:
    """Nothing in the records tells of it: three times the others' spread is taken."""
    held, _ = coverage((1, 3), (3.0, 1.0), shared_u)
    assert 0.90 <= held <= 0.98


def test_what_frames_differ_by_is_not_counted_twice() -> None:
    """Stated of one frame: half of its variance shared by the visit, half by the frames' spread."""
    rng = np.random.default_rng(8)
    held, half, full = 0, [], []
    for _ in range(1500):
        drawn = [rng.normal(rng.normal(0.0, 2.0), 2.0, 3).tolist() for _ in range(2)]
        pair = [figure(values, moving_u=math.sqrt(8.0)) for values in drawn]
        found = compare_colour("lightness", *pair)
        held += found.lo95 <= 0.0 <= found.hi95
        half.append(found.doubt)
        both = [figure(values, shared_u=math.sqrt(8.0)) for values in drawn]
        full.append(compare_colour("lightness", *both).doubt)
    assert 0.93 <= held / 1500 <= 0.995
    assert np.mean(half) < 0.95 * np.mean(full)


def test_spread_beyond_what_is_stated_counts_alone() -> None:
    wild = [40.0, 60.0, 80.0]
    stated = compare_colour("lightness", figure(wild, moving_u=5.0), figure(wild, moving_u=5.0))
    bare = compare_colour("lightness", figure(wild), figure(wild))
    assert stated == bare
    calm = figure([60.0, 60.0, 60.0], moving_u=5.0)
    assert compare_colour("lightness", calm, calm).u == pytest.approx(math.sqrt(50.0))


def test_pigments_fall_out_in_part_with_one_camera_and_card() -> None:
    values = [60.0, 60.0, 60.0]

    def u(apart=0.0, **more):
        same = {"mismatch_u": 3.0, "camera_key": "a"}
        first = figure(values, lab=(60.0, 5.0, 20.0), **same)
        now = figure(values, lab=(60.0 + apart, 5.0, 20.0), **same | more)
        return compare_colour("lightness", first, now).u ** 2

    assert u() == pytest.approx(0.55 * 18.0)
    assert u(15.0) == pytest.approx(0.9 * 18.0)
    assert u(40.0) == pytest.approx(18.0)
    assert u(camera_key="b") == u(card_key="m") == pytest.approx(18.0)


def test_colour_is_taken_apart_only_where_the_pigments_part_is_known() -> None:
    known = frame(60.0, 5.0, 20.0, u=2.0, mismatch_u=np.full(3, 1.0), camera_key="a")
    found = visit_figures([known] * 3)["lightness"]
    assert (found.mismatch_u, found.shared_u, found.camera_key) == (1.0, 0.0, "a")
    assert found.moving_u == pytest.approx(math.sqrt(3.0))
    assert found.lab == (60.0, 5.0, 20.0)
    old = visit_figures([frame(60.0, 5.0, 20.0, u=2.0)] * 3)["lightness"]
    assert (old.shared_u, old.mismatch_u, old.moving_u) == (2.0, 0.0, 0.0)


def test_changed_only_beyond_its_own_doubt() -> None:
    first = figure([60.0, 61.0, 62.0], shared_u=2.0)
    near, far = figure([64.0, 65.0, 66.0], shared_u=2.0), figure([80.0, 81.0, 82.0], shared_u=2.0)
    small = compare_colour("lightness", first, near)
    assert (small.difference, small.verdict) == (4.0, "no_change_seen")
    assert small.doubt > 4.0
    large = compare_colour("lightness", first, far)
    assert large.verdict == "changed"
    assert large.lo95 == pytest.approx(20.0 - large.doubt)


def test_same_card_brings_the_same_and_two_cards_do_not() -> None:
    first = figure([60.0, 61.0, 62.0], card_u=3.0)
    same = compare_colour("lightness", first, figure([60.0, 61.0, 62.0], card_u=3.0))
    other = compare_colour("lightness", first, figure([60.0, 61.0, 62.0], card_u=3.0, card_key="m"))
    mixed = compare_colour("lightness", first, figure([60.0, 61.0, 62.0], card_u=3.0, card_key=""))
    assert other.u**2 == pytest.approx(same.u**2 + 18.0)
    assert mixed.u == other.u


def test_few_frames_are_said_and_widen_the_doubt() -> None:
    first = figure([60.0, 61.0, 62.0])
    three, two, one = figure([60.0, 61.0, 62.0]), figure([60.5, 61.5]), figure([61.0])
    doubts = [compare_colour("lightness", first, now) for now in (three, two, one)]
    assert [d.is_widened for d in doubts] == [False, True, True]
    assert doubts[0].doubt < doubts[1].doubt < doubts[2].doubt
    alone = compare_colour("lightness", one, one)
    assert (alone.verdict, alone.u, alone.doubt) == ("not_told", None, None)
    borrowed = compare_colour("lightness", one, one, [three])
    assert borrowed.verdict == "no_change_seen"


def test_hue_goes_round_and_is_silent_near_grey() -> None:
    hues = (352.0, 2.0, 358.0)
    turn = [(30 * math.cos(math.radians(h)), 30 * math.sin(math.radians(h))) for h in hues]
    found = visit_figures([frame(50.0, a, b) for a, b in turn])
    assert found["hue_deg"].median % 360 == pytest.approx(358.0)
    assert found["hue_deg"].spread < 6.0
    assert found["chroma"].median == pytest.approx(30.0)
    assert math.degrees(1.0 / 30.0) == pytest.approx(found["hue_deg"].shared_u)
    assert "hue_deg" not in visit_figures([frame(50.0, 0.8, 0.5)])
    change = compare_colour("hue_deg", figure([350.0, 351.0, 352.0]), figure([8.0, 9.0, 10.0]))
    assert change.difference == pytest.approx(18.0)


def test_correction_and_white_are_followed_apart() -> None:
    bare = FrameColour(white_distance=50.0, white_distance_u=1.0)
    full = frame(60.0, 5.0, 20.0, white_distance=48.0, white_distance_u=1.0)
    first, now = visit_figures([full, full, bare]), visit_figures([bare, bare])
    assert first["white_distance"].n_frames == 3
    assert first["lightness"].n_frames == 2
    assert set(now) == {"white_distance"}
    assert visit_figures([FrameColour()]) == {}
    changes = compare_visits({"one": first, "two": now}, "one")
    assert [c.figure for c in changes["two"]] == ["white_distance"]


def test_what_frames_share_grows_no_smaller_with_their_number() -> None:
    for n in (3, 12):
        found = visit_figures([frame(60.0, 5.0, 20.0, u=2.0)] * n)
        assert found["lightness"].shared_u == pytest.approx(2.0)
