"""Reflectance spectra to CIELAB: neutral stays neutral, white point as published."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.app.card_characterise import viewing_tables
from dryslate.base.errors import InputError
from dryslate.core.colour.reflectance import fit_d65, lab_from_reflectance
from dryslate.files.reference_tables import FileReferenceTables

VIEWING = viewing_tables(FileReferenceTables())
NM = np.arange(380, 740, 10.0)

# CIE standard illuminant D65 (ISO/CIE 11664-2:2022), relative power at these wavelengths; from
# memory of the table, one decimal.
D65 = {400: 82.8, 450: 117.0, 500: 109.4, 550: 104.0, 560: 100.0, 600: 90.0, 650: 80.0, 700: 71.6}


def test_daylight_of_d65_meets_the_published_table() -> None:
    power = fit_d65(VIEWING)
    relative = power / power[VIEWING.wavelengths_nm == 560] * 100
    by_nm = dict(zip(VIEWING.wavelengths_nm, relative, strict=True))
    for nm, value in D65.items():
        assert by_nm[nm] == pytest.approx(value, abs=0.1)  # components are rounded to 0.1


def test_white_of_d65_lies_where_the_standard_puts_it() -> None:
    weights = VIEWING.observer * fit_d65(VIEWING)[:, None]
    white = weights.sum(axis=0) / weights.sum(axis=0)[1]
    # ISO/CIE 11664-2: X 95.04, Z 108.88; sums at 10 nm from tables of four decimals: 0.1 allowed.
    assert white[0] * 100 == pytest.approx(95.04, abs=0.15)
    assert white[2] * 100 == pytest.approx(108.88, abs=0.15)


@pytest.mark.parametrize("level", [0.03, 0.18, 0.9])
def test_flat_spectrum_is_neutral_with_the_lightness_of_its_level(level) -> None:
    lab = lab_from_reflectance(NM, np.full(len(NM), level), VIEWING)
    expected = 116 * np.cbrt(level) - 16  # CIE 15:2004, equation 8.3, above 0.008856
    assert lab == pytest.approx([expected, 0, 0], abs=1e-6)


def test_red_and_blue_surfaces_lie_on_their_sides() -> None:
    red = lab_from_reflectance(NM, np.where(NM > 600, 0.8, 0.05), VIEWING)
    blue = lab_from_reflectance(NM, np.where(NM < 480, 0.8, 0.05), VIEWING)
    assert red[1] > 50
    assert red[2] > 20
    assert blue[2] < -50


@pytest.mark.parametrize(
    "nm", [np.arange(420, 740, 10.0), np.arange(380, 690, 10.0), np.arange(380, 760, 40.0)]
)
def test_spectra_that_do_not_cover_the_visible_range_are_refused(nm) -> None:
    with pytest.raises(InputError) as caught:
        lab_from_reflectance(nm, np.full(len(nm), 0.5), VIEWING)
    assert caught.value.slug == "spectrum-too-narrow"
