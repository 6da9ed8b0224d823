"""Greys speak for a card by their order of lightness; clipped ones say nothing."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.card.channel import Channel, split_channel
from dryslate.core.card.corners import find_from_corners
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import FoundCard
from dryslate.core.card.proof import score_lightness_order

LIGHTNESS = (95.0, 80.0, 65.0, 50.0, 35.0, 20.0)


@pytest.fixture
def card() -> CardDefinition:
    patches = tuple(
        Patch(
            patch_id=f"n{k}",
            x_mm=5.0 + 15.0 * k,
            y_mm=10.0,
            width_mm=12.0,
            height_mm=12.0,
            role="neutral",
            lab_d65=(lightness, 0.0, 0.0),
        )
        for k, lightness in enumerate(LIGHTNESS)
    )
    return CardDefinition(
        name="six",
        title="six greys",
        width_mm=100.0,
        height_mm=40.0,
        ground_lab_d65=(50.0, 0.0, 0.0),
        markers=(),
        patches=patches,
    )


def seen(card: CardDefinition, levels: tuple[int, ...]) -> tuple[Channel, FoundCard]:
    """The card straight on, two pixels a millimetre, each grey at a given level."""
    img = np.full((80, 200, 3), 90, np.uint8)
    for patch, level in zip(card.patches, levels, strict=True):
        x, y = round(2 * patch.x_mm), round(2 * patch.y_mm)
        img[y : y + 24, x : x + 24] = level
    corners = [(0.0, 0.0), (199.0, 0.0), (199.0, 79.0), (0.0, 79.0)]
    return split_channel(img, n_levels=1), find_from_corners(img, card, corners)


def test_greys_lost_at_the_top_do_not_speak_against_the_card(card: CardDefinition) -> None:
    assert score_lightness_order(*seen(card, (255, 255, 255, 255, 160, 70))) == 1.0


def test_greys_lost_at_the_bottom_do_not_speak_against_the_card(card: CardDefinition) -> None:
    assert score_lightness_order(*seen(card, (120, 60, 0, 0, 0, 0))) == 1.0


def test_equal_greys_within_the_range_speak_against_it(card: CardDefinition) -> None:
    order = score_lightness_order(*seen(card, (200, 200, 200, 200, 160, 70)))
    assert order == pytest.approx(9 / 15)


def test_wholly_clipped_greys_say_nothing(card: CardDefinition) -> None:
    assert score_lightness_order(*seen(card, (255,) * 6)) is None


def test_reversed_greys_speak_against_it(card: CardDefinition) -> None:
    assert score_lightness_order(*seen(card, (20, 60, 100, 140, 180, 255))) == 0.0
