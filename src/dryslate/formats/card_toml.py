"""
Card definition files: TOML to records and back.

Keys are the field names of the records, with ``id`` for the numbers of markers and the names of
patches. Lengths are millimetres from the card's top left corner, colours CIELAB (D65, 2 degrees).
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from typing import Any

import tomli_w

from dryslate.base.errors import FormatError
from dryslate.core.card.definition import Box, CardDefinition, Marker, Patch, ScaleBar

_REQUIRED = {
    CardDefinition: ("name", "title", "width_mm", "height_mm", "ground_lab_d65", "patches"),
    Marker: ("dictionary", "id", "x_mm", "y_mm", "side_mm"),
    Patch: ("id", "x_mm", "y_mm", "width_mm", "height_mm", "role", "lab_d65"),
    Box: ("x_mm", "y_mm", "width_mm", "height_mm"),
    ScaleBar: ("x_mm", "y_mm", "length_mm"),
}
_KEY_OF = {(Marker, "marker_id"): "id", (Patch, "patch_id"): "id"}
_CHOICES = {
    "role": ("neutral", "colour"),
    "status": ("nominal", "measured", "from_photos"),
    "medium": ("air", "water"),
}
_TEXTS = {
    "name", "title", "serial", "values_source", "picture", "twin_of", "hue_group", "dictionary",
}  # fmt: skip
_TRIPLES = {"lab_d65", "lab_u", "ground_lab_d65", "lanyard_hole"}
_TABLES: dict[str, type] = {"scale_bar": ScaleBar, "pencil_strip": Box, "thumb_zone": Box}
_LISTS: dict[str, type] = {"markers": Marker, "patches": Patch}


_NUMBER_ROWS = re.compile(r"\[\n([\d\s,.e+-]+)\]")
"""An array of numbers over several lines; brought to one line for people."""


class _Faults:
    """Collects everything that is wrong with one file."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, where: str, expected: str, got: object) -> None:
        self.lines.append(f"{where}: expected {expected}, found {got!r}")


def _is_number(value: object) -> bool:
    """Tell whether it is a finite number (and not a truth value)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(float(value)) < 1e9  # also False for nan


def _scalar(key: str, value: object, where: str, faults: _Faults) -> Any:  # a TOML value
    """Check one plain value by its key and bring it to its type."""
    if key in _CHOICES:
        if value in _CHOICES[key]:
            return value
        faults.add(where, " or ".join(_CHOICES[key]), value)
    elif key == "id" or key in _TEXTS:
        if isinstance(value, str):
            return value
        faults.add(where, "a text", value)
    elif key in _TRIPLES:
        if isinstance(value, list) and len(value) == 3 and all(_is_number(v) for v in value):
            return tuple(float(v) for v in value)
        faults.add(where, "three numbers", value)
    elif _is_number(value):
        return float(value)  # type: ignore[arg-type]  # _is_number has seen to it
    else:
        faults.add(where, "a number", value)
    return None


def _whole(value: object, where: str, faults: _Faults) -> int:
    """Check a whole number."""
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    faults.add(where, "a whole number", value)
    return 0


def _record(kind: type, table: object, where: str, faults: _Faults) -> Any:  # one of our records
    """Build one record from a TOML table; None when it cannot be built."""
    if not isinstance(table, dict):
        faults.add(where, "a table", table)
        return None
    n_before = len(faults.lines)
    known = {_KEY_OF.get((kind, f.name), f.name): f.name for f in fields(kind)}
    for key in table:
        if key not in known:
            faults.add(f"{where}{key}", "one of " + ", ".join(known), key)
    values: dict[str, Any] = {}
    for key, name in known.items():
        if key not in table:
            if key in _REQUIRED[kind]:
                faults.add(f"{where}{key}", "a value", "nothing")
            continue
        value = table[key]
        if key in _TABLES:
            values[name] = _record(_TABLES[key], value, f"{where}{key}.", faults)
        elif key in _LISTS:
            values[name] = _records(_LISTS[key], value, f"{where}{key}", faults)
        elif key == "turn_deg" or (kind is Marker and key == "id"):
            values[name] = _whole(value, f"{where}{key}", faults)
        else:
            values[name] = _scalar(key, value, f"{where}{key}", faults)
    if len(faults.lines) > n_before:
        return None
    if kind is CardDefinition:
        values.setdefault("markers", ())
    return kind(**values)


def _records(kind: type, rows: object, where: str, faults: _Faults) -> tuple[Any, ...]:
    """Build the records of an array of tables."""
    if not isinstance(rows, list):
        faults.add(where, "an array of tables", rows)
        return ()
    return tuple(_record(kind, row, f"{where}[{k + 1}].", faults) for k, row in enumerate(rows))


def parse_card(text: str, place: str) -> CardDefinition:
    """
    Read a card definition.

    Parameters
    ----------
    text : str
        The TOML file's text.
    place : str
        Name of the file, for messages.

    Returns
    -------
    CardDefinition
        Well formed, but not yet checked for sense: see `dryslate.core.card.checks.check_card`.

    Raises
    ------
    FormatError
        ``card-file-not-toml`` if it is not TOML, ``card-file-wrong`` if keys are missing, unknown
        or of the wrong kind; all such faults are named at once.

    Examples
    --------
    >>> text = '''
    ... name = "tiny"
    ... title = "A tiny card"
    ... width_mm = 30.0
    ... height_mm = 20.0
    ... ground_lab_d65 = [56.0, 0.0, 0.0]
    ... [[patches]]
    ... id = "white"
    ... x_mm = 2.0
    ... y_mm = 2.0
    ... width_mm = 8.0
    ... height_mm = 8.0
    ... role = "neutral"
    ... lab_d65 = [95.0, 0.0, 1.0]
    ... '''
    >>> parse_card(text, "tiny.toml").patches[0].patch_id
    'white'
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise FormatError(
            "card-file-not-toml",
            f"{place}: this is not a TOML file ({err}).",
            "Look how one is written that `dryslate card from-photo` made.",
        ) from None
    faults = _Faults()
    card = _record(CardDefinition, table, "", faults)
    if faults.lines:
        listed = "; ".join(faults.lines)
        raise FormatError(
            "card-file-wrong",
            f"{place}: {len(faults.lines)} faults: {listed}.",
            "Correct these keys.",
        )
    assert isinstance(card, CardDefinition)
    return card


def _plain(kind: type, record: Any) -> dict[str, Any]:  # one of our records
    """Turn a record into TOML values, leaving out what is at its default."""
    table: dict[str, Any] = {}
    for field in fields(kind):
        value = getattr(record, field.name)
        key = _KEY_OF.get((kind, field.name), field.name)
        if key in _LISTS:
            value = [_plain(_LISTS[key], item) for item in value]
            if not value and key == "markers":
                continue
        elif value is None or (value == field.default and key not in ("status", "medium")):
            continue
        elif key in _TABLES:
            value = _plain(_TABLES[key], value)
        elif isinstance(value, tuple):
            value = list(value)
        table[key] = value
    return table


def format_card(card: CardDefinition) -> str:
    """
    Write a card definition as TOML.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    str
        `parse_card` reads it back to an equal record.

    Examples
    --------
    >>> card = CardDefinition(name="c", title="A card", width_mm=10.0, height_mm=8.0,
    ...                       ground_lab_d65=(56.0, 0.0, 0.0), markers=(), patches=())
    >>> parse_card(format_card(card), "c.toml") == card
    True
    """
    table = _plain(CardDefinition, card)
    simple = {k: v for k, v in table.items() if not isinstance(v, dict | list) or k in _TRIPLES}
    nested = {k: v for k, v in table.items() if k not in simple}
    text = tomli_w.dumps({**simple, **nested}, multiline_strings=False)
    return _NUMBER_ROWS.sub(lambda m: "[" + " ".join(m[1].split()).rstrip(",") + "]", text)
