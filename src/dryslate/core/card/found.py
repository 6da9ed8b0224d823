"""What a search for cards returns: cards, the markers they rest on, and samples of patches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem
from dryslate.base.quality import Flag
from dryslate.core.card.definition import CardDefinition, Role

How = Literal["markers", "chart", "picture", "corners"]
FloatArray = NDArray[np.float64]


def frozen(values: object) -> FloatArray:
    """Return a read-only float64 copy."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkerSeen:
    """
    A marker read in the photo.

    Parameters
    ----------
    dictionary, marker_id
        As in `Marker`.
    corners_px : ndarray of float, shape (4, 2)
        The marker's own top left, top right, bottom right, bottom left, in pixels of the
        upright photo (x right, y down, pixel centres on whole numbers).
    corner_u_px : float
        One standard uncertainty of each coordinate of a corner.
    margin : float
        Decision margin of the reader; larger is surer.
    blur_px : float
        Standard deviation of the blur about it; 0 where it was not measured.
    """

    dictionary: str
    marker_id: int
    corners_px: FloatArray
    corner_u_px: float
    margin: float
    blur_px: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "corners_px", frozen(self.corners_px))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCard:
    """
    A card found in a photo.

    Parameters
    ----------
    card : CardDefinition
    how : {"markers", "chart", "picture", "corners"}
        What it was found by.
    corners_px : ndarray of float, shape (4, 2)
        The card's own outer corners, clockwise from its top left, in pixels of the upright photo.
    points_mm, points_px : ndarray of float, shape (n, 2)
        The pairs of points that the plane rests on (marker corners as a rule).
    points_u_px : ndarray of float, shape (n,)
        One standard uncertainty of each coordinate of `points_px`.
    card_to_px : ndarray of float, shape (3, 3)
        Homography from card millimetres to pixels, fitted to those points.
    markers : tuple of MarkerSeen
        The markers of this card that were read.
    flags : tuple of Flag
        ``few_markers`` when it rests on a single marker or on corners given by hand.
    """

    card: CardDefinition
    how: How
    corners_px: FloatArray
    points_mm: FloatArray
    points_px: FloatArray
    points_u_px: FloatArray
    card_to_px: FloatArray
    markers: tuple[MarkerSeen, ...] = ()
    flags: tuple[Flag, ...] = ()

    def __post_init__(self) -> None:
        for name in ("corners_px", "points_mm", "points_px", "points_u_px", "card_to_px"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSearch:
    """
    The outcome of a search in one photo.

    Parameters
    ----------
    cards : tuple of FoundCard
        Largest in the photo first; empty when there is none.
    other_markers : tuple of MarkerSeen
        Markers that belong to no known card: named, never used.
    problems : tuple of Problem
    """

    cards: tuple[FoundCard, ...]
    other_markers: tuple[MarkerSeen, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchSample:
    """
    Pixels of one patch (or of one piece of the card's ground), reduced.

    Parameters
    ----------
    patch_id : str
        ``"ground:1"`` and so on for pieces of ground.
    role : {"neutral", "colour", "ground"}
    centre_px, centre_mm : ndarray of float, shape (2,)
    mean_linear : ndarray of float, shape (3,)
        Robust mean in linear light of the file's own RGB (0 to 1), before any tone curve fit.
    cov_linear : ndarray of float, shape (3, 3)
        Covariance of a single pixel about it.
    n_px : int
        Pixels used.
    clipped_frac : float
        Share of the cell's pixels with a channel at an end of its range.
    dropped : str
        Why the patch is not used, in plain words; empty when it is used.
    """

    patch_id: str
    role: Role | Literal["ground"]
    centre_px: FloatArray
    centre_mm: FloatArray
    mean_linear: FloatArray
    cov_linear: FloatArray
    n_px: int
    clipped_frac: float
    dropped: str = ""

    def __post_init__(self) -> None:
        for name in ("centre_px", "centre_mm", "mean_linear", "cov_linear"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSamples:
    """All samples of one found card."""

    patches: tuple[PatchSample, ...]
    ground: tuple[PatchSample, ...]

    @property
    def used(self) -> tuple[PatchSample, ...]:
        """The patches that were not dropped."""
        return tuple(p for p in self.patches if not p.dropped)

    @property
    def dropped(self) -> dict[str, str]:
        """Reason by patch id for each dropped patch."""
        return {p.patch_id: p.dropped for p in self.patches if p.dropped}
