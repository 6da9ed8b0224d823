"""Corners given by hand are taken only in the right order and shape."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.corners import find_from_corners, require_corners
from dryslate.core.card.definition import CardDefinition

PHOTO = np.zeros((300, 400, 3), np.uint8)
GOOD = [(50, 40), (350, 60), (330, 250), (70, 230)]


def test_card_lies_between_its_corners(built_in: Callable[[str], CardDefinition]) -> None:
    card = built_in("field")
    found = find_from_corners(PHOTO, card, GOOD)
    np.testing.assert_allclose(
        apply_homography(found.card_to_px, [(0, 0), (150, 0), (150, 100), (0, 100)]), GOOD,
        atol=1e-9,
    )  # fmt: skip
    assert found.how == "corners"
    assert Flag.FEW_MARKERS in found.flags
    assert np.all(found.points_u_px >= 1.0)


@pytest.mark.parametrize(
    ("slug", "corners"),
    [
        ("corners-not-four", GOOD[:3]),
        ("corners-not-four", [(50, 40), (350, 60), (330, float("nan")), (70, 230)]),
        ("corners-outside", [(50, 40), (450, 60), (330, 250), (70, 230)]),
        ("corners-on-a-line", [(50, 50), (150, 50), (250, 50), (70, 230)]),
        ("corners-on-a-line", [(50, 40), (50, 40), (330, 250), (70, 230)]),
        ("corners-wrong-order", GOOD[::-1]),
        ("corners-folded", [GOOD[0], GOOD[2], GOOD[1], GOOD[3]]),
        ("corners-folded", [(50, 40), (350, 60), (150, 120), (70, 230)]),
    ],
)
def test_wrong_corners_are_refused(slug: str, corners: list[tuple[float, float]]) -> None:
    with pytest.raises(InputError) as refused:
        require_corners(corners, (400, 300))
    assert refused.value.slug == slug
