"""Colour data text after CGATS.17 (ISO 28178)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from dryslate.base.errors import FormatError

STANDARD_KEYWORDS = frozenset(
    {"ORIGINATOR", "DESCRIPTOR", "CREATED", "MANUFACTURER", "PROD_DATE", "SERIAL", "MATERIAL",
     "INSTRUMENTATION", "MEASUREMENT_SOURCE", "PRINT_CONDITIONS", "WEIGHTING_FUNCTION"}
)  # fmt: skip
"""Names of ANSI CGATS.17-2009, 4.2 (from secondary sources); others are declared by KEYWORD."""

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')


@dataclass(frozen=True, slots=True, kw_only=True)
class CgatsTable:
    """
    One table of a colour data file.

    Parameters
    ----------
    identifier : str
        The first line, for example ``CGATS.17``.
    keywords : Mapping of str to str
        Everything stated before the data, later statements winning.
    fields : tuple of str
        Names of the columns, in order.
    rows : tuple of tuple
        One per set; a cell is a float where it reads as a number and was not quoted and its
        column is not a name or an id, else a string.
    line_numbers : tuple of int
        Line of the file that each row stands on, counted from 1.
    """

    identifier: str
    keywords: Mapping[str, str]
    fields: tuple[str, ...]
    rows: tuple[tuple[str | float, ...], ...]
    line_numbers: tuple[int, ...] = ()


def parse_cgats(text: str, place: str) -> tuple[CgatsTable, ...]:
    """
    Read every table of a CGATS.17 text.

    Parameters
    ----------
    text : str
        Content of the file.
    place : str
        Name of the file, for messages.

    Returns
    -------
    tuple of CgatsTable
        At least one.

    Raises
    ------
    FormatError
        ``cgats-not-one`` if the first line is no identifier; ``cgats-block-missing`` if a format
        or data block is missing or not closed; ``cgats-count`` if the stated numbers of fields or
        sets differ from what is there, or a row has another number of cells than the format.

    References
    ----------
    .. [1] ANSI CGATS.17-2009 (ISO 28178): text file format for colour data.

    Examples
    --------
    >>> text = '''CGATS.17
    ... BEGIN_DATA_FORMAT
    ... SAMPLE_ID LAB_L LAB_A LAB_B
    ... END_DATA_FORMAT
    ... NUMBER_OF_SETS 1
    ... BEGIN_DATA
    ... n50 53.2 0.1 -0.2
    ... END_DATA'''
    >>> parse_cgats(text, "card.txt")[0].rows
    (('n50', 53.2, 0.1, -0.2),)
    """
    lines = text.lstrip("\ufeff").splitlines()
    identifier = next((line.strip() for line in lines if has_content(line)), "")
    if not re.match(r'^"?[A-Z][A-Z0-9_.\-]*"?(\s|$)', identifier) or "," in identifier:
        raise FormatError(
            "cgats-not-one",
            f"{place}: the first line should be an identifier such as CGATS.17, "
            f"found {identifier[:40]!r}.",
            "Export the readings as CGATS.17 text, or as CSV with the columns "
            "patch_id,lab_l,lab_a,lab_b.",
        )
    tables: list[CgatsTable] = []
    at = next(i for i, line in enumerate(lines) if has_content(line)) + 1
    while at < len(lines):
        table, at = _parse_table(lines, at, identifier, place)
        if table is None:
            break
        tables.append(table)
    if not tables:
        raise _block_missing(place, "BEGIN_DATA_FORMAT")
    return tuple(tables)


def format_cgats(table: CgatsTable) -> str:
    """
    Write a table as CGATS.17 text.

    Parameters
    ----------
    table : CgatsTable

    Returns
    -------
    str
        `parse_cgats` reads it back to the same identifier, keywords, fields and rows. Keywords
        that the standard does not name are declared first; counts are written, not taken over.

    Raises
    ------
    ValueError
        If a row has another number of cells than there are fields.

    Examples
    --------
    >>> table = CgatsTable(identifier="CGATS.17", keywords={"ORIGINATOR": "us"},
    ...                    fields=("SAMPLE_ID", "LAB_L"), rows=(("mid grey", 50.5),))
    >>> print(format_cgats(table).splitlines()[-2])
    "mid grey"	50.5
    """
    lines = [table.identifier]
    counts = {"NUMBER_OF_FIELDS", "NUMBER_OF_SETS"}
    for word, value in table.keywords.items():
        if word in counts:
            continue
        if word not in STANDARD_KEYWORDS:
            lines.append(f"KEYWORD\t{_quoted(word)}")
        lines.append(f"{word}\t{_quoted(value)}")
    lines += [f"NUMBER_OF_FIELDS\t{len(table.fields)}", "BEGIN_DATA_FORMAT"]
    lines += ["\t".join(table.fields), "END_DATA_FORMAT"]
    lines += [f"NUMBER_OF_SETS\t{len(table.rows)}", "BEGIN_DATA"]
    for row in table.rows:
        if len(row) != len(table.fields):
            raise ValueError(f"expected {len(table.fields)} cells, got {len(row)}")
        lines.append("\t".join(_written(cell) for cell in row))
    return "\n".join([*lines, "END_DATA", ""])


def _written(cell: str | float) -> str:
    """Write one cell: numbers plain, texts in quotes."""
    return f"{cell:.10g}" if isinstance(cell, float | int) else _quoted(cell)


def _quoted(text: str) -> str:
    """Put a text in double quotes; quotes inside are doubled, line ends become blanks."""
    return '"' + " ".join(text.splitlines()).replace('"', '""') + '"'


def has_content(line: str) -> bool:
    """Tell whether a line is neither blank nor a comment (one that starts with ``#``)."""
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _tokens(line: str) -> list[tuple[str, bool]]:
    """Split a line into (text, was quoted); a # outside quotes starts a comment."""
    found: list[tuple[str, bool]] = []
    for match in _TOKEN.finditer(line):
        if match.group(1) is not None:
            found.append((match.group(1).replace('""', '"'), True))
        elif match.group(2).startswith("#"):
            break
        else:
            found.append((match.group(2), False))
    return found


def _block_missing(place: str, what: str) -> FormatError:
    """Say which block is missing."""
    return FormatError(
        "cgats-block-missing",
        f"{place}: {what} is missing.",
        "The file seems cut short; export the readings again.",
    )


def _count_error(place: str, message: str) -> FormatError:
    """Say that two counts differ."""
    return FormatError(
        "cgats-count",
        f"{place}: {message}.",
        "The file is damaged or was edited by hand; export the readings again.",
    )


def _parse_table(
    lines: list[str], at: int, identifier: str, place: str
) -> tuple[CgatsTable | None, int]:
    """Read one table from line index `at`; None when only keywords or nothing is left."""
    keywords: dict[str, str] = {}
    fields: list[str] = []
    seen_format = False
    while at < len(lines):
        tokens = _tokens(lines[at])
        at += 1
        if not tokens:
            continue
        word = tokens[0][0].upper()
        if word == "BEGIN_DATA_FORMAT":
            fields, at = _read_format(lines, at, place)
            seen_format = True
        elif word == "BEGIN_DATA":
            if not seen_format:
                raise _block_missing(place, "BEGIN_DATA_FORMAT")
            rows, numbers, at = _read_data(lines, at, fields, place)
            _check_counts(keywords, fields, len(rows), place)
            table = CgatsTable(
                identifier=identifier,
                keywords=keywords,
                fields=tuple(fields),
                rows=tuple(rows),
                line_numbers=tuple(numbers),
            )
            return table, at
        elif word == "KEYWORD" and len(tokens) > 1:
            keywords.setdefault(tokens[1][0].upper(), "")
        else:
            keywords[word] = " ".join(t for t, _ in tokens[1:])
    if seen_format:
        raise _block_missing(place, "BEGIN_DATA")
    return None, at


def _read_format(lines: list[str], at: int, place: str) -> tuple[list[str], int]:
    """Read the names of the columns up to END_DATA_FORMAT."""
    fields: list[str] = []
    while at < len(lines):
        words = [t for t, _ in _tokens(lines[at])]
        at += 1
        if words and words[0].upper() == "END_DATA_FORMAT":
            return fields, at
        fields += words
    raise _block_missing(place, "END_DATA_FORMAT")


def _read_data(
    lines: list[str], at: int, fields: list[str], place: str
) -> tuple[list[tuple[str | float, ...]], list[int], int]:
    """Read the sets, one a line, up to END_DATA."""
    rows: list[tuple[str | float, ...]] = []
    numbers: list[int] = []
    while at < len(lines):
        tokens = _tokens(lines[at])
        at += 1
        if not tokens:
            continue
        if tokens[0] == ("END_DATA", False):
            return rows, numbers, at
        if len(tokens) != len(fields):
            raise _count_error(
                f"{place} line {at}", f"{len(tokens)} cells found, {len(fields)} expected"
            )
        rows.append(tuple(_cell(t, q, f) for (t, q), f in zip(tokens, fields, strict=True)))
        numbers.append(at)
    raise _block_missing(place, "END_DATA")


def _cell(text: str, quoted: bool, name: str) -> str | float:
    """Turn a cell into a number where it is one; names and ids stay text."""
    if quoted or name.upper().endswith(("_ID", "_NAME", "_LOC")):
        return text
    try:
        return float(text)
    except ValueError:
        return text


def _check_counts(keywords: Mapping[str, str], fields: list[str], n_rows: int, place: str) -> None:
    """Hold the stated numbers of fields and sets against what is there."""
    for word, found in (("NUMBER_OF_FIELDS", len(fields)), ("NUMBER_OF_SETS", n_rows)):
        stated = keywords.get(word)
        if stated is not None and stated.strip() != str(found):
            raise _count_error(place, f"{word} says {stated}, found {found}")
