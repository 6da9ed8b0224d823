"""Times as loggers write them: the order of day and month comes from the file, or not at all."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryslate.app.logger_heat import read_logger
from dryslate.app.logger_times import find_order, to_iso
from dryslate.formats.table_csv import read_table_csv

COLUMNS = ("time", "temperature_c")


def table(*times: str) -> bytes:
    return "\n".join(["time;temperature_c", *(f"{t};28,5" for t in times)]).encode()


@pytest.mark.parametrize(
    ("text", "order", "iso"),
    [
        ("31/01/2026 14:30", "dmy", "2026-01-31T14:30:00"),
        ("1/31/26 2:30:05 PM", "mdy", "2026-01-31T14:30:05"),
        ("01/31/2026 12:00 a.m.", "mdy", "2026-01-31T00:00:00"),
        ("01/31/2026 12:00 pm", "mdy", "2026-01-31T12:00:00"),
        ("31.01.2026 14:30:00.250", "dmy", "2026-01-31T14:30:00"),
        ("2026/1/31 14:30", None, "2026-01-31T14:30:00"),
        ("31-01-2026 14:30 +10:00", "dmy", "2026-01-31T14:30:00+10:00"),
        ("05/05/2026", None, "2026-05-05"),
        ("05/06/2026", None, "05/06/2026"),  # nothing tells: as it is, and refused where it is read
        ("01/31/2026 13:00 PM", "mdy", "01/31/2026 13:00 PM"),  # no hour of twelve
        ("31/02/2026 10:00", "dmy", "31/02/2026 10:00"),  # no such day
        ("2026-01-31T14:30Z", None, "2026-01-31T14:30:00Z"),
        ("soon", "dmy", "soon"),
    ],
)
def test_times_become_those_of_the_standard(text: str, order: str | None, iso: str) -> None:
    assert to_iso(text, order) == iso


@given(
    st.datetimes(datetime(2001, 1, 13), datetime(2090, 12, 31)),
    st.integers(12, 400),
    st.sampled_from(["%d/%m/%Y %H:%M:%S", "%m/%d/%y %I:%M:%S %p", "%d.%m.%Y %H:%M:%S"]),
)
def test_a_month_of_days_tells_its_order(start: datetime, n_days: int, form: str) -> None:
    start = start.replace(microsecond=0)
    times = [start + timedelta(days=k) for k in range(0, n_days + 20)]
    read = read_logger(
        read_table_csv(table(*(t.strftime(form) for t in times)), "reef.csv"),
        COLUMNS,
        timedelta(0),
    )
    assert not read.problems
    assert [note.slug for note in read.notes] == ["logger-dates-order"]
    np.testing.assert_array_equal(read.times, np.array(times, "datetime64[s]"))


def test_days_that_tell_nothing_are_refused_and_not_guessed() -> None:
    read = read_logger(
        read_table_csv(table("03/01/2026 10:00", "04/01/2026 10:00"), "reef.csv"),
        COLUMNS,
        timedelta(0),
    )
    assert {p.slug for p in read.problems} == {"logger-cell-unreadable"}
    assert not read.times.size
    assert find_order(["03/01/2026"]).is_open


def test_dates_in_two_orders_are_refused() -> None:
    read = read_logger(
        read_table_csv(table("14/01/2026 10:00", "01/15/2026 10:00"), "reef.csv"),
        COLUMNS,
        timedelta(0),
    )
    assert [p.place for p in read.problems] == ["reef.csv, row 2, time", "reef.csv, row 3, time"]


def test_local_time_still_needs_its_zone() -> None:
    read = read_logger(read_table_csv(table("14/01/2026 10:00"), "reef.csv"), COLUMNS, None)
    assert [p.slug for p in read.problems] == ["logger-time-no-zone"]
