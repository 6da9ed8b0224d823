"""
The estimate of a correction on constructed cases with exact answers.

COL-07: the 24-patch target distorted by a known matrix and offset (constructed, computed with numpy
1.26.4). WAT-05: image formation under water and its inversion from two greys, Schechner & Karpel
2005, IEEE J. Oceanic Engineering 30(3):570-587 (model from memory, exact algebra).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.estimate import Belief, Observations, fit_parameters
from dryslate.core.colour.spaces import linear_to_srgb

CHECKS = Path(__file__).parent / "checks"
FREE, FIXED = 1e-12, 1e12


def case_of(file: str, name: str) -> dict[str, Any]:
    cases = json.loads((CHECKS / file).read_text("utf-8"))["cases"]
    return next(c for c in cases if c["name"] == name)


def estimate(seen_linear: np.ndarray, reference: np.ndarray, *, cross: float) -> Correction:
    """Fit matrix and veil with no belief about them, tone and light held straight."""
    n = len(reference)
    seen = Observations(
        encoded=linear_to_srgb(seen_linear),
        place=np.zeros((n, 2)),
        reference=reference,
        whitener=np.tile(np.eye(3), (n, 1, 1)),
        gain=np.ones(3),
    )
    precision = np.full(16, FIXED)
    precision[:9] = np.where(np.eye(3).ravel() > 0, FREE, cross)
    precision[9:12] = FREE
    belief = Belief(
        mean=np.concatenate([np.eye(3).ravel(), np.zeros(7)]), precision=np.diag(precision)
    )
    theta, _ = fit_parameters(seen, belief, np.ones((1, n)), n_steps=60)
    return Correction(
        fit="affine", tone=(0.0, 0.0), veil=theta[0, 9:12], matrix=theta[0, :9].reshape(3, 3)
    )


def test_matrix_and_offset_of_a_distorted_target_are_recovered_exactly() -> None:
    case = case_of("col_affine_fit_exact.json", "recover")
    observed = np.array(case["in"]["observed_linear_rgb"])
    reference = np.array(case["in"]["reference_linear_rgb"])
    found = estimate(observed, reference, cross=FREE)
    expected = case["out"]
    np.testing.assert_allclose(found.matrix, expected["matrix_observed_to_reference"], atol=1e-6)
    np.testing.assert_allclose(-found.matrix @ found.veil, expected["offset"], atol=1e-6)
    corrected = correct_linear(observed, np.zeros_like(observed[:, :2]), found)
    np.testing.assert_allclose(corrected, reference, atol=1e-6)


def test_gain_and_veil_come_out_of_two_greys() -> None:
    case = case_of("wat_image_formation.json", "solve t and B from two greys")
    seen = np.repeat([[case["in"]["I1"]], [case["in"]["I2"]]], 3, axis=1)
    true = np.repeat([[case["in"]["J1"]], [case["in"]["J2"]]], 3, axis=1)
    found = estimate(seen, true, cross=FIXED)
    np.testing.assert_allclose(1.0 / np.diag(found.matrix), case["out"]["t"], atol=1e-6)
    np.testing.assert_allclose(found.veil, case["out"]["veil"], atol=1e-6)
    backscatter = found.veil / (1.0 - 1.0 / np.diag(found.matrix))
    np.testing.assert_allclose(backscatter, case["out"]["B"], atol=1e-6)
