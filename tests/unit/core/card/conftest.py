"""Cards that the tests of this room share."""

from __future__ import annotations

from collections.abc import Callable
from importlib import resources

import pytest

from dryslate.core.card.definition import CardDefinition, Marker, Patch
from dryslate.formats.card_toml import parse_card


def _built_in(name: str) -> CardDefinition:
    text = resources.files("dryslate").joinpath("data", "cards", f"{name}.toml").read_text("utf-8")
    return parse_card(text, f"{name}.toml")


@pytest.fixture(scope="session")
def built_in() -> Callable[[str], CardDefinition]:
    """A built-in card by the name of its file."""
    return _built_in


def _grey(patch_id: str, x_mm: float, lightness: float) -> Patch:
    return Patch(
        patch_id=patch_id,
        x_mm=x_mm,
        y_mm=10.0,
        width_mm=10.0,
        height_mm=10.0,
        role="neutral",
        lab_d65=(lightness, 0.0, 0.0),
    )


@pytest.fixture
def small_card() -> CardDefinition:
    """A sound card of 80 by 50 mm with two markers and three greys."""
    return CardDefinition(
        name="small",
        title="A small card",
        width_mm=80.0,
        height_mm=50.0,
        ground_lab_d65=(57.0, 0.0, 0.0),
        markers=(
            Marker(dictionary="36h11", marker_id=7, x_mm=5.0, y_mm=28.0, side_mm=16.0),
            Marker(dictionary="36h11", marker_id=8, x_mm=55.0, y_mm=28.0, side_mm=16.0),
        ),
        patches=(_grey("white", 5, 95), _grey("mid", 30, 50), _grey("black", 55, 20)),
    )
