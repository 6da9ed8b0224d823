"""
WAT-01 and WAT-02: absorption of pure water (Pope & Fry 1997, Table 3) and downward attenuation
by water type (Jerlov 1976, Table XXVII), as the renderer uses them.

Both tables are built in; what is tested is that they were carried over whole, and that what the
renderer works with on its own grid of wavelengths still meets the printed values there.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from dryslate.demo.spectra import WAVELENGTHS_NM, column
from dryslate.demo.water import JERLOV_TYPES, Water, jerlov_kd, pure_water_absorption

CHECKS = Path(__file__).parent / "checks"


def rows_of(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((CHECKS / name).read_text("utf-8").splitlines()))


ABSORPTION = rows_of("wat_pope_fry_1997.csv")
KD = rows_of("wat_jerlov_1976_kd.csv")


@pytest.mark.parametrize("row", ABSORPTION, ids=lambda r: r["wavelength_nm"])
def test_absorption_of_pure_water_as_printed(row) -> None:
    if row["wavelength_nm"] == "605":
        pytest.skip("transcriptions of this row differ: 0.2577 in most, 0.2557 in one")
    nm, values = column("water_absorption", "absorption_per_m")
    assert values[list(nm).index(float(row["wavelength_nm"]))] == float(row["a_per_m"])


def test_absorption_keeps_its_printed_values_on_the_grid() -> None:
    printed = {float(r["wavelength_nm"]): float(r["a_per_m"]) for r in ABSORPTION}
    expected = [printed[nm] for nm in WAVELENGTHS_NM]
    assert pure_water_absorption() == pytest.approx(expected, abs=1e-12)


def test_absorption_near_418_nm_is_the_minimum_that_the_abstract_states() -> None:
    # abstract of Pope & Fry 1997: 0.0044 +/- 0.0006 per metre at 418 nm
    nm, values = column("water_absorption", "absorption_per_m")
    assert np.interp(418.0, nm, values) == pytest.approx(0.0044, abs=0.0006)


@pytest.mark.parametrize("kind", JERLOV_TYPES)
def test_attenuation_of_each_water_type_as_printed(kind) -> None:
    nm, values = column("water_jerlov_kd", f"kd_{kind.lower()}_per_m")
    for row in KD:
        if row["wavelength_nm"] == "400" and kind == "I":
            continue  # transcriptions differ here: 0.028 and 0.027
        assert values[list(nm).index(float(row["wavelength_nm"]))] == float(row[kind])


@pytest.mark.parametrize("kind", JERLOV_TYPES)
def test_attenuation_on_the_grid_meets_the_rows_that_lie_on_it(kind) -> None:
    grid = list(WAVELENGTHS_NM)
    for row in KD:
        nm = float(row["wavelength_nm"])
        if nm in grid and not (nm == 400 and kind == "I"):
            assert jerlov_kd(kind)[grid.index(nm)] == pytest.approx(float(row[kind]), abs=1e-12)


@pytest.mark.parametrize("kind", JERLOV_TYPES)
def test_no_water_is_clearer_than_pure_water_on_the_way_to_the_camera(kind) -> None:
    beam = Water(jerlov=kind, scatter_per_m=0.0).beam_per_m
    assert (beam >= pure_water_absorption() - 1e-12).all()
