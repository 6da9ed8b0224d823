"""Sizes noted under water: how, and with which doubt."""

from __future__ import annotations

import pytest

from dryslate.app.noted_sizes import parse_noted, require_class
from dryslate.base.errors import InputError


def test_doubt_that_was_not_stated_is_never_zero() -> None:
    found = parse_noted({"colony_diameter": ("300", "eye"), "valley_width": ("7", "ruler")})
    assert {m: s["u_mm"] for m, s in found.items()} == {
        "colony_diameter": 60.0,
        "valley_width": 1.0,
    }
    assert parse_noted({"colony_diameter": (" ", "eye")}) == {}


def test_way_of_noting_that_is_not_known_is_refused() -> None:
    with pytest.raises(InputError, match="noted-size-how"):
        parse_noted({"colony_diameter": ("300", "photo")})


@pytest.mark.parametrize(
    ("width", "is_juvenile", "is_refused"),
    [
        ("40", True, False),
        ("40 ± 2", False, True),
        ("60 ± 2", True, True),
        ("60", True, False),  # by eye: 60 ± 12 may well be under 5 cm
        ("60 ± 2", None, False),
    ],
)
def test_size_class_and_width_may_differ_by_the_doubt_only(width, is_juvenile, is_refused) -> None:
    sizes = parse_noted({"colony_diameter": (width, "eye")})
    if not is_refused:
        require_class("C1", sizes, is_juvenile)
        return
    with pytest.raises(InputError, match="record-size-class"):
        require_class("C1", sizes, is_juvenile)
