"""Patches are reduced to what was painted, and dropped with the right reason."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.channel import srgb_lut
from dryslate.core.card.corners import find_from_corners
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples, FoundCard
from dryslate.core.card.patches import sample_card
from dryslate.core.card.picture import draw_labels

SCALE = 6.0
LUT = srgb_lut()
Built = Callable[[str], CardDefinition]


def to_bytes(linear: np.ndarray) -> np.ndarray:
    linear = np.clip(linear, 0.0, 1.0)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(255 * np.clip(coded, 0, 1)).astype(np.uint8)


def light_of(lightness: float) -> float:
    """Luminance of L* (CIE 15:2004) times an exposure that leaves the white below clipping."""
    return 0.85 * float(((lightness + 16) / 116) ** 3)


@pytest.fixture
def scene(built_in: Built) -> tuple[CardDefinition, np.ndarray, FoundCard]:
    """The field card straight on in linear light, grey by lightness, with noise."""
    card = built_in("field")
    drawn = draw_labels(card, SCALE)
    grey = np.array([light_of(m.lab_d65[0]) for m in drawn.materials])
    img = np.repeat(grey[np.maximum(drawn.labels, 0)][..., None], 3, axis=2)
    img *= (0.4, 0.9, 1.0)
    rng = np.random.default_rng(5)
    img += rng.normal(size=img.shape) * 0.004
    h, w = img.shape[:2]
    corners = [(-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5)]
    found = find_from_corners(img, card, corners, corner_u_px=0.1)
    return card, img, found


def box_of(card: CardDefinition, patch_id: str, shrink: float = 0.0) -> tuple[slice, slice]:
    patch = next(p for p in card.patches if p.patch_id == patch_id)
    x0, y0 = (patch.x_mm + shrink) * SCALE, (patch.y_mm + shrink) * SCALE
    x1 = (patch.x_mm + patch.width_mm - shrink) * SCALE
    y1 = (patch.y_mm + patch.height_mm - shrink) * SCALE
    return slice(round(y0), round(y1)), slice(round(x0), round(x1))


def sampled(img: np.ndarray, found: FoundCard) -> CardSamples:
    return sample_card(to_bytes(img), found, LUT)


def test_means_are_what_was_painted_and_nothing_is_dropped(scene: Any) -> None:
    card, img, found = scene
    samples = sampled(img, found)
    assert samples.dropped == {}
    for patch, sample in zip(card.patches, samples.patches, strict=True):
        painted = light_of(patch.lab_d65[0]) * np.array([0.4, 0.9, 1.0])
        # rounding to bytes moves dark values by up to half a code: 0.0005 in linear light
        np.testing.assert_allclose(sample.mean_linear, painted, rtol=0.01, atol=8e-4)


def test_covariance_is_that_of_one_pixel(scene: Any) -> None:
    _, img, found = scene
    sample = next(s for s in sampled(img, found).patches if s.patch_id == "light_grey")
    np.testing.assert_allclose(np.sqrt(np.diag(sample.cov_linear)), 0.004, rtol=0.2)
    assert sample.n_px > 200


def test_ground_gives_at_least_eight_pieces(scene: Any) -> None:
    card, img, found = scene
    ground = [g for g in sampled(img, found).ground if not g.dropped]
    assert len(ground) >= 8
    expected = light_of(card.ground_lab_d65[0]) * 0.9
    assert all(abs(g.mean_linear[1] / expected - 1) < 0.02 for g in ground)


def test_sixteen_bit_photo_gives_the_same_means(scene: Any) -> None:
    _, img, found = scene
    coded = to_bytes(img)
    lut = np.repeat(np.interp(np.arange(65536) / 257.0, np.arange(256), LUT[:, 0])[:, None], 3, 1)
    wide = sample_card(coded.astype(np.uint16) * 257, found, lut)
    narrow = sample_card(coded, found, LUT)
    for a, b in zip(wide.patches, narrow.patches, strict=True):
        np.testing.assert_allclose(a.mean_linear, b.mean_linear, atol=1e-9)


def test_turned_view_gives_the_same_means(scene: Any) -> None:
    card, img, found = scene
    coded = to_bytes(img)
    view = np.ascontiguousarray(coded[::-1, ::-1])[::-1, ::-1]
    assert not view.flags.c_contiguous
    for a, b in zip(
        sample_card(view, found, LUT).patches, sample_card(coded, found, LUT).patches, strict=True
    ):
        np.testing.assert_array_equal(a.mean_linear, b.mean_linear)
    assert card.name == "field"


def spoil_clipped(img: np.ndarray, card: CardDefinition) -> None:
    img[box_of(card, "light_grey")] = 1.2


def spoil_black(img: np.ndarray, card: CardDefinition) -> None:
    img[box_of(card, "light_grey")] = 0.0


def spoil_glare(img: np.ndarray, card: CardDefinition) -> None:
    rows, cols = box_of(card, "light_grey", 3.0)
    img[rows.start : rows.start + 12, cols.start : cols.start + 16] = 0.9


def spoil_shadow_edge(img: np.ndarray, card: CardDefinition) -> None:
    rows, cols = box_of(card, "light_grey")
    middle = (cols.start + cols.stop) // 2
    img[rows, cols.start : middle] *= 0.6


def spoil_gradient(img: np.ndarray, card: CardDefinition) -> None:
    rows, cols = box_of(card, "light_grey")
    ramp = np.linspace(0.7, 1.3, cols.stop - cols.start)
    img[rows, cols] *= ramp[None, :, None]


def spoil_weed(img: np.ndarray, card: CardDefinition) -> None:
    rows, cols = box_of(card, "light_grey")
    img[rows, cols.start + 20 : cols.start + 34] = (0.01, 0.05, 0.02)


def spoil_finger(img: np.ndarray, card: CardDefinition) -> None:
    rows, cols = box_of(card, "light_grey", -2.0)
    img[rows, cols] = (0.2, 0.3, 0.25)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoil_clipped, "clipped"),
        (spoil_black, "black in every channel"),
        (spoil_glare, "glare"),
        (spoil_shadow_edge, "shaded"),
        (spoil_gradient, "shaded"),
        (spoil_weed, "covered"),
        (spoil_finger, "covered"),
    ],
)
def test_spoiled_patch_is_dropped_with_its_reason_and_no_other(
    scene: Any, spoil: Callable[[np.ndarray, CardDefinition], None], words: str
) -> None:
    card, img, found = scene
    spoil(img, card)
    dropped = sampled(img, found).dropped
    assert list(dropped) == ["light_grey"]
    assert words in dropped["light_grey"]


def test_channel_without_signal_drops_nothing(scene: Any) -> None:
    _, img, found = scene
    img[..., 0] = 0.0
    samples = sampled(img, found)
    assert samples.dropped == {}
    assert min(s.clipped_frac for s in samples.patches) == 1.0  # each pixel has a channel at 0


def test_shared_light_gradient_drops_nothing(scene: Any) -> None:
    _, img, found = scene
    img *= np.linspace(0.6, 1.1, img.shape[1])[None, :, None]
    assert sampled(img, found).dropped == {}


def test_small_patches_say_how_small_they_are(scene: Any) -> None:
    card, img, _ = scene
    small = img[::5, ::5]
    h, w = small.shape[:2]
    corners = [(-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5)]
    dropped = sampled(small, find_from_corners(small, card, corners)).dropped
    assert len(dropped) == len(card.patches)
    assert "14 by 14" in dropped["white_1"]


def test_patches_beyond_the_frame_are_named(scene: Any) -> None:
    card, img, found = scene
    cut = img[:, : round(60 * SCALE)]
    dropped = sampled(cut, found).dropped
    outside = {p.patch_id for p in card.patches if p.x_mm + p.width_mm > 61}
    assert {k for k, why in dropped.items() if "outside the frame" in why} == outside


def test_table_that_does_not_span_the_photo_is_refused(scene: Any) -> None:
    _, img, found = scene
    with pytest.raises(ValueError, match="256"):
        sample_card(to_bytes(img), found, LUT[:200])


def test_centres_are_those_of_the_definition(scene: Any) -> None:
    card, img, found = scene
    for patch, sample in zip(card.patches, sampled(img, found).patches, strict=True):
        mm = (patch.x_mm + patch.width_mm / 2, patch.y_mm + patch.height_mm / 2)
        np.testing.assert_allclose(sample.centre_mm, mm)
        np.testing.assert_allclose(sample.centre_px, apply_homography(found.card_to_px, mm)[0])
