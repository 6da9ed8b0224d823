"""Genus names in italics, and nothing else: no family, no group, no qualifier."""

from __future__ import annotations

import html
import re
from collections.abc import Collection
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.core.identify.taxa import TaxaData

WORD = re.compile(r"\b[A-Z][a-z]{2,}\b")
EPITHET = re.compile(r"(?:\s+(?!(?:or|and|spp?|species|indet|not)\b)[a-z][a-z-]{2,}\b)?")
NO_TAXA = ("not_coral", "juvenile")


def genus_names(taxa: TaxaData) -> frozenset[str]:
    """
    Return every genus name that the data know, current and former; no informal group.

    Parameters
    ----------
    taxa : TaxaData

    Returns
    -------
    frozenset of str
    """
    rows = [g for g in taxa.genera.values() if g.group not in NO_TAXA]
    return frozenset(n for g in rows for n in (g.genus, *g.former_names))


def italic_parts(
    text: str, names: Collection[str], *, is_name: bool = False
) -> tuple[tuple[str, bool], ...]:
    """
    Cut a text into parts, each with whether it is set in italics.

    Parameters
    ----------
    text : str
    names : collection of str
        Genus names; see `genus_names`.
    is_name : bool
        Whether the text is a name, so that a small-letter word after a genus is its epithet.

    Returns
    -------
    tuple of (str, bool)
        Joined they are the text.

    Examples
    --------
    >>> italic_parts("cf. Favites or Goniastrea", {"Favites", "Goniastrea"})
    (('cf. ', False), ('Favites', True), (' or ', False), ('Goniastrea', True))
    >>> italic_parts("Favites abdita", {"Favites"}, is_name=True)
    (('Favites abdita', True),)
    >>> italic_parts("Merulinidae", {"Favites"})
    (('Merulinidae', False),)
    """
    parts: list[tuple[str, bool]] = []
    end = 0
    for found in WORD.finditer(text):
        if found[0] not in names:
            continue
        more = EPITHET.match(text, found.end()) if is_name else None
        stop = more.end() if more else found.end()
        if found.start() > end:
            parts.append((text[end : found.start()], False))
        parts.append((text[found.start() : stop], True))
        end = stop
    if end < len(text):
        parts.append((text[end:], False))
    return tuple(parts)


@lru_cache(maxsize=4096)
def italic_html(text: str, names: frozenset[str], *, is_name: bool = False) -> str:
    """
    Write a text as HTML with its genus names in italics; anything else in it is escaped.

    Parameters
    ----------
    text : str
    names : frozenset of str
    is_name : bool
        As of `italic_parts`.

    Returns
    -------
    str

    Examples
    --------
    >>> italic_html("usual in Favites & others", frozenset({"Favites"}))
    'usual in <i>Favites</i> &amp; others'
    """
    return "".join(
        f"<i>{html.escape(part)}</i>" if is_italic else html.escape(part)
        for part, is_italic in italic_parts(text, names, is_name=is_name)
    )
