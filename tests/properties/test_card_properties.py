"""What must hold of any card: files survive, drawings agree, corners come back."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.checks import check_card
from dryslate.core.card.corners import require_corners
from dryslate.core.card.definition import CardDefinition, Marker, Patch
from dryslate.core.card.markers import marker_cells, marker_corners_mm
from dryslate.core.card.picture import draw_labels
from dryslate.formats.card_toml import format_card, parse_card

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=20)
MM = st.floats(0.1, 200.0).map(lambda v: round(v, 3))
LAB = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))
PATCH = st.builds(
    Patch, patch_id=TEXT, x_mm=MM, y_mm=MM, width_mm=MM, height_mm=MM,
    role=st.sampled_from(["neutral", "colour"]), lab_d65=LAB, twin_of=TEXT, hue_group=TEXT,
)  # fmt: skip
MARKER = st.builds(
    Marker, dictionary=st.sampled_from(["36h11", "16h5", "4X4_50"]),
    marker_id=st.integers(0, 29), x_mm=MM, y_mm=MM, side_mm=MM,
    turn_deg=st.sampled_from([0, 90, 180, 270]),
)  # fmt: skip
CARD = st.builds(
    CardDefinition, name=TEXT, title=TEXT, width_mm=MM, height_mm=MM, ground_lab_d65=LAB,
    markers=st.lists(MARKER, max_size=4).map(tuple),
    patches=st.lists(PATCH, max_size=4).map(tuple), serial=TEXT,
)  # fmt: skip


@given(CARD)
@settings(max_examples=60, deadline=None)
def test_any_card_survives_its_file(card: CardDefinition) -> None:
    assert parse_card(format_card(card), "any.toml") == card


@given(CARD)
@settings(max_examples=60, deadline=None)
def test_checking_never_fails_and_names_the_card(card: CardDefinition) -> None:
    for problem in check_card(card):
        assert problem.place.startswith(f"card {card.name}")
        assert problem.slug.startswith("card-")
        assert problem.message


@given(st.integers(0, 586), st.sampled_from([0, 90, 180, 270]))
@settings(max_examples=40, deadline=None)
def test_drawn_marker_shows_its_cells_from_its_own_corner(marker_id: int, turn: int) -> None:
    marker = Marker(
        dictionary="36h11", marker_id=marker_id, x_mm=10.0, y_mm=10.0, side_mm=16.0, turn_deg=turn
    )
    card = CardDefinition(
        name="c", title="c", width_mm=40.0, height_mm=40.0, ground_lab_d65=(57.0, 0.0, 0.0),
        markers=(marker,), patches=(),
    )  # fmt: skip
    drawn = draw_labels(card, 4.0)
    paper = [m.name for m in drawn.materials].index("paper")
    square = [(0, 0), (8, 0), (8, 8), (0, 8)]
    to_mm = fit_homography(square, marker_corners_mm(marker))
    j, i = np.meshgrid(np.arange(8) + 0.5, np.arange(8) + 0.5)
    xy = apply_homography(to_mm, np.column_stack([j.ravel(), i.ravel()])) * 4.0
    seen = drawn.labels[xy[:, 1].astype(int), xy[:, 0].astype(int)].reshape(8, 8) == paper
    np.testing.assert_array_equal(seen, marker_cells("36h11", marker_id))


@given(
    st.floats(60, 300), st.floats(60, 300), st.floats(0, 6.28),
    st.lists(st.floats(-12, 12), min_size=8, max_size=8),
)  # fmt: skip
@settings(max_examples=80, deadline=None)
def test_convex_clockwise_corners_are_taken_as_they_are(
    w: float, h: float, turn: float, jitter: list[float]
) -> None:
    c, s = np.cos(turn), np.sin(turn)
    corners = np.array([(0, 0), (w, 0), (w, h), (0, h)]) - (w / 2, h / 2)
    corners = corners @ np.array([[c, s], [-s, c]]) + (500, 500)
    corners = corners + np.reshape(jitter, (4, 2))
    np.testing.assert_array_equal(require_corners(corners, (1000, 1000)), corners)
