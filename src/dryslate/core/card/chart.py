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
MIN_SEEN = 12
PITCH_PX = 48
MIN_RIM_STEP = 8.0
MIN_DOUBT_PX = 0.3
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
        Resting on at least 12 patch centres; None where the finder sees no chart, the centres do
        not lie on one plane, or the greys are not in order.

    Raises
    ------
    InputError
        ``card-not-target24`` if the card has other patches.

    Notes
    -----
    OpenCV's finder works on a copy of 1,500 pixels and is rough; each patch's centroid is then
    taken on the flattened photo, and a plane fitted that single bad centroids do not lead. The
    doubt is the scatter of the centroids about it, at least 0.3 pixel. Sizes of this
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
    pitch_mm = float(mm[1, 0] - mm[0, 0])
    weights = np.ones(N_PATCHES)
    spread = 0.0
    try:
        h = fit_homography(mm, centres)
        for _ in range(3):
            seen, area_frac = _find_centres(img, h, mm, pitch_mm)
            ok = (area_frac > 0.3) & (area_frac < 1.0)
            if ok.sum() < MIN_SEEN:
                return None
            h, weights, spread = _fit_robust(mm[ok], seen[ok])
            centres, points = seen[ok], mm[ok]
    except InputError:
        return None
    kept = weights > 0.1
    step = float(np.hypot(*(apply_homography(h, mm[:2])[1] - apply_homography(h, mm[:2])[0])))
    if kept.sum() < MIN_SEEN or spread > WORST_SPREAD * step or np.linalg.det(h) <= 0:
        return None
    found = FoundCard(
        card=card,
        how="chart",
        corners_px=apply_homography(h, outer_corners_mm(card)),
        points_mm=points[kept],
        points_px=centres[kept],
        points_u_px=np.full(int(kept.sum()), max(spread, MIN_DOUBT_PX, 0.15 * scale)),
        card_to_px=h,
    )
    order = score_lightness_order(split_channel(img, n_levels=1), found)
    return found if order is not None and order >= MIN_ORDER else None


def _fit_robust(mm: FloatArray, px: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Fit a homography that a few wrong centres do not lead: it, the weights, the scatter."""
    weights = np.ones(len(mm))
    h = fit_homography(mm, px)
    spread = 0.0
    for _ in range(8):
        away = np.hypot(*(apply_homography(h, mm) - px).T)
        spread = float(np.median(away)) / 1.1774 + 1e-3  # median of a Rayleigh variate
        weights = 1.0 / (1.0 + (away / (3.0 * spread)) ** 2)
        h = fit_homography(mm, px, weights)
    return h, weights, spread


def _find_centres(
    img: NDArray[np.uint8], h: FloatArray, mm: FloatArray, pitch_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Centroid of each patch in the photo, and the share of its pitch square that it fills."""
    flat_to_mm = np.array(
        [
            [pitch_mm / PITCH_PX, 0.0, mm[0, 0] - pitch_mm],
            [0.0, pitch_mm / PITCH_PX, mm[0, 1] - pitch_mm],
            [0.0, 0.0, 1.0],
        ]
    )
    size = (PITCH_PX * 7 + 1, PITCH_PX * 5 + 1)
    flat = cv2.warpPerspective(
        np.ascontiguousarray(img),
        h @ flat_to_mm,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    ).astype(np.float32)
    flat = np.asarray(cv2.GaussianBlur(flat, (0, 0), 1.2), dtype=np.float32)
    half = PITCH_PX // 2
    ys, xs = np.mgrid[-half : half + 1, -half : half + 1]
    centres, shares = np.empty((N_PATCHES, 2)), np.zeros(N_PATCHES)
    for k in range(N_PATCHES):
        row, col = divmod(k, 6)
        x, y = PITCH_PX * (col + 1), PITCH_PX * (row + 1)
        window = flat[y - half : y + half + 1, x - half : x + half + 1]
        colour = np.median(window[half - 4 : half + 5, half - 4 : half + 5].reshape(-1, 3), axis=0)
        away = np.abs(window - colour).max(axis=2)
        rim = np.concatenate([away[0], away[-1], away[:, 0], away[:, -1]])
        centres[k] = (x, y)
        if np.median(rim) < MIN_RIM_STEP:
            continue
        like = (away < 0.5 * np.median(rim)).astype(np.uint8)
        _, labels = cv2.connectedComponents(like, connectivity=4)
        mine = labels == labels[half, half]
        if not like[half, half] or mine[0].any() or mine[-1].any() or mine[:, [0, -1]].any():
            continue
        centres[k] = (x + xs[mine].mean(), y + ys[mine].mean())
        shares[k] = mine.mean()
    return apply_homography(h @ flat_to_mm, centres), shares
