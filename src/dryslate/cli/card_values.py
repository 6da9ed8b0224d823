"""The card commands about values: characterise, from-photo, compare."""

from __future__ import annotations

import typer


def register(card_app: typer.Typer) -> None:
    """Add the commands."""
