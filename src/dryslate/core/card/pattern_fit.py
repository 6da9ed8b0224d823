"""
A marker's known pattern as a camera shows it, and one step of fitting it to pixels.

Blurred, under sloping light, through a tone curve that is not known, and cut off at the top.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from dryslate.core.card.found import FloatArray
from dryslate.core.card.pattern_pass import BELL, fill_design, fill_light, see_pattern, sum_blocks

N_PARAMS = 14
BLUR, LEVEL, TONE = 8, 10, 11
"""Eight corner coordinates; log blur; black, white over black, tone, slope along x and along y."""

TOP = 1.0
MIN_TOP_FRAC = 0.005
SOFT_TOP = 0.004
LEAST_SPREAD = 5e-4

BLUR_U = 0.7
TONE_U = 0.3
SLOPE_U = 0.5
LEVEL_U = 0.5
CLIPPED_LEVEL = 1.4
"""What is expected before: blur near 1 px and white near 1.4 of the top where it is clipped (both
as logarithms), no tone curve and no slope of the light (as shares of the contrast)."""

BLOCK_PX = 8.0


def pad_pattern(cells: NDArray[np.bool_]) -> FloatArray:
    """
    Give a marker's cells as 0 and 1 within a rim of white.

    Parameters
    ----------
    cells : ndarray of bool, shape (n, n)

    Returns
    -------
    ndarray of float, shape (n + 2, n + 2)

    Examples
    --------
    >>> pad_pattern(np.zeros((1, 1), dtype=bool)).sum()
    np.float64(8.0)
    """
    return np.pad(cells.astype(np.float64), 1, constant_values=1.0)


def square_to_quad(quad: FloatArray, side: float) -> FloatArray:
    """
    Return the homography from a square to a quad, in closed form.

    Parameters
    ----------
    quad : ndarray of float, shape (4, 2)
    side : float
        Of the square, whose top left corner is the origin.

    Returns
    -------
    ndarray of float, shape (3, 3)

    Raises
    ------
    LinAlgError
        If three corners lie on one line.

    References
    ----------
    .. [1] Heckbert 1989, Fundamentals of Texture Mapping and Image Warping, section 2.2.3.

    Examples
    --------
    >>> square_to_quad(np.array([(0.0, 0.0), (4, 0), (4, 4), (0, 4)]), 2.0)[0, 0]
    np.float64(2.0)
    """
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad.tolist()
    dx1, dx2, sx = x1 - x2, x3 - x2, x0 - x1 + x2 - x3
    dy1, dy2, sy = y1 - y2, y3 - y2, y0 - y1 + y2 - y3
    low = dx1 * dy2 - dx2 * dy1
    if not abs(low) > 1e-9:
        raise np.linalg.LinAlgError("three corners on one line")
    g = (sx * dy2 - dx2 * sy) / low
    h = (dx1 * sy - sx * dy1) / low
    unit = np.array(
        [
            [x1 - x0 + g * x1, x3 - x0 + h * x3, x0],
            [y1 - y0 + g * y1, y3 - y0 + h * y3, y0],
            [g, h, 1.0],
        ]
    )
    return unit @ np.diag([1.0 / side, 1.0 / side, 1.0])


class PatternFit:
    """
    One marker's fit: corners, log blur, and the light's five coefficients.

    Parameters
    ----------
    cells : ndarray of bool, shape (n, n)
    xy_px : ndarray of float, shape (k, 2)
        Pixels, relative to an origin near the marker's middle.
    values : ndarray of float, shape (k,)
        Their linear light, 1 at the top of the range.
    """

    def __init__(self, cells: NDArray[np.bool_], xy_px: FloatArray, values: FloatArray) -> None:
        self.n = cells.shape[0]
        self.turns = np.diff(np.diff(pad_pattern(cells), axis=0), axis=1)
        self.xy = xy_px
        self.values = values
        self.weights: FloatArray = np.ones(len(values))
        self.top_frac = float((values >= TOP - 1e-6).mean())
        self.is_clipped = self.top_frac > MIN_TOP_FRAC
        self.light: FloatArray = np.zeros(5)
        self.spread = 0.02
        self.corners: FloatArray = np.zeros((4, 2))
        self.blur = 1.0
        self.seen: FloatArray = np.empty((6, len(values)))
        self.design: FloatArray = np.empty((len(values), N_PARAMS))
        self.residual: FloatArray = values
        self.inverse: FloatArray = np.eye(N_PARAMS)
        self.prior: FloatArray = np.zeros(N_PARAMS)

    def _start_light(self, light: FloatArray) -> None:
        """First guess of black and white; least squares where nothing is clipped."""
        if self.is_clipped:
            dark = self.values[self.seen[0] < 0.2]
            black = float(np.median(dark) if len(dark) > 5 else self.values.min())
            reach = CLIPPED_LEVEL if self.top_frac > 0.05 else 1.0
            self.light = np.array([black, (TOP - black) * reach, 0.0, 0.0, 0.0])
            return
        weighted = light * self.weights[:, None] ** 2
        normal = weighted.T @ light
        normal[np.diag_indices(5)] += 1e-9 * len(light)
        normal[2, 2] += self.prior[TONE] * self.spread**2 or 0.05 * len(light)
        self.light = np.asarray(np.linalg.solve(normal, weighted.T @ self.values), dtype=np.float64)

    def _predict(self, light: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value of each pixel, and the share of a change of light that it still shows."""
        linear = light @ self.light
        if not self.is_clipped:
            return linear, np.ones(len(linear))
        spread = max(self.spread, SOFT_TOP)
        z = (TOP - linear) / spread
        shown = ndtr(z)
        bent = linear * shown + TOP * (1.0 - shown) - spread * BELL * np.exp(-0.5 * z * z)
        return bent, shown

    def _expect(self) -> FloatArray:
        """Set the weights of what is expected before any pixel is read; how far it is missed."""
        contrast = float(self.light[1])
        prior, missed = np.zeros(N_PARAMS), np.zeros(N_PARAMS)
        prior[BLUR], missed[BLUR] = 1.0 / BLUR_U**2, -np.log(self.blur)
        prior[TONE], missed[TONE] = 1.0 / (TONE_U * contrast) ** 2, -self.light[2]
        prior[TONE + 1 :], missed[TONE + 1 :] = 1.0 / (SLOPE_U * contrast) ** 2, -self.light[3:]
        if self.is_clipped:
            likely = (TOP - float(self.light[0])) * CLIPPED_LEVEL
            prior[LEVEL] = 1.0 / (LEVEL_U * contrast) ** 2
            missed[LEVEL] = -contrast * np.log(contrast / max(likely, 1e-3))
        self.prior = prior
        return missed

    def step(self) -> FloatArray | None:
        """One Gauss-Newton step of all fourteen; None where it fails."""
        to_cells = np.linalg.inv(square_to_quad(self.corners, self.n))
        see_pattern(self.xy, to_cells, self.blur, self.turns, self.seen)
        light = np.empty((len(self.values), 5))
        fill_light(self.seen, light)
        if not self.is_clipped or self.light[1] == 0.0:
            self._start_light(light)
        if self.light[1] <= 0:
            return None
        predicted, shown = self._predict(light)
        self.residual = self.values - predicted
        off = np.abs(self.residual)
        if self.is_clipped and int((shown > 0.5).sum()) > 30:
            off = off[shown > 0.5]  # where both are at the top nothing can be off
        self.spread = max(float(np.median(off)) / 0.6745, LEAST_SPREAD)
        self.weights = 1.0 / np.sqrt(1.0 + (self.residual / (3.0 * self.spread)) ** 2)
        fill_design(self.seen, light, self.light, shown, self.design)
        missed = self._expect()
        weighted = self.design * self.weights[:, None] ** 2
        normal = weighted.T @ self.design
        normal[np.diag_indices(N_PARAMS)] *= 1.0 + 1e-9
        normal[np.diag_indices(N_PARAMS)] += self.prior * self.spread**2 + 1e-12
        try:
            self.inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        except np.linalg.LinAlgError:
            return None
        right = weighted.T @ self.residual + self.prior * missed * self.spread**2
        delta = np.asarray(self.inverse @ right, dtype=np.float64)
        return delta if np.all(np.isfinite(delta)) else None

    def move(self, delta: FloatArray, cell_px: float) -> None:
        """Follow a step, within bounds."""
        largest = float(np.abs(delta[:8]).max())
        part = min(1.0, 0.5 * cell_px / max(largest, 1e-12))
        self.corners = self.corners + part * delta[:8].reshape(4, 2)
        wider = self.blur * np.exp(np.clip(delta[BLUR], -0.7, 0.7))
        self.blur = float(np.clip(wider, 0.25, 0.5 * cell_px + 0.3))
        change = delta[BLUR + 1 :]
        if self.is_clipped:
            most = 0.5 * float(self.light[1])
            change = change * min(1.0, most / max(abs(float(change[1])), 1e-9))
        self.light = self.light + change
        self.light[2] = np.clip(self.light[2], *(np.array([-0.8, 0.8]) * abs(self.light[1])))
        if part == 1.0:
            self.residual = self.residual - self.design @ delta

    def corner_u(self) -> float:
        """Root mean square doubt of the corners, from how residuals go together over blocks."""
        block = np.floor(self.xy / BLOCK_PX).astype(np.intp)
        block -= block.min(axis=0)
        key = block[:, 0] * (int(block[:, 1].max()) + 1) + block[:, 1]
        sums = np.zeros((int(key.max()) + 1, N_PARAMS))
        sum_blocks(self.design, self.weights**2 * self.residual, key, sums)
        pull = sums[np.bincount(key) > 0]
        n = len(pull)
        meat = pull.T @ pull * (n / max(n - N_PARAMS, n / 4))
        meat[np.diag_indices(N_PARAMS)] += self.prior * self.spread**4
        together = float(np.trace((self.inverse @ meat @ self.inverse)[:8, :8]))
        alone = float(np.trace(self.inverse[:8, :8])) * self.spread**2
        return float(np.sqrt(max(together, alone, 0.0) / 8.0))
