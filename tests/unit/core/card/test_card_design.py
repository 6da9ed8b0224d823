"""The built-in cards follow the rules that a good underwater reference needs."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest

from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.ground import find_ground
from dryslate.core.card.picture import OFF_CARD, draw_labels
from dryslate.core.card.rendering import render_picture

Built = Callable[[str], CardDefinition]
OWN = ["large", "field", "stick"]


def centre(patch: Patch) -> np.ndarray:
    return np.array([patch.x_mm + patch.width_mm / 2, patch.y_mm + patch.height_mm / 2])


@pytest.mark.parametrize("name", OWN)
def test_neutrals_run_from_three_to_ninety_percent(built_in: Built, name: str) -> None:
    # CIE 15:2004: L* of 3 % is 20.0, of 90 % 96.0
    lightness = [p.lab_d65[0] for p in built_in(name).neutrals]
    assert min(lightness) == pytest.approx(20.0, abs=0.1)
    assert max(lightness) == pytest.approx(96.0, abs=0.1)


@pytest.mark.parametrize("name", OWN)
def test_white_mid_grey_and_black_are_given_twice_and_apart(built_in: Built, name: str) -> None:
    card = built_in(name)
    by_id = {p.patch_id: p for p in card.patches}
    twins = [p for p in card.patches if p.twin_of]
    assert len(twins) == 6
    for patch in twins:
        other = by_id[patch.twin_of]
        assert other.twin_of == patch.patch_id
        assert other.lab_d65 == patch.lab_d65
        if name != "stick":
            assert np.hypot(*(centre(patch) - centre(other))) > 0.35 * card.width_mm


@pytest.mark.parametrize("name", ["large", "field"])
def test_patches_of_the_larger_cards_are_at_least_twelve_millimetres(
    built_in: Built, name: str
) -> None:
    assert min(min(p.width_mm, p.height_mm) for p in built_in(name).patches) >= 12.0


@pytest.mark.parametrize("name", ["large", "field"])
def test_no_ladder_of_one_hue_stands_side_by_side(built_in: Built, name: str) -> None:
    card = built_in(name)
    reach = 1.6 * card.patches[0].width_mm
    side_by_side = [
        (a.patch_id, b.patch_id)
        for a, b in combinations(card.colours, 2)
        if a.hue_group == b.hue_group and np.hypot(*(centre(a) - centre(b))) < reach
    ]
    assert side_by_side == []


@pytest.mark.parametrize("name", ["large", "field"])
def test_each_hue_group_has_two_patches_and_there_are_seven(built_in: Built, name: str) -> None:
    groups = [p.hue_group for p in built_in(name).colours]
    assert len(set(groups)) >= 7
    assert min(groups.count(g) for g in set(groups)) >= 2


@pytest.mark.parametrize(("name", "size"), [("large", 1), ("field", 2), ("stick", 3)])
def test_marker_numbers_tell_size_and_corner(built_in: Built, name: str, size: int) -> None:
    ids = [m.marker_id for m in built_in(name).markers]
    assert ids == [100 * size + k + 1 for k in range(len(ids))]


def test_cards_share_no_marker(built_in: Built) -> None:
    ids = [m.marker_id for name in OWN for m in built_in(name).markers]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", OWN)
def test_hole_lies_in_the_empty_thumb_zone(built_in: Built, name: str) -> None:
    card = built_in(name)
    assert card.lanyard_hole is not None
    x, y, diameter = card.lanyard_hole
    zone = card.thumb_zone
    assert zone is not None
    assert zone.x_mm <= x - diameter / 2
    assert x + diameter / 2 <= min(zone.x_mm + zone.width_mm, card.width_mm)
    assert zone.y_mm <= y - diameter / 2
    assert y + diameter / 2 <= zone.y_mm + zone.height_mm


@pytest.mark.parametrize("name", OWN)
def test_ground_pieces_are_spread_and_free(built_in: Built, name: str) -> None:
    card = built_in(name)
    pieces = find_ground(card)
    assert len(pieces) >= 8
    drawn = draw_labels(card, 10.0)
    for box in pieces:
        x0, y0 = round(box.x_mm * 10) + 1, round(box.y_mm * 10) + 1
        x1 = round((box.x_mm + box.width_mm) * 10) - 1
        y1 = round((box.y_mm + box.height_mm) * 10) - 1
        inner = drawn.labels[y0:y1, x0:x1]
        assert np.mean(inner == 0) > 0.97
    if name != "stick":
        xs = [b.x_mm for b in pieces]
        assert np.ptp(xs) > 0.5 * card.width_mm


@pytest.mark.parametrize("name", OWN)
def test_picture_is_the_card_edge_to_edge(built_in: Built, name: str) -> None:
    card = built_in(name)
    picture = render_picture(card, 10.0)
    assert picture.shape == (round(card.height_mm * 10), round(card.width_mm * 10), 3)
    white = next(p for p in card.patches if p.patch_id == "white_1")
    x, y = centre(white) * 10
    # CIE L* 96.0 is 90 % reflectance, sRGB code 243 (IEC 61966-2-1)
    assert picture[int(y), int(x)].tolist() == pytest.approx([243, 243, 243], abs=1)


@pytest.mark.parametrize("dpi", [97.0, 150.0, 300.0])
def test_picture_has_its_edges_where_the_card_has_them(built_in: Built, dpi: float) -> None:
    """Along a marker's outer black frame the share of ink in a row tells where it begins."""
    card = built_in("field")
    picture = render_picture(card, dpi / 25.4)
    scale = np.array(picture.shape[1::-1]) / (card.width_mm, card.height_mm)
    coded = picture[..., 1] / 255.0
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    for marker in card.markers:
        middle = round((marker.y_mm + marker.side_mm / 20) * scale[1])
        begin = int((marker.x_mm - 1.0) * scale[0])
        end = int((marker.x_mm + 3.0) * scale[0])
        paper, ink = light[middle, begin], light[middle, end]
        dark = ((paper - light[middle, begin:end]) / (paper - ink)).sum()
        assert (end - dark) / scale[0] == pytest.approx(marker.x_mm, abs=0.02 / scale[0])


def test_labels_name_materials_and_leave_the_corners_off(built_in: Built) -> None:
    drawn = draw_labels(built_in("field"), 4.0)
    names = [m.name for m in drawn.materials]
    assert drawn.labels[0, 0] == OFF_CARD
    assert names[drawn.labels[4 * 10, 4 * 60]] == "strip"
    assert names[drawn.labels[4 * 49, 4 * 143]] == "hole"
    assert names[drawn.labels[4 * 7, 4 * 7]] == "ink"


def test_scale_has_a_tick_each_millimetre(built_in: Built) -> None:
    card = built_in("field")
    bar = card.scale_bar
    assert bar is not None
    drawn = draw_labels(card, 20.0)
    row = drawn.labels[round((bar.y_mm - 1.0) * 20)]
    ink = [m.name for m in drawn.materials].index("ink")
    starts = np.flatnonzero(np.diff((row == ink).astype(int)) == 1)
    assert len(starts) == round(bar.length_mm) + 1
    assert np.diff(starts).mean() / 20.0 == pytest.approx(1.0, abs=0.001)


def test_drawing_needs_a_positive_scale(built_in: Built) -> None:
    with pytest.raises(ValueError, match="above 0"):
        draw_labels(built_in("field"), 0.0)
