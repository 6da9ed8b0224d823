"""A card from its four outer corners, given by hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.arrays.homography import fit_homography
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import FloatArray, FoundCard

CORNER_U_PX = 2.0
"""One standard uncertainty of a corner that a person points at."""

_ORDER = (
    "Give them clockwise, from the card's own top left: top left, top right, bottom right, "
    "bottom left."
)


def outer_corners_mm(card: CardDefinition) -> FloatArray:
    """
    Return the card's outer corners, clockwise from its top left.

    Parameters
    ----------
    card : CardDefinition

    Returns
    -------
    ndarray of float, shape (4, 2)
    """
    w, h = card.width_mm, card.height_mm
    return np.array([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)])


def _turns(corners: FloatArray) -> FloatArray:
    """Cross product at each corner; all above 0 for clockwise (y down) and convex."""
    a = np.roll(corners, -1, axis=0) - corners
    b = np.roll(a, -1, axis=0)
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], dtype=np.float64)


def require_corners(corners_px: ArrayLike, size_px: tuple[int, int]) -> FloatArray:
    """
    Require four corners that can be those of a card in a photo.

    Parameters
    ----------
    corners_px : array_like of float, shape (4, 2)
    size_px : tuple of int
        Width and height of the photo.

    Returns
    -------
    ndarray of float, shape (4, 2)

    Raises
    ------
    InputError
        ``corners-not-four``, ``corners-outside``, ``corners-on-a-line``, ``corners-folded`` or
        ``corners-wrong-order``.

    Examples
    --------
    >>> require_corners([(10, 10), (90, 12), (88, 60), (9, 58)], (100, 80)).shape
    (4, 2)
    """
    corners = np.asarray(corners_px, dtype=np.float64)
    if corners.shape != (4, 2) or not np.all(np.isfinite(corners)):
        raise InputError(
            "corners-not-four", f"Expected four corners x,y; found shape {corners.shape}.", _ORDER
        )
    w, h = size_px
    outside = ~np.all((corners >= -0.5) & (corners <= (w - 0.5, h - 0.5)), axis=1)
    if outside.any():
        listed = ", ".join(f"{x:g},{y:g}" for x, y in corners[outside])
        raise InputError(
            "corners-outside",
            f"Corners outside the photo of {w} by {h} px: {listed}.",
            "Points count from the top left of the upright photo.",
        )
    turns = _turns(corners)
    longest = float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).max())
    if np.any(np.abs(turns) < 1e-3 * longest**2 + 1e-9):
        raise InputError(
            "corners-on-a-line",
            "Three of the four corners lie on one line, or two are the same point.",
            _ORDER,
        )
    if np.all(turns < 0):
        raise InputError("corners-wrong-order", "The four corners run anticlockwise.", _ORDER)
    if not np.all(turns > 0):
        raise InputError(
            "corners-folded",
            "The outline through the four corners crosses itself or has a dent.",
            _ORDER,
        )
    return corners


def find_from_corners(
    img: NDArray[np.generic],
    card: CardDefinition,
    corners_px: ArrayLike,
    *,
    corner_u_px: float = CORNER_U_PX,
) -> FoundCard:
    """
    Place a card by its four outer corners.

    Parameters
    ----------
    img : ndarray, shape (h, w, 3)
        Upright photo; only its size is used.
    card : CardDefinition
    corners_px : array_like of float, shape (4, 2)
        Clockwise from the card's own top left.
    corner_u_px : float
        One standard uncertainty of each coordinate.

    Returns
    -------
    FoundCard
        Flagged ``few_markers``.

    Raises
    ------
    InputError
        ``corners-not-four``, ``corners-outside``, ``corners-on-a-line``, ``corners-folded`` or
        ``corners-wrong-order``.

    Examples
    --------
    >>> card = CardDefinition(name="c", title="c", width_mm=100, height_mm=60,
    ...                       ground_lab_d65=(56, 0, 0), markers=(), patches=())
    >>> photo = np.zeros((480, 640, 3), np.uint8)
    >>> found = find_from_corners(photo, card, [(100, 100), (400, 100), (400, 280), (100, 280)])
    >>> found.how
    'corners'
    """
    corners = require_corners(corners_px, (img.shape[1], img.shape[0]))
    mm = outer_corners_mm(card)
    return FoundCard(
        card=card,
        how="corners",
        corners_px=corners,
        points_mm=mm,
        points_px=corners,
        points_u_px=np.full(4, corner_u_px),
        card_to_px=fit_homography(mm, corners),
        flags=(Flag.FEW_MARKERS,),
    )
