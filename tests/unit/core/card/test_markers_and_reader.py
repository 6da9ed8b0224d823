"""Markers are drawn and read alike, and corners follow our pixel convention."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryslate.core.card.definition import Marker
from dryslate.core.card.markers import count_ids, marker_cells, marker_corners_mm
from dryslate.core.card.reader import find_apriltags, find_aruco, is_weak


def drawn(dictionary: str, marker_id: int, cell: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """A marker on white with exact corners, in pixels with centres on whole numbers."""
    cells = np.kron(marker_cells(dictionary, marker_id), np.ones((cell, cell), bool))
    grey = np.full((200, 220), 230, np.uint8)
    side = len(cells)
    grey[40 : 40 + side, 60 : 60 + side] = np.where(cells, 230, 20)
    square = np.array([(0, 0), (side, 0), (side, side), (0, side)], float)
    return grey, np.add(square, (60 - 0.5, 40 - 0.5))


@pytest.mark.parametrize("dictionary", ["36h11", "16h5"])
def test_half_pixel_of_the_reading_library_is_taken_off(dictionary: str) -> None:
    # The library counts from pixel edges: a block that starts at pixel 60 begins at 60.0 there
    # and at 59.5 here, where pixel centres lie on whole numbers.
    grey, corners = drawn(dictionary, 7)
    (seen,) = [m for m in find_apriltags(grey, [dictionary]) if m.marker_id == 7]
    assert seen.dictionary == dictionary
    np.testing.assert_allclose(seen.corners_px, corners, atol=0.05)


def test_coarse_reading_lays_corners_where_the_finer_one_does() -> None:
    grey, corners = drawn("36h11", 7)
    (seen,) = find_apriltags(grey, ["36h11"], coarse=True)
    assert seen.marker_id == 7
    np.testing.assert_allclose(seen.corners_px, corners, atol=0.5)
    turn = cv2.getRotationMatrix2D((108.0, 88.0), 17.0, 0.4)
    leaning = cv2.warpAffine(grey, turn, (220, 200), borderValue=255).astype(np.uint8)
    read = [
        find_apriltags(leaning, ["36h11"], coarse=c)[0].corners_px for c in (False, True, False)
    ]
    np.testing.assert_array_equal(read[0], read[2])  # one reader, told anew each time
    assert not np.array_equal(read[0], read[1])


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_corners_follow_a_turned_marker(turns: int) -> None:
    grey, corners = drawn("36h11", 7)
    turned = np.rot90(grey, -turns)
    expected = corners
    for k in range(turns):
        height = grey.shape[0] if k % 2 == 0 else grey.shape[1]
        expected = np.column_stack([height - 1 - expected[:, 1], expected[:, 0]])
    (seen,) = find_apriltags(turned, ["36h11"])
    np.testing.assert_allclose(seen.corners_px, expected, atol=0.05)


@pytest.mark.parametrize("dictionary", ["4X4_50", "5X5_100", "36h11"])
def test_second_reader_agrees_on_id_and_corners(dictionary: str) -> None:
    grey, corners = drawn(dictionary, 11)
    (seen,) = find_aruco(grey, [dictionary])
    assert seen.marker_id == 11
    np.testing.assert_allclose(seen.corners_px, corners, atol=1.0)


def test_border_of_a_marker_is_black() -> None:
    for dictionary in ("36h11", "16h5", "4X4_50", "7X7_250"):
        cells = marker_cells(dictionary, 3)
        edge = np.concatenate([cells[0], cells[-1], cells[:, 0], cells[:, -1]])
        assert not edge.any()
        assert cells.any()


def test_size_of_the_dictionary_is_the_published_one() -> None:
    # Olson 2011 (ICRA) and Wang & Olson 2016 (IROS): 36h11 has 587 codes, 16h5 has 30.
    assert count_ids("36h11") == 587
    assert count_ids("16h5") == 30


def test_unknown_marker_is_refused() -> None:
    with pytest.raises(ValueError, match="0 to 586"):
        marker_cells("36h11", 587)
    with pytest.raises(ValueError, match="expected one of"):
        marker_cells("37h12", 0)


def test_dense_dictionaries_count_as_weak_proof() -> None:
    assert [is_weak(d) for d in ("4X4_50", "16h5", "5X5_100", "36h11")] == [
        True, True, False, False,
    ]  # fmt: skip


def test_turned_marker_starts_at_its_own_corner() -> None:
    marker = Marker(dictionary="36h11", marker_id=0, x_mm=10.0, y_mm=20.0, side_mm=8.0, turn_deg=90)
    # a quarter turn clockwise brings its top left to the square's top right
    assert marker_corners_mm(marker)[0].tolist() == [18.0, 20.0]


def test_readers_of_two_threads_do_not_meet() -> None:
    from concurrent.futures import ThreadPoolExecutor

    grey, _ = drawn("36h11", 7)
    with ThreadPoolExecutor(4) as pool:
        seen = list(pool.map(lambda _: find_apriltags(grey, ["36h11"]), range(24)))
    assert [len(s) for s in seen] == [1] * 24
