"""Positions as people write them: degrees, degrees and minutes, degrees, minutes and seconds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from dryslate.base.errors import InputError

_NUMBER = r"\d+(?:[.,]\d+)?"
_PART = re.compile(
    rf"""\s*(?P<lead>[NSEW])?\s*
    (?P<sign>[+\-−])?\s*
    (?P<deg>{_NUMBER})\s*(?:°|º|deg|d)?
    (?:\s*(?P<min>{_NUMBER})\s*(?:['’′]|min|m)?
    (?:\s*(?P<sec>{_NUMBER})\s*(?:["”″]|''|sec|s(?![A-Za-z]))?)?)?
    \s*(?P<tail>[NSEW])?\s*""",
    re.VERBOSE,
)
_AXIS = {"N": "lat", "S": "lat", "E": "lon", "W": "lon"}
_HOW = "Write latitude first, such as -8.3521, 115.5130 or 8°21.13'S 115°30.78'E."
LIMITS = {"lat": 90, "lon": 180}


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenPosition:
    """
    A position and the text it was written as.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        North and east positive.
    precision_deg : float
        What one step of the last digit stands for, the coarser of the two.
    text : str
    """

    latitude_deg: float
    longitude_deg: float
    precision_deg: float
    text: str


def parse_position(text: str) -> WrittenPosition:
    """
    Read a position: latitude first, or each with its letter (N, S, E, W).

    Parameters
    ----------
    text : str
        Degrees with decimals, or degrees and minutes, or degrees, minutes and seconds. A decimal
        comma is read where the two are divided by a semicolon or by their letters.

    Returns
    -------
    WrittenPosition

    Raises
    ------
    InputError
        ``position-unreadable``, ``position-out-of-range``, ``position-swapped`` where the two
        would be a position the other way round only.

    Examples
    --------
    >>> found = parse_position("8°21.0'S 115°30.6'E")
    >>> found.latitude_deg, found.longitude_deg
    (-8.35, 115.51)
    >>> round(found.precision_deg * 60, 6)
    0.1
    """
    plain = " ".join(text.split())
    parts = [_read(part, plain) for part in _divide(plain)]
    axes = [axis for axis, _, _ in parts]
    if axes in (["lon", "lat"], ["lon", None], [None, "lat"]):
        parts.reverse()
    elif axes not in (["lat", "lon"], ["lat", None], [None, "lon"], [None, None]):
        raise _unreadable(plain, "it gives two latitudes or two longitudes")
    (_, latitude, fine_lat), (_, longitude, fine_lon) = parts
    require_in_range(float(latitude), float(longitude), plain)
    return WrittenPosition(
        latitude_deg=float(latitude),
        longitude_deg=float(longitude),
        precision_deg=float(max(fine_lat, fine_lon)),
        text=plain,
    )


def require_in_range(latitude_deg: float, longitude_deg: float, text: str) -> None:
    """
    Refuse what lies on no globe, and say where it would the other way round.

    Raises
    ------
    InputError
        ``position-out-of-range``, ``position-swapped``.
    """
    if abs(latitude_deg) <= 90 and abs(longitude_deg) <= 180:
        return
    if abs(longitude_deg) <= 90 and abs(latitude_deg) <= 180:
        raise InputError(
            "position-swapped",
            f"{text!r}: a latitude of {latitude_deg:g}° does not exist; "
            "latitude and longitude are probably swapped.",
            _HOW,
        )
    raise InputError(
        "position-out-of-range",
        f"{text!r}: latitude goes from -90 to 90°, longitude from -180 to 180°.",
        _HOW,
    )


def _divide(text: str) -> list[str]:
    """Divide a text into latitude and longitude, in the order written."""
    if not text:
        raise _unreadable(text, "it is empty")
    for divider in (";", "/", "|"):
        if text.count(divider) == 1:
            return text.split(divider)
    letters = re.fullmatch(r"(.*?\d.*?[NSEW])[\s,]*(.*\d.*[NSEW])", text)
    if letters:
        return [letters[1], letters[2]]
    letters = re.fullmatch(r"([NSEW].*?\d.*?)[\s,]*([NSEW].*\d.*)", text)
    if letters:
        return [letters[1], letters[2]]
    if text.count(",") == 1:
        return text.split(",")
    if text.count(" ") == 1:
        return text.split(" ")
    raise _unreadable(text, "latitude and longitude cannot be told apart")


def _read(part: str, text: str) -> tuple[str | None, Fraction, Fraction]:
    """Read one of the two: axis by its letter, value, and one step of its last digit."""
    found = _PART.fullmatch(part)
    if found is None or (found["lead"] and found["tail"]):
        raise _unreadable(text, f"{part.strip()!r} is no number of degrees")
    letter = found["lead"] or found["tail"]
    if letter and found["sign"]:
        raise _unreadable(text, f"{part.strip()!r} has a sign and a letter; give one of them")
    value, step = Fraction(0), Fraction(1)
    for name, share in (("deg", 1), ("min", 60), ("sec", 3600)):
        if found[name] is None:
            continue
        whole, _, after = found[name].replace(",", ".").partition(".")
        number = Fraction(f"{whole}.{after or 0}")
        if (share > 1 and number >= 60) or (step < Fraction(1, share // 60 or 1)):
            raise _unreadable(
                text, f"{part.strip()!r}: minutes and seconds go to 59, last one only"
            )
        value += number / share
        step = Fraction(1, share * 10 ** len(after))
    is_negative = letter in ("S", "W") or found["sign"] in ("-", "−")
    return _AXIS.get(letter or ""), -value if is_negative else value, step


def _unreadable(text: str, why: str) -> InputError:
    return InputError("position-unreadable", f"{text!r} is no position: {why}.", _HOW)
