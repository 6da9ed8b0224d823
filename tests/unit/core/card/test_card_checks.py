"""Every fault of a card definition is named, with its place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from dryslate.core.card.checks import check_card
from dryslate.core.card.definition import Box, CardDefinition, ScaleBar

Built = Callable[[str], CardDefinition]


@pytest.mark.parametrize("name", ["large", "field", "stick", "target24-2014", "target24-2005"])
def test_built_in_cards_are_sound(built_in: Built, name: str) -> None:
    assert check_card(built_in(name)) == []


def test_sound_card_has_no_problems(small_card: CardDefinition) -> None:
    assert check_card(small_card) == []


def patch_with(card: CardDefinition, k: int, **change: Any) -> CardDefinition:
    patches = list(card.patches)
    patches[k] = replace(patches[k], **change)
    return replace(card, patches=tuple(patches))


def marker_with(card: CardDefinition, k: int, **change: Any) -> CardDefinition:
    markers = list(card.markers)
    markers[k] = replace(markers[k], **change)
    return replace(card, markers=tuple(markers))


CASES: list[tuple[str, str, Callable[[CardDefinition], CardDefinition]]] = [
    ("card-size-wrong", "width_mm", lambda c: replace(c, width_mm=0.0)),
    ("card-print-scale-wrong", "print_scale_u_frac", lambda c: replace(c, print_scale_u_frac=0.0)),
    ("card-patch-empty", "patches row 1 (white)", lambda c: patch_with(c, 0, width_mm=0.0)),
    ("card-patch-outside", "patches row 3 (black)", lambda c: patch_with(c, 2, x_mm=75.0)),
    ("card-patches-overlap", "(white) and patches row 2 (mid)",
     lambda c: patch_with(c, 1, x_mm=12.0)),
    ("card-marker-empty", "markers row 1 (id 7)", lambda c: marker_with(c, 0, side_mm=0.0)),
    ("card-marker-outside", "markers row 2 (id 8)", lambda c: marker_with(c, 1, x_mm=70.0)),
    ("card-areas-overlap", "patches row 1 (white) and markers row 1 (id 7)",
     lambda c: marker_with(c, 0, y_mm=15.0)),
    ("card-area-outside", "pencil_strip",
     lambda c: replace(c, pencil_strip=Box(x_mm=0, y_mm=48, width_mm=20, height_mm=5))),
    ("card-area-empty", "scale_bar",
     lambda c: replace(c, scale_bar=ScaleBar(x_mm=5, y_mm=49, length_mm=0.0))),
    ("card-marker-twice", "markers", lambda c: marker_with(c, 1, marker_id=7)),
    ("card-marker-unknown", "dictionary", lambda c: marker_with(c, 0, dictionary="9X9_9")),
    ("card-marker-unknown", "id", lambda c: marker_with(c, 0, marker_id=587)),
    ("card-marker-turn", "turn_deg", lambda c: marker_with(c, 0, turn_deg=45)),
    ("card-marker-rim", "(id 7) and patches row 1",
     lambda c: marker_with(c, 0, y_mm=21.0)),
    ("card-patch-twice", "patches", lambda c: patch_with(c, 1, patch_id="white")),
    ("card-lab-out-of-range", "lab_d65", lambda c: patch_with(c, 0, lab_d65=(243.0, 243.0, 242.0))),
    ("card-neutral-coloured", "role", lambda c: patch_with(c, 1, lab_d65=(50.0, 20.0, 0.0))),
    ("card-lab-doubt-negative", "lab_u", lambda c: patch_with(c, 1, lab_u=(-1.0, 0.0, 0.0))),
    ("card-twin-unknown", "twin_of", lambda c: patch_with(c, 1, twin_of="mid_2")),
    ("card-few-neutrals", "patches", lambda c: replace(c, patches=c.patches[:2])),
    ("card-neutrals-alike", "patches",
     lambda c: patch_with(patch_with(c, 0, lab_d65=(58.0, 0, 0)), 2, lab_d65=(42.0, 0, 0))),
]  # fmt: skip


@pytest.mark.parametrize(("slug", "place", "spoil"), CASES, ids=[f"{s}:{p}" for s, p, _ in CASES])
def test_fault_is_named_with_its_row_and_field(
    small_card: CardDefinition,
    slug: str,
    place: str,
    spoil: Callable[[CardDefinition], CardDefinition],
) -> None:
    places = [p.place for p in check_card(spoil(small_card)) if p.slug == slug]
    assert any(place in found for found in places), places


def test_all_faults_are_reported_at_once(small_card: CardDefinition) -> None:
    spoiled = marker_with(patch_with(small_card, 1, x_mm=12.0), 0, turn_deg=45)
    slugs = {p.slug for p in check_card(spoiled)}
    assert {"card-patches-overlap", "card-marker-turn"} <= slugs
