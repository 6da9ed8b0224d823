"""
Colour fits on real photographs of the classic 24-patch target (skipped where absent).

Room light, phone cameras, published mean values of the target: the figures say how well left-out
patches are met, not how well corals are.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest

from dryslate.core.card.chart import find_target24
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples
from dryslate.core.card.patches import sample_card
from dryslate.core.colour.correction import correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.fit import ColourSettings, fit_colour
from dryslate.core.colour.mismatch import parse_mismatch_table
from dryslate.core.colour.neutrals import proportional_gain
from dryslate.core.colour.prior import parse_matrix_prior
from dryslate.core.colour.spaces import (
    lab_d50_to_d65,
    lab_to_linear_srgb,
    linear_srgb_to_lab,
    srgb_to_linear,
)
from dryslate.formats.card_toml import parse_card

pytestmark = pytest.mark.real

PHOTOS = ("a3_2", "a3_4", "a3_6", "a3_9", "a4_1", "a4_2", "a4_4")
N_FOLDS, SEED = 6, 1
EYE = np.eye(3)


def table(name: str) -> list[dict[str, str]]:
    text = resources.files("dryslate").joinpath("data", "tables", f"{name}.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


@pytest.fixture(scope="module")
def settings() -> ColourSettings:
    return ColourSettings(
        under_water=False,
        matrix_prior=parse_matrix_prior(table("spectral_prior")),
        mismatch_table=parse_mismatch_table(table("spectral_mismatch")),
    )


def target(folder: Path) -> CardDefinition:
    """The built-in target with the values that were published with the photographs."""
    place = resources.files("dryslate").joinpath("data", "cards", "target24-2014.toml")
    card = parse_card(place.read_text("utf-8"), "target24")
    with (folder / "patches.csv").open(encoding="utf-8") as lines:
        d50 = {
            f"r{row['row']}c{row['column']}": [float(row[k]) for k in ("L_d50", "a_d50", "b_d50")]
            for row in csv.DictReader(lines)
        }
    patches = []
    for patch in card.patches:
        lab = lab_d50_to_d65(np.array(d50[patch.patch_id]))
        patches.append(replace(patch, lab_d65=(float(lab[0]), float(lab[1]), float(lab[2]))))
    return replace(card, patches=tuple(patches))


def without(samples: CardSamples, left_out: set[str]) -> CardSamples:
    return CardSamples(
        patches=tuple(p for p in samples.patches if p.patch_id not in left_out),
        ground=samples.ground,
    )


def grey_gain(samples: CardSamples, card: CardDefinition) -> np.ndarray:
    """The yardstick: a proportional gain from the greys, nothing else."""
    lab = {p.patch_id: p.lab_d65 for p in card.patches if p.role == "neutral"}
    greys = [p for p in samples.used if p.patch_id in lab]
    wanted = lab_to_linear_srgb(np.array([lab[p.patch_id] for p in greys]))
    return proportional_gain(np.array([p.mean_linear for p in greys]), wanted)


def left_out_differences(
    samples: CardSamples, card: CardDefinition, settings: ColourSettings
) -> tuple[np.ndarray, np.ndarray]:
    """CIEDE2000 of each patch from a fit, and from a grey gain, made without it."""
    used = [p.patch_id for p in samples.used]
    order = np.random.default_rng(SEED).permutation(len(used))
    lab = {p.patch_id: p.lab_d65 for p in card.patches}
    ours, plain = [], []
    for fold in np.array_split(order, N_FOLDS):
        names = {used[i] for i in fold}
        seen = without(samples, names)
        fit = fit_colour(seen, card, settings, EYE)
        gain = grey_gain(seen, card)
        out = [p for p in samples.used if p.patch_id in names]
        mean = np.array([p.mean_linear for p in out])
        xy = np.array([p.centre_px for p in out])
        truth = np.array([lab[p.patch_id] for p in out])
        corrected = linear_srgb_to_lab(correct_linear(mean, xy, fit.correction))
        ours.append(ciede2000(corrected, truth))
        plain.append(ciede2000(linear_srgb_to_lab(mean * gain), truth))
    return np.concatenate(ours), np.concatenate(plain)


@pytest.fixture(scope="module")
def differences(
    real_photos: Path, settings: ColourSettings
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    folder = real_photos / "markers-and-patches"
    card = target(folder)
    lut = srgb_to_linear(np.repeat(np.arange(256.0)[:, None], 3, axis=1) / 255.0)
    found = {}
    for name in PHOTOS:
        photo = cv2.imread(str(folder / f"{name}.jpg"), cv2.IMREAD_COLOR)
        assert photo is not None
        img = np.ascontiguousarray(photo[..., ::-1])
        place = find_target24(img, card)
        assert place is not None, name
        found[name] = left_out_differences(sample_card(img, place, lut), card, settings)
    return found


def test_left_out_patches_are_met_better_than_by_a_grey_gain_in_six_of_seven(
    differences: dict[str, tuple[np.ndarray, np.ndarray]],
) -> None:
    better = [name for name, (ours, plain) in differences.items()
              if np.median(ours) < np.median(plain)]  # fmt: skip
    assert len(better) >= 6, {k: (np.median(a), np.median(b)) for k, (a, b) in differences.items()}


def test_no_photo_comes_out_clearly_worse_than_by_a_grey_gain(
    differences: dict[str, tuple[np.ndarray, np.ndarray]],
) -> None:
    behind = {k: float(np.median(a) - np.median(b)) for k, (a, b) in differences.items()}
    assert max(behind.values()) <= 0.3, behind
