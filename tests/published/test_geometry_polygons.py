"""GEO-04 (JCGM 100:2008, annex H.1) and GEO-05 (polygons and Feret diameters)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import t as student

from dryslate.core.arrays.propagation import effective_degrees, propagate_independent
from dryslate.core.measure.polygon import (
    find_longest_diameter,
    narrowest_width,
    polygon_area,
    polyline_length,
)

CHECKS = Path(__file__).parent / "checks"


def cases(name: str) -> list[dict[str, Any]]:
    return json.loads((CHECKS / name).read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", cases("geo_polygons_feret.json"), ids=lambda c: c["name"])
def test_polygon_measures(case: dict[str, Any]) -> None:
    xy = np.array(case["in"]["xy"], dtype=float)
    want, tol = case["out"], case["tol"]
    area, perimeter = polygon_area(xy), polyline_length(xy, closed=True)
    i, j = find_longest_diameter(xy)
    assert area == pytest.approx(want["area"], abs=tol)
    assert perimeter == pytest.approx(want["perimeter"], abs=tol)
    assert np.hypot(*(xy[i] - xy[j])) == pytest.approx(want["feret_max"], abs=tol)
    assert narrowest_width(xy) == pytest.approx(want["feret_min"], abs=tol)
    assert 4 * np.pi * area / perimeter**2 == pytest.approx(want["circularity_4piA_P2"], abs=tol)


def test_gauge_block_of_annex_h1() -> None:
    (case,) = cases("geo_gum_h1.json")
    given, want = case["in"], case["out"]
    names = ("lS", "d", "alphaS", "theta", "dalpha", "dtheta")
    u = [given[name][1] for name in names]
    dof = [given[name][2] for name in names]
    length = given["lS"][0]
    slopes = [1.0, 1.0, 0.0, 0.0, -length * given["theta"][0], -length * given["alphaS"][0]]
    u_c, parts = propagate_independent(slopes, u)
    np.testing.assert_allclose(parts, want["contributions_nm"], atol=0.01)
    assert u_c == pytest.approx(want["uc_nm"], abs=0.01)
    assert round(u_c) == want["uc_published_nm"]
    nu = effective_degrees(parts, dof)
    assert nu == pytest.approx(want["nu_eff"], abs=0.01)
    assert int(nu) == want["nu_eff_published"]
    k99 = float(student.ppf(0.995, int(nu)))  # the guide rounds down
    assert k99 == pytest.approx(want["k99"], abs=0.005)
    assert round(k99 * u_c) == want["U99_published_nm"]
    mixed = np.zeros((6, 6))
    mixed[3, 4] = mixed[4, 3] = mixed[2, 5] = mixed[5, 2] = -length
    second = propagate_independent(slopes, u, mixed)[0]
    assert second == pytest.approx(want["uc_with_second_order_nm"], abs=0.01)
    assert round(second) == want["uc_second_order_published_nm"]
