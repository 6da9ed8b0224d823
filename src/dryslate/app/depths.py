"""Depth of the camera for each photo: from its file, or from a table of times and depths."""

from __future__ import annotations

import csv
import io
import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dryslate.base.errors import FormatError

_LONGEST_GAP_S = 60.0
"""A photo's time may lie this far from the nearest row, and rows this far apart, in seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthTable:
    """
    Times and depths of one or more dives.

    Parameters
    ----------
    times : tuple of datetime
        Rising; local time, without an offset.
    depths_m : tuple of float
        Depth at each time.
    """

    times: tuple[datetime, ...] = ()
    depths_m: tuple[float, ...] = ()

    def depth_at(self, when: datetime) -> float | None:
        """
        Return the depth at a time, between rows by a straight line; None where nothing is known.

        Parameters
        ----------
        when : datetime
            Local time of the photo, clock error taken out.

        Returns
        -------
        float or None
            None where the nearest rows are more than a minute away.
        """
        when = when.replace(tzinfo=None)
        i = bisect_left(self.times, when)
        before = i - 1 if i > 0 else None
        after = i if i < len(self.times) else None
        gaps = [
            abs((self.times[j] - when).total_seconds()) for j in (before, after) if j is not None
        ]
        if before is not None and after is not None and max(gaps) <= _LONGEST_GAP_S:
            whole = sum(gaps)
            share = gaps[0] / whole if whole > 0 else 0.0
            low, high = self.depths_m[before], self.depths_m[after]
            return low + share * (high - low)
        nearest = min(
            (j for j in (before, after) if j is not None),
            key=lambda j: abs((self.times[j] - when).total_seconds()),
            default=None,
        )
        if nearest is None or min(gaps) > _LONGEST_GAP_S:
            return None
        return self.depths_m[nearest]


def parse_depths(text: str, place: str) -> DepthTable:
    r"""
    Read a CSV of times and depths.

    Parameters
    ----------
    text : str
        A header line naming ``time`` and ``depth_m``, then one row a reading: local time as
        ``YYYY-MM-DDTHH:MM:SS`` (a space instead of the T will do), depth in metres, down
        positive. Lines that start with ``#`` are skipped.
    place : str
        Name of the file, for messages.

    Returns
    -------
    DepthTable

    Raises
    ------
    FormatError
        ``depths-unreadable`` with the row, if a header or value is missing or not possible.

    Examples
    --------
    >>> table = parse_depths("time,depth_m\n2031-05-04 10:00,5\n2031-05-04 10:01,7\n", "a")
    >>> table.depth_at(datetime(2031, 5, 4, 10, 0, 30))
    6.0
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    lines = [line for line in lines if not line.startswith("#")]
    reader = csv.DictReader(io.StringIO("\n".join(lines)))
    header = [(name or "").strip() for name in reader.fieldnames or ()]
    if not {"time", "depth_m"} <= set(header):
        raise _unreadable(place, "header", f"expected columns time and depth_m, found {header}")
    reader.fieldnames = header
    rows = [_row(row, f"row {number}", place) for number, row in enumerate(reader, start=2)]
    if not rows:
        raise _unreadable(place, "row 2", "expected at least one time and depth, found none")
    return depth_table(rows)


def depth_table(rows: Sequence[tuple[datetime, float]]) -> DepthTable:
    """
    Sort readings by time; the last of two at the same time is kept.

    Parameters
    ----------
    rows : sequence of (datetime, float)

    Returns
    -------
    DepthTable
    """
    ordered = sorted(dict(rows).items())
    return DepthTable(
        times=tuple(when for when, _ in ordered), depths_m=tuple(depth for _, depth in ordered)
    )


def _row(row: dict[str, str], where: str, place: str) -> tuple[datetime, float]:
    """Read one row."""
    try:
        when = datetime.fromisoformat((row["time"] or "").strip()).replace(tzinfo=None)
    except ValueError:
        raise _unreadable(place, where, f"time {row['time']!r} is not a date and time") from None
    try:
        depth = float((row["depth_m"] or "").strip())
    except ValueError:
        depth = math.nan
    if not 0.0 <= depth <= 400.0:
        raise _unreadable(place, where, f"depth {row['depth_m']!r} is not 0 to 400 metres")
    return when, depth


def _unreadable(place: str, where: str, what: str) -> FormatError:
    """Return the error for a table that cannot be used."""
    return FormatError(
        "depths-unreadable",
        f"{place}, {where}: {what}.",
        "Write a header line time,depth_m, then local times such as 2031-05-04T10:00:00 and "
        "depths in metres.",
    )
