"""Invariants of planes, polygons and lengths."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.measure.lengths import MeasureSettings, measure_length
from dryslate.core.measure.off_plane import OffPlane, height_of
from dryslate.core.measure.polygon import (
    find_crossing,
    find_longest_diameter,
    find_width_across,
    narrowest_width,
    polygon_area,
    polyline_length,
)
from dryslate.core.scale.lens import lens_prior
from dryslate.core.scale.plane import Plane, ViewSettings, apply_plane, fit_plane, project_plane

SIZE = (2000, 1500)
CARD = np.array([(0, 0), (150, 0), (150, 100), (0, 100)], dtype=float)
stars = st.integers(3, 14).flatmap(
    lambda n: arrays(np.float64, n, elements=st.floats(5.0, 50.0, width=32))
)


def star(radii: np.ndarray) -> np.ndarray:
    """A simple polygon around the origin."""
    angle = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    return np.column_stack([radii * np.cos(angle), radii * np.sin(angle)])


@given(stars, st.floats(0, 6.28), st.floats(-100, 100))
def test_turning_and_moving_a_polygon_changes_no_measure(
    radii: np.ndarray, turn: float, shift: float
) -> None:
    xy = star(radii)
    c, s = np.cos(turn), np.sin(turn)
    moved = xy @ np.array([[c, -s], [s, c]]).T + [shift, -shift]
    np.testing.assert_allclose(polygon_area(moved), polygon_area(xy), rtol=1e-9)
    np.testing.assert_allclose(
        polyline_length(moved, closed=True), polyline_length(xy, closed=True), rtol=1e-9
    )
    np.testing.assert_allclose(narrowest_width(moved), narrowest_width(xy), rtol=1e-7)
    assert find_crossing(moved) is None


@given(stars)
def test_diameters_bound_each_other(radii: np.ndarray) -> None:
    xy = star(radii)
    i, j = find_longest_diameter(xy)
    longest = float(np.hypot(*(xy[i] - xy[j])))
    k, m = find_width_across(xy, (i, j))
    axis = (xy[j] - xy[i]) / longest
    across = abs(axis[0] * (xy[k] - xy[m])[1] - axis[1] * (xy[k] - xy[m])[0])
    assert narrowest_width(xy) <= across * (1 + 1e-9)
    assert across <= longest * (1 + 1e-9)
    # isoperimetric inequality
    assert 4 * np.pi * polygon_area(xy) <= polyline_length(xy, closed=True) ** 2


@given(arrays(np.float64, (4, 2), elements=st.floats(-60.0, 60.0, width=32)))
def test_a_homography_takes_its_corners_there_and_back(shift: np.ndarray) -> None:
    target = CARD * 6.0 + 300.0 + shift
    h = fit_homography(CARD, target)
    np.testing.assert_allclose(apply_homography(h, CARD), target, atol=1e-6)
    np.testing.assert_allclose(apply_homography(np.linalg.inv(h), target), CARD, atol=1e-6)


def plane_at(tilt: float, azimuth: float, roll: float) -> Plane:
    from dryslate.core.scale.pose import apply_pose, rotation_matrix, rotation_vector

    prior = lens_prior(30.0, SIZE, under_water=False)
    axis = np.radians(tilt) * np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    turn = rotation_matrix(axis) @ rotation_matrix(np.array([0.0, 0.0, roll]))
    theta = np.concatenate([rotation_vector(turn), [0.0, 0.0, 700.0], prior.params])
    px = apply_pose(theta, "radial", 1250.0, CARD - [75, 50])
    view = ViewSettings(image_size_px=SIZE, lens=prior, centre_mm=(75, 50), size_mm=(150, 100))
    return fit_plane(CARD, px, 0.1, view)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0, 45),
    st.floats(0, 6.28),
    st.floats(-3.1, 3.1),
    arrays(np.float64, (2, 2), elements=st.floats(5.0, 95.0, width=32)),
)
def test_points_go_to_the_plane_and_back_and_lengths_are_those_of_the_card(
    tilt: float, azimuth: float, roll: float, mm: np.ndarray
) -> None:
    assume(np.hypot(*(mm[1] - mm[0])) > 10.0)
    plane = plane_at(tilt, azimuth, roll)
    px = project_plane(plane, mm)
    np.testing.assert_allclose(apply_plane(plane, px).xy_mm, mm, atol=1e-5)
    flat = MeasureSettings(point_u_px=0.5, off_plane=OffPlane(kind="in_plane"))
    told = measure_length(plane, px, flat).values
    assert abs(told["length_mm"] - np.hypot(*(mm[1] - mm[0]))) < 1e-4
    assert told["length_mm_lo95"] < told["length_mm"] < told["length_mm_hi95"]
    back = measure_length(plane, px[::-1], flat).values
    assert abs(back["length_mm_u"] - told["length_mm_u"]) < 1e-9


@given(st.floats(1.0, 200.0), st.floats(250.0, 2000.0), st.floats(0.0, 0.4))
def test_a_height_s_weights_are_shares_and_its_mean_lies_within(
    diameter: float, camera: float, doubt: float
) -> None:
    for kind in ("assumed", "top", "edge", "base"):
        height = height_of(OffPlane(kind=kind), diameter, camera, doubt)
        assert abs(height.weights.sum() - 1.0) < 1e-9
        assert height.factors.min() <= height.factor <= height.factors.max()
        assert height.factors.min() > 0
