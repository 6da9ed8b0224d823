"""Cards are found in made photos with known truth; nothing is found where there is none."""

from __future__ import annotations

from collections.abc import Callable
from importlib import resources
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from dryslate.base.quality import Flag
from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.definition import CardDefinition, Marker
from dryslate.core.card.finding import FindSettings, find_cards
from dryslate.core.card.markers import marker_corners_mm
from dryslate.formats.card_toml import parse_card


@pytest.fixture
def scenes(repo_root: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The benchmark's renderer, which is no part of the installed package."""
    monkeypatch.syspath_prepend(repo_root)
    from bench import finding_scenes

    return finding_scenes


@pytest.fixture(scope="module")
def cards() -> dict[str, CardDefinition]:
    folder = resources.files("dryslate").joinpath("data", "cards")
    return {
        name: parse_card(folder.joinpath(f"{name}.toml").read_text("utf-8"), name)
        for name in ("field", "large", "stick")
    }


Make = Callable[..., Any]


@pytest.fixture
def make(scenes: ModuleType, cards: dict[str, CardDefinition]) -> Make:
    """Make a photo of 2 megapixels with named cards."""

    def make_one(k: int, *names: str, look: Any = None, **more: Any) -> Any:
        settings = {"shape": (1200, 1600), "side_range_px": (60, 90), "max_tilt_deg": 35,
                    "p_hidden": 0.0, **more}  # fmt: skip
        rng = scenes.scene_rng("tests", k)
        return scenes.make_scene(
            [cards[n] for n in names], rng, look=look or scenes.Look(), **settings
        )

    return make_one


def assert_at_its_place(found: Any, truth: Any, atol_px: float) -> None:
    assert found.card.name == truth.card.name
    np.testing.assert_allclose(found.corners_px, truth.corners_px, atol=atol_px)


def test_card_is_found_to_a_fraction_of_a_pixel(make: Make, cards: Any) -> None:
    scene = make(1, "field")
    (found,) = find_cards(scene.img_srgb, list(cards.values())).cards
    assert_at_its_place(found, scene.cards[0], 0.5)
    assert len(found.markers) == 4
    for seen in found.markers:
        marker = next(m for m in found.card.markers if m.marker_id == seen.marker_id)
        true = apply_homography(scene.cards[0].card_to_px, marker_corners_mm(marker))
        assert np.abs(seen.corners_px - true).max() < 0.2
        assert np.abs(seen.corners_px - true).max() < 4 * seen.corner_u_px


def test_stated_corner_doubt_covers_the_error_over_many_markers(make: Make, cards: Any) -> None:
    z = []
    for k in range(20, 25):
        scene = make(k, "large", side_range_px=(45, 60), max_tilt_deg=50)
        for found in find_cards(scene.img_srgb, list(cards.values())).cards:
            for seen in found.markers:
                marker = next(m for m in found.card.markers if m.marker_id == seen.marker_id)
                true = apply_homography(scene.cards[0].card_to_px, marker_corners_mm(marker))
                z.extend((seen.corners_px - true).ravel() / seen.corner_u_px)
    assert len(z) >= 5 * 4 * 8 * 0.9
    assert 0.3 < np.sqrt(np.mean(np.square(z))) < 1.3


def test_card_is_found_with_two_markers_hidden(make: Make, cards: Any, scenes: Any) -> None:
    scene = make(2, "field")
    truth = scene.cards[0]
    linear = scenes.to_linear(scene.img_srgb)
    for marker in truth.card.markers[:2]:
        corners = apply_homography(truth.card_to_px, marker_corners_mm(marker))
        scenes.hide_marker(linear, corners, np.random.default_rng(3))
    search = find_cards(scenes.to_coded(linear), list(cards.values()))
    (found,) = search.cards
    assert {m.marker_id for m in found.markers} == {203, 204}
    assert_at_its_place(found, truth, 3.0)


def test_single_marker_makes_a_card_with_a_warning(make: Make, cards: Any, scenes: Any) -> None:
    scene = make(2, "field")
    truth = scene.cards[0]
    linear = scenes.to_linear(scene.img_srgb)
    for marker in truth.card.markers[:3]:
        corners = apply_homography(truth.card_to_px, marker_corners_mm(marker))
        scenes.hide_marker(linear, corners, np.random.default_rng(3))
    search = find_cards(scenes.to_coded(linear), list(cards.values()))
    (found,) = search.cards
    assert found.flags == (Flag.FEW_MARKERS,)
    assert [p.slug for p in search.problems] == ["card-one-marker"]


def test_marker_alone_on_a_rock_is_named_but_makes_no_card(scenes: Any, cards: Any) -> None:
    field = cards["field"]
    marker = next(m for m in field.markers if m.marker_id == 203)
    bare = CardDefinition(
        name="bare", title="one marker", width_mm=40.0, height_mm=40.0,
        ground_lab_d65=(95.0, 0.0, 0.0), patches=(),
        markers=(Marker(dictionary="36h11", marker_id=203, x_mm=10.0, y_mm=10.0, side_mm=20.0),),
    )  # fmt: skip
    scene = scenes.make_scene(
        [bare], scenes.scene_rng("tests", 9), shape=(1200, 1600), side_range_px=(80, 81),
        max_tilt_deg=10, look=scenes.Look(), p_hidden=0.0,
    )  # fmt: skip
    search = find_cards(scene.img_srgb, list(cards.values()))
    assert search.cards == ()
    assert [(m.dictionary, m.marker_id) for m in search.other_markers] == [
        ("36h11", marker.marker_id)
    ]
    assert [p.slug for p in search.problems] == ["card-not-proved"]


def test_several_cards_are_all_found_and_named(make: Make, cards: Any) -> None:
    scene = make(4, "field", "stick", "field", side_range_px=(34, 50))
    assert len(scene.cards) == 3
    found = find_cards(scene.img_srgb, list(cards.values())).cards
    assert sorted(f.card.name for f in found) == ["field", "field", "stick"]
    for truth in scene.cards:
        nearest = min(found, key=lambda f: np.abs(f.corners_px - truth.corners_px).max())
        assert_at_its_place(nearest, truth, 1.5)
    areas = [np.ptp(f.corners_px, axis=0).prod() for f in found]
    assert areas[0] == max(areas)


def test_a_smaller_shaded_card_is_found_beside_a_large_one(
    scenes: Any, cards: dict[str, CardDefinition]
) -> None:
    rng = scenes.scene_rng("tests", 12)
    shape = (1800, 2400)
    linear = scenes.draw_ground(shape, rng)
    large = np.array([(4.0, 0, 60), (0, 4.0, 60), (0, 0, 1)])
    scenes.paste_card(linear, cards["large"], large)
    side = scenes.marker_sides(cards["stick"], np.eye(3))
    small = np.diag([26 / min(side.values()), 26 / min(side.values()), 1.0])
    small[:2, 2] = (1700, 1500)
    scenes.paste_card(linear, cards["stick"], small)
    linear[1400:, 1600:] *= 0.5
    photo = scenes.decode(scenes.develop(linear, scenes.Look(), rng)[0])
    found = find_cards(photo, list(cards.values())).cards
    assert [f.card.name for f in found] == ["large", "stick"]
    truth = apply_homography(small, [(0, 0), (60, 0), (60, 15), (0, 15)])
    np.testing.assert_allclose(found[1].corners_px, truth, atol=1.0)


def test_markers_hidden_in_several_places_are_looked_for_once(
    make: Make, cards: Any, scenes: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dryslate.core.card.search import Search

    scene = make(2, "field")
    truth = scene.cards[0]
    linear = scenes.to_linear(scene.img_srgb)
    for marker in truth.card.markers[:2]:
        corners = apply_homography(truth.card_to_px, marker_corners_mm(marker))
        scenes.hide_marker(linear, corners, np.random.default_rng(3))
    looked_for: list[int] = []
    look = Search._read_places

    def counted(search: Search, places: Any, n_known: int) -> Any:
        looked_for.append(len(places))
        return look(search, places, n_known)

    monkeypatch.setattr(Search, "_read_places", counted)
    settings = FindSettings(thorough=True)  # joins the markers again on each copy
    (found,) = find_cards(scenes.to_coded(linear), list(cards.values()), settings).cards
    assert len(found.markers) == 2
    assert looked_for == [2]


def test_markers_of_no_known_card_are_named_not_used(make: Make, cards: Any) -> None:
    scene = make(1, "field")
    search = find_cards(scene.img_srgb, [cards["large"]])
    assert search.cards == ()
    assert {m.marker_id for m in search.other_markers} == {201, 202, 203, 204}


@pytest.mark.parametrize("cast", [(0.01, 0.9, 0.06), (0.01, 0.08, 0.9), (0.9, 0.05, 0.02)])
def test_nearly_one_channel_light_is_enough(make: Make, cards: Any, scenes: Any, cast: Any) -> None:
    look = scenes.Look(cast=cast)
    scene = make(5, "field", look=look)
    (found,) = find_cards(scene.img_srgb, list(cards.values())).cards
    assert_at_its_place(found, scene.cards[0], 1.0)


def test_small_blurred_faint_card_is_found(make: Make, cards: Any, scenes: Any) -> None:
    look = scenes.Look(blur_px=1.0, veil=0.3, exposure=0.6, noise_frac=0.008)
    scene = make(6, "field", look=look, side_range_px=(26, 30))
    assert scene.contrast_frac < 0.6
    (found,) = find_cards(scene.img_srgb, list(cards.values())).cards
    assert_at_its_place(found, scene.cards[0], 2.0)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_turned_and_flipped_views_need_no_copy_and_give_the_same_card(
    make: Make, cards: Any, turns: int
) -> None:
    scene = make(7, "field")
    stored = np.ascontiguousarray(np.rot90(scene.img_srgb, turns))
    view = np.rot90(stored, -turns)
    (found,) = find_cards(view, list(cards.values())).cards
    assert_at_its_place(found, scene.cards[0], 0.5)


def test_odd_sizes_keep_corners_in_place(make: Make, cards: Any) -> None:
    scene = make(7, "field", shape=(1201, 1603))
    flipped = np.ascontiguousarray(scene.img_srgb[::-1, ::-1])[::-1, ::-1]
    for photo in (scene.img_srgb, flipped):
        (found,) = find_cards(photo, list(cards.values())).cards
        assert_at_its_place(found, scene.cards[0], 0.5)


def test_search_is_repeatable(make: Make, cards: Any) -> None:
    scene = make(8, "large")
    first, second = (find_cards(scene.img_srgb, list(cards.values())) for _ in range(2))
    np.testing.assert_array_equal(first.cards[0].corners_px, second.cards[0].corners_px)


@pytest.mark.parametrize("k", range(6))
def test_no_card_is_invented_on_textured_ground(scenes: Any, cards: Any, k: int) -> None:
    photo = scenes.decode(scenes.make_ground_photo((1100, 1500), scenes.scene_rng("tests-g", k)))
    search = find_cards(photo, list(cards.values()), FindSettings(thorough=k == 0))
    assert search.cards == ()


def test_blank_and_tiny_photos_hold_no_card(cards: Any) -> None:
    for shape in ((1, 1), (7, 9), (64, 64), (900, 1200)):
        photo = np.full((*shape, 3), 90, np.uint8)
        assert find_cards(photo, list(cards.values())).cards == ()


def test_wrong_kind_of_photo_is_refused(cards: Any) -> None:
    with pytest.raises(ValueError, match="uint8"):
        find_cards(np.zeros((40, 40, 3), np.uint16), list(cards.values()))  # type: ignore[arg-type]


def test_card_of_ones_own_with_dense_markers_is_found(scenes: Any) -> None:
    places = ((0, 5.0, 5.0), (1, 165.0, 5.0), (2, 165.0, 105.0), (3, 5.0, 105.0))
    own = CardDefinition(
        name="own", title="four markers", width_mm=200.0, height_mm=140.0,
        ground_lab_d65=(92.0, 0.0, 0.0), patches=(),
        markers=tuple(
            Marker(dictionary="4X4_50", marker_id=i, x_mm=x, y_mm=y, side_mm=30.0)
            for i, x, y in places
        ),
    )  # fmt: skip
    scene = scenes.make_scene(
        [own], scenes.scene_rng("tests", 11), shape=(1200, 1600), side_range_px=(60, 70),
        max_tilt_deg=30, look=scenes.Look(), p_hidden=0.0,
    )  # fmt: skip
    (found,) = find_cards(scene.img_srgb, [own]).cards
    assert len(found.markers) == 4
    assert_at_its_place(found, scene.cards[0], 1.0)
