"""Points on a photo: the same seed gives the same points on every machine and in every version."""

from __future__ import annotations

import hashlib
import math

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.designs import POINT_RULES, PointRule

MOST_POINTS = 10_000


def place_points(
    rule: PointRule, n: int, size_px: tuple[int, int], seed: int, photo_id: str
) -> NDArray[np.float64]:
    """
    Place points on a photo.

    Parameters
    ----------
    rule : {"random", "stratified_random", "grid"}
        Anywhere; one anywhere in each of `n` equal fields; the middles of those fields.
    n : int
        How many, 1 to `MOST_POINTS`. In fields, `n` is made of columns times rows, as near to
        squares as its factors allow.
    size_px : tuple of int
        Width and height of the upright original.
    seed : int
        Of the project or unit; kept beside the points.
    photo_id : str
        Hash of the photo: photos of one seed have points of their own.

    Returns
    -------
    (n, 2) float array
        x and y in pixels, pixel centres on whole numbers, inside the photo.

    Raises
    ------
    InputError
        ``points-rule``, ``points-number``, ``points-fields``.

    Notes
    -----
    A uniform number is the first 53 bits of SHA-256 over seed, photo, point and axis, over
    2 to the 53rd: it rests on FIPS 180-4 and on no library's generator.
    """
    if rule not in POINT_RULES:
        raise InputError("points-rule", f"No rule {rule!r}.", f"Known: {', '.join(POINT_RULES)}.")
    if not 1 <= n <= MOST_POINTS:
        raise InputError("points-number", f"{n} points.", f"Ask for 1 to {MOST_POINTS}.")
    width, height = size_px
    if rule == "random":
        shares = np.array([[_uniform(seed, photo_id, k, axis) for axis in "xy"] for k in range(n)])
        return np.asarray(shares * (width, height) - 0.5, dtype=np.float64)
    columns, rows = _fields(n, width / height)
    if rule == "grid":
        inside = np.full((n, 2), 0.5)
    else:
        inside = np.array([[_uniform(seed, photo_id, k, axis) for axis in "xy"] for k in range(n)])
    k = np.arange(n)
    corner = np.stack([k % columns, k // columns], axis=1)
    shares = (corner + inside) / np.array((columns, rows), dtype=np.float64)
    return np.asarray(shares * (width, height) - 0.5, dtype=np.float64)


def _uniform(seed: int, photo_id: str, k: int, axis: str) -> float:
    """Return a number from 0 to below 1 that nothing but these words decide."""
    words = f"dryslate points {seed} {photo_id} {k} {axis}".encode()
    return (int.from_bytes(hashlib.sha256(words).digest()[:8], "big") >> 11) / (1 << 53)


def _fields(n: int, shape: float) -> tuple[int, int]:
    """Split `n` into columns and rows whose fields are as near to squares as can be."""
    pairs = [(c, n // c) for c in range(1, n + 1) if n % c == 0]
    columns, rows = min(pairs, key=lambda p: abs(math.log(shape * p[1] / p[0])))
    stretch = shape * rows / columns
    if max(stretch, 1 / stretch) > 4:
        raise InputError(
            "points-fields",
            f"{n} points do not make fields of a useful shape on this photo.",
            "Choose a number with more factors (24, 25, 48, 50, 96, 100), or random points.",
        )
    return columns, rows
