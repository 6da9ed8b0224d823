"""The classic target of 24 patches, found by OpenCV's chart finder."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.channel import split_channel
from dryslate.core.card.corners import outer_corners_mm
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import FloatArray, FoundCard
from dryslate.core.card.proof import score_lightness_order

N_PATCHES = 24
SEARCH_SIDE_PX = 1500
MIN_ORDER = 0.9
MIN_DOUBT_PX = 0.8
WORST_SPREAD = 0.12
"""Centres may scatter about their plane by so much of a patch."""


def _is_target24(card: CardDefinition) -> bool:
    """Tell whether a card has the 4 by 6 patches that the chart finder knows."""
    names = {f"r{i}c{j}" for i in range(1, 5) for j in range(1, 7)}
    return {p.patch_id for p in card.patches} == names


def _as_search_copy(img: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Smaller copy with blue first, as the finder wants it; and photo pixels a copy pixel."""
    longest = max(img.shape[:2])
    shrink = max(1.0, longest / SEARCH_SIDE_PX)
    size = (round(img.shape[1] / shrink), round(img.shape[0] / shrink))
    reversed_rgb = np.ascontiguousarray(img[..., ::-1])
    copy = (
        cv2.resize(reversed_rgb, size, interpolation=cv2.INTER_AREA)
        if shrink > 1
        else (reversed_rgb)
    )
    return np.asarray(copy, dtype=np.uint8), img.shape[1] / size[0]


def find_target24(img: NDArray[np.uint8], card: CardDefinition) -> FoundCard | None:
    """
    Find the classic 24-patch target.

    Parameters
    ----------
    img : ndarray of uint8, shape (h, w, 3)
        Upright.
    card : CardDefinition
        With patches r1c1 to r4c6.

    Returns
    -------
    FoundCard or None
        Resting on the 24 patch centres; None where the finder sees no chart, the centres do not
        lie on one plane, or the greys are not in order.

    Raises
    ------
    InputError
        ``card-not-target24`` if the card has other patches.

    Notes
    -----
    The finder works on a copy of 1,500 pixels and is blind to lens distortion; its doubt is the
    scatter of the centres about their plane, at least 0.8 pixel of that copy. Sizes of this
    target are nominal: see `CardDefinition.print_scale_u_frac`.
    """
    if not _is_target24(card):
        raise InputError(
            "card-not-target24",
            f"card {card.name}: the chart finder knows patches r1c1 to r4c6 only.",
            "Give the card's four corners with --corners.",
        )
    copy, scale = _as_search_copy(img)
    cv2.setRNGSeed(0)
    finder = cv2.mcc.CCheckerDetector.create()
    finder.setColorChartType(cv2.mcc.MCC24)
    if not finder.process(copy, 1):
        return None
    quads = np.asarray(finder.getBestColorChecker().getColorCharts(), dtype=np.float64)
    if quads.shape != (4 * N_PATCHES, 2):
        return None
    centres = (quads.reshape(N_PATCHES, 4, 2).mean(axis=1) + 0.5) * scale - 0.5
    return _proved(img, card, centres, scale)


def _proved(
    img: NDArray[np.uint8], card: CardDefinition, centres: FloatArray, scale: float
) -> FoundCard | None:
    """Make the record, if the centres lie on a plane and the greys are in order."""
    by_name = {p.patch_id: p for p in card.patches}
    patches = [by_name[f"r{k // 6 + 1}c{k % 6 + 1}"] for k in range(N_PATCHES)]
    mm = np.array([(p.x_mm + p.width_mm / 2, p.y_mm + p.height_mm / 2) for p in patches])
    try:
        h = fit_homography(mm, centres)
    except InputError:
        return None
    away = np.hypot(*(apply_homography(h, mm) - centres).T)
    step = float(np.hypot(*(centres[1:6] - centres[:5]).T).mean())
    spread = float(np.sqrt((away**2).sum() / (2 * N_PATCHES - 8)))
    if spread > WORST_SPREAD * step or np.linalg.det(h) <= 0:
        return None
    doubt = max(spread, MIN_DOUBT_PX * scale)
    found = FoundCard(
        card=card,
        how="chart",
        corners_px=apply_homography(h, outer_corners_mm(card)),
        points_mm=mm,
        points_px=centres,
        points_u_px=np.full(N_PATCHES, doubt),
        card_to_px=h,
    )
    order = score_lightness_order(split_channel(img, n_levels=1), found)
    return found if order is not None and order >= MIN_ORDER else None
