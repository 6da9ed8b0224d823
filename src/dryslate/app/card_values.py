"""How a card is characterised, and what is found: the records between the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryslate.base.problems import Problem
from dryslate.core.card.definition import Medium, Status
from dryslate.core.colour.characterise import PatchValue

DESIGN_VALUES = "nominal design values"
"""Marks a file of values that nobody measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CharacteriseOptions:
    """
    What to characterise, from what; exactly one of the three ways is given.

    Parameters
    ----------
    card : str
        The card to characterise.
    readings : Path or None
        Way one: a CGATS.17 or CSV file.
    illuminant : str
        What the readings hold for, where the file does not say: ``"D50"`` or ``"D65"``.
    medium : {"air", "water"}
        What the readings were taken in.
    known : str
        Way two: the target of known values that lies beside the card.
    photos : sequence of Path
        Way two: photos of both in daylight.
    known_corners_px : sequence of tuple
        The known target's corners in the photo, where it cannot be found (one photo only).
    dry, filled : Path or None
        Way three: the tray dry and filled.
    ptfe_px : sequence of tuple
        The middle of the PTFE in the dry and in the filled photo.
    ptfe_u_frac : float
        Relative doubt of its reflectance in water against that in air.
    serial, name : str
        Serial number of this very card; name of the new definition (the card's own if empty).
    line_mm : tuple of float or None
        The lines of 100 mm as measured on the print, across and down.
    out : Path or None
    """

    card: str = "field"
    readings: Path | None = None
    illuminant: str = ""
    medium: str = "air"
    known: str = ""
    photos: Sequence[Path] = ()
    known_corners_px: Sequence[tuple[float, float]] = ()
    dry: Path | None = None
    filled: Path | None = None
    ptfe_px: Sequence[tuple[float, float]] = ()
    ptfe_u_frac: float = 0.02
    serial: str = ""
    name: str = ""
    line_mm: tuple[float, float] | None = None
    out: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """What was found: values, what they hold in, where from, and what was wrong on the way."""

    patches: tuple[PatchValue, ...]
    status: Status
    medium: Medium
    source: str
    problems: tuple[Problem, ...]
