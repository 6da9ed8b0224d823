"""Depths by time: straight lines between near readings, nothing across gaps."""

from __future__ import annotations

from datetime import datetime

import pytest

from dryslate.app.depths import parse_depths
from dryslate.base.errors import FormatError

TABLE = """# from the slate
time,depth_m
2031-05-04 10:00:40,9
2031-05-04T10:00:00,5.0
2031-05-04T10:05:00,8
"""


@pytest.mark.parametrize(
    ("when", "depth_m"),
    [
        ("10:00:00", 5.0),
        ("10:00:10", 6.0),
        ("10:00:40", 9.0),
        ("10:01:30", 9.0),
        ("10:02:30", None),
        ("10:04:10", 8.0),
        ("09:58:00", None),
        ("10:06:00", 8.0),
        ("10:06:01", None),
    ],
)
def test_depth_at_a_time(when: str, depth_m: float | None) -> None:
    table = parse_depths(TABLE, "depths.csv")
    assert table.depth_at(datetime.fromisoformat(f"2031-05-04T{when}")) == depth_m


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "header"),
        ("when,depth\n", "header"),
        ("time,depth_m\n", "row 2"),
        ("time,depth_m\nnoon,5\n", "row 2"),
        ("time,depth_m\n2031-05-04T10:00:00,5\n2031-05-04T10:00:00,deep\n", "row 3"),
        ("time,depth_m\n2031-05-04T10:00:00,-5\n", "row 2"),
        ("time,depth_m\n2031-05-04T10:00:00,nan\n", "row 2"),
        ("time,depth_m\n2031-05-04T10:00:00\n", "row 2"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_with_its_row(text: str, where: str) -> None:
    with pytest.raises(FormatError) as caught:
        parse_depths(text, "depths.csv")
    assert caught.value.slug == "depths-unreadable"
    assert f"depths.csv, {where}" in caught.value.message
