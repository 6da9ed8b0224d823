"""
WAT-04: the exponential law with Jerlov's attenuation; WAT-05: haze of a path through water,
I = J t + B (1 - t) (Schechner & Karpel 2005), and its inversion from two greys.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.demo.spectra import column
from dryslate.demo.water import apply_veil, transmittance

CHECKS = Path(__file__).parent / "checks"
LAW = json.loads((CHECKS / "wat_beer_lambert.json").read_text("utf-8"))["cases"]
HAZE = json.loads((CHECKS / "wat_image_formation.json").read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", LAW, ids=lambda c: c["name"])
def test_light_left_after_a_path(case) -> None:
    given = case["in"]
    path = given["path_m"] if "path_m" in given else given["depth_m"]
    left = float(transmittance(given["k_per_m"], path))
    assert left == pytest.approx(case["out"]["transmittance"], abs=case["tol"])


@pytest.mark.parametrize("case", [c for c in LAW if "type" in c["in"]], ids=lambda c: c["name"])
def test_light_left_with_the_built_in_attenuation(case) -> None:
    given = case["in"]
    nm, kd = column("water_jerlov_kd", f"kd_{given['type'].lower()}_per_m")
    left = float(transmittance(np.interp(given["wavelength_nm"], nm, kd), given["depth_m"]))
    assert left == pytest.approx(case["out"]["transmittance"], abs=case["tol"])


@pytest.mark.parametrize("case", [c for c in HAZE if "J" in c["in"]], ids=lambda c: c["name"])
def test_haze_over_a_picture(case) -> None:
    given, out = case["in"], case["out"]
    assert transmittance(given["beta_per_m"], given["range_m"]) == pytest.approx(
        out["t"], abs=case["tol"]
    )
    seen = apply_veil(given["J"], given["beta_per_m"], given["range_m"], given["B"])
    assert seen == pytest.approx(out["I"], abs=case["tol"])


def test_two_greys_give_back_transmission_and_haze() -> None:
    (case,) = [c for c in HAZE if "J1" in c["in"]]
    given, out = case["in"], case["out"]
    t = (given["I2"] - given["I1"]) / (given["J2"] - given["J1"])
    veil = given["I1"] - given["J1"] * t
    assert [t, veil, veil / (1 - t)] == pytest.approx([out["t"], out["veil"], out["B"]], abs=1e-12)
    # and the forward model meets both readings
    greys = np.array([[given["J1"]], [given["J2"]]])
    seen = apply_veil(greys, [-np.log(out["t"])], 1.0, [out["B"]])
    assert seen[:, 0] == pytest.approx([given["I1"], given["I2"]], abs=1e-12)
