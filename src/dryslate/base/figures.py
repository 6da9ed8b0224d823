"""Figures as people read them: rounded to what their doubt allows."""

from __future__ import annotations

import math


def decimals_for(u: float) -> int:
    """
    Return how many decimals a value with this uncertainty is worth.

    Parameters
    ----------
    u : float
        Standard uncertainty.

    Returns
    -------
    int
        So that the uncertainty shows two significant digits; 0 to 4.

    Examples
    --------
    >>> decimals_for(1.24), decimals_for(0.037), decimals_for(31.0)
    (1, 3, 0)
    """
    if not (math.isfinite(u) and u > 0):
        return 2
    return min(max(1 - math.floor(math.log10(u)), 0), 4)


def rounded_to_doubt(value: float, u: float) -> tuple[float, float, int]:
    """
    Round a value and its uncertainty to two significant digits of the uncertainty.

    Parameters
    ----------
    value : float
    u : float
        Standard uncertainty; zero or not a number: none is known.

    Returns
    -------
    (float, float, int)
        Value, uncertainty and how many decimals both are written with. Decimals that are zero in
        both are not written. Without an uncertainty the value keeps three digits.

    Examples
    --------
    >>> rounded_to_doubt(9.0437, 0.2281), rounded_to_doubt(6.5, 0.5), rounded_to_doubt(236.0, 523.0)
    ((9.04, 0.23, 2), (6.5, 0.5, 1), (240.0, 520.0, 0))
    >>> rounded_to_doubt(9.0437, 0.0)
    (9.04, 0.0, 2)
    """
    has_doubt = math.isfinite(u) and u > 0
    size = u if has_doubt else abs(value)
    if not size or not math.isfinite(size):
        return value, u, 0
    digits = 2 if has_doubt else 3
    places = digits - 1 - math.floor(math.log10(size))
    places = digits - 1 - math.floor(math.log10(round(size, places)))  # 0.0996 is 0.10
    value, u = round(value, places), round(u, places) if has_doubt else u
    decimals = max(places, 0)
    while (
        decimals
        and round(value, decimals - 1) == value
        and (not has_doubt or round(u, decimals - 1) == u)
    ):
        decimals -= 1
    return value, u, decimals


def with_doubt(value: float, u: float, unit: str = "mm") -> str:
    """
    Write a value with its uncertainty, rounded to it.

    Parameters
    ----------
    value : float
    u : float
        Standard uncertainty; zero: none is known, and none is written.
    unit : str

    Returns
    -------
    str

    Examples
    --------
    >>> with_doubt(9.0437, 0.2281), with_doubt(6.5, 0.5), with_doubt(12.0, 0.0)
    ('9.04 ± 0.23 mm', '6.5 ± 0.5 mm', '12 mm')
    """
    value, u, n = rounded_to_doubt(value, u)
    doubt = f" ± {u:.{n}f}" if math.isfinite(u) and u > 0 else ""
    return f"{value:.{n}f}{doubt} {unit}".strip()
