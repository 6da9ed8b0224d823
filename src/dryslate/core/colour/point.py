"""The colour of a small spot that a person picked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.found import frozen

FloatArray = NDArray[np.float64]

_CLIPPED_MOST = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """
    Pixels about a picked point, reduced.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        Median in linear light of the file's own RGB.
    cov_linear : ndarray of float, shape (3, 3)
        Covariance of a single pixel about it.
    n_px : int
    """

    mean_linear: FloatArray
    cov_linear: FloatArray
    n_px: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean_linear", frozen(self.mean_linear))
        object.__setattr__(self, "cov_linear", frozen(self.cov_linear))


def measure_spot(
    img_coded: NDArray[Any],
    xy_px: tuple[float, float],
    linear_lut: NDArray[np.float32],
    radius_px: int = 6,
) -> Spot:
    """
    Measure the colour of a small square about a picked point.

    Parameters
    ----------
    img_coded : ndarray of uint8 or uint16, shape (height, width, 3)
        The upright photo.
    xy_px : tuple of float
        The point, x right and y down, pixel centres on whole numbers.
    linear_lut : ndarray of float32, shape (n_codes, 3)
    radius_px : int
        Half the side of the square.

    Returns
    -------
    Spot

    Raises
    ------
    InputError
        ``point-outside-photo`` if the point is not in the photo; ``point-clipped`` if more than
        2 % of the pixels have a channel at an end of its range: such a spot states no colour.

    Notes
    -----
    The median is not moved by a speck; the covariance comes from the median absolute deviation
    for the diagonal and from plain correlations.

    Examples
    --------
    >>> lut = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[:, None], 3, axis=1)
    >>> spot = measure_spot(np.full((40, 40, 3), 51, np.uint8), (20, 20), lut)
    >>> print(np.round(spot.mean_linear, 3), spot.n_px)
    [0.2 0.2 0.2] 169
    """
    height, width = img_coded.shape[:2]
    x, y = xy_px
    if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
        raise InputError(
            "point-outside-photo",
            f"the point ({x:g}, {y:g}) is not in the photo, which is {width} x {height} pixels.",
            "Give a point of the upright photo: x to the right, y down, from its top left.",
        )
    column, row = round(x), round(y)
    cell = img_coded[
        max(row - radius_px, 0) : row + radius_px + 1,
        max(column - radius_px, 0) : column + radius_px + 1,
    ].reshape(-1, 3)
    most = linear_lut.shape[0] - 1
    clipped = float(np.mean(((cell == 0) | (cell >= most)).any(axis=1)))
    if clipped > _CLIPPED_MOST:
        raise InputError(
            "point-clipped",
            f"at ({x:g}, {y:g}) {clipped:.0%} of the pixels are at an end of the camera's range, "
            "so they state no colour.",
            "Pick a spot that is neither burnt out nor black.",
        )
    values = np.stack([linear_lut[cell[:, c], c] for c in range(3)], axis=-1).astype(np.float64)
    middle = np.median(values, axis=0)
    spread = 1.4826 * np.median(np.abs(values - middle), axis=0)
    spread = np.maximum(spread, np.gradient(linear_lut[:, 1].astype(np.float64)).min())
    deviations = values - middle
    plain = np.sqrt(np.mean(deviations**2, axis=0))
    with np.errstate(invalid="ignore", divide="ignore"):
        rho = (deviations.T @ deviations / len(values)) / np.outer(plain, plain)
    rho = np.where(np.isfinite(rho), rho, np.eye(3))
    return Spot(mean_linear=middle, cov_linear=rho * np.outer(spread, spread), n_px=len(values))
