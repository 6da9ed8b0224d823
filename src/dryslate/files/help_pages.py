"""Finds the catalogue of messages: in the wheel beside the data, else in the checkout's docs."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import dryslate
from dryslate.base.errors import MissingPartError


def read_messages(language: str = "en") -> str:
    """
    Return the catalogue of messages as Markdown.

    Parameters
    ----------
    language : str
        English where there is none in this one.

    Returns
    -------
    str

    Raises
    ------
    MissingPartError
        ``help-missing``.
    """
    names = ("messages.md",) if language == "en" else (f"messages.{language}.md", "messages.md")
    for name in names:
        inside = files("dryslate") / "data" / "help" / name
        if inside.is_file():
            return inside.read_text("utf-8")
        beside = Path(dryslate.__file__).resolve().parents[2] / "docs" / name
        if beside.is_file():
            return beside.read_text("utf-8")
    raise MissingPartError(
        "help-missing",
        "The catalogue of messages did not come with this build.",
        "Install the released wheel.",
    )
