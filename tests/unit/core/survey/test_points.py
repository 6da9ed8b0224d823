"""Points on a photo: the same everywhere, inside, and spread as their rule says."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from scipy import stats

from dryslate.base.errors import InputError
from dryslate.core.survey.points import place_points

SIZE = (6000, 4000)
PHOTO = "ab" * 32


def test_a_point_is_what_its_words_hash_to() -> None:
    """FIPS 180-4 decides: the number is made here once more, from the words alone."""
    x, y = place_points("random", 3, SIZE, 7, PHOTO)[2]
    for got, axis, length in ((x, "x", 6000), (y, "y", 4000)):
        digest = hashlib.sha256(f"dryslate points 7 {PHOTO} 2 {axis}".encode()).hexdigest()
        share = int(digest[:16], 16) // 2**11 / 2**53
        assert got == share * length - 0.5


@pytest.mark.parametrize("rule", ["random", "stratified_random", "grid"])
def test_points_lie_on_the_photo(rule) -> None:
    points = place_points(rule, 100, SIZE, 1, PHOTO)
    assert points.shape == (100, 2)
    assert (points >= -0.5).all()
    assert (points < np.array(SIZE) - 0.5).all()


def test_random_points_are_spread_evenly_and_apart_from_photo_to_photo() -> None:
    points = place_points("random", 4000, SIZE, 3, PHOTO)
    for axis in (0, 1):
        assert stats.kstest((points[:, axis] + 0.5) / SIZE[axis], "uniform").pvalue > 0.001
    assert abs(np.corrcoef(points.T)[0, 1]) < 0.06
    assert not np.allclose(points, place_points("random", 4000, SIZE, 3, "cd" * 32))
    assert not np.allclose(points, place_points("random", 4000, SIZE, 4, PHOTO))


def test_each_field_has_one_point() -> None:
    for rule in ("stratified_random", "grid"):
        points = place_points(rule, 24, SIZE, 1, PHOTO)
        fields = np.floor((points + 0.5) / (1000, 1000)).astype(int)
        assert len({tuple(field) for field in fields}) == 24


def test_grid_lies_in_the_middles() -> None:
    points = place_points("grid", 6, (300, 200), 1, PHOTO)
    assert points.tolist() == [[x, y] for y in (49.5, 149.5) for x in (49.5, 149.5, 249.5)]


@pytest.mark.parametrize(
    ("rule", "n", "slug"),
    [("spiral", 10, "points-rule"), ("random", 0, "points-number"), ("grid", 97, "points-fields")],
)
def test_points_that_cannot_be_placed_are_refused(rule, n, slug) -> None:
    with pytest.raises(InputError) as told:
        place_points(rule, n, SIZE, 1, PHOTO)
    assert told.value.slug == slug
