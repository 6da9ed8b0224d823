"""
Dates, times and intervals as the Darwin Core term eventDate takes them (ISO 8601-1:2019).

Calendar dates only: year, month or day, with a time and its offset from UTC where known.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

_DATE = r"(?P<y>\d{4})(?:-(?P<m>\d\d)(?:-(?P<d>\d\d))?)?"
_TIME = r"(?P<hh>\d\d):(?P<mm>\d\d)(?::(?P<ss>\d\d)(?:[.,]\d+)?)?"
_OFFSET = r"(?P<offset>Z|[+-]\d\d(?::?\d\d)?)"
_POINT = re.compile(rf"{_DATE}(?:T{_TIME}{_OFFSET}?)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class EventDate:
    """
    A date as read.

    Parameters
    ----------
    start : str
    end : str or None
        Of an interval, written out in full.
    """

    start: str
    end: str | None = None


def parse_event_date(text: str) -> EventDate | None:
    """
    Read a date, a time or an interval; None where it is none.

    Examples
    --------
    >>> parse_event_date("2007-11-13/15")
    EventDate(start='2007-11-13', end='2007-11-15')
    >>> parse_event_date("05/03/2024") is None
    True
    """
    start, slash, end = text.partition("/")
    if not _is_point(start):
        return None
    if not slash:
        return EventDate(start=start)
    full = end if _is_point(end) else _written_out(start, end)
    if full is None or not _is_point(full) or _bare(full) < _bare(start)[: len(_bare(full))]:
        return None
    return EventDate(start=start, end=full)


def days_of(text: str) -> tuple[str, ...]:
    """
    Return the first and the last day of a date; one where they are the same, none of less.

    Examples
    --------
    >>> days_of("2024-03-09T09:18/2024-03-09T10:00"), days_of("2024-03")
    (('2024-03-09',), ())
    """
    found = parse_event_date(text)
    if found is None:
        return ()
    days = (found.start[:10], (found.end or found.start)[:10])
    return tuple(dict.fromkeys(days)) if all(len(one) == 10 for one in days) else ()


def _is_point(text: str) -> bool:
    """Tell whether a text is a date that exists, with a time that does where it has one."""
    found = _POINT.fullmatch(text)
    if found is None:
        return False
    parts = found.groupdict()
    try:
        date(int(parts["y"]), int(parts["m"] or 1), int(parts["d"] or 1))
    except ValueError:
        return False
    if parts["hh"] is None:
        return True
    offset = re.sub(r"\D", "", parts["offset"] or "").ljust(4, "0")
    is_time = int(parts["hh"]) <= 23 and int(parts["mm"]) <= 59 and int(parts["ss"] or 0) <= 60
    is_whole = parts["d"] is not None
    return is_time and is_whole and int(offset[:2]) <= 14 and int(offset[2:]) <= 59


def _bare(text: str) -> str:
    """Return a date without its offset, for comparing."""
    return re.sub(r"(?:Z|(?<=\d\d:\d\d)[+-]\d\d(?::?\d\d)?)$", "", text)


def _written_out(start: str, end: str) -> str | None:
    """Write out an end that leaves out what it shares with the start, such as 2007-11-13/15."""
    if not re.fullmatch(rf"[\d:T-]*\d{_OFFSET}?", end):
        return None
    bare, last = _bare(start), _bare(end)
    if len(last) >= len(bare):
        return None
    return bare[: len(bare) - len(last)] + end


def interval_of(start: str, minutes: float) -> str:
    """
    Write the interval of something that began at a time and took some minutes.

    Examples
    --------
    >>> interval_of("2023-11-30T23:40:00-04:00", 50)
    '2023-11-30T23:40:00-04:00/2023-12-01T00:30:00-04:00'
    """
    begun = datetime.fromisoformat(start)
    return f"{begun.isoformat()}/{(begun + timedelta(minutes=minutes)).isoformat()}"


def span_of(first: str, last: str) -> str:
    """
    Write the interval from one date or time to another; a single one where they are the same.

    Examples
    --------
    >>> span_of("2024-03-05", "2024-03-09")
    '2024-03-05/2024-03-09'
    """
    return first if first == last else f"{first}/{last}"
