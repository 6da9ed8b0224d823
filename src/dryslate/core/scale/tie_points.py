"""Pairs of points picked by hand in two photos: how each fits the rest, and which does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.scale.alignment import (
    FEWEST_BY_HAND,
    Alignment,
    Model,
    align_by_points,
    fit_model,
)

FloatArray = NDArray[np.float64]

ODD_RATIO = 2.0
"""A pair does not fit where the others agree at least so many times better without it: our own."""
ODD_FROM_PX = 2.0
"""Below this misfit no pair is called odd: nobody points better."""
SIMPLER: dict[Model, Model] = {
    "similarity": "similarity",
    "affine": "similarity",
    "homography": "affine",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TiePairs:
    """
    Pairs of points with the alignment that they give.

    Parameters
    ----------
    alignment : Alignment
    placed_px : ndarray of float, shape (n, 2)
        Where a model fitted without a pair puts its point, in the second photo.
    away_px : ndarray of float, shape (n,)
        How far its own point there is from that; their root mean square is the misfit.
    odd : int or None
        The pair without which the others agree at least twice as well.
    """

    alignment: Alignment
    placed_px: FloatArray
    away_px: FloatArray
    odd: int | None


def fit_tie_pairs(points_first: ArrayLike, points_second: ArrayLike) -> TiePairs:
    """
    Align two photos by pairs of points picked by hand, and say how each pair fits the rest.

    Parameters
    ----------
    points_first, points_second : array_like of float, shape (n, 2)
        At least four pairs.

    Returns
    -------
    TiePairs

    Raises
    ------
    InputError
        Those of `align_by_points`.

    Examples
    --------
    >>> first = [(0, 0), (90, 0), (90, 90), (0, 90), (45, 30), (20, 60)]
    >>> second = [(x + 7, y) for x, y in first[:5]] + [(60, 60)]
    >>> found = fit_tie_pairs(first, second)
    >>> found.odd, round(float(found.away_px[5]))
    (5, 33)
    """
    a = np.asarray(points_first, dtype=np.float64).reshape(-1, 2)
    b = np.asarray(points_second, dtype=np.float64).reshape(-1, 2)
    alignment = align_by_points(a, b)
    placed = _placed(alignment.model, a, b)
    return TiePairs(
        alignment=alignment,
        placed_px=placed,
        away_px=np.linalg.norm(b - placed, axis=1),
        odd=_odd(alignment, a, b),
    )


def _placed(model: Model, a: FloatArray, b: FloatArray) -> FloatArray:
    """Return where a model fitted without each pair puts it."""
    found = np.zeros_like(b)
    for i in range(len(a)):
        rest = np.arange(len(a)) != i
        found[i] = apply_homography(fit_model(model, a[rest], b[rest]), a[i : i + 1])[0]
    return found


def _odd(alignment: Alignment, a: FloatArray, b: FloatArray) -> int | None:
    """
    Find the pair without which the others agree much better.

    By the next simpler model: what few pairs are left over for the full one moves too much.
    """
    model = SIMPLER[alignment.model]

    def misfit(kept: NDArray[np.bool_]) -> float:
        away = b[kept] - _placed(model, a[kept], b[kept])
        return float(np.sqrt((away**2).sum(axis=1).mean()))

    whole = misfit(np.ones(len(a), dtype=np.bool_))
    if len(a) <= FEWEST_BY_HAND or whole < ODD_FROM_PX:
        return None
    without = [misfit(np.arange(len(a)) != i) for i in range(len(a))]
    best = int(np.argmin(without))
    return best if ODD_RATIO * without[best] <= whole else None
