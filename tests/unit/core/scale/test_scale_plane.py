"""The plane of a card: recovered within its stated doubt, refused where it cannot be."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from dryslate.base.errors import FormatError, InputError
from dryslate.base.quality import Flag
from dryslate.core.scale.camera import apply_lens, apply_lens_backwards, lens_slopes
from dryslate.core.scale.lens import Lens, fit_lens_to_size, lens_prior, turn_lens
from dryslate.core.scale.plane import (
    ViewSettings,
    apply_plane,
    fit_plane,
    plane_from_dict,
    plane_to_dict,
    project_plane,
)
from dryslate.core.scale.pose import apply_pose, pose_slopes, rotation_matrix, rotation_vector

SIZE = (4000, 3000)
HALF = 2500.0
MODELS = {
    "radial": np.array([np.log(3200.0), 2010.0, 1490.0, 0.03, -0.01]),
    "normal": np.array([3300.0, 3310.0, 2020, 1480, -0.12, 0.05, 0.001, -0.0005, 0.01]),
    "fisheye": np.array([1500.0, 1502.0, 2010, 1490, 0.05, -0.01, 0.002, 0.0]),
}


def markers_mm() -> np.ndarray:
    square = np.array([(0, 0), (15, 0), (15, 15), (0, 15)], dtype=float)
    return np.concatenate([square + at for at in ((5, 5), (130, 5), (130, 80), (5, 80))])


def pose_of(
    tilt_deg: float, azimuth_deg: float, roll_deg: float, place: tuple[float, float, float]
) -> np.ndarray:
    azimuth = np.radians(azimuth_deg)
    lean = rotation_matrix(np.radians(tilt_deg) * np.array([np.cos(azimuth), np.sin(azimuth), 0]))
    turn = lean @ rotation_matrix(np.array([0.0, 0.0, np.radians(roll_deg)]))
    return np.concatenate([rotation_vector(turn), place])


def seen_with(theta: np.ndarray, model: str, mm: np.ndarray) -> np.ndarray:
    return apply_pose(theta, model, HALF, mm - [75.0, 50.0])


def view(lens, **more) -> ViewSettings:
    settings = {"centre_mm": (75.0, 50.0), "size_mm": (150.0, 100.0), "print_scale_u_frac": 0.0}
    return ViewSettings(image_size_px=SIZE, lens=lens, **{**settings, **more})


def exact_lens(model: str) -> Lens:
    params = MODELS[model]
    return Lens(
        name="exact",
        model=model,
        image_size_px=SIZE,
        params=params,
        covariance=np.diag(np.square(1e-7 * np.maximum(np.abs(params), 1.0))),
    )


@pytest.mark.parametrize("model", MODELS)
def test_lens_goes_there_and_back(model: str) -> None:
    rng = np.random.default_rng(4)
    xy = rng.uniform(-0.5, 0.5, (50, 2))
    px = apply_lens(model, MODELS[model], xy, HALF)
    np.testing.assert_allclose(apply_lens_backwards(model, MODELS[model], px, HALF), xy, atol=1e-9)


@pytest.mark.parametrize("model", MODELS)
def test_slopes_of_the_lens_match_differences(model: str) -> None:
    xy, params = np.array([(0.2, -0.1), (-0.35, 0.3)]), MODELS[model]
    by_xy, by_params = lens_slopes(model, params, xy, HALF)
    for k in range(2):
        step = np.eye(2)[k] * 1e-6
        change = apply_lens(model, params, xy + step, HALF) - apply_lens(
            model, params, xy - step, HALF
        )
        np.testing.assert_allclose(by_xy[:, :, k], change / 2e-6, rtol=1e-6, atol=1e-3)
    for k in range(len(params)):
        move = np.eye(len(params))[k] * 1e-6
        change = apply_lens(model, params + move, xy, HALF) - apply_lens(
            model, params - move, xy, HALF
        )
        np.testing.assert_allclose(by_params[:, :, k], change / 2e-6, rtol=1e-5, atol=1e-3)


def test_slopes_of_the_pose_match_differences() -> None:
    theta = np.concatenate([pose_of(25, 40, 30, (20, -30, 480)), MODELS["normal"]])
    mm = np.array([(10.0, -20.0), (-60.0, 45.0)])
    by_mm, by_theta = pose_slopes(theta, "normal", HALF, mm)
    for k in range(6):
        move = np.zeros(len(theta))
        move[k] = 1e-6
        change = apply_pose(theta + move, "normal", HALF, mm) - apply_pose(
            theta - move, "normal", HALF, mm
        )
        np.testing.assert_allclose(by_theta[:, :, k], change / 2e-6, rtol=1e-5, atol=1e-3)
    step = np.array([1e-5, 0.0])
    change = apply_pose(theta, "normal", HALF, mm + step) - apply_pose(
        theta, "normal", HALF, mm - step
    )
    np.testing.assert_allclose(by_mm[:, :, 0], change / 2e-5, rtol=1e-6)


@pytest.mark.parametrize("model", MODELS)
def test_exact_corners_give_back_pose_scale_and_tilt(model: str) -> None:
    pose = pose_of(30.0, 70.0, 15.0, (10.0, -20.0, 450.0))
    theta = np.concatenate([pose, MODELS[model]])
    mm = markers_mm()
    plane = fit_plane(mm, seen_with(theta, model, mm), 0.05, view(exact_lens(model)))
    assert plane.distance_mm == pytest.approx(np.linalg.norm(pose[3:]), rel=1e-5)
    normal = rotation_matrix(pose[:3])[:, 2]
    tilt = np.degrees(np.arccos(normal @ pose[3:] / np.linalg.norm(pose[3:])))
    assert plane.tilt_deg == pytest.approx(tilt, abs=1e-3)
    area = pose_slopes(theta, model, HALF, np.zeros((1, 2)))[0][0]
    assert plane.px_per_mm == pytest.approx(np.sqrt(abs(np.linalg.det(area))), rel=1e-5)
    points = np.array([(3.0, 4.0), (140.0, 95.0)])
    np.testing.assert_allclose(
        apply_plane(plane, project_plane(plane, points)).xy_mm, points, atol=1e-6
    )
    np.testing.assert_allclose(
        project_plane(plane, points), seen_with(theta, model, points), atol=1e-3
    )


def test_stated_doubts_of_tilt_distance_and_scale_hold_in_95_of_100() -> None:
    rng = np.random.default_rng(8)
    prior = lens_prior(28.0, SIZE, under_water=True, port="flat")
    mm, held = markers_mm(), []
    for _ in range(120):
        params = rng.multivariate_normal(prior.params, prior.covariance)
        pose = pose_of(*rng.uniform((8, 0, 0), (40, 360, 360)), (0, 0, rng.uniform(350, 700)))
        pose[3:5] = rng.uniform(-0.15, 0.15, 2) * pose[5]
        theta = np.concatenate([pose, params])
        px = seen_with(theta, "radial", mm) + rng.normal(0, 0.15, (16, 2))
        plane = fit_plane(mm, px, 0.15, view(prior))
        normal = rotation_matrix(pose[:3])[:, 2]
        tilt = np.degrees(np.arccos(normal @ pose[3:] / np.linalg.norm(pose[3:])))
        slope = pose_slopes(theta, "radial", HALF, np.zeros((1, 2)))[0][0]
        scale = np.sqrt(abs(np.linalg.det(slope)))
        held.append(
            (
                abs(plane.tilt_deg - tilt) < 1.96 * plane.tilt_deg_u,
                abs(plane.distance_mm - np.linalg.norm(pose[3:])) < 1.96 * plane.distance_mm_u,
                abs(plane.px_per_mm - scale) < 1.96 * plane.px_per_mm_u,
            )
        )
    share = np.mean(held, axis=0)
    # 120 draws: two standard errors of 95 % are 4 points; wide doubt is allowed, narrow is not
    assert np.all(share >= 0.90), share


def test_one_bad_corner_does_not_lead_the_fit() -> None:
    theta = np.concatenate([pose_of(15, 30, 5, (0, 0, 500)), MODELS["radial"]])
    mm = markers_mm()
    px = seen_with(theta, "radial", mm) + np.random.default_rng(1).normal(0, 0.1, (16, 2))
    bad = px.copy()
    bad[3] += (6.0, -5.0)
    lens = lens_prior(35.0, SIZE, under_water=False)
    clean, led = (fit_plane(mm, p, 0.1, view(lens)) for p in (px, bad))
    points = np.array([(100.0, 1000.0), (2000.0, 1500.0)])
    gap = np.abs(apply_plane(clean, points).xy_mm - apply_plane(led, points).xy_mm).max()
    assert gap < 0.1  # eight pixels at this scale are about 1.2 mm


def test_misfit_of_a_bent_card_widens_the_doubt_and_is_said() -> None:
    theta = np.concatenate([pose_of(15, 30, 5, (0, 0, 500)), MODELS["radial"]])
    mm = markers_mm()
    px = seen_with(theta, "radial", mm)
    bent = px + np.repeat(np.random.default_rng(2).normal(0, 1.5, (4, 2)), 4, axis=0)
    lens = lens_prior(35.0, SIZE, under_water=False)
    flat_plane, bent_plane = (fit_plane(mm, p, 0.1, view(lens)) for p in (px, bent))
    assert flat_plane.misfit_px == 0.0
    assert bent_plane.misfit_px > 0.5
    assert bent_plane.px_per_mm_u > 2 * flat_plane.px_per_mm_u
    assert "scale-fit-poor" in [p.slug for p in bent_plane.problems]


def test_a_print_stretched_along_the_paper_is_no_misfit_and_leaves_tilt_and_length_right() -> None:
    lens = replace(
        exact_lens("normal"),
        covariance=np.diag([4.0, 4.0, 4.0, 4.0, 1e-5, 1e-5, 1e-8, 1e-8, 1e-6]),
    )
    rng = np.random.default_rng(21)
    theta = np.concatenate([pose_of(20, 30, 5, (10, -5, 380)), MODELS["normal"]])
    mm = markers_mm()
    stretched = (mm - [75, 50]) * [1.002, 0.998] + [75, 50]
    px = seen_with(theta, "normal", stretched) + rng.normal(0, 0.1, (16, 2))
    rigid, free = (fit_plane(mm, px, 0.1, view(lens, print_scale_u_frac=u)) for u in (0.0, 0.003))
    assert rigid.misfit_px > 0
    assert free.misfit_px == 0
    truth = np.degrees(
        np.arccos(rotation_matrix(theta[:3])[:, 2] @ theta[3:6] / np.linalg.norm(theta[3:6]))
    )
    assert abs(free.tilt_deg - truth) < abs(rigid.tilt_deg - truth)
    ends = seen_with(theta, "normal", np.array([(0.0, 50.0), (150.0, 50.0)]))
    length = float(np.hypot(*np.diff(apply_plane(free, ends).xy_mm, axis=0)[0]))
    assert length == pytest.approx(150.0, rel=5e-4)  # true millimetres, not printed ones


def test_steep_tilt_unknown_focal_length_and_single_marker_are_flagged() -> None:
    theta = np.concatenate([pose_of(42, 0, 0, (0, 0, 500)), MODELS["radial"]])
    mm = markers_mm()[:4]
    lens = lens_prior(None, SIZE, under_water=False)
    plane = fit_plane(mm, seen_with(theta, "radial", mm), 0.1, view(lens))
    assert {Flag.STEEP_TILT, Flag.LENS_UNKNOWN, Flag.FOCAL_UNKNOWN, Flag.FEW_MARKERS} <= set(
        plane.flags
    )
    assert [p.slug for p in plane.problems] == ["scale-steep-tilt"]


@pytest.mark.parametrize(
    ("mm", "px", "slug"),
    [
        ([(0, 0), (9, 0), (9, 9)], [(10, 10), (90, 10), (90, 90)], "scale-too-few-points"),
        (
            [(0, 0), (1, 0), (2, 0), (3, 0)],
            [(10, 10), (20, 10), (30, 10), (40, 10)],
            "scale-points-on-a-line",
        ),
        (
            [(0, 0), (9, 0), (9, 9), (0, 9)],
            [(10, 10), (np.nan, 10), (90, 90), (10, 90)],
            "scale-points-not-finite",
        ),
        (
            [(0, 0), (90, 0), (90, 60), (0, 60)],
            [(900, 100), (100, 100), (100, 600), (900, 600)],
            "scale-card-mirrored",
        ),
        (
            [(0, 0), (90, 0), (90, 60), (0, 60)],
            [(100, 100), (900, 600), (900, 100), (100, 600)],
            "scale-no-plane",
        ),
        (
            [(0, 0), (90, 0), (90, 60), (0, 60)],
            [(100, 100), (900, 120), (400, 250), (130, 600)],
            "scale-no-plane",
        ),
    ],
)
def test_points_that_cannot_carry_a_plane_are_refused(mm, px, slug) -> None:
    lens = lens_prior(28.0, SIZE, under_water=False)
    with pytest.raises(InputError) as caught:
        fit_plane(mm, px, 0.1, ViewSettings(image_size_px=SIZE, lens=lens))
    assert caught.value.slug == slug


@pytest.mark.parametrize("tilt", [5.0, 25.0, 40.0])
def test_a_photo_cropped_off_centre_is_noticed_and_measured_all_the_same(tilt: float) -> None:
    rng = np.random.default_rng(9)
    params = np.array([np.log(3300.0), 2900.0, 2100.0, -0.02, 0.0])
    theta = np.concatenate([pose_of(tilt, 50, 10, (-60, -40, 480)), params])
    mm = markers_mm()
    px = seen_with(theta, "radial", mm) + rng.normal(0, 0.07, (16, 2))
    plane = fit_plane(mm, px, 0.07, view(lens_prior(28.0, SIZE, under_water=True)))
    assert "scale-lens-strained" in {p.slug for p in plane.problems}
    ends = seen_with(theta, "radial", np.array([(-60.0, 50.0), (140.0, -30.0)]))
    length = float(np.hypot(*np.diff(apply_plane(plane, ends).xy_mm, axis=0)[0]))
    assert length == pytest.approx(np.hypot(200, 80), rel=1e-3)


def test_a_lens_file_of_another_zoom_is_noticed() -> None:
    params = MODELS["normal"].copy()
    theta = np.concatenate([pose_of(28, 40, 10, (0, 0, 400)), params])
    mm = markers_mm()
    px = seen_with(theta, "normal", mm)
    other = replace(
        exact_lens("normal"),
        params=params * np.array([1.5, 1.5, 1, 1, 1, 1, 1, 1, 1]),
        covariance=np.diag([60.0**2] * 2 + [5.0**2] * 2 + [0.01**2] * 5),
    )
    assert not fit_plane(mm, px, 0.1, view(exact_lens("normal"))).problems
    slugs = {p.slug for p in fit_plane(mm, px, 0.1, view(other)).problems}
    assert "scale-lens-strained" in slugs


def test_a_point_beyond_the_horizon_is_refused() -> None:
    theta = np.concatenate([pose_of(70, 0, 0, (0, 0, 500)), MODELS["radial"]])
    mm = markers_mm()
    lens = lens_prior(34.0, SIZE, under_water=False)
    plane = fit_plane(mm, seen_with(theta, "radial", mm), 0.1, view(lens))
    with pytest.raises(InputError) as caught:
        apply_plane(plane, [(2000.0, 20.0), (2000.0, 2980.0)])
    assert caught.value.slug == "measure-misses-plane"


def test_a_plane_survives_its_plain_form() -> None:
    theta = np.concatenate([pose_of(35, 10, 5, (0, 0, 500)), MODELS["radial"]])
    mm = markers_mm()
    lens = lens_prior(None, SIZE, under_water=True)
    plane = fit_plane(mm, seen_with(theta, "radial", mm), 0.1, view(lens))
    again = plane_from_dict(json.loads(json.dumps(plane_to_dict(plane))))
    assert plane_to_dict(again) == plane_to_dict(plane)
    for broken in ({}, {**plane_to_dict(plane), "theta": [1.0]}):
        with pytest.raises(FormatError) as caught:
            plane_from_dict(broken)
        assert caught.value.slug == "scale-plane-broken"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_lens_sees_the_turned_picture(orientation: int) -> None:
    from dryslate.core.arrays.orientation import upright_xy

    lens = exact_lens("normal")
    turned = turn_lens(lens, orientation)
    xy = np.random.default_rng(3).uniform(-0.4, 0.4, (20, 2))
    stored = apply_lens("normal", lens.params, xy, HALF)
    upright = upright_xy(stored, SIZE, orientation)
    # the same directions in the axes of the upright picture
    ends = upright_xy([(0, 0), (1, 0), (0, 1)], SIZE, orientation)
    axes = np.column_stack([ends[1] - ends[0], ends[2] - ends[0]])
    again = apply_lens("normal", turned.params, xy @ axes.T, HALF)
    np.testing.assert_allclose(again, upright, atol=1e-6)


def test_a_lens_follows_the_size_but_not_a_crop() -> None:
    lens = exact_lens("normal")
    half = fit_lens_to_size(lens, (2000, 1500))
    xy = np.array([(0.2, 0.1)])
    big = apply_lens("normal", lens.params, xy, HALF)
    small = apply_lens("normal", half.params, xy, HALF / 2)
    np.testing.assert_allclose((big + 0.5) / 2 - 0.5, small, atol=1e-9)
    with pytest.raises(InputError) as caught:
        fit_lens_to_size(lens, (4000, 2250))
    assert caught.value.slug == "lens-size-differs"


def test_prior_states_more_doubt_where_less_is_known() -> None:
    known = lens_prior(28.0, SIZE, under_water=False)
    flat = lens_prior(28.0, SIZE, under_water=True, port="flat")
    anything = lens_prior(None, SIZE, under_water=True)
    spread = [np.sqrt(np.diag(p.covariance))[0] for p in (known, flat, anything)]
    assert spread[0] < spread[1] < spread[2]
    assert np.exp(flat.params[0] - known.params[0]) == pytest.approx(1.295, abs=0.001)
    assert flat.params[3] > 0  # a flat port draws corners outwards
    with pytest.raises(InputError) as caught:
        lens_prior(0.0, SIZE, under_water=False)
    assert caught.value.slug == "lens-focal-not-positive"


def test_records_refuse_a_wrong_number_of_parameters() -> None:
    with pytest.raises(ValueError, match="fisheye takes 8"):
        replace(exact_lens("normal"), model="fisheye")
