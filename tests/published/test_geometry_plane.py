"""GEO-01, GEO-02, GEO-03, GEO-06 and WAT-03: planes, parallax, flat port, index of water."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.measure.budget import Reading, state_value
from dryslate.core.measure.lengths import MeasureSettings, measure_length
from dryslate.core.measure.off_plane import OffPlane, height_of, parallax_factor
from dryslate.core.scale.lens import Lens
from dryslate.core.scale.plane import ViewSettings, apply_plane, fit_plane
from dryslate.core.scale.port import flat_port_ratio, refractive_index_water

CHECKS = Path(__file__).parent / "checks"


def cases(name: str) -> list[dict[str, Any]]:
    return json.loads((CHECKS / name).read_text("utf-8"))["cases"]


def pinhole(focal_px: float, distance_mm: float, size_px: tuple[int, int] = (4000, 3000)):
    """A card squarely before a pinhole of known focal length, corners exact."""
    centre = np.array([size_px[0] - 1, size_px[1] - 1]) / 2.0
    lens = Lens(
        name="pinhole",
        model="normal",
        image_size_px=size_px,
        params=np.array([focal_px, focal_px, *centre, 0, 0, 0, 0, 0]),
        covariance=np.diag([1e-6, 1e-6, 1e-6, 1e-6, *[1e-16] * 5]),
    )
    card = np.array([(0, 0), (100, 0), (100, 50), (0, 50)], dtype=float)
    seen = centre + (card - [50, 25]) * focal_px / distance_mm
    view = ViewSettings(image_size_px=size_px, lens=lens, print_scale_u_frac=0.0)
    return fit_plane(card, seen, 0.02, view), centre


def across(centre: np.ndarray, half_px: float) -> np.ndarray:
    """Two points either side of the centre."""
    return centre + np.array([[-half_px, 0.0], [half_px, 0.0]])


def test_homography_of_four_corners_matches_the_exact_fractions() -> None:
    corners, back = cases("geo_homography.json")
    world, image = corners["in"]["world_mm"], corners["in"]["image_px_exact"]
    exact = [[_fraction(x), _fraction(y)] for x, y in image]
    h = fit_homography(world, exact)
    np.testing.assert_allclose(h, corners["out"]["H_world_to_image"], atol=1e-8)
    inverse = np.linalg.inv(h)
    np.testing.assert_allclose(
        inverse / inverse[2, 2], corners["out"]["H_image_to_world"], atol=1e-8
    )
    mm = apply_homography(inverse, back["in"]["image_px"])
    np.testing.assert_allclose(mm, back["out"]["world_mm"], atol=1e-7)  # image points have 9 digits
    assert np.hypot(*(mm[0] - mm[1])) == pytest.approx(back["out"]["distance_mm"], abs=1e-7)


def _fraction(text: str) -> float:
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


@pytest.mark.parametrize(
    "case", [c for c in cases("geo_pinhole_parallax.json") if "f_px" in c["in"]]
)
def test_length_in_the_plane_of_a_pinhole(case: dict[str, Any]) -> None:
    given, want = case["in"], case["out"]
    plane, centre = pinhole(given["f_px"], given["Z_mm"])
    assert 1.0 / plane.px_per_mm == pytest.approx(want["scale_mm_per_px"], rel=1e-6)
    ends = across(centre, given["length_px"] / 2)
    told = measure_length(
        plane, ends, MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="in_plane"))
    )
    assert told.values["length_mm"] == pytest.approx(want["length_mm"], rel=1e-6)


@pytest.mark.parametrize(
    "case", [c for c in cases("geo_pinhole_parallax.json") if "dz_mm" in c["in"]]
)
def test_a_stated_distance_off_the_plane_is_corrected(case: dict[str, Any]) -> None:
    distance, dz = case["in"]["Z_scale_mm"], case["in"]["dz_mm"]
    want = case["out"]
    factor = parallax_factor(dz, distance)
    assert factor == pytest.approx(want["correction_factor"], abs=1e-9)
    assert 1 / factor == pytest.approx(want["apparent_over_true"], abs=1e-9)
    assert 1 / factor - 1 == pytest.approx(want["relative_length_error"], abs=1e-9)
    assert 1 / factor**2 - 1 == pytest.approx(want["relative_area_error"], abs=1e-9)
    plane, centre = pinhole(2000.0, distance)
    ends = across(centre, 100)
    flat = MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="in_plane"))
    near = MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="stated", mm=dz, mm_u=0.0))
    apparent = measure_length(plane, ends, flat).values["length_mm"]
    true = measure_length(plane, ends, near).values["length_mm"]
    assert apparent / true == pytest.approx(want["apparent_over_true"], rel=1e-6)


@pytest.mark.parametrize(
    "case", [c for c in cases("geo_flat_port.json") if "angle_in_air_deg" in c["in"]]
)
def test_flat_port_follows_snell(case: dict[str, Any]) -> None:
    angle, n = np.radians(case["in"]["angle_in_air_deg"]), case["in"]["n_water"]
    ratio = float(flat_port_ratio(np.tan(angle), n))
    assert ratio == pytest.approx(case["out"]["tan_ratio"], abs=1e-9)
    in_water = np.degrees(np.arctan(np.tan(angle) / ratio))
    assert in_water == pytest.approx(case["out"]["angle_in_water_deg"], abs=1e-9)


def test_flat_port_on_the_axis_and_field_of_view() -> None:
    paraxial, field = (c for c in cases("geo_flat_port.json") if "angle_in_air_deg" not in c["in"])
    n = paraxial["in"]["n_water"]
    ratio = float(flat_port_ratio(0.0, n))
    assert ratio == pytest.approx(paraxial["out"]["magnification"], abs=1e-12)
    assert paraxial["in"]["distance_mm"] / ratio == pytest.approx(
        paraxial["out"]["apparent_distance_mm"], abs=1e-9
    )
    half = np.tan(np.radians(field["in"]["full_angle_air_deg"] / 2))
    wide = 2 * np.degrees(np.arctan(half / float(flat_port_ratio(half, field["in"]["n_water"]))))
    assert wide == pytest.approx(field["out"]["full_angle_water_deg"], abs=1e-9)


@pytest.mark.parametrize("case", cases("wat_refractive_index.json"), ids=lambda c: c["name"])
def test_refractive_index_after_quan_and_fry(case: dict[str, Any]) -> None:
    given = case["in"]
    n = refractive_index_water(given["salinity"], given["temperature_C"], given["wavelength_nm"])
    assert n == pytest.approx(case["out"]["n"], abs=case["tol"])


def test_scale_and_height_doubts_combine_as_the_guide_says() -> None:
    by_name = {c["name"]: c for c in cases("geo_scale_uncertainty.json")}
    ruler = by_name["scale from a ruler"]
    length, scale_u, object_u = 64.0, 2.0 / 1250, 3.0 / 12.5
    # the ruler's own doubt is a print scale; reading it in pixels acts on all lengths alike too
    plane, centre = pinhole(12.5 * 600.0, 600.0)
    from dataclasses import replace

    plane = replace(
        plane,
        covariance=np.zeros_like(plane.covariance),
        print_scale_u_frac=float(np.hypot(0.2 / 100, scale_u)),
    )
    points = apply_plane(plane, across(centre, 400))
    flat = height_of(OffPlane(kind="in_plane"), length, 600.0)
    slopes = np.array([[-1.0, 0.0], [1.0, 0.0]])
    reading = Reading(plane=plane, points=points, height=flat, point_u_px=3.0 / np.sqrt(2.0))
    stated = state_value(reading, length, slopes)
    assert stated.value == pytest.approx(ruler["out"]["object_mm"], abs=1e-9)
    assert stated.parts.pointing == pytest.approx(object_u, rel=1e-6)
    assert stated.u == pytest.approx(ruler["out"]["u_mm"], rel=1e-6)
    height = by_name["with height term"]
    off = height_of(OffPlane(kind="stated", mm=0.0, mm_u=height["in"]["u_dz_mm"]), 64.0, 600.0)
    raised = state_value(replace(reading, height=off), length, slopes)
    assert raised.u == pytest.approx(height["out"]["u_mm"], rel=1e-6)


def test_foreshortening_of_a_tilted_length() -> None:
    case = {c["name"]: c for c in cases("geo_scale_uncertainty.json")}["foreshortening"]
    tilt = np.radians(case["in"]["tilt_deg"])
    # far away and small: the projection is nearly parallel
    focal, distance = 1e6, 1e6
    centre = np.array([1999.5, 1499.5])
    lens = Lens(
        name="far",
        model="normal",
        image_size_px=(4000, 3000),
        params=np.array([focal, focal, *centre, 0, 0, 0, 0, 0]),
        covariance=np.diag([1e-6] * 4 + [1e-16] * 5),
    )
    card = np.array([(0, 0), (100, 0), (100, 50), (0, 50)], dtype=float)
    flat = card - [50, 25]
    depth = distance + flat[:, 0] * np.sin(tilt)
    seen = (
        centre + focal * np.column_stack([flat[:, 0] * np.cos(tilt), flat[:, 1]]) / depth[:, None]
    )
    plane = fit_plane(card, seen, 0.02, ViewSettings(image_size_px=(4000, 3000), lens=lens))
    assert plane.tilt_deg == pytest.approx(30.0, abs=0.1)
    half = case["out"]["projected_mm"] / 2
    ends = across(centre, half)
    told = measure_length(
        plane, ends, MeasureSettings(point_u_px=0.0, off_plane=OffPlane(kind="in_plane"))
    )
    assert told.values["length_mm"] == pytest.approx(case["in"]["true_mm"], rel=1e-3)


def test_rectangular_height_has_the_guide_s_spread() -> None:
    case = {c["name"]: c for c in cases("geo_scale_uncertainty.json")}
    half = case["rectangular +/-0.5 mm reading"]["in"]["half_width_mm"]
    height = height_of(OffPlane(kind="assumed"), 4 * half, 600.0)
    assert height.mm_u == pytest.approx(
        case["rectangular +/-0.5 mm reading"]["out"]["u_mm"], abs=1e-9
    )
