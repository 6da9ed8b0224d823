"""Proof that a card is where it seems to be: its greys must be as light and dark as defined."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.channel import Channel
from dryslate.core.card.definition import Patch
from dryslate.core.card.found import FloatArray, FoundCard

MIN_STEP_L = 12.0
MIN_PAIRS = 4


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
