"""Classes of colonies from shares of their surface; mixes that no table covers."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.health.bleaching import (
    FOUR_CLASSES,
    SEVEN_CLASSES,
    class_of_colony,
    index_of_counts,
)


@pytest.mark.parametrize(
    ("shares", "expected"),
    [
        ([100, 0, 0, 0, 0], 0),
        ([40, 0, 0, 0, 60], 0),
        ([99, 1, 0, 0, 0], 1),
        ([0, 100, 0, 0, 0], 1),
        ([99, 0, 1, 0, 0], 2),
        ([0, 80, 20, 0, 0], 2),
        ([79, 0, 21, 0, 0], 3),
        ([25, 25, 50, 0, 0], 3),
        ([49, 0, 51, 0, 0], 4),
        ([20, 0, 80, 0, 0], 4),
        ([19, 0, 81, 0, 0], 5),
        ([0, 0, 100, 0, 0], 5),
        ([0, 0, 30, 0, 70], 5),
        ([0, 0, 0, 100, 0], 6),
        ([0, 0, 0, 30, 70], 6),
        ([0, 0, 0, 0, 100], None),
    ],
)
def test_class_of_seven(shares: list[float], expected: int | None) -> None:
    assert class_of_colony(shares, SEVEN_CLASSES) == expected


@pytest.mark.parametrize("shares", [[50, 0, 0, 50, 0], [0, 0, 99, 1, 0], [0, 1, 0, 99, 0]])
def test_colony_partly_dead_has_no_class(shares: list[float]) -> None:
    with pytest.raises(InputError, match="bleaching-mix-uncovered"):
        class_of_colony(shares, SEVEN_CLASSES)


def test_four_classes_are_counted_and_never_made_from_shares() -> None:
    found = index_of_counts([2, 1, 0, 1], FOUR_CLASSES)
    assert found.value == pytest.approx(100 * (1 + 3) / 4 / 3)
    with pytest.raises(InputError, match="bleaching-mix-uncovered"):
        class_of_colony([50, 0, 50, 0, 0], FOUR_CLASSES)


@pytest.mark.parametrize("shares", [[50, 0, 0, 0, 40], [110, 0, -10, 0, 0], [100], [np.nan] * 5])
def test_shares_that_do_not_make_a_colony(shares: list[float]) -> None:
    with pytest.raises(InputError, match="bleaching-shares-wrong"):
        class_of_colony(shares, SEVEN_CLASSES)


@pytest.mark.parametrize("counts", [[1, 2], [0] * 7, [1, -1, 1, 0, 0, 0, 0], [0.5] + [0] * 6])
def test_counts_that_are_none(counts: list[int]) -> None:
    with pytest.raises(InputError, match="bleaching-counts-wrong"):
        index_of_counts(counts, SEVEN_CLASSES)
