"""Rendered scenes under water, through the finder: lengths and their intervals hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dryslate.app.geometry import lens_of, plane_of
from dryslate.app.records import PhotoMetadata
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.finding import find_cards
from dryslate.core.measure.lengths import MeasureSettings, measure_length, measure_outline
from dryslate.core.measure.off_plane import OffPlane
from dryslate.core.scale.plane import Plane, project_plane
from dryslate.demo.cameras import Imaging
from dryslate.demo.flats import Place, PlacedCard
from dryslate.demo.pinhole import SceneLens, View
from dryslate.demo.scene import Rendered, Scene, render_scene
from dryslate.demo.seabed import plain_seabed
from dryslate.formats.card_toml import parse_card

SIZE = (1200, 900)
PLATEAU_MM = 40.0
FLAT = OffPlane(kind="in_plane")


@pytest.fixture(scope="module")
def card(repo_root: Path) -> CardDefinition:
    path = repo_root / "src" / "dryslate" / "data" / "cards" / "field.toml"
    return parse_card(path.read_text("utf-8"), "field.toml")


@pytest.fixture(scope="module")
def scenes(card: CardDefinition) -> list[tuple[Rendered, Plane]]:
    """Three photos: straight, tilted by 25 and by 40 degrees; the lens bends 2 % at the corner."""
    rng = np.random.default_rng(77)
    bed = plain_seabed(rng)
    out = []
    for tilt, azimuth in ((3.0, 0.0), (25.0, 60.0), (40.0, 200.0)):
        # in the card's plane, 10 mm above the ground; and a plateau nearer the camera
        level, raised = -10.0, -10.0 - PLATEAU_MM
        ends = np.array([(-110.0, 70.0), (90.0, 85.0)])
        angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        rim = np.column_stack([30 + 60 * np.cos(angle), -90 + 40 * np.sin(angle)])
        scene = Scene(
            size_px=SIZE,
            lens=SceneLens(focal_px=1000.0, k1=0.035, p1=0.0004),
            seabed=bed,
            view=View(distance_mm=480.0, tilt_deg=tilt, azimuth_deg=azimuth, roll_deg=12.0),
            imaging=Imaging(blur_px=0.7),
            cards=(PlacedCard(card=card, place=Place(centre_mm=(0.0, 0.0), height_mm=10.0)),),
            points_mm={
                "level": np.column_stack([ends, np.full(2, level)]),
                "raised": np.column_stack([ends * 0.8, np.full(2, raised)]),
                "rim": np.column_stack([rim, np.full(48, level)]),
            },
        )
        photo = render_scene(scene, rng)
        (found,) = find_cards(photo.img_srgb, [card]).cards
        lens, _ = lens_of(PhotoMetadata(focal_35mm_mm=22.0), SIZE, None, "flat")
        out.append((photo, plane_of(found, SIZE, lens)))
    return out


def test_tilt_distance_and_scale_are_recovered(scenes: list[tuple[Rendered, Plane]]) -> None:
    for photo, plane in scenes:
        truth = photo.truth.cards[0]
        assert abs(plane.tilt_deg - truth.tilt_deg) < max(3 * plane.tilt_deg_u, 0.2)
        assert abs(plane.distance_mm - truth.distance_mm) < 2.5 * plane.distance_mm_u
        corners = project_plane(plane, [(0, 0), (150, 0), (150, 100), (0, 100)])
        assert np.abs(corners - truth.corners_px).max() < 0.5


def test_lengths_in_the_card_s_plane(scenes: list[tuple[Rendered, Plane]]) -> None:
    true = float(np.hypot(200.0, 15.0))
    for photo, plane in scenes:
        told = measure_length(
            plane, photo.truth.points_px["level"], MeasureSettings(point_u_px=0.0, off_plane=FLAT)
        ).values
        assert told["length_mm"] == pytest.approx(true, rel=0.01)
        assert told["length_mm_lo95"] <= true <= told["length_mm_hi95"]


def test_outlines_in_the_card_s_plane(scenes: list[tuple[Rendered, Plane]]) -> None:
    for photo, plane in scenes:
        told = measure_outline(
            plane, photo.truth.points_px["rim"], MeasureSettings(point_u_px=0.5, off_plane=FLAT)
        ).values
        # area of the polygon of 48 corners on the ellipse
        area = 0.5 * 48 * np.sin(2 * np.pi / 48) * 60 * 40 / 100
        assert told["area_cm2_lo95"] <= area <= told["area_cm2_hi95"]
        assert told["diameter_max_mm"] == pytest.approx(120.0, rel=0.01)
        assert told["diameter_across_mm"] == pytest.approx(80.0, rel=0.01)


def test_a_plateau_nearer_the_camera_reads_long_unless_its_height_is_stated(
    scenes: list[tuple[Rendered, Plane]],
) -> None:
    true = 0.8 * float(np.hypot(200.0, 15.0))
    for photo, plane in scenes:
        ends = photo.truth.points_px["raised"]

        def told(off: OffPlane | None, plane: Plane = plane, ends: np.ndarray = ends):
            return measure_length(
                plane, ends, MeasureSettings(point_u_px=0.5, off_plane=off)
            ).values

        flat, stated = told(FLAT), told(OffPlane(kind="stated", mm=PLATEAU_MM, mm_u=3.0))
        assumed = told(None)
        assert flat["length_mm_lo95"] > true  # wrong, and surely so: it was said to be in plane
        assert stated["length_mm_lo95"] <= true <= stated["length_mm_hi95"]
        assert assumed["length_mm_lo95"] <= true <= assumed["length_mm_hi95"]
        assert stated["length_mm_u"] < assumed["length_mm_u"]


def test_without_a_focal_length_the_plane_s_lengths_still_hold(
    scenes: list[tuple[Rendered, Plane]], card: CardDefinition
) -> None:
    true = float(np.hypot(200.0, 15.0))
    for photo, known in scenes:
        (found,) = find_cards(photo.img_srgb, [card]).cards
        lens, _ = lens_of(PhotoMetadata(), SIZE, None)
        plane = plane_of(found, SIZE, lens)
        told = measure_length(
            plane, photo.truth.points_px["level"], MeasureSettings(point_u_px=0.0, off_plane=FLAT)
        ).values
        assert told["length_mm_lo95"] <= true <= told["length_mm_hi95"]
        assert plane.distance_mm_u > known.distance_mm_u
