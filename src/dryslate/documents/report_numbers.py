"""Numbers as people read them: rounded to what their doubt allows."""

from __future__ import annotations

import math

from dryslate.base.figures import decimals_for


def with_doubt(value: float | None, u: float | None, unit: str = "") -> str:
    """
    Write a value with its standard uncertainty.

    Parameters
    ----------
    value, u : float or None
    unit : str

    Returns
    -------
    str
        ``"unknown"`` where there is no value.

    Examples
    --------
    >>> with_doubt(123.456, 1.24, "mm")
    '123.5 ± 1.2 mm'
    >>> with_doubt(None, None)
    'unknown'
    """
    if value is None:
        return "unknown"
    if u is None:
        return plain(value, unit=unit)
    n = decimals_for(u)
    return f"{value:.{n}f} ± {u:.{n}f} {unit}".strip()


def interval(lo: float, hi: float, u: float, unit: str = "") -> str:
    """
    Write an interval, rounded like the value it belongs to.

    Examples
    --------
    >>> interval(121.03, 125.88, 1.24, "mm")
    '121.0 to 125.9 mm'
    """
    n = decimals_for(u)
    return f"{lo:.{n}f} to {hi:.{n}f} {unit}".strip()


def plain(value: float | None, n_decimals: int = 1, unit: str = "") -> str:
    """
    Write a number with so many decimals; ``"unknown"`` where there is none.

    Examples
    --------
    >>> plain(2.345), plain(None), plain(8.0, 0, "m")
    ('2.3', 'unknown', '8 m')
    """
    if value is None or not math.isfinite(value):
        return "unknown"
    return f"{round(value, n_decimals) + 0.0:.{n_decimals}f} {unit}".strip()


def sentence(text: str) -> str:
    """
    Begin with a capital and end with a full stop.

    Examples
    --------
    >>> sentence("no red signal"), sentence("Held.")
    ('No red signal.', 'Held.')
    """
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if not text or text[-1] in ".!?" else f"{text}."
