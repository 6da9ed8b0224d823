"""Measured values of a card's patches, from CGATS.17 text or from plain CSV."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, field, replace
from typing import Literal

from dryslate.base.errors import FormatError
from dryslate.base.problems import Problem
from dryslate.formats.cgats import CgatsTable, has_content, parse_cgats

Illuminant = Literal["D50", "D65"]

_LAB_FIELDS = ("LAB_L", "LAB_A", "LAB_B")
_XYZ_FIELDS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_CSV_LAB = ("lab_l", "lab_a", "lab_b")
_BAND = re.compile(r"^(?:SPECTRAL_?|SPEC_?|REFL?_?|R_?)?(?:NM_?)?(\d{3})(?:_?NM)?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """
    One reading of one patch.

    Parameters
    ----------
    name : str
        What the file calls the patch.
    values : tuple of float
        L*, a*, b*; or X, Y, Z with Y = 100 for the perfect white; or reflectances (0 to 1) at
        the file's wavelengths.
    values_u : tuple of float or None
        Standard uncertainty of each, where the file states it.
    place : str
        File and line.
    other_name : str
        Second name the file gives (its sample id), tried when `name` fits no patch.
    """

    name: str
    values: tuple[float, ...]
    values_u: tuple[float, float, float] | None
    place: str
    other_name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """
    All readings of a file, and what they hold for.

    Parameters
    ----------
    readings : tuple of Reading
    space : {"lab", "xyz", "reflectance"}
    illuminant : {"D50", "D65"} or None
        None where the file does not say.
    observer_deg : int or None
        2 or 10; None where the file does not say.
    source : str
        Who measured, with what, when, as far as the file says.
    problems : tuple of Problem
        Rows that could not be read, one problem each.
    wavelengths_nm : tuple of float
        Of the reflectances; empty otherwise.
    """

    readings: tuple[Reading, ...]
    space: Literal["lab", "xyz", "reflectance"]
    illuminant: Illuminant | None
    observer_deg: int | None
    source: str
    problems: tuple[Problem, ...] = field(default=())
    wavelengths_nm: tuple[float, ...] = ()


def parse_readings(text: str, place: str) -> Readings:
    r"""
    Read measured patch values from CGATS.17 text or from CSV.

    Parameters
    ----------
    text : str
        Content of the file. CSV needs the columns ``patch_id,lab_l,lab_a,lab_b`` and may have
        ``lab_l_u,lab_a_u,lab_b_u``; lines that start with ``#`` may state
        ``# illuminant: D65`` and ``# observer: 2``. The same patch may come several times.
        Either form may carry reflectance spectra instead, in columns named by wavelength
        (``SPECTRAL_NM380``, ``nm_380`` and the like); they come before L*, a*, b* in the same
        file, since they need no illuminant.
    place : str
        Name of the file, for messages.

    Returns
    -------
    Readings
        In the order of the file. Rows that cannot be read are in its problems.

    Raises
    ------
    FormatError
        Those of `parse_cgats`; ``readings-no-values`` if no table holds L*, a*, b* or X, Y, Z.

    Examples
    --------
    >>> read = parse_readings("# illuminant: D65\npatch_id,lab_l,lab_a,lab_b\nn5,53,0,0", "f")
    >>> read.readings[0].name, read.illuminant
    ('n5', 'D65')
    """
    first = next((line for line in text.lstrip("\ufeff").splitlines() if has_content(line)), "")
    if "," in first or ";" in first:
        return _parse_csv(text.lstrip("\ufeff"), place)
    choices: tuple[tuple[Literal["lab", "xyz"], tuple[str, ...]], ...] = (
        ("lab", _LAB_FIELDS),
        ("xyz", _XYZ_FIELDS),
    )
    for table in parse_cgats(text, place):
        names = [f.upper() for f in table.fields]
        if bands := _bands(names):
            return _from_table(table, names, tuple(names[k] for k in bands), "reflectance", place)
        for space, wanted in choices:
            if all(w in names for w in wanted):
                return _from_table(table, names, wanted, space, place)
    raise _no_values(place)


def _no_values(place: str) -> FormatError:
    """Say that no column set can be used."""
    return FormatError(
        "readings-no-values",
        f"{place}: no columns with colours: expected LAB_L, LAB_A, LAB_B or XYZ_X, XYZ_Y, XYZ_Z "
        "(CGATS.17), or patch_id,lab_l,lab_a,lab_b (CSV).",
        "Export the readings again with L*, a*, b*.",
    )


def _from_table(
    table: CgatsTable,
    names: list[str],
    wanted: tuple[str, ...],
    space: Literal["lab", "xyz", "reflectance"],
    place: str,
) -> Readings:
    """Take the readings out of a table."""
    columns = [names.index(w) for w in wanted]
    name_at = [names.index(n) for n in ("SAMPLE_NAME", "SAMPLE_ID") if n in names]
    readings: list[Reading] = []
    problems: list[Problem] = []
    for row, number in zip(table.rows, table.line_numbers, strict=True):
        where = f"{place} line {number}"
        cells = [row[c] for c in columns]
        labels = [str(row[i]) for i in name_at] or [str(len(readings) + 1)]
        _add_reading(readings, problems, where, labels, cells, None)
    conditions = " ".join(f"{k} {v}" for k, v in table.keywords.items()).upper()
    bands = tuple(_wavelength(w) for w in wanted) if space == "reflectance" else ()
    return Readings(
        readings=_as_fractions(readings) if bands else tuple(readings),
        space=space,
        wavelengths_nm=bands,
        illuminant=_illuminant(conditions),
        observer_deg=_observer(conditions),
        source=", ".join(
            table.keywords[k]
            for k in ("ORIGINATOR", "INSTRUMENTATION", "CREATED")
            if table.keywords.get(k)
        ),
        problems=tuple(problems),
    )


def _add_reading(
    readings: list[Reading],
    problems: list[Problem],
    where: str,
    labels: list[str],
    cells: list[str | float],
    cells_u: list[str | float] | None,
) -> None:
    """Add one row to the readings, or say why it cannot be read."""
    numbers = _floats(cells)
    numbers_u = _floats(cells_u) if cells_u is not None else None
    if numbers is None or (cells_u is not None and numbers_u is None):
        problems.append(
            Problem(
                slug="reading-not-a-number",
                severity="warning",
                place=where,
                message=f"the values of {labels[0]!r} are not numbers: "
                f"{', '.join(str(c) for c in [*cells, *(cells_u or [])])}; row left out.",
                fix="Correct the row and read the file again.",
            )
        )
        return
    readings.append(
        Reading(
            name=labels[0].strip(),
            values=numbers,
            values_u=_triple(numbers_u),
            place=where,
            other_name=labels[1].strip() if len(labels) > 1 else "",
        )
    )


def _floats(cells: list[str | float]) -> tuple[float, ...] | None:
    """Return finite numbers, or None."""
    try:
        numbers = tuple(float(str(v).strip()) for v in cells)
    except ValueError:
        return None
    return numbers if all(abs(v) < 1e6 for v in numbers) else None


def _triple(numbers: tuple[float, ...] | None) -> tuple[float, float, float] | None:
    """Return three numbers as such."""
    if numbers is None or len(numbers) != 3:
        return None
    return numbers[0], numbers[1], numbers[2]


def _wavelength(name: str) -> float:
    """Return the wavelength a column is named by; 0 for another column."""
    match = _BAND.match(name.upper())
    return float(match.group(1)) if match and 300 <= int(match.group(1)) <= 900 else 0.0


def _bands(names: list[str]) -> list[int]:
    """Return the columns of a spectrum, by rising wavelength; none where there are too few."""
    found = sorted((_wavelength(n), k) for k, n in enumerate(names) if _wavelength(n))
    return [k for _, k in found] if len(found) >= 10 else []


def _as_fractions(readings: list[Reading]) -> tuple[Reading, ...]:
    """Bring spectra to 0 to 1 where the file gives per cent."""
    top = max((max(r.values) for r in readings), default=0.0)
    if top <= 2.0:
        return tuple(readings)
    return tuple(replace(r, values=tuple(v / 100.0 for v in r.values)) for r in readings)


def _illuminant(conditions: str) -> Illuminant | None:
    """Find D50 or D65 among the stated conditions; None when neither or both."""
    has_d50, has_d65 = (
        bool(re.search(r"\bD50\b", conditions)),
        bool(re.search(r"\bD65\b", conditions)),
    )
    if has_d50 == has_d65:
        return None
    return "D50" if has_d50 else "D65"


def _observer(conditions: str) -> int | None:
    """Find the observer's angle among the stated conditions."""
    match = re.search(r"OBSERVER\D{0,12}(10|2)\b|\b(10|2)\s*(?:°|DEG)", conditions)
    return int(match.group(1) or match.group(2)) if match else None


def _parse_csv(text: str, place: str) -> Readings:
    """Read the CSV form."""
    numbered = list(enumerate(text.splitlines(), start=1))
    notes = " ".join(line for _, line in numbered if line.lstrip().startswith("#")).upper()
    body = [(n, line) for n, line in numbered if has_content(line)]
    divider = ";" if body and ";" in body[0][1] else ","
    parsed = list(csv.reader((line for _, line in body), delimiter=divider))
    header = [c.strip().lower() for c in parsed[0]] if parsed else []
    bands = [header[k] for k in _bands(header)]
    columns = bands or list(_CSV_LAB)
    if "patch_id" not in header or not all(c in header for c in columns):
        raise _no_values(place)
    has_u = not bands and all(f"{c}_u" in header for c in _CSV_LAB)
    readings: list[Reading] = []
    problems: list[Problem] = []
    for (number, _), row in zip(body[1:], parsed[1:], strict=True):
        cells = dict(zip(header, [*row, *[""] * len(header)], strict=False))
        values: list[str | float] = [_decimal(cells[c], divider) for c in columns]
        values_u: list[str | float] | None = (
            [_decimal(cells[f"{c}_u"], divider) for c in _CSV_LAB] if has_u else None
        )
        label = cells["patch_id"]
        _add_reading(readings, problems, f"{place} line {number}", [label], values, values_u)
    return Readings(
        readings=_as_fractions(readings) if bands else tuple(readings),
        space="reflectance" if bands else "lab",
        wavelengths_nm=tuple(_wavelength(b) for b in bands),
        illuminant=_illuminant(notes),
        observer_deg=_observer(notes),
        source="",
        problems=tuple(problems),
    )


def _decimal(text: str, divider: str) -> str:
    """Read a decimal comma where the columns are parted by semicolons."""
    return text.strip().replace(",", ".") if divider == ";" else text.strip()
