"""A card without markers, found by its picture, with its patches as proof."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.assembly import polish_homography
from dryslate.core.card.channel import Channel, find_strongest, split_channel
from dryslate.core.card.corners import outer_corners_mm
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import FloatArray, FoundCard
from dryslate.core.card.proof import score_lightness_order

SEARCH_SIDE_PX = 1600
PICTURE_SIDE_PX = 700
N_FEATURES = 4000
RATIO = 0.8
RANSAC_PX = 4.0
MIN_INLIERS = 14
MIN_SPREAD = 0.12
"""The matched points must span at least this share of the card's area."""
MIN_ORDER = 0.85
MIN_LIKENESS = 0.55
MIN_DOUBT_PX = 0.7
MOST_POINTS = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Matches:
    """Pairs of points that agree on one homography."""

    mm: FloatArray
    px: FloatArray
    h: FloatArray
    spread_px: float


def _resized(grey: NDArray[np.uint8], longest: int) -> tuple[NDArray[np.uint8], float]:
    """Shrink to a longest side; and pixels of the original a pixel."""
    shrink = max(1.0, max(grey.shape) / longest)
    size = (round(grey.shape[1] / shrink), round(grey.shape[0] / shrink))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if shrink > 1 else grey
    return np.asarray(small, dtype=np.uint8), grey.shape[1] / size[0]


def _features(grey: NDArray[np.uint8]) -> tuple[FloatArray, NDArray[np.float32]]:
    """Places and descriptors of features, after local contrast is evened out."""
    even = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(grey)
    finder = cv2.SIFT.create(nfeatures=N_FEATURES, contrastThreshold=0.02)
    points, descriptors = finder.detectAndCompute(even, None)
    if descriptors is None or not points:
        return np.zeros((0, 2)), np.zeros((0, 128), np.float32)
    return np.array([p.pt for p in points], dtype=np.float64), descriptors.astype(np.float32)


def _match(
    card: CardDefinition,
    picture: tuple[FloatArray, NDArray[np.float32]],
    photo: tuple[FloatArray, NDArray[np.float32]],
) -> _Matches | None:
    """Match features and keep those that agree on one plane."""
    if len(picture[0]) < MIN_INLIERS or len(photo[0]) < MIN_INLIERS:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(picture[1], photo[1], k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < RATIO * p[1].distance]
    if len(good) < MIN_INLIERS:
        return None
    mm = picture[0][[m.queryIdx for m in good]]
    px = photo[0][[m.trainIdx for m in good]]
    cv2.setRNGSeed(0)
    estimate: Any = cv2.findHomography(mm, px, cv2.USAC_MAGSAC, RANSAC_PX, None, 5000, 0.999)
    h, keep = estimate
    if h is None or keep is None:
        return None
    inlier = keep.ravel().astype(bool)
    if inlier.sum() < MIN_INLIERS:
        return None
    mm, px = mm[inlier], px[inlier]
    hull = cv2.convexHull(mm.astype(np.float32))
    if cv2.contourArea(hull) < MIN_SPREAD * card.width_mm * card.height_mm:
        return None
    best = polish_homography(np.asarray(h, dtype=np.float64), mm, px, np.ones(len(mm)))
    away = np.hypot(*(apply_homography(best, mm) - px).T)
    if np.linalg.det(best) <= 0:
        return None
    spread = float(np.sqrt((away**2).sum() / max(2 * len(mm) - 8, 1)))
    return _Matches(mm=mm, px=px, h=best, spread_px=spread)


def _likeness(channel: Channel, found: FoundCard) -> float:
    """Correlation of the patches' order of lightness with the definition's, greys and colours."""
    defined, seen = [], []
    for patch in found.card.patches:
        ticks = np.array([0.35, 0.5, 0.65])
        xs, ys = np.meshgrid(
            patch.x_mm + ticks * patch.width_mm, patch.y_mm + ticks * patch.height_mm
        )
        xy = apply_homography(found.card_to_px, np.column_stack([xs.ravel(), ys.ravel()]))
        w, h = channel.size_px
        if not np.all((xy > -0.5) & (xy < (w - 0.5, h - 0.5))):
            continue
        cols, rows = np.round(xy).astype(np.intp).T
        seen.append(float(np.median(channel.levels[0][rows, cols])))
        defined.append(patch.lab_d65[0])
    if len(seen) < 4 or np.ptp(seen) == 0 or np.ptp(defined) == 0:
        return 0.0
    return float(np.corrcoef(seen, defined)[0, 1])


def find_by_picture(
    img: NDArray[np.uint8], card: CardDefinition, picture_srgb: NDArray[np.uint8]
) -> FoundCard | None:
    """
    Find a card without markers by its picture.

    Parameters
    ----------
    img : ndarray of uint8, shape (h, w, 3)
        Upright photo.
    card : CardDefinition
    picture_srgb : ndarray of uint8, shape (h, w, 3)
        The card seen straight on, edge to edge.

    Returns
    -------
    FoundCard or None
        Resting on the matched points; None where too few match, or where the greys and patches
        found there are not as light and dark as defined.

    Notes
    -----
    Features (SIFT [1]_) of the picture and of a copy of the photo of 1,600 pixels are matched and
    a homography is fitted by sampling consensus with a fixed seed. Points carry the scatter about
    that plane as their doubt, at least 0.7 pixel of the copy, so that corners and scale are
    stated several times wider than with markers. Features follow the printed picture: wear and
    cover beyond half of the card are not survived.

    References
    ----------
    .. [1] Lowe 2004, Int. J. Comput. Vis. 60:91-110.
    """
    which = find_strongest(img)
    channel = split_channel(img, index=which, n_levels=1)
    small, scale = _resized(np.ascontiguousarray(channel.levels[0]), SEARCH_SIDE_PX)
    flat, flat_scale = _resized(np.ascontiguousarray(picture_srgb[..., which]), PICTURE_SIDE_PX)
    points, descriptors = _features(flat)
    mm_per_px = np.array(
        [card.width_mm / picture_srgb.shape[1], card.height_mm / picture_srgb.shape[0]]
    )
    on_card = (points + 0.5) * flat_scale * mm_per_px
    matches = _match(card, (on_card, descriptors), _features(small))
    if matches is None:
        return None
    px = (matches.px + 0.5) * scale - 0.5
    lift = np.array([[scale, 0.0, 0.5 * scale - 0.5], [0.0, scale, 0.5 * scale - 0.5], [0, 0, 1]])
    h = lift @ matches.h
    chosen = np.linspace(0, len(px) - 1, min(MOST_POINTS, len(px))).astype(int)
    doubt = max(matches.spread_px, MIN_DOUBT_PX) * scale
    found = FoundCard(
        card=card,
        how="picture",
        corners_px=apply_homography(h, outer_corners_mm(card)),
        points_mm=matches.mm[chosen],
        points_px=px[chosen],
        points_u_px=np.full(len(chosen), doubt),
        card_to_px=h / h[2, 2],
    )
    order = score_lightness_order(channel, found)
    if order is None or order < MIN_ORDER or _likeness(channel, found) < MIN_LIKENESS:
        return None
    return found
