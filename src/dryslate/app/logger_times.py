"""Times as loggers write them, turned into those of ISO 8601; the file itself tells the order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

_PARTED = re.compile(
    r"(?P<a>\d{1,4})(?P<by>[/.-])(?P<b>\d{1,2})(?P=by)(?P<c>\d{1,4})"
    r"(?:[ T,]+(?P<h>\d{1,2}):(?P<min>\d\d)(?::(?P<s>\d\d)(?:[.,]\d+)?)?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?)?"
    r"(?P<zone> ?(?:Z|[+-]\d\d:\d\d))?"
)
MONTHS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class DateOrder:
    """
    The order of day and month in the dates of a file.

    Parameters
    ----------
    order : {"dmy", "mdy"} or None
        None: no date needs one, or nothing tells it.
    shown_by : int or None
        Place in the column of the first date that tells.
    is_open : bool
        Whether dates need an order that nothing tells, or that others contradict.
    """

    order: str | None = None
    shown_by: int | None = None
    is_open: bool = False


def find_order(texts: Sequence[str]) -> DateOrder:
    """
    Find out whether the day or the month comes first in a column of times.

    A number over 12 is no month: one such date tells for all. Where none has one, or two contradict
    each other, it stays open; the day is never guessed.

    Parameters
    ----------
    texts : sequence of str

    Returns
    -------
    DateOrder

    Examples
    --------
    >>> find_order(["03/01/2026 10:00", "03/14/2026 10:00"])
    DateOrder(order='mdy', shown_by=1, is_open=False)
    >>> find_order(["03/01/2026 10:00"]).is_open
    True
    """
    shown: dict[str, int] = {}
    is_needed = False
    for k, text in enumerate(texts):
        found = _PARTED.fullmatch(text.strip())
        if found is None or len(found["a"]) > 2 or int(found["a"]) == int(found["b"]):
            continue
        is_needed = True
        for order, part in (("dmy", "a"), ("mdy", "b")):
            if int(found[part]) > MONTHS:
                shown.setdefault(order, k)
    if len(shown) == 1:
        ((order, k),) = shown.items()
        return DateOrder(order=order, shown_by=k)
    return DateOrder(is_open=is_needed)


def to_iso(text: str, order: str | None) -> str:
    """
    Return a time in the form of ISO 8601; what is of no known form, or of no order, as it is.

    Parameters
    ----------
    text : str
    order : {"dmy", "mdy"} or None
        Of dates that do not begin with the year.

    Returns
    -------
    str

    Examples
    --------
    >>> to_iso("3/14/26 1:05:00 PM", "mdy"), to_iso("14.03.2026", "dmy"), to_iso("2026/3/4", None)
    ('2026-03-14T13:05:00', '2026-03-14', '2026-03-04')
    """
    found = _PARTED.fullmatch(text.strip())
    if found is None:
        return text
    a, b, c = found["a"], found["b"], found["c"]
    if len(a) == 4:
        year, month, day = a, b, c
    elif order is None and int(a) != int(b):
        return text
    else:
        year, month, day = (c, b, a) if order != "mdy" else (c, a, b)
    year = f"20{year}" if len(year) == 2 else year
    try:
        when = date(int(year), int(month), int(day)).isoformat()
    except ValueError:  # no such day: as it stands in the file
        return text
    if found["h"] is None:
        return when
    hour = int(found["h"])
    if found["half"] is not None:
        if not 1 <= hour <= 12:
            return text
        hour = hour % 12 + 12 * (found["half"] in "Pp")
    return f"{when}T{hour:02d}:{found['min']}:{found['s'] or '00'}{(found['zone'] or '').strip()}"
