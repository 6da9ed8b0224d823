"""
STD-06: profile of a dive, and the depth at a photo's time.

Source: UDDF 3.2, element waypoint (depth and time in every waypoint, straight lines between; read
in the source); metre, second and kelvin, namespace and nesting read in secondary sources; the file
is made up, its numbers computed.
"""

from __future__ import annotations

import itertools
import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from dryslate.app.correct_request import depths_from
from dryslate.base.errors import FormatError
from dryslate.formats.uddf import read_uddf

CHECKS = Path(__file__).parent / "checks"
CASES = json.loads((CHECKS / "std_uddf_expected.json").read_text("utf-8"))["cases"]
FILE = CHECKS / "std_uddf_example.uddf"
(DIVE,) = read_uddf(FILE.read_bytes(), FILE.name)
AT_TIMES = [c for c in CASES if "photo_time" in c["in"]]


def test_profile() -> None:
    (case,) = [c for c in CASES if c["name"] == "profile"]
    want, points = case["out"], DIVE.waypoints
    assert len(points) == want["n_waypoints"]
    assert DIVE.start == datetime.fromisoformat(want["start"])
    assert max(p.depth_m for p in points) == want["max_depth_m"]
    length_s = points[-1].dive_s - points[0].dive_s
    assert length_s == want["duration_s"]
    found = [p.temperature_c for p in points]
    assert found == pytest.approx(want["temperature_C"], abs=case["tol"])
    parts = [
        (b.dive_s - a.dive_s) * (a.depth_m + b.depth_m) / 2 for a, b in itertools.pairwise(points)
    ]
    mean = sum(parts) / length_s
    assert mean == pytest.approx(want["time_weighted_mean_depth_m"], abs=case["tol"])


@pytest.mark.parametrize("case", AT_TIMES, ids=lambda c: c["in"]["photo_time"])
def test_depth_at_a_photos_time(case) -> None:
    when = datetime.fromisoformat(case["in"]["photo_time"])
    assert (when - DIVE.start).total_seconds() == case["out"]["divetime_s"]
    assert DIVE.depth_at(when) == pytest.approx(case["out"]["depth_m"], abs=case["tol"])
    # the same as a table of depths, which photos are corrected with
    table = depths_from(FILE)
    assert table is not None
    assert table.depth_at(when) == pytest.approx(case["out"]["depth_m"], abs=case["tol"])


def test_before_and_after_the_dive_nothing_is_guessed() -> None:
    last = DIVE.start + timedelta(seconds=2640)
    assert DIVE.depth_at(last) == 0.0
    assert DIVE.depth_at(last + timedelta(seconds=1)) is None
    assert DIVE.depth_at(DIVE.start - timedelta(seconds=1)) is None


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("<uddf ", "<log ", "cannot be read"),
        ("waypoint>", "point>", "no dive in it has waypoints"),
        ("<depth>13.0</depth>", "", "waypoint 4: depth '' cannot be"),
        ("<divetime>30</divetime>", "<divetime>soon</divetime>", "waypoint 2: divetime 'soon'"),
        ("<divetime>30</divetime>", "<divetime>1e15</divetime>", "divetime '1e15' cannot be"),
        ("<depth>13.0</depth>", "<depth>1300</depth>", "depth '1300' cannot be"),
        ("<depth>13.0</depth>", "<depth>-13</depth>", "depth '-13' cannot be"),
        ("2024-03-05T09:10:00+08:00", "this morning", "is not a date and time"),
        ("<generator>", "<!DOCTYPE uddf [<!ENTITY a 'b'>]><generator>", "cannot be read"),
    ],
)
def test_a_log_that_cannot_be_used_says_where(old: str, new: str, told: str) -> None:
    text = FILE.read_text("utf-8").replace(old, new)
    with pytest.raises(FormatError, match=r"log\.uddf") as error:
        read_uddf(text.encode(), "log.uddf")
    assert error.value.slug == "depths-unreadable"
    assert told in error.value.message


def test_another_kind_of_xml_is_no_dive() -> None:
    with pytest.raises(FormatError, match="is no UDDF"):
        read_uddf(b"<gpx/>", "track.gpx")
