"""The catalogue of messages, taken apart for the help pages."""

from __future__ import annotations

import re
from dataclasses import dataclass

_HEADING = re.compile(r"^## (\S+)\s*$", re.M)
_LINK = re.compile(r"\[([^\]]+)\]\([^)]+\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class MessagePart:
    """A stretch of text; `is_code` where it is typed or shown as it stands."""

    text: str
    is_code: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MessageEntry:
    """One message: its slug, and paragraphs that say what it means and what to do."""

    slug: str
    paragraphs: tuple[tuple[MessagePart, ...], ...]


def parse_messages(text: str) -> tuple[MessageEntry, ...]:
    r"""
    Take the catalogue apart.

    Parameters
    ----------
    text : str
        Markdown with a heading ``## slug`` for each message.

    Returns
    -------
    tuple of MessageEntry
        In the order of the text; links become their words.

    Examples
    --------
    >>> (entry,) = parse_messages("# All\n\n## no-card\n\nUse `correct`.\nOr [this](x.md).\n")
    >>> entry.slug, [part.text for part in entry.paragraphs[0]]
    ('no-card', ['Use ', 'correct', '. Or this.'])
    """
    parts = _HEADING.split(text)[1:]
    return tuple(
        MessageEntry(slug=slug, paragraphs=_paragraphs(body))
        for slug, body in zip(parts[::2], parts[1::2], strict=True)
    )


def _paragraphs(body: str) -> tuple[tuple[MessagePart, ...], ...]:
    """Split a text into paragraphs, and these at code."""
    found = []
    for block in re.split(r"\n\s*\n", body.strip()):
        text = _LINK.sub(r"\1", " ".join(block.split()))
        pieces = text.split("`")
        found.append(
            tuple(
                MessagePart(text=piece, is_code=n % 2 == 1)
                for n, piece in enumerate(pieces)
                if piece
            )
        )
    return tuple(found)
