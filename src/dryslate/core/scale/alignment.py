"""Two photos of the same place: how one lies on the other, and how far that may be wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.arrays.homography import (
    apply_homography,
    fit_homography,
    homography_jacobian,
)

FloatArray = NDArray[np.float64]
Model = Literal["homography", "affine", "similarity"]

LONGEST_PX = 1600
"""Features are looked for in a copy whose longer side has at most so many pixels."""
N_FEATURES = 5000
RATIO = 0.8
"""A match is kept where the second best is at least this much farther (Lowe 2004, 7.1)."""
NEAR_PX = 3.0
"""A pair agrees with the model within so many pixels of the copy."""
FEWEST = {"homography": 20, "affine": 10}
"""Pairs that must agree before a model is trusted; with fewer a simpler one is tried."""
MIN_SHARE = 0.08
"""Of all matches, those that must agree."""
MAX_MISFIT_FRAC = 0.04
"""Largest misfit, as a share of the root of the outline's area; above it, refused: our choice."""
SURROUNDINGS = 1.5
"""How far around an outline pairs are looked for, in its own size, before the whole photo is."""
GROWN = 1.2
"""An outline may reach this much beyond what the pairs enclose, in its own size."""
N_FOLDS = 5
FEWEST_BY_HAND = 4
"""Pairs picked by hand that are needed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment:
    """
    How one photo lies on another.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)
        From pixels of the first photo to those of the second, both upright.
    model : {"homography", "affine", "similarity"}
    n_pairs : int
        Pairs of points that it rests on.
    n_matches : int
        Pairs that were tried; the same as `n_pairs` for points picked by hand.
    misfit_px : float
        Root mean square distance of pairs from where a model fitted without them puts them, in
        pixels of the second photo.
    """

    matrix: FloatArray
    model: Model
    n_pairs: int
    n_matches: int
    misfit_px: float

    def carry(self, points: ArrayLike) -> FloatArray:
        """Take points of the first photo to the second."""
        return apply_homography(self.matrix, points)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Features:
    """
    What one photo shows that can be found again: keep it where a photo is aligned more than once.

    Parameters
    ----------
    places : ndarray of float, shape (n, 2)
        In pixels of the photo.
    descriptors : ndarray of float32, shape (n, 128)
    scale : float
        How much the photo was made smaller to look for them.
    """

    places: FloatArray
    descriptors: NDArray[np.float32]
    scale: float


def align_photos(
    first: NDArray[Any],
    second: NDArray[Any],
    outline_px: ArrayLike,
    hidden: tuple[Sequence[ArrayLike], Sequence[ArrayLike]] = ((), ()),
) -> Alignment:
    """
    Find how a first photo lies on a second near an outline, by features that both show.

    Parameters
    ----------
    first, second : ndarray of uint8, shape (h, w, 3)
        Upright.
    outline_px : array_like of float, shape (n, 2)
        In the first photo.
    hidden : (sequence, sequence)
        Corners of what moved with the diver in each photo, such as the card: not looked at.

    Returns
    -------
    Alignment

    Raises
    ------
    InputError
        ``align-no-match`` where too few pairs agree, or they lie to one side of the outline;
        ``align-misfit`` where they agree too badly for an outline of that size.

    Notes
    -----
    SIFT features [1]_ on grey pictures evened out by CLAHE, matched one to one with the ratio
    test, and a homography found by MAGSAC++ [2]_ (an affine map where few pairs agree). First only
    what lies around the outline is used: a reef is no plane, and pairs near the colony tell best
    where its outline lies. The misfit is by leaving out one fifth of the agreeing pairs in turn, a
    sector around the outline each, so that ground that is no plane shows. It says nothing of
    relief: a colony that stands out from its surroundings, seen from another side, is off by more.
    A person confirms each outline.

    References
    ----------
    .. [1] Lowe 2004, Int. J. Computer Vision 60(2):91-110.
    .. [2] Barath, Noskova, Ivashechkin & Matas 2020, CVPR, MAGSAC++.
    """
    seen = find_features(first, hidden[0]), find_features(second, hidden[1])
    return align_features(*seen, outline_px)


def align_features(first: Features, second: Features, outline_px: ArrayLike) -> Alignment:
    """Align as `align_photos` does, by features that were found before."""
    outline = np.asarray(outline_px, dtype=np.float64).reshape(-1, 2)
    seen = first, second
    low, high = outline.min(axis=0), outline.max(axis=0)
    reach = SURROUNDINGS * float((high - low).max())
    refused: InputError | None = None
    for margin in (reach, np.inf):
        try:
            found = _align(seen, (low - margin, high + margin), outline.mean(axis=0))
            _require_around(found[1], outline)
            require_close(found[0], outline)
        except InputError as error:
            refused = refused or error
        else:
            return found[0]
    assert refused is not None  # both were tried
    raise refused


def align_by_points(points_first: ArrayLike, points_second: ArrayLike) -> Alignment:
    """
    Find how a first photo lies on a second from pairs of points picked by hand.

    Parameters
    ----------
    points_first, points_second : array_like of float, shape (n, 2)
        At least four pairs: a similarity of four, an affine map of five to seven, a homography of
        eight or more, so that pairs are left over which show the misfit.

    Returns
    -------
    Alignment

    Raises
    ------
    InputError
        ``align-too-few-points``, ``scale-points-on-a-line``.

    Examples
    --------
    >>> square = [(0, 0), (10, 0), (10, 10), (0, 10)]
    >>> found = align_by_points(square, [(5 + 2 * x, 2 * y) for x, y in square])
    >>> found.model, round(found.misfit_px, 6), found.carry([(5, 5)]).round(6).tolist()
    ('similarity', 0.0, [[15.0, 10.0]])
    """
    a = np.asarray(points_first, dtype=np.float64).reshape(-1, 2)
    b = np.asarray(points_second, dtype=np.float64).reshape(-1, 2)
    if len(a) != len(b) or len(a) < FEWEST_BY_HAND:
        raise InputError(
            "align-too-few-points",
            f"{min(len(a), len(b))} pairs of points are given; at least 4 are needed.",
            "Pick four or more points around the colony that both photos show: ends of cracks, "
            "edges of other colonies.",
        )
    model: Model = "homography" if len(a) >= 8 else "affine" if len(a) >= 5 else "similarity"
    matrix = fit_model(model, a, b)
    return Alignment(
        matrix=matrix,
        model=model,
        n_pairs=len(a),
        n_matches=len(a),
        misfit_px=_left_out(model, a, b, np.arange(len(a))),
    )


def require_close(found: Alignment, outline_px: ArrayLike) -> None:
    """
    Refuse an alignment that is too poor for an outline, or turns it over.

    Raises
    ------
    InputError
        ``align-misfit``.
    """
    outline = np.asarray(outline_px, dtype=np.float64).reshape(-1, 2)
    carried = found.carry(outline)
    before, after = _signed_area(outline), _signed_area(carried)
    middle = homography_jacobian(found.matrix, outline.mean(axis=0))
    is_sound = np.isfinite(carried).all() and before * after > 0 and np.linalg.det(middle) > 0
    most = MAX_MISFIT_FRAC * np.sqrt(abs(after)) if is_sound else 0.0
    if not is_sound or found.misfit_px > most:
        told = (
            f"points are off by {found.misfit_px:.1f} px (at most {most:.1f} px for an outline of "
            "this size)"
            if is_sound
            else "the outline would be turned over or torn"
        )
        raise InputError(
            "align-misfit",
            f"The two photos do not lie on each other well enough: {told}.",
            "Pick pairs of points by hand close around the colony, or draw the outline anew.",
        )


def _signed_area(xy: FloatArray) -> float:
    """Area of a polygon, with the sign of the way it runs."""
    nxt = np.roll(xy, -1, axis=0)
    return float(np.sum(xy[:, 0] * nxt[:, 1] - xy[:, 1] * nxt[:, 0])) / 2.0


def find_features(img: NDArray[Any], hidden: Sequence[ArrayLike] = ()) -> Features:
    """Find what a photo shows apart from what is hidden, as `align_photos` describes."""
    height, width = img.shape[:2]
    scale = min(1.0, LONGEST_PX / max(height, width))
    grey: NDArray[Any] = cv2.cvtColor(np.ascontiguousarray(img), cv2.COLOR_RGB2GRAY)
    mask: NDArray[Any] = np.full(grey.shape, 255, np.uint8)
    for corners in hidden:
        shape = np.rint(np.asarray(corners, dtype=np.float64)).astype(np.int32)
        cv2.fillPoly(mask, [shape], 0)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    if scale < 1.0:
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        mask = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    grey = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(grey)
    finder: Any = cv2.SIFT.create(nfeatures=N_FEATURES)
    points, descriptors = finder.detectAndCompute(grey, mask)
    if descriptors is None:
        nothing = np.zeros((0, 128), np.float32)
        return Features(places=np.zeros((0, 2)), descriptors=nothing, scale=scale)
    places = (np.array([p.pt for p in points], dtype=np.float64) + 0.5) / scale - 0.5
    root = np.sqrt(descriptors / np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-9))
    return Features(places=places, descriptors=root.astype(np.float32), scale=scale)


def _align(
    seen: tuple[Features, Features], box: tuple[FloatArray, FloatArray], middle: FloatArray
) -> tuple[Alignment, FloatArray]:
    """Align by the features of the first photo within a box; with the places of the pairs."""
    one, two = seen
    inside = ((one.places >= box[0]) & (one.places <= box[1])).all(axis=1)
    inner = one.places[inside], one.descriptors[inside]
    a, b = _matched(inner, (two.places, two.descriptors))
    near = NEAR_PX / two.scale
    models: tuple[Model, ...] = ("homography", "affine")
    for model in models:
        if len(a) < FEWEST[model]:
            continue
        kept = _agreeing(model, a, b, near)
        if kept.sum() < max(FEWEST[model], MIN_SHARE * len(a)):
            continue
        pairs = a[kept], b[kept]
        found = Alignment(
            matrix=fit_model(model, *pairs),
            model=model,
            n_pairs=int(kept.sum()),
            n_matches=len(a),
            misfit_px=_left_out(model, *pairs, _sectors(pairs[0], middle)),
        )
        return found, pairs[0]
    raise InputError(
        "align-no-match",
        f"The two photos show too little in common ({len(a)} likely pairs of points, too few of "
        "which agree).",
        "Pick pairs of points by hand, or draw the outline anew.",
    )


def _matched(
    first: tuple[FloatArray, NDArray[np.float32]], second: tuple[FloatArray, NDArray[np.float32]]
) -> tuple[FloatArray, FloatArray]:
    """Pairs that are each other's best, and clearly better than the second best."""
    if len(first[0]) < 2 or len(second[0]) < 2:
        return np.zeros((0, 2)), np.zeros((0, 2))
    alike = first[1] @ second[1].T  # of length one each: the nearest are the most alike
    rows = np.arange(len(alike))
    best = alike.argmax(axis=1)
    most = alike[rows, best]
    alike[rows, best] = -1.0
    away, next_away = (
        np.sqrt(np.maximum(2.0 - 2.0 * found, 0.0)) for found in (most, alike.max(axis=1))
    )
    alike[rows, best] = most
    clear = np.flatnonzero(away < RATIO * next_away)
    kept = clear[alike[:, best[clear]].argmax(axis=0) == clear]
    return first[0][kept], second[0][best[kept]]


def _agreeing(model: Model, a: FloatArray, b: FloatArray, near: float) -> NDArray[np.bool_]:
    """Which pairs agree on one model."""
    settings = cv2.UsacParams()
    settings.randomGeneratorState = 0
    settings.threshold = near
    settings.maxIterations = 10_000
    settings.confidence = 0.9999
    settings.score = cv2.SCORE_METHOD_MAGSAC
    settings.loMethod = cv2.LOCAL_OPTIM_SIGMA
    settings.loIterations = 10
    settings.loSampleSize = 20
    matrix: Any  # None where no model was found, which the stubs do not say
    if model == "homography":
        matrix, _ = cv2.findHomography(a, b, settings)
    else:
        small, _ = cv2.estimateAffine2D(a, b, settings)
        matrix = None if small is None else np.vstack([small, [0.0, 0.0, 1.0]])
    if matrix is None:
        return np.zeros(len(a), dtype=np.bool_)
    away = np.linalg.norm(apply_homography(matrix, a) - b, axis=1)
    return np.asarray(away <= near, dtype=np.bool_)


def fit_model(model: Model, a: FloatArray, b: FloatArray) -> FloatArray:
    """Fit a model to pairs by least squares."""
    if model == "homography":
        return fit_homography(a, b)
    if model == "affine":
        design = np.column_stack([a, np.ones(len(a))])
        solved = np.linalg.lstsq(design, b, rcond=None)[0]
        return np.vstack([solved.T, [0.0, 0.0, 1.0]])
    x, y = a.T
    one, nil = np.ones(len(a)), np.zeros(len(a))
    design = np.vstack([np.column_stack([x, -y, one, nil]), np.column_stack([y, x, nil, one])])
    c, s, u, v = np.linalg.lstsq(design, np.concatenate([b[:, 0], b[:, 1]]), rcond=None)[0]
    return np.array([[c, -s, u], [s, c, v], [0.0, 0.0, 1.0]])


def _sectors(places: FloatArray, middle: FloatArray) -> NDArray[np.intp]:
    """Cut pairs into sectors around the middle of an outline, as many pairs in each."""
    turns = np.arctan2(*(places - middle).T[::-1])
    return np.argsort(np.argsort(turns, kind="stable"), kind="stable") * N_FOLDS // len(places)


def _left_out(model: Model, a: FloatArray, b: FloatArray, fold: NDArray[np.intp]) -> float:
    """Root mean square distance of pairs from a model that was fitted without their fold."""
    squares = np.zeros(len(a))
    for k in range(int(fold.max()) + 1):
        out = fold == k
        matrix = fit_model(model, a[~out], b[~out])
        squares[out] = ((apply_homography(matrix, a[out]) - b[out]) ** 2).sum(axis=1)
    return float(np.sqrt(squares.mean()))


def lies_around(places: ArrayLike, outline_px: ArrayLike) -> bool:
    """Whether pairs lie all around an outline; beyond them, carrying it is a guess."""
    outline = np.asarray(outline_px, dtype=np.float64).reshape(-1, 2)
    hull = cv2.convexHull(np.asarray(places, dtype=np.float32).reshape(-1, 2)).reshape(-1, 2)
    middle = hull.mean(axis=0)
    grown = (middle + (hull - middle) * GROWN).astype(np.float32)
    return all(cv2.pointPolygonTest(grown, (float(x), float(y)), False) >= 0 for x, y in outline)


def _require_around(places: FloatArray, outline: FloatArray) -> None:
    """Refuse pairs that do not lie all around the outline."""
    if not lies_around(places, outline):
        raise InputError(
            "align-no-match",
            "What the two photos have in common does not lie all around the outline.",
            "Pick pairs of points by hand all around the colony, or draw the outline anew.",
        )
