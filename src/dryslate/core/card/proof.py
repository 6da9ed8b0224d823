"""Proof that a card is where it seems to be: its greys must be as light and dark as defined."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.channel import Channel, split_channel
from dryslate.core.card.definition import Patch
from dryslate.core.card.found import FloatArray, FoundCard

MIN_STEP_L = 12.0
MIN_PAIRS = 4
NOT_SO = 0.75
"""A card whose greys stand in the right order in a smaller share of pairs may lie otherwise."""
SURELY_SO = 0.95


def _median_in(channel: Channel, card_to_px: FloatArray, patch: Patch) -> float | None:
    """Median of linear light over the middle of a patch; None outside the frame."""
    ticks = np.linspace(0.3, 0.7, 5)
    xs, ys = np.meshgrid(patch.x_mm + ticks * patch.width_mm, patch.y_mm + ticks * patch.height_mm)
    xy = np.round(apply_homography(card_to_px, np.column_stack([xs.ravel(), ys.ravel()])))
    w, h = channel.size_px
    if not np.all((xy >= 0) & (xy <= (w - 1, h - 1))):
        return None
    cols, rows = xy.astype(np.intp).T
    return float(np.median(channel.lut[channel.levels[0][rows, cols]]))


def score_lightness_order(channel: Channel, found: FoundCard) -> float | None:
    """
    Score how well the greys' order of lightness in the photo agrees with the card's.

    Parameters
    ----------
    channel : Channel
    found : FoundCard

    Returns
    -------
    float or None
        Share of pairs of greys, well apart in lightness, that stand in the right order; None
        when fewer than four pairs can be seen. Two greys at the same end of the range are no pair.

    Notes
    -----
    Order survives any cast, veil and tone curve. A half is what chance gives.
    """
    values = [(p.lab_d65[0], _median_in(channel, found.card_to_px, p)) for p in found.card.neutrals]
    seen = [(lightness, v) for lightness, v in values if v is not None]
    low, high = float(channel.lut.min()), float(channel.lut.max())
    pairs = [
        a[1] - b[1]
        for a, b in combinations(seen, 2)
        if a[0] - b[0] >= MIN_STEP_L  # neutrals come lightest first
        and not (a[1] == b[1] and a[1] in (low, high))  # both clipped: nothing said either way
    ]
    if len(pairs) < MIN_PAIRS:
        return None
    return float(np.mean([p > 0 for p in pairs]))


def require_unturned(img_coded: NDArray[np.uint8], found: FoundCard) -> None:
    """
    Refuse corners given by hand that begin at another one than the card's own top left.

    Parameters
    ----------
    img_coded : ndarray of uint8, shape (h, w, 3)
        Upright photo.
    found : FoundCard
        Placed by its four corners.

    Raises
    ------
    InputError
        ``corners-turned`` where the greys are out of order as the corners were given, and in order
        when another corner is the first: the long side would be the short one.
    """
    channel = split_channel(img_coded, n_levels=1)
    as_given = score_lightness_order(channel, found)
    if as_given is None or as_given >= NOT_SO:
        return
    for first in range(1, 4):
        corners = np.roll(found.corners_px, -first, axis=0)
        turned = replace(
            found,
            corners_px=corners,
            points_px=corners,
            card_to_px=fit_homography(found.points_mm, corners),
        )
        score = score_lightness_order(channel, turned)
        if score is not None and score >= SURELY_SO:
            raise InputError(
                "corners-turned",
                "The four corners begin at the wrong one: the card's greys would be out of order.",
                "Give them clockwise from the card's own top left, as its picture shows it: "
                "dryslate card picture.",
            )
