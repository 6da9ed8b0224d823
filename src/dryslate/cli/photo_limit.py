"""How large a photo may be that a command reads, the same option for every one of them."""

from __future__ import annotations

from typing import Annotated

import typer

LARGEST_MP = 100.0
"""Megapixels; a few bytes can claim a picture that fills the memory, so there is a limit."""

LargestMp = Annotated[
    float,
    typer.Option(
        "--largest-mp",
        min=0.01,
        max=4000.0,
        metavar="MP",
        help="Largest photo that is read, in megapixels; larger ones take more memory.",
    ),
]
