"""Pairs of points picked by hand: how far each is from what the others say, and which is odd."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.scale.alignment import lies_around
from dryslate.core.scale.tie_points import fit_tie_pairs

SQUARE = np.array([(100, 100), (300, 100), (300, 300), (100, 300)], dtype=np.float64)


def spots(n: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).uniform(80, 320, (n, 2))


@pytest.mark.parametrize("n", [4, 6, 9])
def test_misfit_is_the_root_mean_square_of_the_pairs(n) -> None:
    first = spots(n)
    second = 1.1 * first + 20 + np.random.default_rng(4).normal(0, 1.5, (n, 2))
    found = fit_tie_pairs(first, second)
    assert len(found.away_px) == n
    assert found.alignment.misfit_px == pytest.approx(np.sqrt((found.away_px**2).mean()))
    assert np.linalg.norm(second - found.placed_px, axis=1) == pytest.approx(found.away_px)


def test_exact_pairs_are_placed_where_they_are() -> None:
    found = fit_tie_pairs(spots(7), spots(7) + 12.0)
    assert found.away_px.max() < 1e-6
    assert found.odd is None


@pytest.mark.parametrize("n", [5, 6, 8, 11])
def test_one_wrong_pair_is_found(n) -> None:
    first = spots(n, 5)
    second = first + 7.0 + np.random.default_rng(6).normal(0, 0.5, (n, 2))
    second[2] += (25.0, -18.0)
    assert fit_tie_pairs(first, second).odd == 2
    assert fit_tie_pairs(np.delete(first, 2, 0), np.delete(second, 2, 0)).odd is None


def test_nothing_is_called_odd_among_four_nor_where_all_are_off_alike() -> None:
    first = spots(4, 7)
    bad = first + 5.0
    bad[0] += 30.0
    assert fit_tie_pairs(first, bad).odd is None
    first = spots(12, 8)
    assert fit_tie_pairs(first, first + np.random.default_rng(9).normal(0, 8, (12, 2))).odd is None


def test_three_pairs_are_too_few() -> None:
    with pytest.raises(InputError, match="align-too-few-points"):
        fit_tie_pairs(SQUARE[:3], SQUARE[:3])


def test_pairs_to_one_side_do_not_lie_around() -> None:
    inner = SQUARE.mean(axis=0) + 0.5 * (SQUARE - SQUARE.mean(axis=0))
    assert lies_around(SQUARE, inner)
    assert not lies_around(SQUARE - (0.0, 150.0), inner)
