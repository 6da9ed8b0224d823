"""What one correction is told, and what it answers: records that can be sent to another process."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.app.ports import PhotoReader
from dryslate.app.project_records import PatchResidual
from dryslate.app.records import PhotoMetadata
from dryslate.base.problems import Problem
from dryslate.core.card.corners import CORNER_U_PX
from dryslate.core.card.definition import CardDefinition
from dryslate.core.colour.outcome import ColourFit, ColourSettings
from dryslate.core.scale.lens import Lens, Port

Outcome = Literal[
    "corrected", "refused", "no_card", "unreadable", "borrowed", "not_written", "not_reached"
]
"""The last two are of the run, not of the photo, and are never stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectSettings:
    """
    What the surveyor may say about a run of corrections.

    Parameters
    ----------
    card_names : tuple of str
        Cards to look for; empty for every known card that has markers.
    corners_px : tuple of points or None
        The card's four corners given by hand, clockwise from its own top left.
    corner_u_px : float
        One standard uncertainty of each coordinate of such a corner.
    nominal_as_measured : bool
        Trust the colours of a card whose values are only nominal.
    port : {"none", "flat", "dome", "unknown"}
        What stood between lens and water; ``none`` for photos taken in air.
    is_tiff : bool
        Write 16-bit TIFF instead of JPEG.
    has_preview : bool
        Write a small copy of the corrected photo too.
    """

    card_names: tuple[str, ...] = ()
    corners_px: tuple[tuple[float, float], ...] | None = None
    corner_u_px: float = CORNER_U_PX
    nominal_as_measured: bool = False
    port: Port = "unknown"
    is_tiff: bool = False
    has_preview: bool = True

    @property
    def under_water(self) -> bool:
        """Whether the photos were taken under water."""
        return self.port != "none"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loan:
    """
    A correction that comes from elsewhere: another photo's card, or one picked point.

    Parameters
    ----------
    fit : ColourFit
        Already adapted to the photo that borrows.
    from_sha256 : str or None
        The photo whose card was used; None for a point picked in the photo itself.
    about : Mapping
        Seconds, metres and exposure between the two, and the widening of the doubt.
    problems : tuple of Problem
        What is to be said with it.
    """

    fit: ColourFit
    from_sha256: str | None
    about: Mapping[str, Any] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrectJob:
    """
    One photo to correct: pure work, no store behind it.

    Parameters
    ----------
    path : Path
        The file to read.
    name : str
        What the photo is called in the answer.
    reader : PhotoReader
        Picklable and without state.
    settings : CorrectSettings
    cards : tuple of CardDefinition
        Cards to look for by their markers.
    plain_cards : tuple of (CardDefinition, picture)
        Cards without markers, with their picture (None for the chart of 24 patches).
    sha256 : str
        Hash of the file where it is known already; empty to have it computed.
    corrected_path, preview_path : Path or None
        Where to write; None to write nothing.
    lens : Lens or None
        A calibration; None for a prior from the file's own focal length.
    loan : Loan or None
        Take the colours from this.
    has_own_scale : bool
        With a loan: look for a card all the same, for the scale it gives.
    colour : ColourSettings
        What the fit is told, with the tables it rests on.
    is_kept : bool
        A project keeps the files: their hashes are computed.
    """

    path: Path
    name: str
    reader: PhotoReader
    settings: CorrectSettings
    cards: tuple[CardDefinition, ...] = ()
    plain_cards: tuple[tuple[CardDefinition, NDArray[np.uint8] | None], ...] = ()
    sha256: str = ""
    corrected_path: Path | None = None
    preview_path: Path | None = None
    lens: Lens | None = None
    loan: Loan | None = None
    has_own_scale: bool = False
    colour: ColourSettings = field(default_factory=ColourSettings)
    is_kept: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """
    One file that a correction wrote.

    Parameters
    ----------
    path : Path
    kind : {"corrected", "preview"}
    sha256 : str
        Empty unless a project keeps the file.
    size_bytes : int
    """

    path: Path
    kind: Literal["corrected", "preview"]
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrectAnswer:
    """
    What came of one photo.

    Parameters
    ----------
    outcome : Outcome
    result : Mapping
        The JSON document of the photo.
    geometry, colour : Mapping
        What the store keeps to rebuild plane and colour fit.
    residuals : tuple of PatchResidual
        Without a correction key, which only a project knows.
    metadata : PhotoMetadata or None
        None where the file could not be read.
    written : tuple of Written
        Files that were written.
    """

    outcome: Outcome
    result: Mapping[str, Any]
    geometry: Mapping[str, Any] = field(default_factory=dict)
    colour: Mapping[str, Any] = field(default_factory=dict)
    residuals: tuple[PatchResidual, ...] = ()
    metadata: PhotoMetadata | None = None
    written: tuple[Written, ...] = ()
