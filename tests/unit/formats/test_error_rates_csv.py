"""Error rates are read as written, and a broken row is told with its place."""

from __future__ import annotations

import pytest

from dryslate.base.errors import FormatError
from dryslate.core.identify.observer import ErrorRates
from dryslate.formats.error_rates_csv import format_error_rates, parse_error_rates

HEAD = "kind,name,value,source\n"


def test_what_is_written_is_read_again() -> None:
    rates = ErrorRates(
        error={"wall": 0.125},
        unclear={"wall": 0.25},
        slip=0.02,
        size_slip=0.03,
        second_state=0.1,
        weights={"usual": 1.0, "sometimes": 0.5, "rare": 0.1},
        temperature=0.9,
    )
    text = format_error_rates(rates, "two lines\nof notes", {"error": "a fit, seed 1"})
    assert text.startswith("# two lines\n# of notes\nkind,")
    assert '0.1250,"a fit, seed 1"' in text
    assert parse_error_rates(text) == rates


def test_what_is_not_listed_keeps_its_default() -> None:
    assert parse_error_rates(HEAD) == ErrorRates()


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "line 1"),
        ("kind,name\n", "line 1"),
        (f"{HEAD}error,wall,2,x\n", "line 2, column value"),
        (f"{HEAD}error,wall,often,x\n", "line 2, column value"),
        (f"{HEAD}# note\nfault,wall,0.1,x\n", "line 3, column kind"),
        (f"{HEAD}setting,heat,0.1,x\n", "line 2, column name"),
        (f"{HEAD}error,wall,0.1\n", "line 2"),
    ],
)
def test_broken_row_is_told_with_its_place(text: str, place: str) -> None:
    with pytest.raises(FormatError, match="error-rates-broken") as told:
        parse_error_rates(text)
    assert place in told.value.message
