"""The mismatch by hue and by strain, and of things known to be flat greys."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate import wiring
from dryslate.base.errors import InputError
from dryslate.core.colour.correction import expand_terms
from dryslate.core.colour.mismatch import (
    MismatchTable,
    measure_red_strain,
    mismatch_from_dict,
    mismatch_of,
    parse_mismatch_table,
)


def rows(name: str, hues: tuple[float, ...], a_u: float) -> list[dict[str, str]]:
    return [
        {
            "fit": name,
            "left_out_de00": str(left),
            "chroma": str(chroma),
            "hue_deg": str(hue),
            "lightness_u": "1",
            "a_u": str(a_u + hue / 90.0 * chroma / 20.0),
            "b_u": "2",
            "de00_p95": "5",
        }
        for left in (1.0, 4.0)
        for chroma in (0.0, 20.0)
        for hue in hues
    ]


@pytest.fixture
def table() -> MismatchTable:
    flat = [r for r in rows("flat:matrix", (0.0,), 0.2) if r["chroma"] == "0.0"]
    return parse_mismatch_table([*rows("matrix", (0.0, 90.0, 180.0, 270.0), 1.0), *flat])


def test_doubt_is_read_off_between_hues_and_round_the_end(table: MismatchTable) -> None:
    found = mismatch_of("affine", 2.0, table, greys_only=False)

    def a_u(hue_deg: float, chroma: float) -> float:
        a, b = chroma * np.cos(np.deg2rad(hue_deg)), chroma * np.sin(np.deg2rad(hue_deg))
        return float(np.sqrt(found.covariance_at(np.array([50.0, a, b]))[1, 1]))

    assert a_u(45.0, 20.0) == pytest.approx(1.5)
    assert a_u(90.0, 10.0) == pytest.approx(1.5)
    assert a_u(315.0, 20.0) == pytest.approx(1.0 + 1.5)  # half way from 270 back to 0
    assert a_u(200.0, 0.0) == pytest.approx(1.0)  # no chroma, no hue


def test_flat_grey_has_its_own_doubt_and_other_fits_fall_back(table: MismatchTable) -> None:
    found = mismatch_of("root_polynomial_2", 2.0, table, greys_only=False)
    grey = np.array([50.0, 0.0, 0.0])
    np.testing.assert_allclose(np.sqrt(np.diag(found.flat_grey_covariance(grey))), [1.0, 0.2, 2.0])
    wider = found.widened(2.0)
    np.testing.assert_allclose(
        wider.flat_grey_covariance(grey), 4 * found.flat_grey_covariance(grey)
    )
    unknown = mismatch_of("one_point", None, None, greys_only=False)
    np.testing.assert_array_equal(unknown.flat_grey_covariance(grey), unknown.covariance_at(grey))


def test_doubt_of_a_flat_grey_is_read_off_by_its_lightness() -> None:
    flat = [
        r | {"a_u": str(float(r["chroma"]) / 10.0 + 1.0)} for r in rows("flat:matrix", (0.0,), 0.0)
    ]  # knots of lightness 0 and 20 stand in the column of chroma
    table = parse_mismatch_table([*rows("matrix", (0.0, 180.0), 5.0), *flat])
    found = mismatch_of("affine", 2.0, table, greys_only=False)

    def a_u(lightness: float) -> float:
        return float(found.flat_grey_covariance(np.array([lightness, 9.0, 9.0]))[1, 1]) ** 0.5

    assert [a_u(v) for v in (-5.0, 0.0, 10.0, 20.0, 70.0)] == pytest.approx([1, 1, 2, 3, 3])
    again = mismatch_from_dict(found.as_dict())
    np.testing.assert_array_equal(
        again.flat_grey_covariance(np.array([12.0, 0, 0])),
        found.flat_grey_covariance(np.array([12.0, 0, 0])),
    )
    older = found.as_dict() | {"flat_u": [0.3, 0.4, 0.5]}
    del older["flat_lightness"]  # as stored before lightness counted
    one = mismatch_from_dict(older).flat_grey_covariance(np.array([12.0, 0, 0]))
    np.testing.assert_allclose(np.sqrt(np.diag(one)), [0.3, 0.4, 0.5])


def test_mismatch_survives_json_and_an_older_one_is_still_read(table: MismatchTable) -> None:
    found = mismatch_of("affine", 3.0, table, greys_only=False)
    again, lab = mismatch_from_dict(found.as_dict()), np.array([40.0, -12.0, 9.0])
    np.testing.assert_array_equal(again.covariance_at(lab), found.covariance_at(lab))
    older = {"chroma": [0.0, 50.0], "lab_u": [[1, 2, 3], [1, 2, 3]], "de00_p95": 4.0}
    turned = mismatch_from_dict(older).covariance_at(np.array([50.0, 0.0, 20.0]))
    np.testing.assert_allclose(np.diag(turned), [1.0, 9.0, 4.0])  # along and across chroma


def test_missing_knot_of_hue_is_named() -> None:
    with pytest.raises(InputError, match="knots of matrix are missing") as error:
        parse_mismatch_table(rows("matrix", (0.0, 90.0), 1.0)[:-1])
    assert error.value.slug == "colour-table-unreadable"


def test_shipped_table_is_far_surer_of_a_grey_chip_than_of_what_looks_grey() -> None:
    table = parse_mismatch_table(wiring.reference_tables().table("spectral_mismatch"))
    grey = np.array([53.0, 0.2, -0.3])
    for fit in ("neutral_gain", "gain_veil", "affine", "root_polynomial_2"):
        found = mismatch_of(fit, 2.0, table, greys_only=False)
        chip, thing = (
            np.sqrt(np.diag(c))
            for c in (found.flat_grey_covariance(grey), found.covariance_at(grey))
        )
        assert (chip[1:] < 0.25 * thing[1:]).all()


def test_shipped_table_is_less_sure_of_a_dark_grey_chip_than_of_a_middle_one() -> None:
    table = parse_mismatch_table(wiring.reference_tables().table("spectral_mismatch"))
    for left in (1.0, 1.5, 2.0, 3.0):
        found = mismatch_of("affine", left, table, greys_only=False)
        dark, middle = (found.flat_grey_covariance(np.array([v, 0, 0])) for v in (20.0, 55.0))
        assert dark[1, 1] > middle[1, 1]


def test_strain_joins_green_taken_off_red_with_the_gain_of_red() -> None:
    plain = np.array([[1.5, -0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    gain = np.array([6.0, 1.0, 0.8])
    by_gain = 6.0**0.4
    assert measure_red_strain(np.diag(gain), gain, np.eye(3)) == pytest.approx(by_gain)
    found = measure_red_strain(plain @ np.diag(gain), gain, np.eye(3))
    assert found == pytest.approx(2.5**0.5 * by_gain)
    wide = np.array([[1.4, -0.4, 0.0], [-0.1, 1.1, 0.0], [0.0, 0.0, 1.0]])  # of a wider profile
    assert measure_red_strain(wide @ np.diag(gain), gain, wide) == pytest.approx(by_gain)
    lighter = 3.0 * gain  # a darker photo of the same light
    assert measure_red_strain(np.diag(lighter), lighter, np.eye(3)) == pytest.approx(by_gain)


def test_strain_of_six_terms_is_the_slope_of_red_at_a_grey() -> None:
    rng = np.random.default_rng(3)
    matrix, gain = rng.normal(0.3, 0.3, (3, 6)), np.array([3.0, 1.0, 0.7])

    def red(balanced: np.ndarray) -> float:
        return float(expand_terms(balanced / gain, 6) @ matrix[0])

    steps = [
        (red(0.3 + 1e-6 * np.eye(3)[i]) - red(0.3 - 1e-6 * np.eye(3)[i])) / 2e-6 for i in range(3)
    ]
    found = measure_red_strain(matrix, gain, np.eye(3))
    assert found == pytest.approx(np.linalg.norm(steps) * 3.0**0.4, rel=1e-6)


def test_strained_fit_reads_its_own_grid_and_blends_on_the_way() -> None:
    table = parse_mismatch_table(
        [*rows("matrix", (0.0, 180.0), 1.0), *rows("strained:matrix", (0.0, 180.0), 3.0)]
    )
    grey = np.array([50.0, 0.0, 0.0])

    def a_u(fit: str, strain: float) -> float:
        found = mismatch_of(fit, 2.0, table, greys_only=False, strain=strain)
        return float(np.sqrt(found.covariance_at(grey)[1, 1]))

    assert [a_u("affine", s) for s in (0.7, 1.05, 1.175, 1.3, 4.0)] == pytest.approx(
        [1, 1, 2, 3, 3]
    )


def test_shipped_table_is_less_sure_of_a_strained_fit() -> None:
    table = parse_mismatch_table(wiring.reference_tables().table("spectral_mismatch"))
    for left in (1.2, 2.0, 3.0, 4.0):
        calm, strained = (
            mismatch_of("affine", left, table, greys_only=False, strain=s) for s in (1.0, 1.3)
        )
        assert strained.de00_p95 > calm.de00_p95
        assert np.median(strained.lab_u[..., 1] / calm.lab_u[..., 1]) > 1.05
