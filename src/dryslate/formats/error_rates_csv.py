"""Error rates of observers (CSV) as a record, and back."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping

from dryslate.base.errors import FormatError
from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.taxa import Frequency

COLUMNS = ("kind", "name", "value", "source")
SETTINGS = ("slip", "size_slip", "second_state", "asked_anyway", "temperature")
WEIGHTS: tuple[Frequency, ...] = ("usual", "sometimes", "rare")


def parse_error_rates(text: str, place: str = "error_rates.csv") -> ErrorRates:
    r"""
    Read error rates, frequency weights and temperature.

    Parameters
    ----------
    text : str
        CSV with the columns kind (``error``, ``unclear``, ``weight`` or ``setting``), name, value
        and source; lines that begin with ``#`` are notes.
    place : str
        The file, for messages.

    Returns
    -------
    ErrorRates
        What is not listed keeps its default.

    Raises
    ------
    FormatError
        ``error-rates-broken`` with the line and the column.

    Examples
    --------
    >>> rates = parse_error_rates("kind,name,value,source\nsetting,slip,0.02,made up\n")
    >>> rates.slip
    0.02
    """
    lines = text.splitlines()
    head = next((i for i, line in enumerate(lines) if line and not line.startswith("#")), 0)
    if not lines or tuple(c.strip() for c in lines[head].split(",")) != COLUMNS:
        raise _broken(place, head + 1, "", f"expected the columns {', '.join(COLUMNS)}")
    found: dict[str, dict[str, float]] = {"error": {}, "unclear": {}, "weight": {}, "setting": {}}
    for number, line in enumerate(lines[head + 1 :], head + 2):
        if not line.strip() or line.startswith("#"):
            continue
        kind, name, value, _ = _cells(line, number, place)
        if kind not in found:
            raise _broken(place, number, "kind", f"expected one of {', '.join(found)}; got {kind}")
        known = {"weight": WEIGHTS, "setting": SETTINGS}.get(kind, (name,))
        if name not in known:
            raise _broken(place, number, "name", f"expected one of {', '.join(known)}; got {name}")
        found[kind][name] = _number(value, number, place)
    plain = ErrorRates()
    weights: Mapping[Frequency, float] = {
        w: found["weight"].get(w, plain.weights[w]) for w in WEIGHTS
    }
    settings = {s: found["setting"].get(s, getattr(plain, s)) for s in SETTINGS}
    return ErrorRates(error=found["error"], unclear=found["unclear"], weights=weights, **settings)


def _cells(line: str, number: int, place: str) -> list[str]:
    """The four cells of a line."""
    cells = [c.strip() for c in next(csv.reader([line]))]
    if len(cells) != len(COLUMNS):
        raise _broken(place, number, "", f"expected {len(COLUMNS)} cells, found {len(cells)}")
    return cells


def _number(value: str, number: int, place: str) -> float:
    """A number above zero, 1 at most."""
    try:
        parsed = float(value)
    except ValueError:
        parsed = math.nan
    if not 0.0 < parsed <= 1.0:
        raise _broken(
            place, number, "value", f"expected a number above 0, 1 at most; got {value!r}"
        )
    return parsed


def _broken(place: str, line: int, column: str, told: str) -> FormatError:
    """The error, with its place."""
    at = f"{place}, line {line}" + (f", column {column}" if column else "")
    return FormatError("error-rates-broken", f"{at}: {told}", "Put the row right.")


def format_error_rates(rates: ErrorRates, notes: str, sources: Mapping[str, str]) -> str:
    """
    Write error rates, frequency weights and temperature.

    Parameters
    ----------
    rates : ErrorRates
    notes : str
        What the file says of itself, before the table.
    sources : Mapping of str to str
        Where values are from, by kind (``error``, ``unclear``, ``weight``) or setting.

    Returns
    -------
    str
        As `parse_error_rates` reads it, values with four decimals.
    """
    out = io.StringIO()
    for line in notes.splitlines():
        out.write(f"# {line}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for kind, name, value in _rows(rates):
        source = sources.get(name if kind == "setting" else kind, "")
        writer.writerow((kind, name, f"{value:.4f}", source))
    return out.getvalue()


def _rows(rates: ErrorRates) -> Iterator[tuple[str, str, float]]:
    """Kind, name and value of everything."""
    for name in SETTINGS:
        yield "setting", name, getattr(rates, name)
    for frequency in WEIGHTS:
        yield "weight", frequency, rates.weights[frequency]
    for name, value in rates.error.items():
        yield "error", name, value
    for name, value in rates.unclear.items():
        yield "unclear", name, value
