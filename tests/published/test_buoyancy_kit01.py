"""KIT-01: densities and net buoyancy of a plastic board with stainless steel; sea water."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.measure.buoyancy import (
    Part,
    measure_buoyancy,
    measure_lift,
    measure_seawater_density,
)

CHECKS = json.loads((Path(__file__).parent / "checks" / "kit_buoyancy.json").read_text("utf-8"))
PAIRS = [c for c in CHECKS["cases"] if c["name"].startswith("pp ")]
SHEETS = [c for c in CHECKS["cases"] if "pp_cm3" in c["in"]]
IMPLIED = [c for c in CHECKS["cases"] if "net_g_down" in c["in"]]


def exact(volume_cm3: float, density: float) -> Part:
    return Part(volume_cm3=volume_cm3, volume_cm3_u=0, density_g_cm3=density, density_g_cm3_u=0)


def test_check_file_is_used_whole() -> None:
    assert len(PAIRS) + len(SHEETS) + len(IMPLIED) == len(CHECKS["cases"]) > 0


@pytest.mark.parametrize("case", PAIRS, ids=lambda c: c["name"])
def test_steel_in_water_and_lift_of_the_plastic_it_sinks(case) -> None:
    given, out, water = case["in"], case["out"], case["in"]["rho_water"]
    steel = exact(given["steel_g"] / given["rho_steel"], given["rho_steel"])
    down = -measure_lift(steel, water)[0]
    assert down == pytest.approx(out["steel_weight_in_water_g"], abs=1e-8)
    lift_100 = measure_lift(exact(100, given["rho_pp"]), water)[0]
    assert lift_100 == pytest.approx(out["pp_buoyancy_per_100cm3_g"], abs=1e-8)
    floated = exact(out["pp_volume_floated_cm3"], given["rho_pp"])
    assert measure_lift(floated, water)[0] == pytest.approx(down, abs=1e-6)


@pytest.mark.parametrize("case", SHEETS, ids=lambda c: c["name"])
def test_sheet_with_sixty_grams_of_steel_hangs_as_computed(case) -> None:
    given = case["in"]
    parts = (
        exact(given["pp_cm3"], given["rho_pp"]),
        exact(given["steel_g"] / given["rho_steel"], given["rho_steel"]),
    )
    net = -sum(measure_lift(p, given["rho_water"])[0] for p in parts)
    assert net == pytest.approx(case["out"]["net_g_down"], abs=1e-8)


@pytest.mark.parametrize("case", IMPLIED, ids=lambda c: c["name"])
def test_steel_found_for_a_board_gives_back_the_sixty_grams_it_was_made_for(case) -> None:
    given, out = case["in"], case["out"]
    board = exact(out["pp_volume_cm3"], given["rho_pp"])
    found = measure_buoyancy((board,), given["rho_steel"], 0.0, given["rho_water"] * 1000)
    assert found.lift_g == pytest.approx(out["bare_lift_g"], abs=1e-8)
    if given["net_g_down"] == 5:
        assert found.weight_lo_g == pytest.approx(given["steel_g"], abs=1e-8)
    elif given["net_g_down"] == 20:
        assert found.weight_hi_g == pytest.approx(given["steel_g"], abs=1e-8)
    else:
        assert found.weight_lo_g < given["steel_g"] < found.weight_hi_g


@pytest.mark.parametrize("row", CHECKS["seawater_TEOS10_kg_m3"], ids=str)
def test_sea_water_agrees_with_the_equation_of_2010(row) -> None:
    # Another equation of state (2010) than ours (1980); salinities are taken alike here, and the
    # two are known to differ by some hundredths of a kg/m3 in the upper ocean: 0.05 allowed.
    found = measure_seawater_density(row["S"], row["T"], row["depth_m"])
    assert found == pytest.approx(row["rho"], abs=0.05)


# Fofonoff & Millard 1983, UNESCO technical papers in marine science 44, check values of the
# equation of state (pressure in bar; here as depth at 0.101 bar a metre). From memory.
UNESCO = [
    (0, 5, 0, 999.96675),
    (0, 5, 1000, 1044.12802),
    (0, 25, 0, 997.04796),
    (0, 25, 1000, 1037.90204),
    (35, 5, 0, 1027.67547),
    (35, 5, 1000, 1069.48914),
    (35, 25, 0, 1023.34306),
    (35, 25, 1000, 1062.53817),
]


@pytest.mark.parametrize(("salinity", "temperature", "bar", "density"), UNESCO)
def test_sea_water_meets_the_check_values_of_1983(salinity, temperature, bar, density) -> None:
    found = measure_seawater_density(salinity, temperature, bar / 0.101)
    assert found == pytest.approx(density, abs=0.5e-5)
