"""Invariants of colour spaces, differences and corrections."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from dryslate.core.colour.correction import (
    Correction,
    apply_tone,
    correct_linear,
    correction_from_dict,
    correction_to_dict,
    is_monotone_tone,
)
from dryslate.core.colour.difference import cie76, ciede2000
from dryslate.core.colour.spaces import (
    lab_to_linear_srgb,
    linear_srgb_to_lab,
    linear_to_srgb,
    srgb_to_linear,
)

unit = st.floats(0.0, 1.0)
rgb = st.tuples(unit, unit, unit)
lab = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


@given(rgb)
def test_code_values_survive_the_way_to_light_and_back(values) -> None:
    np.testing.assert_allclose(linear_to_srgb(srgb_to_linear(values)), values, atol=1e-6)


@given(lab)
def test_lab_survives_the_way_to_srgb_and_back(values) -> None:
    np.testing.assert_allclose(linear_srgb_to_lab(lab_to_linear_srgb(values)), values, atol=1e-6)


@given(lab, lab)
def test_difference_is_symmetric_and_zero_for_itself(first, second) -> None:
    assert abs(ciede2000(first, second) - ciede2000(second, first)) < 1e-9
    assert ciede2000(first, first) == 0.0
    assert ciede2000(first, second) >= 0.0
    assert cie76(first, second) >= 0.0


@given(st.floats(-0.5, 0.5), st.floats(-0.3, 1.2))
def test_tone_curve_within_its_bounds_rises_from_black_to_white(a, b) -> None:
    y = srgb_to_linear(np.linspace(0, 1, 200))
    curve = apply_tone(y, (a, b))
    assert abs(curve[0]) < 1e-9
    assert abs(curve[-1] - 1.0) < 1e-9
    if is_monotone_tone((a, b)):
        assert np.all(np.diff(curve) > 0)


@given(rgb, st.floats(0.2, 5.0))
def test_brighter_light_scales_every_term(values, factor) -> None:
    matrix = np.arange(18.0).reshape(3, 6) / 20
    root = Correction(fit="root_polynomial_2", tone=(0, 0), veil=np.zeros(3), matrix=matrix)
    once = correct_linear([values], [[0, 0]], root)
    more = correct_linear([np.array(values) * factor], [[0, 0]], root)
    np.testing.assert_allclose(more, once * factor, rtol=1e-9, atol=1e-12)


@given(rgb, st.tuples(*[st.floats(-1, 2)] * 9))
def test_correction_survives_json(veil, matrix) -> None:
    first = Correction(
        fit="affine", tone=(0.1, -0.1), veil=veil, matrix=np.array(matrix).reshape(3, 3)
    )
    again = correction_from_dict(correction_to_dict(first))
    np.testing.assert_array_equal(again.matrix, first.matrix)
    np.testing.assert_array_equal(again.veil, first.veil)
