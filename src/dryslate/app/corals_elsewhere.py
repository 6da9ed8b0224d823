"""Corals and clocks as an archive or a package brings them: sound, and without photos."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from dryslate.app.checked_rows import checked_row
from dryslate.app.identification_rows import RecordRow
from dryslate.app.project_records import ClockOffset
from dryslate.app.records import MeasurementRow
from dryslate.app.shots import MOST_OFFSET_S

_UTC_OFFSET = re.compile(r"[+-]\d\d:\d\d")


def unit_place(name: str | None, unit_id: str) -> str:
    """
    Say in words of which unit a coral is whose photo is not here.

    Examples
    --------
    >>> unit_place("T1", "u1"), unit_place(None, "u1")
    ('T1', 'unit u1')
    """
    return name or f"unit {unit_id}"


def without_photo(record: RecordRow, unit: str) -> RecordRow:
    """
    Return a coral whose photo is not here: its unit is its place, else the photo in words.

    Parameters
    ----------
    record : RecordRow
        Noted in a photo.
    unit : str
        As `unit_place` says; empty: of no unit.
    """
    notes = "; ".join(one for one in (record.note, record.place) if one)
    return replace(record, photo_id=None, place=unit or f"photo {record.photo_id}", note=notes)


def numbers_only(values: Mapping[str, Any]) -> dict[str, float]:
    """Return the numbers of a measurement, every digit; how the doubt is made up stays."""
    return {
        key: value
        for key, value in values.items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }


def require_coral(row: RecordRow) -> RecordRow:
    """
    Return a coral whose sizes noted under water can be.

    Raises
    ------
    ValueError
        Where they cannot.
    """
    for name, said in row.sizes_noted.items():
        numbers = [said.get(n) for n in ("value_mm", "u_mm")] if isinstance(said, Mapping) else [""]
        if any(one is not None and not _is_number(one) for one in numbers):
            raise ValueError(f"sizes_noted: {name}: {said!r} cannot be")
    return row


def require_size(row: MeasurementRow) -> MeasurementRow:
    """
    Return a measurement of finite numbers, its points as pairs.

    Raises
    ------
    ValueError, TypeError
        Where it holds what is none.
    """
    points = tuple((float(x), float(y)) for x, y in row.points_px)
    numbers = [*row.values.values(), *(n for point in points for n in point)]
    if not all(map(_is_number, numbers)):
        raise ValueError("a measurement holds what is no number")
    return replace(row, points_px=points)


def require_clock(row: ClockOffset) -> ClockOffset:
    """
    Return what a clock was off by, where that can be.

    Raises
    ------
    ValueError
        Where it cannot.
    """
    if not abs(row.offset_s) <= MOST_OFFSET_S:
        raise ValueError(f"offset_s: {row.offset_s!r} cannot be")
    if row.utc_offset is not None and not _UTC_OFFSET.fullmatch(row.utc_offset):
        raise ValueError(f"utc_offset: {row.utc_offset!r} cannot be")
    return row


def clock_words(offset: ClockOffset) -> dict[str, Any]:
    """Say what a clock was off by, apart from the visit."""
    return {k: v for k, v in asdict(offset).items() if k != "visit_id" and v is not None}


def clock_of(said: Mapping[str, Any], visit_id: str) -> ClockOffset:
    """
    Read what `clock_words` says.

    Raises
    ------
    ValueError
        Where it is none.
    """
    return require_clock(checked_row(ClockOffset, {**said, "visit_id": visit_id}))


def _is_number(value: object) -> bool:
    """Tell whether a value is a finite number."""
    is_one = isinstance(value, int | float) and not isinstance(value, bool)
    return is_one and math.isfinite(float(value))  # type: ignore[arg-type]
