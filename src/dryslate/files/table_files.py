"""Tables of records on disk: CSV or a workbook, told apart by their content."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dryslate.base.errors import InputError
from dryslate.formats.table_csv import Table, read_table_csv
from dryslate.formats.table_xlsx import read_table_xlsx, read_tables_xlsx, sheet_names

LARGEST_BYTES = 500 << 20


def read_table(path: Path, sheet: str | None = None) -> Table:
    """
    Read a table of records.

    Parameters
    ----------
    path : Path
    sheet : str, optional
        Of a workbook; the first where not given.

    Raises
    ------
    InputError
        ``table-not-found``, ``table-too-large``, and as the readers do.
    """
    data = read_bytes(path, LARGEST_BYTES)
    if data[:4] == b"PK\x03\x04":
        return read_table_xlsx(data, path.name, sheet)
    return read_table_csv(data, path.name)


def read_sheets(path: Path, sheets: Sequence[str]) -> list[Table]:
    """Read some sheets of a workbook, opened once; raises as `read_table`."""
    return read_tables_xlsx(read_bytes(path, LARGEST_BYTES), path.name, sheets)


def read_bytes(path: Path, most_bytes: int) -> bytes:
    """
    Read a file that is not larger than it may be.

    Raises
    ------
    InputError
        ``table-not-found``, ``table-too-large``.
    """
    try:
        if path.stat().st_size > most_bytes:
            raise InputError(
                "table-too-large", f"{path}: more than {most_bytes >> 20} MB.", "Divide it."
            )
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(path, error) from error


def sheets_of(path: Path) -> tuple[str, ...]:
    """Return the names of a workbook's sheets; none for a file that is no workbook."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _unreadable(path, error) from error
    return sheet_names(data, path.name) if data[:4] == b"PK\x03\x04" else ()


def read_text(path: Path) -> str:
    """
    Read a small file of text.

    Raises
    ------
    InputError
        ``table-not-found``, ``table-not-utf8``.
    """
    try:
        return path.read_text("utf-8-sig")
    except OSError as error:
        raise _unreadable(path, error) from error
    except UnicodeDecodeError as error:
        raise InputError(
            "table-not-utf8", f"{path}: not UTF-8.", "Save the file as UTF-8."
        ) from error


def _unreadable(path: Path, error: OSError) -> InputError:
    return InputError("table-not-found", f"{path}: cannot be read ({error.strerror or error}).")
