"""Dark shapes: the same as OpenCV's filters and labels give, and what their outlines say."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from dryslate.core.card.outlines import measure_looks, measure_spreads
from dryslate.core.card.shapes import trace_shapes


def texture(seed: int, blur_px: float, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Blurred noise over the whole range, its ends clipped."""
    noise = np.random.default_rng(seed).normal(size=shape)
    smooth = cv2.GaussianBlur(noise, (0, 0), blur_px) if blur_px else noise
    return np.clip(128 + 90 * smooth / smooth.std(), 0, 255).astype(np.uint8)


def labelled(grey: NDArray[np.uint8]) -> list[list[int]]:
    """Boxes and areas of shapes by OpenCV's own box filter and labelling."""
    mean = cv2.blur(grey, (15, 15))
    dark = cv2.compare(cv2.add(grey, np.array([6.0])), mean, cv2.CMP_LT)
    _, _, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8, ltype=cv2.CV_32S)
    out = []
    for x, y, w, h, area in stats[1:].tolist():
        longer, shorter = max(w, h), min(w, h)
        if 8 <= longer <= 90 and 2 * shorter >= longer and area >= 0.15 * w * h:
            out.append([x, y, w, h, area])
    return sorted(out)


@pytest.mark.parametrize("blur_px", [0.0, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("shape", [(30, 30), (131, 97), (64, 400), (300, 301)])
def test_shapes_are_those_of_opencv(blur_px: float, shape: tuple[int, int]) -> None:
    for seed in range(4):
        grey = texture(seed, blur_px, shape)
        traced = trace_shapes(grey, 6, 8, 90)
        assert sorted(traced.boxes.tolist()) == labelled(grey)


def test_there_are_shapes_to_compare() -> None:
    assert len(labelled(texture(0, 2.0, (300, 301)))) > 50


def test_runs_of_a_shape_carry_its_name() -> None:
    grey = texture(1, 2.0, (120, 140))
    traced = trace_shapes(grey, 6, 8, 90)
    n = traced.first[-1]
    ends = traced.ends[: 2 * n].reshape(-1, 2)
    for box, name in zip(traced.boxes, traced.names, strict=True):
        mine = ends[traced.joined[:n] == name]
        assert int((mine[:, 1] - mine[:, 0]).sum()) == box[4]
        assert int(mine[:, 0].min()) == box[0]
        assert int(mine[:, 1].max()) == box[0] + box[2]


def drawn(kind: str, turn_deg: float = 20.0) -> NDArray[np.uint8]:
    """One dark disc, or square or oblong frame, on light ground."""
    grey = np.full((120, 120), 200, np.uint8)
    if kind == "disc":
        cv2.circle(grey, (60, 60), 22, 30, -1)
    else:
        size = (44.0, 44.0) if kind == "square" else (44.0, 30.0)
        corners = cv2.boxPoints(((60.0, 60.0), size, turn_deg))
        cv2.fillPoly(grey, [np.int32(corners)], 30)
        inner = 60.0 + 0.7 * (corners - 60.0)
        cv2.fillPoly(grey, [np.int32(inner)], 200)
    return grey


def looks_of(grey: NDArray[np.uint8]) -> tuple[float, float]:
    traced = trace_shapes(grey, 6, 8, 90)
    largest = np.array([np.argmax(traced.boxes[:, 4])])
    squareness, rim = measure_looks(grey, traced, largest)
    return float(squareness[0]), float(rim[0])


def test_quads_are_told_from_discs() -> None:
    for turn in (0.0, 13.0, 45.0, 71.0):
        assert looks_of(drawn("square", turn))[0] == pytest.approx(1.0, abs=0.05)
        assert looks_of(drawn("oblong", turn))[0] == pytest.approx(1.0, abs=0.06)
    assert looks_of(drawn("disc"))[0] == pytest.approx(2 / np.pi, abs=0.03)


def test_a_rim_is_plain_where_it_is_light_outside_and_dark_inside_all_round() -> None:
    grey = cv2.GaussianBlur(drawn("square"), (0, 0), 1.0).astype(np.uint8)
    assert looks_of(grey)[1] > 0.9
    faint = (100 + (grey.astype(int) - 100) // 4).astype(np.uint8)
    assert looks_of(faint)[1] > 0.9  # however faint
    grey[:, 60:] = np.minimum(grey[:, 60:], 90)  # half of it lies on darker ground
    assert looks_of(grey)[1] < 0.8


def test_spread_is_the_standard_deviation_on_a_grid() -> None:
    grey = texture(3, 1.0, (60, 60))
    got = measure_spreads(grey, np.array([(5, 7, 10, 10), (0, 0, 20, 20)], np.int32))
    assert got[0] == pytest.approx(grey[7:17, 5:15].std())
    places = np.round(np.arange(0.5, 20, 2)).astype(int)
    assert got[1] == pytest.approx(grey[np.ix_(places, places)].std(), rel=0.15)
