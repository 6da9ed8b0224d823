"""Sizes of a species from its row in the table of species."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dryslate.core.identify.taxa import SizeRange
from dryslate.formats.taxa_rows import Row

BEYOND = 0.8  # sizes of a species go beyond the published range by this on either side
ONE_SIDED = 0.6  # smallest usual size, as part of the largest, where only that is published
DISC_USUAL = (0.35, 0.9)  # usual sizes of single discs, as parts of the largest published


def species_sizes(row: Row, of_genus: Mapping[str, SizeRange]) -> dict[str, SizeRange]:
    """
    Return the width of a species' calice, valley or disc, under the measure that it fits.

    Parameters
    ----------
    row : Row
        Of the table of species; its numbers have been checked.
    of_genus : Mapping of str to SizeRange
        What is known of its genus.

    Returns
    -------
    dict of str to SizeRange
        Empty where no width is given, or where it lies wholly outside the range of the genus: then
        it is the width of something else (a calice where we know the disc only).

    Examples
    --------
    >>> cells = {"corallite_width_min_mm": "3", "corallite_width_max_mm": "4", "source": "made up"}
    >>> row = Row("species.csv", 2, 0, cells)
    >>> species_sizes(row, {})["corallite_diameter"].high_mm
    5.0
    """
    low, high = row.get("corallite_width_min_mm"), row.get("corallite_width_max_mm")
    if not high:
        return {}
    most = float(high)
    if not of_genus:
        return {"corallite_diameter": _range(float(low or most), most, row)}
    measure = min(of_genus, key=lambda m: _misfit(most, of_genus[m]))
    if low:
        size = _range(float(low), most, row)
    elif measure == "colony_diameter":
        least, usual = (part * most for part in DISC_USUAL)
        least = min(max(least, of_genus[measure].low_mm), usual)
        size = _range(least, usual, row, most)
    else:
        size = _range(ONE_SIDED * most, most, row)
    whole = of_genus[measure]
    meets = size.usual_low_mm <= whole.high_mm and size.usual_high_mm >= whole.low_mm
    return {measure: size} if meets else {}


def _misfit(value_mm: float, size: SizeRange) -> float:
    """How far a value lies from the middle of a range, as a factor."""
    middle = math.sqrt(size.low_mm * size.high_mm)
    return max(value_mm / middle, middle / value_mm)


def _range(low: float, high: float, row: Row, most: float | None = None) -> SizeRange:
    """A species' range as a usual range and somewhat beyond, to three digits."""
    bounds = (
        BEYOND * min(low, high),
        min(low, high),
        max(low, high),
        most or max(low, high) / BEYOND,
    )
    low_mm, usual_low_mm, usual_high_mm, high_mm = (float(f"{b:.3g}") for b in bounds)
    return SizeRange(
        low_mm=low_mm,
        usual_low_mm=usual_low_mm,
        usual_high_mm=usual_high_mm,
        high_mm=high_mm,
        source=row.get("source"),
    )
