"""
Colour on real photographs of the classic 24-patch target in room light.

Six folds of four patches; the fit, with its own choice between candidates, sees the other twenty.
The yardstick is a plain gain of the mid grey in linear light, fitted to the same twenty patches.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from dryslate.core.card.chart import find_target24
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples
from dryslate.core.card.patches import sample_card
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.fit import ColourSettings, fit_colour
from dryslate.core.colour.mismatch import parse_mismatch_table
from dryslate.core.colour.prior import parse_matrix_prior
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab, srgb_to_linear
from dryslate.files.reference_tables import FileReferenceTables

# One patch of each row and another column in each fold, so that every fold holds one grey.
FOLDS = [[f"r{r + 1}c{(r + k) % 6 + 1}" for r in range(4)] for k in range(6)]


@pytest.fixture(scope="module")
def tables() -> FileReferenceTables:
    return FileReferenceTables(None)


@pytest.fixture(scope="module")
def target(tables: FileReferenceTables) -> CardDefinition:
    return tables.card("target24")


@pytest.fixture(scope="module")
def seen(real_photos: Path, target: CardDefinition) -> dict[str, CardSamples]:
    lut = np.repeat(srgb_to_linear(np.arange(256) / 255)[:, None], 3, axis=1)
    found = {}
    for path in sorted((real_photos / "markers-and-patches").glob("*.jpg")):
        img = np.asarray(Image.open(path).convert("RGB"))
        card = find_target24(img, target)
        assert card is not None, path.name
        found[path.name] = sample_card(img, card, lut)
    assert len(found) == 7
    return found


def differences(samples: CardSamples, ids: list[str], correction: Correction, card: CardDefinition):
    lab = {patch.patch_id: patch.lab_d65 for patch in card.patches}
    used = [s for s in samples.used if s.patch_id in ids]
    if not used:
        return np.zeros(0)
    linear = correct_linear(
        np.array([s.mean_linear for s in used]), np.array([s.centre_px for s in used]), correction
    )
    return ciede2000(linear_srgb_to_lab(linear), np.array([lab[s.patch_id] for s in used]))


def mid_grey_gain(samples: CardSamples, card: CardDefinition) -> Correction:
    lab = {patch.patch_id: patch.lab_d65 for patch in card.patches}
    greys = [s for s in samples.used if s.role == "neutral"]
    middle = min(greys, key=lambda s: abs(lab[s.patch_id][0] - 50.0))
    gain = lab_to_linear_srgb(lab[middle.patch_id]) / middle.mean_linear
    return Correction(fit="neutral_gain", tone=(0, 0), veil=np.zeros(3), matrix=np.diag(gain))


@pytest.mark.real
def test_patches_that_the_fit_has_not_seen_come_out_better_than_by_the_grey_gain(
    seen: dict[str, CardSamples], target: CardDefinition, tables: FileReferenceTables
) -> None:
    settings = ColourSettings(
        under_water=False,
        matrix_prior=parse_matrix_prior(tables.table("spectral_prior")),
        mismatch_table=parse_mismatch_table(tables.table("spectral_mismatch")),
    )
    ours, plain = [], []
    for samples in seen.values():
        fitted, grey = [], []
        for fold in FOLDS:
            rest = replace(
                samples, patches=tuple(p for p in samples.patches if p.patch_id not in fold)
            )
            fit = fit_colour(rest, target, settings, np.eye(3))
            # eighteen patches may leave a photo that is for looking only, never one that is refused
            assert {p.slug for p in fit.problems if p.severity == "error"} <= {
                "colour-looking-only"
            }
            fitted.append(differences(samples, fold, fit.correction, target))
            grey.append(differences(samples, fold, mid_grey_gain(rest, target), target))
        ours.append(float(np.median(np.concatenate(fitted))))
        plain.append(float(np.median(np.concatenate(grey))))
    gap = np.array(ours) - np.array(plain)
    assert (gap < 0).sum() >= 6, (ours, plain)
    assert gap.max() <= 0.3, (ours, plain)
