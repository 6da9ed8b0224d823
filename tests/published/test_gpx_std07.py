"""
GPX: waypoints, tracks, lengths and the position at a time (STD-07).

Source: GPX 1.1 schema (WGS 84, metres, UTC); haversine with the mean radius 6371008.8 m. The
namespace and conventions were read in secondary sources, the numbers are computed.
"""

from __future__ import annotations

import itertools
import json
from datetime import datetime
from pathlib import Path

import pytest

from dryslate.formats.gpx import great_circle_m, position_at, read_gpx

CHECKS = Path(__file__).parent / "checks"
CASES = json.loads((CHECKS / "std_gpx_expected.json").read_text("utf-8"))["cases"]
GPX = read_gpx((CHECKS / "std_gpx_example.gpx").read_bytes(), "std_gpx_example.gpx")


def test_points_and_lengths() -> None:
    (case,) = [c for c in CASES if c["name"] == "read"]
    (segment,) = GPX.segments
    assert len(GPX.waypoints) == case["out"]["waypoints"]
    assert len(segment) == case["out"]["track_points"]
    lengths = [great_circle_m(a, b) for a, b in itertools.pairwise(segment)]
    assert lengths == pytest.approx(case["out"]["length_m"], abs=case["tol"])
    assert sum(lengths) == pytest.approx(case["out"]["length_total_m"], abs=case["tol"])


@pytest.mark.parametrize("case", [c for c in CASES if "time" in c["in"]], ids=lambda c: c["name"])
def test_position_at_a_time(case) -> None:
    found = position_at(GPX.segments, datetime.fromisoformat(case["in"]["time"]))
    if "position" in case["out"]:
        assert found is case["out"]["position"]
    else:
        wanted = (case["out"]["lat"], case["out"]["lon"])
        assert found == pytest.approx(wanted, abs=case["tol"])
