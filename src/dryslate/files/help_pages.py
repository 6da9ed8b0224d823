"""Finds the catalogue of messages: in the wheel beside the data, else in the checkout's docs."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import dryslate
from dryslate.base.errors import MissingPartError


def read_messages() -> str:
    """
    Return the catalogue of messages as Markdown.

    Raises
    ------
    MissingPartError
        ``help-missing``.
    """
    inside = files("dryslate") / "data" / "help" / "messages.md"
    if inside.is_file():
        return inside.read_text("utf-8")
    beside = Path(dryslate.__file__).resolve().parents[2] / "docs" / "messages.md"
    if beside.is_file():
        return beside.read_text("utf-8")
    raise MissingPartError(
        "help-missing",
        "The catalogue of messages did not come with this build.",
        "Install the released wheel.",
    )
