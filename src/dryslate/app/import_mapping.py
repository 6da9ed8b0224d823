"""How the columns of somebody's tables stand for ours, and reading their cells."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from typing import Any, Literal

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.formats.table_csv import NumberText

UNIT_KEY = ("site", "date", "unit")
UNIT_FIELDS = (
    *UNIT_KEY,
    "zone",
    "unit_kind",
    "depth_m",
    "depth_m_u",
    "observer",
    "unit_note",
    *(f.name for f in fields(UnitDesign)),
)
"""Columns that tell of a unit."""
ROW_FIELDS = (
    *(f.name for f in fields(SurveyRow) if f.name not in ("place", "photo_id")),
    "photo",
)
"""Columns that tell of one row."""
_WHOLE_KINDS = ("int", "int | None")
_NUMBER_KINDS = ("float", "float | None")
_KINDS = {f.name: f.type for kind in (UnitDesign, SurveyRow) for f in fields(kind)}
NUMBERS = frozenset(n for n, kind in _KINDS.items() if kind in _NUMBER_KINDS) | {
    "depth_m",
    "depth_m_u",
}
WHOLE = frozenset(n for n, kind in _KINDS.items() if kind in _WHOLE_KINDS)
_LARGEST = 2.0**53
"""Whole numbers are exact up to here."""
_ORDERS = {"year month day": (0, 1, 2), "day month year": (2, 1, 0), "month day year": (2, 0, 1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportMapping:
    """
    How the columns of a table stand for ours.

    Parameters
    ----------
    columns : Mapping
        Our field to the table's column. A field that is not named is looked for under its own
        name.
    constants : Mapping
        Our field to one value for all rows.
    words : Mapping
        Per field, the table's word to ours: ``{"category": {"live coral": "hard coral"}}``.
    decimal : {".", ","}
    date_order : str
        ``year month day`` (ISO), ``day month year`` or ``month day year``.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    decimal: Literal[".", ","] = "."
    date_order: str = "year month day"


def read_mapping(text: str, name: str) -> ImportMapping:
    """
    Read a mapping file (TOML).

    Parameters
    ----------
    text : str
    name : str
        For messages.

    Raises
    ------
    InputError
        ``mapping-not-toml``, ``mapping-field-unknown``, ``mapping-choice``.
    """
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError("mapping-not-toml", f"{name}: not TOML ({error}).") from error
    known = {"columns", "constants", "words", "decimal", "date_order"}
    fields_named = {
        key
        for part in ("columns", "constants", "words")
        if isinstance(found.get(part), dict)
        for key in found[part]
    }
    unknown = sorted((set(found) - known) | (fields_named - {*UNIT_FIELDS, *ROW_FIELDS}))
    if unknown:
        raise InputError(
            "mapping-field-unknown",
            f"{name}: {', '.join(unknown)} is no field of ours.",
            f"Fields: {', '.join((*UNIT_FIELDS, *ROW_FIELDS))}.",
        )
    tables = {part: found.get(part, {}) for part in ("columns", "constants", "words")}
    words = tables["words"].values() if isinstance(tables["words"], dict) else ()
    if not all(isinstance(one, dict) for one in (*tables.values(), *words)):
        raise InputError(
            "mapping-choice",
            f"{name}: columns and constants give each field a word, words gives each a table.",
            'Such as [columns], unit = "Line", and [words.category], "live coral" = "hard coral".',
        )
    decimal, order = found.get("decimal", "."), found.get("date_order", "year month day")
    if decimal not in (".", ",") or not isinstance(order, str) or order not in _ORDERS:
        raise InputError(
            "mapping-choice",
            f"{name}: decimal is . or , and date_order one of {', '.join(_ORDERS)}.",
        )
    return ImportMapping(
        columns={field: str(column) for field, column in tables["columns"].items()},
        constants={field: _word(value, decimal) for field, value in tables["constants"].items()},
        words={
            field: {word: _word(value, decimal) for word, value in one.items()}
            for field, one in tables["words"].items()
        },
        decimal=decimal,
        date_order=order,
    )


def _word(value: object, decimal: object) -> str:
    """Write a value of a mapping file as its tables would: yes and no, and the decimal sign."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).replace(".", str(decimal)) if isinstance(value, float) else str(value)


def read_cell(
    name: str, text: str, mapping: ImportMapping, place: str
) -> tuple[Any, Problem | None]:
    """
    Read one cell; an empty one is None, never zero.

    Returns
    -------
    value : str, float, int, bool, tuple or None
    problem : Problem or None
        What is wrong with it; the value is None then.
    """
    text = mapping.words.get(name, {}).get(text, text)
    if not text:
        return None, None
    if name == "date":
        return _read_date(text, mapping, place)
    if name in NUMBERS or name in WHOLE:
        return _read_number(name, text, mapping, place)
    if name == "is_permanent":
        low = text.lower()
        if low in ("yes", "true", "1"):
            return True, None
        if low in ("no", "false", "0"):
            return False, None
        return None, _problem("cell-not-yes-or-no", place, f"{text!r}: expected yes or no")
    if name == "searched":
        return tuple(part.strip() for part in re.split(r"[;|]", text) if part.strip()), None
    return text, None


def _problem(slug: str, place: str, message: str, fix: str = "") -> Problem:
    return Problem(slug=slug, severity="error", place=place, message=message, fix=fix)


def _read_number(
    name: str, text: str, mapping: ImportMapping, place: str
) -> tuple[float | int | None, Problem | None]:
    """Read a number with the mapping's decimal sign, and no other."""
    other = "," if mapping.decimal == "." else "."
    if other in text and not isinstance(text, NumberText):
        return None, _problem(
            "cell-decimal",
            place,
            f"{text!r}: the decimal sign is {mapping.decimal!r} in this table",
            "Say `decimal` in the mapping; thousands are not divided.",
        )
    plain = text.replace(mapping.decimal, ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", plain):
        return None, _problem("cell-not-a-number", place, f"{text!r}: expected a number")
    value = float(plain)
    if not abs(value) < _LARGEST:
        return None, _problem("cell-not-a-number", place, f"{text!r}: larger than any number here")
    if name not in WHOLE:
        return value, None
    if value != int(value):
        return None, _problem("cell-not-whole", place, f"{text!r}: expected a whole number")
    return int(value), None


def _read_date(text: str, mapping: ImportMapping, place: str) -> tuple[str | None, Problem | None]:
    """Read a date in the mapping's order; ISO dates are read in any."""
    day = re.sub(r"(?<=^\d{4}-\d\d-\d\d)T[\d:.]+$", "", text)  # a workbook's day with a time
    parts = re.fullmatch(r"(\d+)[-./ ](\d+)[-./ ](\d+)", day)
    if parts:
        numbers = [int(part) for part in parts.groups()]
        is_iso = len(parts[1]) == 4
        y, m, d = (0, 1, 2) if is_iso else _ORDERS[mapping.date_order]
        if len(parts.group(y + 1)) == 4:
            try:
                return date(numbers[y], numbers[m], numbers[d]).isoformat(), None
            except ValueError:
                pass
    return None, _problem(
        "cell-not-a-date",
        place,
        f"{text!r}: no date in the order {mapping.date_order}",
        "Write dates as year-month-day, or say `date_order` in the mapping.",
    )
