"""Lens calibration: parameters recovered within their stated doubt, poor material refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryslate.base.errors import FormatError, InputError
from dryslate.core.scale.calibration import BoardView, fit_lens
from dryslate.core.scale.pose import apply_pose, rotation_matrix, rotation_vector
from dryslate.formats.lens_toml import format_lens, parse_lens

SIZE = (4000, 3000)
HALF = 2500.0
TRUE = {
    "normal": np.array([3300.0, 3310.0, 2020, 1480, -0.12, 0.05, 0.001, -0.0005, 0.0]),
    "fisheye": np.array([1500.0, 1502.0, 2010, 1490, 0.05, -0.01, 0.002, 0.0]),
}


def board_views(model: str, seed: int, n: int = 12, tilts=(10.0, 40.0)) -> list[BoardView]:
    rng = np.random.default_rng(seed)
    board = np.array([(x, y) for y in range(6) for x in range(9)], dtype=float) * 25.0
    params, views = TRUE[model], []
    while len(views) < n:
        azimuth, roll = rng.uniform(0, 2 * np.pi), rng.uniform(-0.4, 0.4)
        tilt = np.radians(rng.uniform(*tilts))
        matrix = rotation_matrix(
            np.array([np.cos(azimuth), np.sin(azimuth), 0.0]) * tilt
        ) @ rotation_matrix(np.array([0.0, 0.0, roll]))
        depth = rng.uniform(260, 600)
        aim = rng.uniform(-0.4, 0.4, 2) * np.array(SIZE) / params[0] * depth
        place = np.array([*aim, depth]) - matrix[:, :2] @ board.mean(axis=0)
        theta = np.concatenate([rotation_vector(matrix), place, params])
        px = apply_pose(theta, model, HALF, board)
        if (px < 0).any() or (px > np.array(SIZE) - 1).any():
            continue
        noisy = px + rng.normal(0.0, 0.15, px.shape)
        views.append(BoardView(name=f"view {len(views)}", points_mm=board, points_px=noisy))
    return views


@pytest.mark.parametrize("model", TRUE)
def test_lens_is_recovered_within_its_stated_doubt(model: str) -> None:
    deviations = []
    for seed in range(12):
        lens = fit_lens(board_views(model, seed), SIZE, model, "made").lens
        assert lens.rms_px == pytest.approx(0.15, rel=0.15)
        deviations.append((lens.params - TRUE[model]) / np.sqrt(np.diag(lens.covariance)))
    spread = np.sqrt(np.mean(np.square(deviations)))
    # 12 times 8 or 9 correlated draws: near 1, never far above
    assert 0.6 < spread < 1.25


def test_too_few_views_are_refused() -> None:
    views = board_views("normal", 1, n=4)
    few = replace(views[0], points_mm=views[0].points_mm[:5], points_px=views[0].points_px[:5])
    with pytest.raises(InputError) as caught:
        fit_lens([*views, few], SIZE, "normal", "made")
    assert caught.value.slug == "lens-too-few-views"


def test_views_at_one_tilt_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        fit_lens(board_views("normal", 2, n=8, tilts=(0.0, 0.5)), SIZE, "normal", "made")
    assert caught.value.slug in {"lens-views-too-similar", "lens-fit-failed"}
    calm = board_views("normal", 2, n=8, tilts=(2.0, 4.0))
    with pytest.raises(InputError) as caught:
        fit_lens(calm, SIZE, "normal", "made")
    assert caught.value.slug == "lens-views-too-similar"


def test_a_board_that_does_not_fit_any_lens_is_refused() -> None:
    rng = np.random.default_rng(0)
    line = np.column_stack([np.arange(20.0), np.zeros(20)])
    views = [
        BoardView(name="x", points_mm=line, points_px=rng.uniform(0, 3000, (20, 2)))
        for _ in range(6)
    ]
    with pytest.raises(InputError) as caught:
        fit_lens(views, SIZE, "normal", "made")
    assert caught.value.slug == "lens-fit-failed"


def test_poor_views_and_uncovered_edges_are_said() -> None:
    views = board_views("normal", 3)
    rng = np.random.default_rng(5)
    shaken = replace(views[0], points_px=views[0].points_px + rng.normal(0, 12, (54, 2)))
    done = fit_lens([shaken, *views[1:]], SIZE, "normal", "made")
    slugs = {p.slug: p.place for p in done.problems}
    assert slugs["lens-view-poor"] == "view 0"
    assert "lens-residuals-large" in slugs
    middle = [v for v in board_views("normal", 4, n=40) if _reach(v) < 0.7 * HALF]
    assert "lens-edges-not-covered" in {
        p.slug for p in fit_lens(middle, SIZE, "normal", "made").problems
    }


def _reach(view: BoardView) -> float:
    return float(np.hypot(*(view.points_px - np.array(SIZE) / 2).T).max())


def test_lens_file_keeps_everything_and_names_itself_by_its_text() -> None:
    lens = fit_lens(board_views("fisheye", 1), SIZE, "fisheye", "wide").lens
    text = format_lens(lens, "compact in its housing, dome port, sea water")
    again = parse_lens(text, "wide.toml")
    np.testing.assert_array_equal(again.params, lens.params)
    np.testing.assert_array_equal(again.covariance, lens.covariance)
    assert (again.model, again.image_size_px, again.n_views) == ("fisheye", SIZE, 12)
    assert len(again.sha256) == 64
    assert parse_lens(text.replace("dome", "flat"), "x").sha256 != again.sha256


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('model = "fisheye"', 'model = "square"'),
        ("fx = ", "fx = -"),
        ("width_px = 4000", ""),
        ("[parameters]", "[parameters"),
        ("k4", "k5"),
    ],
)
def test_a_lens_file_with_a_fault_is_refused(old: str, new: str) -> None:
    lens = fit_lens(board_views("fisheye", 1), SIZE, "fisheye", "wide").lens
    with pytest.raises(FormatError) as caught:
        parse_lens(format_lens(lens).replace(old, new), "wide.toml")
    assert caught.value.slug == "lens-file-broken"


def test_a_lens_file_of_a_later_program_is_refused() -> None:
    with pytest.raises(FormatError) as caught:
        parse_lens("lens_file = 99\n", "wide.toml")
    assert caught.value.slug == "lens-file-newer"
