"""The number of a printed sheet: twelve digits, the last two of them a check."""

from __future__ import annotations

import hashlib

N_DIGITS = 12
GROUP = 3
"""Digits that one marker stands for."""


def sheet_number(said: str) -> str:
    """
    Make the number of a sheet from all that tells it from others.

    Parameters
    ----------
    said : str

    Returns
    -------
    str
        Ten digits of a hash and two check digits; the same text gives the same number.

    Notes
    -----
    Check digits of ISO/IEC 7064, MOD 97-10: the whole number leaves 1 when divided by 97, so that
    every single wrong digit and every swap of two neighbours is found. Two texts share a number
    by chance once in 10,000,000,000 pairs.

    Examples
    --------
    >>> sheet_number("belt, T1, page 1")
    '311689675917'
    >>> is_sheet_number("311689675917"), is_sheet_number("311689675971")
    (True, False)
    """
    body = int.from_bytes(hashlib.sha256(said.encode("utf-8")).digest()[:8], "big") % 10**10
    return f"{body:010d}{check_digits(body):02d}"


def check_digits(body: int) -> int:
    """
    Return the two check digits of a number (ISO/IEC 7064, MOD 97-10).

    Examples
    --------
    >>> check_digits(794)
    44
    """
    return 98 - (body * 100) % 97


def is_sheet_number(text: str) -> bool:
    """Tell whether a text is the number of a sheet, its check digits right."""
    return len(text) == N_DIGITS and text.isascii() and text.isdigit() and int(text) % 97 == 1


def groups_of(number: str) -> tuple[int, ...]:
    """
    Return the groups of three digits, each the id of a marker.

    Examples
    --------
    >>> groups_of("311689675917")
    (311, 689, 675, 917)
    """
    return tuple(int(number[k : k + GROUP]) for k in range(0, N_DIGITS, GROUP))


def spaced(number: str) -> str:
    """
    Return a number in groups of three, as it is printed and read aloud.

    Examples
    --------
    >>> spaced("311689675917")
    '311 689 675 917'
    """
    return " ".join(number[k : k + GROUP] for k in range(0, N_DIGITS, GROUP))
