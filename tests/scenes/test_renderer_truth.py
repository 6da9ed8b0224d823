"""Made scenes: what the renderer draws lies where, and looks as, its truth says."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.demo.cameras import MIRRORLESS, Imaging, WhiteBalance
from dryslate.demo.flats import Place, chip, finger
from dryslate.demo.pinhole import SceneLens, View
from dryslate.demo.scene import Daylight, Flash, Scene, render_scene
from dryslate.demo.seabed import plain_seabed
from dryslate.demo.surfaces import reflectance_for_lab
from dryslate.demo.water import Water

CLEAN = Imaging(
    blur_px=0.0, electrons_white=np.inf, jpeg_quality=None, auto_percentile=99.9, auto_level=0.85
)
CLEAR = Water(jerlov="I", depth_m=0.0, scatter_per_m=0.0)
STILL = Daylight(caustics=0.0)


def linear(img_srgb: np.ndarray) -> np.ndarray:
    coded = img_srgb / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def scene_of(things, **changes) -> Scene:
    settings = {
        "size_px": (480, 360),
        "lens": SceneLens(focal_px=420.0),
        "seabed": plain_seabed(np.random.default_rng(1), "algae"),
        "view": View(distance_mm=420.0),
        "water": CLEAR,
        "daylight": STILL,
        "imaging": CLEAN,
        "things": tuple(things),
    }
    return Scene(**{**settings, **changes})


def white(name: str, x: float, y: float, **place) -> object:
    spectrum = reflectance_for_lab((96.0, 0.0, 0.0))
    return chip(name, spectrum, Place(centre_mm=(x, y), height_mm=0.0, **place), (60.0, 40.0))


def corners_of_bright_quad(img_srgb: np.ndarray) -> np.ndarray:
    """Corners of the one bright quadrilateral, from lines fitted to its half-way crossings."""
    light = linear(img_srgb)[..., 1]
    top = np.percentile(light, 99.5)
    floor = np.median(light)
    share = np.clip((light - floor) / (top - floor), 0.0, 1.0)
    rows, columns = np.nonzero(share > 0.5)
    points = np.stack([columns, rows], axis=1).astype(float)
    total = [points.sum(axis=1), points[:, 0] - points[:, 1]]
    rough = points[[total[0].argmin(), total[1].argmax(), total[0].argmax(), total[1].argmin()]]
    lines = []
    for a, b in zip(rough, np.roll(rough, -1, axis=0), strict=True):
        along = (b - a) / np.linalg.norm(b - a)
        normal = np.array([along[1], -along[0]])
        found = []
        for f in np.linspace(0.15, 0.85, 60):
            spot = a + f * (b - a)
            steps = np.arange(-6.0, 6.01, 0.1)
            xy = spot + steps[:, None] * normal
            values = bilinear(share, xy)
            found.append(spot + steps[np.abs(values - 0.5).argmin()] * normal)
        found = np.array(found)
        centre = found.mean(axis=0)
        direction = np.linalg.svd(found - centre)[2][0]
        lines.append((centre, direction))
    corners = []
    for (p, u), (q, v) in zip([lines[-1], *lines[:-1]], lines, strict=True):
        s = np.linalg.solve(np.stack([u, -v], axis=1), q - p)[0]
        corners.append(p + s * u)
    return np.array(corners)


def bilinear(field: np.ndarray, xy: np.ndarray) -> np.ndarray:
    x, y = xy[:, 0], xy[:, 1]
    i, j = np.floor(y).astype(int), np.floor(x).astype(int)
    v, u = y - i, x - j
    return (field[i, j] * (1 - u) + field[i, j + 1] * u) * (1 - v) + (
        field[i + 1, j] * (1 - u) + field[i + 1, j + 1] * u
    ) * v


@pytest.mark.parametrize(
    ("tilt", "lean", "roll"), [(0.0, 0.0, 4.0), (25.0, 0.0, 10.0), (30.0, 15.0, -8.0)]
)
def test_flat_thing_lies_where_the_truth_says(tilt, lean, roll) -> None:
    thing = white("w", 10.0, -8.0, turn_deg=3.0, lean_deg=lean)
    scene = scene_of([thing], view=View(distance_mm=420.0, tilt_deg=tilt, roll_deg=roll))
    made = render_scene(scene, np.random.default_rng(0))
    seen = corners_of_bright_quad(made.img_srgb)
    assert np.abs(seen - made.truth.things[0].corners_px).max() < 0.15


def test_lens_distortion_moves_things_as_browns_model_says() -> None:
    lens = SceneLens(focal_px=420.0, k1=-0.12, k2=0.03, p1=0.001, p2=-0.0008)
    xy = np.array([[0.3, -0.2], [-0.45, 0.35], [0.0, 0.0]])
    assert lens.undistort(lens.distort(xy)) == pytest.approx(xy, abs=1e-9)
    # by hand for the first point: r2 = 0.13
    radial = 1 - 0.12 * 0.13 + 0.03 * 0.13**2
    x = 0.3 * radial + 2 * 0.001 * 0.3 * -0.2 - 0.0008 * (0.13 + 2 * 0.09)
    y = -0.2 * radial + 0.001 * (0.13 + 2 * 0.04) + 2 * -0.0008 * 0.3 * -0.2
    assert lens.distort(xy)[0] == pytest.approx([x, y], abs=1e-12)
    scene = scene_of([white("w", 130.0, 80.0)], lens=lens)
    made = render_scene(scene, np.random.default_rng(0))
    straight = render_scene(scene_of([white("w", 130.0, 80.0)]), np.random.default_rng(0))
    for picture in (made, straight):
        seen = corners_of_bright_quad(picture.img_srgb)
        # edges are bent a little by the lens: lines through them miss the corner by a bit
        assert np.abs(seen - picture.truth.things[0].corners_px).max() < 0.6
    moved = made.truth.things[0].corners_px - straight.truth.things[0].corners_px
    assert np.abs(moved).max() > 3.0


def test_grey_stays_grey_in_air_and_its_steps_are_true() -> None:
    greys = [25.0, 50.0, 75.0, 94.0]
    things = [
        chip(f"g{k}", reflectance_for_lab((level, 0.0, 0.0)), Place(centre_mm=(-60 + 40 * k, 0)))
        for k, level in enumerate(greys)
    ]
    made = render_scene(scene_of(things, water=None), np.random.default_rng(0))
    seen = []
    for truth in made.truth.things:
        x, y = np.round(truth.centre_px).astype(int)
        seen.append(linear(made.img_srgb[y - 3 : y + 4, x - 3 : x + 4]).mean(axis=(0, 1)))
    seen = np.array(seen)
    assert (np.abs(seen / seen[:, [1]] - 1.0) < 0.03).all()
    expected = np.array([((level + 16) / 116) ** 3 for level in greys])
    assert seen[:, 1] / seen[-1, 1] == pytest.approx(expected / expected[-1], rel=0.03)


def test_red_dies_with_depth_and_comes_back_with_the_flash() -> None:
    grey = chip("g", reflectance_for_lab((80.0, 0.0, 0.0)), Place(height_mm=0.0), (80.0, 80.0))
    redness = {}
    for name, depth, flash in (("shallow", 2.0, None), ("deep", 15.0, None), ("flash", 15.0, 2.0)):
        lamp = None if flash is None else Flash(strength=flash)
        scene = scene_of([grey], water=Water(jerlov="IB", depth_m=depth), flash=lamp)
        pixel = linear(render_scene(scene, np.random.default_rng(0)).img_srgb[180, 240])
        redness[name] = pixel[0] / pixel[1]
    assert redness["deep"] < 0.25 * redness["shallow"]
    assert redness["flash"] > 3.0 * redness["deep"]


def test_haze_grows_with_distance_and_two_greys_tell_how_much() -> None:
    lifts = []
    for distance in (400.0, 1600.0):
        things = [
            chip("black", reflectance_for_lab((20.0, 0, 0)), Place(centre_mm=(-40, 0)), (60, 60)),
            chip("white", reflectance_for_lab((95.0, 0, 0)), Place(centre_mm=(40, 0)), (60, 60)),
        ]
        lens = SceneLens(focal_px=distance)
        water = Water(jerlov="1C", depth_m=3.0, scatter_per_m=0.3)
        scene = scene_of(things, lens=lens, view=View(distance_mm=distance), water=water)
        made = render_scene(scene, np.random.default_rng(0))
        values = []
        for truth in made.truth.things:
            x, y = np.round(truth.centre_px).astype(int)
            values.append(linear(made.img_srgb[y - 5 : y + 6, x - 5 : x + 6])[..., 1].mean())
        dark, bright = ((20 + 16) / 116) ** 3, ((95 + 16) / 116) ** 3
        gain = (values[1] - values[0]) / (bright - dark)
        lifts.append((values[0] - dark * gain) / gain)
    assert lifts[0] > 0.0
    assert lifts[1] > 3.0 * lifts[0]


def test_same_seed_same_picture_and_another_seed_another() -> None:
    imaging = Imaging(white_balance=WhiteBalance(mode="auto"))
    scene = scene_of([white("w", 0, 0)], imaging=imaging, camera=MIRRORLESS)
    one, two, other = (render_scene(scene, np.random.default_rng(s)).img_srgb for s in (5, 5, 6))
    assert (one == two).all()
    assert (one != other).any()


def test_noise_is_as_strong_as_the_electrons_say() -> None:
    imaging = Imaging(blur_px=0.0, electrons_white=2000.0, read_electrons=0.0, jpeg_quality=None)
    grey = chip("g", reflectance_for_lab((80.0, 0, 0)), Place(height_mm=0.0), (300.0, 300.0))
    scene = scene_of([grey], imaging=imaging)
    piece = linear(render_scene(scene, np.random.default_rng(3)).img_srgb[100:260, 140:340])
    made = render_scene(scene, np.random.default_rng(3)).truth
    # green of a grey in daylight white balance: raw value v has a deviation of sqrt(v / N); the
    # matrix mixes three channels, so the green of the file is compared within a wide band
    raw = piece[..., 1].mean() / made.gains[1]
    expected = np.sqrt(raw / 2000.0) * made.gains[1]
    assert 1.0 * expected < piece[..., 1].std() < 3.0 * expected


def test_covered_marker_is_told(field_card) -> None:
    from dryslate.demo.flats import PlacedCard  # the card drawing comes with it

    over = finger(Place(centre_mm=(-58.0, 30.0), height_mm=6.0, turn_deg=8.0), length_mm=60.0)
    scene = scene_of([over], cards=(PlacedCard(card=field_card),))
    truth = render_scene(scene, np.random.default_rng(0)).truth.cards[0]
    hidden = [m.covered_frac for m in truth.markers]
    assert max(hidden) > 0.4
    assert sorted(hidden)[:3] == [0.0, 0.0, 0.0]


@pytest.fixture
def field_card():
    from importlib import resources

    from dryslate.formats.card_toml import parse_card

    text = resources.files("dryslate").joinpath("data", "cards", "field.toml").read_text("utf-8")
    return parse_card(text, "field.toml")
