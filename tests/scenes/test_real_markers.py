"""Every marker that lies wholly inside a real photograph is found (skipped where absent)."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from dryslate.core.card.chart import find_target24
from dryslate.core.card.definition import CardDefinition, Marker
from dryslate.core.card.finding import find_cards

pytestmark = pytest.mark.real

SHEETS = {  # the printed rectangle between the markers, and a marker's side, in millimetres
    "a3": (210.0, 300.0, 35.28),
    "a4": (70.0, 115.0, 17.64),
}
SHEET_PHOTOS = ["a3_2", "a3_4", "a3_6", "a3_9", "a4_1", "a4_2", "a4_4"]

TAG_PLACES_M = {
    0: (0.750, 0.500), 1: (1.548, 0.500), 2: (2.343, 0.500),
    3: (0.750, 1.265), 4: (1.550, 1.295), 5: (2.350, 1.285),
    12: (0.750, 2.057), 14: (1.545, 2.065), 16: (2.340, 2.077),
}  # fmt: skip
TAG_SIDE_MM = 155.5
WHOLLY_INSIDE = {
    "frame_060": {4, 5, 14, 16},  # one more is cut by the left edge
    "frame_120": {4, 14},  # three more are cut by the edges
    "frame_300": {1, 4, 5, 14},  # and 13, which is on no list of places
    "frame_400": {4, 5, 14},
}


def sheet(kind: str) -> CardDefinition:
    """The printed sheet with a marker outside each corner of its rectangle."""
    w, h, side = SHEETS[kind]
    places = ((0, 0.0, 0.0), (1, w + side, 0.0), (2, 0.0, h + side), (3, w + side, h + side))
    return CardDefinition(
        name=kind, title="printed sheet", width_mm=w + 2 * side, height_mm=h + 2 * side,
        ground_lab_d65=(95.0, 0.0, 0.0), patches=(),
        markers=tuple(
            Marker(dictionary="4X4_50", marker_id=i, x_mm=x, y_mm=y, side_mm=side)
            for i, x, y in places
        ),
    )  # fmt: skip


def wall() -> CardDefinition:
    """The tank's wall of tags; the given places count upwards, a card's downwards."""
    height = 2600.0
    half = TAG_SIDE_MM / 2
    return CardDefinition(
        name="wall", title="tags under water", width_mm=3100.0, height_mm=height,
        ground_lab_d65=(60.0, 0.0, 0.0), patches=(),
        markers=tuple(
            Marker(dictionary="16h5", marker_id=i, x_mm=1000 * x - half,
                   y_mm=height - 1000 * y - half, side_mm=TAG_SIDE_MM, turn_deg=180)
            for i, (x, y) in TAG_PLACES_M.items()
        ),
    )  # fmt: skip


def read(path: Path) -> np.ndarray:
    photo = cv2.imread(str(path), cv2.IMREAD_COLOR)
    assert photo is not None
    return np.ascontiguousarray(photo[..., ::-1])


@pytest.mark.parametrize("name", SHEET_PHOTOS)
def test_all_four_markers_of_the_printed_sheet_are_found(real_photos: Path, name: str) -> None:
    photo = read(real_photos / "markers-and-patches" / f"{name}.jpg")
    search = find_cards(photo, [sheet(name[:2])])
    (found,) = search.cards
    assert {m.marker_id for m in found.markers} == {0, 1, 2, 3}
    assert search.other_markers == ()


@pytest.mark.parametrize("name", sorted(WHOLLY_INSIDE))
def test_every_whole_tag_under_water_is_found(real_photos: Path, name: str) -> None:
    photo = read(real_photos / "tags-under-water" / f"{name}.jpg")
    search = find_cards(photo, [wall()])
    (found,) = search.cards
    assert {m.marker_id for m in found.markers} == WHOLLY_INSIDE[name]
    others = {(m.dictionary, m.marker_id) for m in search.other_markers}
    assert others == ({("16h5", 13)} if name == "frame_300" else set())


@pytest.mark.parametrize("name", SHEET_PHOTOS)
def test_no_built_in_card_is_seen_in_photos_without_one(
    real_photos: Path, name: str, built_in_cards: list[CardDefinition]
) -> None:
    photo = read(real_photos / "markers-and-patches" / f"{name}.jpg")
    assert find_cards(photo, built_in_cards).cards == ()


@pytest.mark.parametrize("name", SHEET_PHOTOS)
def test_real_target_of_24_patches_is_found(
    real_photos: Path, name: str, target24: CardDefinition
) -> None:
    photo = read(real_photos / "markers-and-patches" / f"{name}.jpg")
    found = find_target24(photo, target24)
    assert found is not None
    assert len(found.points_mm) >= 18
    assert found.points_u_px[0] < 3.0


@pytest.fixture(scope="module")
def built_in_cards() -> list[CardDefinition]:
    return [_built_in(name) for name in ("field", "large", "stick")]


@pytest.fixture(scope="module")
def target24() -> CardDefinition:
    return _built_in("target24-2014")


def _built_in(name: str) -> CardDefinition:
    from importlib import resources

    from dryslate.formats.card_toml import parse_card

    folder = resources.files("dryslate").joinpath("data", "cards")
    return parse_card(folder.joinpath(f"{name}.toml").read_text("utf-8"), name)
