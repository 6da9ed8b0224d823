"""Corals, stations, the camera's place and the plan of the made-up trip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryslate.core.card.checks import check_card
from dryslate.core.card.definition import CardDefinition, Marker, Patch
from dryslate.demo.corals import Colony, Health, health_layers, plot_for
from dryslate.demo.ground import Station
from dryslate.demo.growth import grow, patches_field
from dryslate.demo.noise import band_field, caustic_pattern, fractal_field
from dryslate.demo.pinhole import SceneLens, View, project
from dryslate.demo.seabed import ceiling
from dryslate.demo.spectra import lab_of
from dryslate.demo.station import build_station
from dryslate.demo.trip_card import print_card
from dryslate.demo.trip_files import jpeg_bytes, points_text, stored_pixels
from dryslate.demo.trip_plan import count_photos, only_colonies, plan_trip

CORAL = Colony(
    name="c", genus="Favites", form="cerioid", centre_mm=(3.0, -2.0), radius_mm=30.0, seed=4
)


def small(form: str, corallite_mm: float) -> Colony:
    return replace(CORAL, form=form, corallite_mm=corallite_mm)


def test_camera_straight_above_sees_the_ground_at_its_scale() -> None:
    lens = SceneLens(focal_px=1000.0)
    pose = View(distance_mm=500.0, tilt_deg=0.0).pose()
    seen = project([[0, 0, 0], [50, 0, 0], [0, 25, 0], [0, 0, -100]], pose, lens, (801, 601))
    assert seen == pytest.approx(np.array([[400, 300], [500, 300], [400, 350], [400, 300]]))


def test_tilted_camera_sees_the_far_side_at_the_top_and_smaller() -> None:
    lens = SceneLens(focal_px=1000.0)
    pose = View(distance_mm=500.0, tilt_deg=30.0).pose()
    far, near = project([[0, -50, 0], [0, 50, 0]], pose, lens, (801, 601))
    assert far[1] < 300.0 < near[1]
    # by hand: at 30 degrees a point 50 mm away up the ground is 25 mm deeper
    assert far[1] - 300.0 == pytest.approx(-1000.0 * 50 * np.cos(np.pi / 6) / 525.0)
    assert near[1] - 300.0 == pytest.approx(1000.0 * 50 * np.cos(np.pi / 6) / 475.0)


@pytest.mark.parametrize(
    ("form", "size", "share"),
    [("plocoid", 6.0, 1.0), ("cerioid", 6.0, 1.06), ("meandroid", 5.0, 1.25)],
)
def test_corallites_have_about_the_size_asked_for(form, size, share) -> None:
    coral = small(form, size)
    lines = grow(coral, plot_for(coral, 5.0)).lines_mm
    lengths = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
    assert len(lengths) >= 10
    assert lengths.mean() == pytest.approx(share * size, rel=0.10)
    assert lengths.std() < 0.25 * size


def test_lines_across_corallites_end_on_their_walls() -> None:
    coral = small("cerioid", 7.0)
    plot = plot_for(coral, 5.0)
    surface = grow(coral, plot)
    corner = np.array([plot.x_mm[0, 0], plot.y_mm[0, 0]])

    def pale_at(xy_mm: np.ndarray) -> np.ndarray:
        at = np.round((xy_mm - corner) * 5.0).astype(int)
        return surface.pale[at[:, 1], at[:, 0]]

    ends = surface.lines_mm.reshape(-1, 2)
    middles = surface.lines_mm.mean(axis=1)
    assert np.median(pale_at(ends)) > 0.25  # walls are the palest part, 0.32 on the crest
    assert np.median(pale_at(middles)) < 0.02


def test_health_shares_come_out_as_asked() -> None:
    asked = Health(normal=0.5, pale=0.2, bleached=0.15, recently_dead=0.1, old_dead=0.05)
    coral = replace(CORAL, health=asked)
    plot = plot_for(coral, 4.0)
    surface = grow(coral, plot)
    first, _, _ = health_layers(coral, plot, surface, patches_field(coral, plot))
    found = first[surface.mask]
    shares = [float((found == state).mean()) for state in (0, 2, 4, 6, 7)]
    assert shares == pytest.approx([0.5, 0.2, 0.15, 0.1, 0.05], abs=0.01)


def test_shape_stays_from_visit_to_visit_while_health_changes() -> None:
    later = replace(CORAL, health=Health(normal=0.4, bleached=0.6))
    assert (CORAL.outline_mm() == later.outline_mm()).all()
    plot = plot_for(CORAL, 4.0)
    assert (grow(CORAL, plot).height_mm == grow(later, plot).height_mm).all()


def station(**changes) -> Station:
    settings = {
        "name": "s",
        "seed": 3,
        "colonies": (CORAL, replace(small("branching", 7.0), name="b", centre_mm=(-70.0, 10.0))),
        "size_mm": (240.0, 160.0),
        "px_per_mm": 3.0,
    }
    return Station(**{**settings, **changes})


def test_station_knows_its_colonies() -> None:
    _, (massive, branching) = build_station(station())
    outline = massive.outline_mm
    assert (outline[:, 2] == 0.0).all()
    gaps = np.linalg.norm(outline[:, None, :2] - outline[None, :, :2], axis=2)
    longest = np.linalg.norm(massive.longest_mm[1] - massive.longest_mm[0])
    assert longest == pytest.approx(gaps.max())
    along = massive.longest_mm[1] - massive.longest_mm[0]
    across = massive.across_mm[1] - massive.across_mm[0]
    assert abs(along @ across) < 1e-6 * longest**2
    # area by the trapezoid rule over the radius as a function of the angle
    angle = np.linspace(0.0, 2.0 * np.pi, 20001)
    area = 0.5 * np.trapezoid(CORAL.radius_at(angle) ** 2, angle) / 100.0
    assert massive.area_cm2 == pytest.approx(area, rel=0.004)
    assert (branching.outline_mm[:, 2] < -2.0).all()  # tips stand above the ground


def test_ground_stays_below_what_lies_on_it() -> None:
    bed, _ = build_station(station(colonies=(), cleared_mm=((0.0, 0.0, 40.0, 30.0, 10.0),)))
    at = bed.near.height_mm[65 * 3 : 95 * 3, 95 * 3 : 145 * 3]
    assert at.max() < 0.0


def test_same_seed_same_station() -> None:
    one, two = (build_station(station())[0] for _ in range(2))
    assert (one.near.height_mm == two.near.height_mm).all()
    assert (one.near.share == two.near.share).all()
    other = build_station(station(seed=5))[0]
    assert (one.near.height_mm != other.near.height_mm).any()


def test_ceiling_is_never_below_the_ground() -> None:
    field = fractal_field(np.random.default_rng(0), 64)
    top = ceiling(field, 8, True)
    assert (np.repeat(np.repeat(top, 8, axis=0), 8, axis=1) >= field).all()


def test_noise_fields_repeat_and_have_the_scale_asked_for() -> None:
    rng = np.random.default_rng(2)
    for field in (fractal_field(rng, 128), band_field(rng, 128, 10.0)):
        assert float(field.mean()) == pytest.approx(0.0, abs=1e-5)
        assert float(field.std()) == pytest.approx(1.0, abs=1e-4)
    waves = np.abs(np.fft.rfft2(band_field(rng, 128, 10.0)))
    f = np.hypot(np.fft.fftfreq(128)[:, None], np.fft.rfftfreq(128)[None, :]) * 128
    assert (waves * f).sum() / waves.sum() == pytest.approx(10.0, rel=0.1)
    assert float(caustic_pattern(rng, 64, 8.0, 0.2).mean()) == pytest.approx(1.0, abs=1e-4)
    assert (caustic_pattern(rng, 64, 8.0, 0.0) == 1.0).all()


def test_trip_has_what_it_promises() -> None:
    trip = plan_trip(1)
    stations = [s for v in trip for s in v.stations]
    shots = [shot for s in stations for shot in s.shots]
    assert count_photos(trip) == len(shots) >= 24
    sites = {v.site for v in trip}
    assert len(sites) == 2
    surveys = [v for v in trip if v.is_survey]
    assert all(len([v for v in surveys if v.site == site]) == 2 for site in sites)
    assert all(len([v for v in trip if v.site == site]) == 4 for site in sites)
    for visit in surveys:
        assert len({s.water.depth_m for s in visit.stations}) == 3
    for visit in trip:
        for s in visit.stations:
            n_frames = sum(shot.shows != "station" for shot in s.shots)
            assert n_frames == (3 if s.station.name in ("L1", "Q1") else 0)
    assert [v.first_number for v in only_colonies(trip)] == [
        v.first_number for v in trip
    ]  # a tagged station comes first on every visit
    notes = " ".join(shot.note for shot in shots)
    for word in ("no card", "green", "no red signal", "finger", "weed"):
        assert notes.count(word) == 1
    assert sum(not shot.has_card for shot in shots) == 1
    assert {c.form for s in stations for c in s.station.colonies} == {
        "plocoid",
        "cerioid",
        "meandroid",
        "branching",
        "plating",
    }
    for s in stations:
        for colony in s.station.colonies:
            h = colony.health
            total = h.normal + h.pale + h.bleached + h.recently_dead + h.old_dead
            assert total == pytest.approx(1.0)


def test_trip_card_states_what_it_reflects_within_its_doubt() -> None:
    greys = [
        Patch(
            patch_id=f"g{v}",
            x_mm=5 + v,
            y_mm=5,
            width_mm=8,
            height_mm=8,
            role="neutral",
            lab_d65=(v, 0, 0),
        )
        for v in (20, 50, 80)
    ]
    red = Patch(
        patch_id="red",
        x_mm=5,
        y_mm=20,
        width_mm=8,
        height_mm=8,
        role="colour",
        lab_d65=(45, 40, 25),
    )
    marker = Marker(dictionary="36h11", marker_id=1, x_mm=60, y_mm=30, side_mm=15)
    design = CardDefinition(
        name="d",
        title="d",
        width_mm=110,
        height_mm=60,
        ground_lab_d65=(57, 0, 0),
        markers=(marker,),
        patches=(*greys, red),
    )
    printed = print_card(design, 1)
    assert (printed.stated.medium, printed.stated.status) == ("water", "measured")
    for patch in printed.stated.patches:
        off = np.array(patch.lab_d65) - lab_of(printed.spectra[f"patch:{patch.patch_id}"])
        assert (np.abs(off) < 4.0 * np.array(patch.lab_u)).all()
    assert not [p for p in check_card(printed.stated) if p.severity == "error"]


def test_picture_is_stored_as_a_turned_camera_stores_it() -> None:
    upright = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    # Exif: 6 is shown turned 90 degrees clockwise, 8 anticlockwise, 3 upside down
    assert (np.rot90(stored_pixels(upright, 6), -1) == upright).all()
    assert (np.rot90(stored_pixels(upright, 8), 1) == upright).all()
    assert (np.rot90(stored_pixels(upright, 3), 2) == upright).all()
    assert (stored_pixels(upright, 1) == upright).all()


def test_jpeg_carries_its_exif_block_in_front() -> None:
    data = jpeg_bytes(np.full((8, 8, 3), 90, np.uint8), b"II*\x00\x08\x00\x00\x00")
    assert data[:4] == b"\xff\xd8\xff\xe1"
    assert data[6:12] == b"Exif\x00\x00"
    assert points_text([(1.23, 4.0), (5.0, 6.5)]) == "1.2,4.0 5.0,6.5"
