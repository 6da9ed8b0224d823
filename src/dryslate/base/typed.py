"""Numbers as people type them."""

from __future__ import annotations

import math


def typed_number(text: str) -> float | None:
    """
    Read a number as people type it, with a decimal point or comma.

    Parameters
    ----------
    text : str

    Returns
    -------
    float or None
        None where nothing was typed.

    Raises
    ------
    ValueError
        For what is no number, and for what is not finite.

    Examples
    --------
    >>> typed_number(" 2,5 "), typed_number("-3"), typed_number("")
    (2.5, -3.0, None)
    >>> typed_number("nan")
    Traceback (most recent call last):
    ...
    ValueError: not finite: nan
    """
    plain = text.strip().replace(",", ".")
    if not plain:
        return None
    value = float(plain)
    if not math.isfinite(value):
        raise ValueError(f"not finite: {plain}")
    return value
