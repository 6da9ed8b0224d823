"""
Sub-pixel corners of a marker: its whole known pattern is fitted to the photo in linear light.

Blur moves edges in coded values (white blooms over black) but not in linear light, so the fit is
done there, on pixels of the full-size photo near the pattern's edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.channel import Channel
from dryslate.core.card.found import FloatArray

N_ROUNDS = 6
WHOLE_SIDE_PX = 56.0
RIM_CELLS = 0.45
REACH_SIGMA = 2.5
MOST_PX = 1000

CORRELATED = 1.5
"""Noise of neighbouring pixels is correlated (demosaicing, JPEG): the fit's doubt is widened."""

FLOOR_PX = 0.02
FLOOR_OF_BLUR = 0.03
"""What a tone curve, sharpening and uneven paper leave, beside the noise: a share of the blur."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refined:
    """
    A marker's corners after the fit.

    Parameters
    ----------
    corners_px : ndarray of float, shape (4, 2)
    corner_u_px : float
        One standard uncertainty of each coordinate.
    blur_px : float
        Standard deviation of the blur that fits.
    contrast : float
        Step from black to white, linear.
    explained_frac : float
        Share of the pixels' variance that the pattern explains; may be negative.
    n_px : int
        Pixels used.
    """

    corners_px: FloatArray
    corner_u_px: float
    blur_px: float
    contrast: float
    explained_frac: float
    n_px: int


def _pattern(cells: NDArray[np.bool_]) -> FloatArray:
    """Cells as 0 and 1 within a rim of white."""
    return np.pad(cells.astype(np.float64), 1, constant_values=1.0)


def _edge_pixels(
    cells: NDArray[np.bool_], cells_to_px: FloatArray, cell_px: float, reach_px: float
) -> FloatArray:
    """Whole pixels near the pattern's inner and outer edges."""
    pattern = _pattern(cells)
    n = cells.shape[0]
    rows, cols = np.nonzero(pattern[1:-1, 1:] != pattern[1:-1, :-1])
    upright = np.column_stack([cols.astype(float), rows.astype(float)])  # edge x = col, y from row
    rows, cols = np.nonzero(pattern[1:, 1:-1] != pattern[:-1, 1:-1])
    level = np.column_stack([cols.astype(float), rows.astype(float)])
    along = np.array([0.3, 0.7])
    reach = min(reach_px / cell_px, 0.5)
    across = np.linspace(-reach, reach, max(5, min(7, 2 * int(reach * cell_px) + 1)))
    a, c = (g.ravel() for g in np.meshgrid(along, across, indexing="ij"))
    points = np.vstack(
        [
            (upright[:, None, :] + np.stack([c, a], axis=-1)[None]).reshape(-1, 2),
            (level[:, None, :] + np.stack([a, c], axis=-1)[None]).reshape(-1, 2),
        ]
    )
    keep = np.all((points > -RIM_CELLS) & (points < n + RIM_CELLS), axis=1)
    return np.round(apply_homography(cells_to_px, points[keep]))


def _all_pixels(corners: FloatArray, margin_px: float) -> FloatArray:
    """Return every pixel of the marker's box."""
    x0, y0 = np.floor(corners.min(axis=0) - margin_px)
    x1, y1 = np.ceil(corners.max(axis=0) + margin_px)
    xs, ys = np.meshgrid(np.arange(x0, x1 + 1), np.arange(y0, y1 + 1))
    return np.column_stack([xs.ravel(), ys.ravel()])


def is_convex(quad: FloatArray) -> bool:
    """
    Tell whether a quad is convex and runs clockwise (y down).

    Parameters
    ----------
    quad : ndarray of float, shape (4, 2)

    Returns
    -------
    bool

    Examples
    --------
    >>> is_convex(np.array([(0.0, 0.0), (9, 0), (9, 9), (0, 9)]))
    True
    """
    side = np.roll(quad, -1, axis=0) - quad
    after = np.roll(side, -1, axis=0)
    return bool(np.all(side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0] > 1e-6))


def _square_to_quad(quad: FloatArray, side: float) -> FloatArray:
    """Homography from a square of a given side to a quad, in closed form (Heckbert 1989, 2.2.3)."""
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


def _solve(design: FloatArray, values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted least squares by the normal equations (few, well-scaled columns)."""
    weighted = design * (weights**2)[:, None]
    normal = weighted.T @ design
    normal[np.diag_indices_from(normal)] += 1e-9 * len(values)
    return np.asarray(np.linalg.solve(normal, weighted.T @ values), dtype=np.float64)


class _Fit:
    """The pattern as seen through a blur, and its derivatives, at fixed pixels."""

    def __init__(self, cells: NDArray[np.bool_], xy_px: FloatArray, values: FloatArray) -> None:
        self.pattern = _pattern(cells)
        self.n = cells.shape[0]
        self.edges = np.arange(self.n + 1.0)
        self.xy = xy_px
        self.values = values
        self.weights = np.ones(len(values))
        self.scale = 1.0

    def _profile(self, z: FloatArray, slope: FloatArray) -> tuple[FloatArray, ...]:
        """Share of each column in each pixel, its derivative by place and by log blur."""
        step = ndtr(z)
        bell = np.exp(-0.5 * z * z) * 0.3989422804014327
        rise = bell * slope[:, None]
        widen = -z * bell
        out = []
        for term, last in ((step, 1.0), (rise, 0.0), (widen, 0.0)):
            full = np.empty((len(z), self.n + 2))
            full[:, 0] = (1.0 - term[:, 0]) if last else -term[:, 0]
            full[:, 1:-1] = term[:, :-1] - term[:, 1:]
            full[:, -1] = term[:, -1]
            out.append(full)
        return tuple(out)

    def model(self, corners: FloatArray, blur: float) -> tuple[FloatArray, FloatArray]:
        """Pattern value and its ten derivatives: eight corner coordinates, log blur; and u, v."""
        px_to_cells = np.linalg.inv(_square_to_quad(corners, self.n))
        lifted = np.column_stack([self.xy, np.ones(len(self.xy))]) @ px_to_cells.T
        u, v = lifted[:, 0] / lifted[:, 2], lifted[:, 1] / lifted[:, 2]
        h = px_to_cells
        ux = (h[0, 0] - u * h[2, 0]) / lifted[:, 2]
        uy = (h[0, 1] - u * h[2, 1]) / lifted[:, 2]
        vx = (h[1, 0] - v * h[2, 0]) / lifted[:, 2]
        vy = (h[1, 1] - v * h[2, 1]) / lifted[:, 2]
        slope_u = 1.0 / (blur * np.hypot(ux, uy))
        slope_v = 1.0 / (blur * np.hypot(vx, vy))
        a, a_u, a_s = self._profile((u[:, None] - self.edges) * slope_u[:, None], slope_u)
        b, b_v, b_s = self._profile((v[:, None] - self.edges) * slope_v[:, None], slope_v)
        rows = b @ self.pattern
        value = np.einsum("ij,ij->i", rows, a)
        t_u = np.einsum("ij,ij->i", rows, a_u)
        t_v = np.einsum("ij,ij->i", b_v @ self.pattern, a)
        t_s = np.einsum("ij,ij->i", rows, a_s) + np.einsum("ij,ij->i", b_s @ self.pattern, a)
        p, q = u / self.n, v / self.n
        share = np.stack([(1 - p) * (1 - q), p * (1 - q), p * q, (1 - p) * q])
        grad_x, grad_y = -(t_u * ux + t_v * vx), -(t_u * uy + t_v * vy)
        columns = np.empty((len(u), 12))
        columns[:, 0:8:2] = (share * grad_x).T
        columns[:, 1:8:2] = (share * grad_y).T
        columns[:, 8] = t_s
        columns[:, 9:] = np.column_stack([np.ones(len(u)), value * (p - 0.5), value * (q - 0.5)])
        return value, columns

    def step(
        self, corners: FloatArray, blur: float
    ) -> tuple[FloatArray, float, FloatArray, float, float]:
        """One Gauss-Newton step: shift of corners, of log blur, covariance, contrast, residual."""
        value, columns = self.model(corners, blur)
        light = np.column_stack([columns[:, 9], value, columns[:, 10], columns[:, 11]])
        w = self.weights
        coefficients = _solve(light, self.values, w)
        residual = self.values - light @ coefficients
        spread = float(np.median(np.abs(residual)) / 0.6745) + 1e-6
        self.weights = 1.0 / np.sqrt(1.0 + (residual / (3.0 * spread)) ** 2)
        contrast = float(coefficients[1])
        design = np.column_stack([columns[:, :9] * contrast, light])
        normal = (design * self.weights[:, None] ** 2).T @ design
        normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
        right = design.T @ (residual * self.weights**2)
        try:
            inverse = np.linalg.inv(normal)
        except np.linalg.LinAlgError:
            inverse = np.full_like(normal, np.nan)
        delta = inverse @ right
        return delta[:8].reshape(4, 2), float(delta[8]), inverse[:8, :8], contrast, spread


def refine_marker(
    channel: Channel, cells: NDArray[np.bool_], corners_px: FloatArray, blur_px: float = 0.8
) -> Refined | None:
    """
    Fit a marker's known pattern to the photo.

    Parameters
    ----------
    channel : Channel
    cells : ndarray of bool, shape (n, n)
        As `marker_cells` gives them.
    corners_px : ndarray of float, shape (4, 2)
        Where the marker is thought to lie, to about half a cell.
    blur_px : float
        First guess of the blur.

    Returns
    -------
    Refined or None
        None where the pattern does not fit there (or lies partly outside the frame).

    Notes
    -----
    Gauss-Newton on eight corner coordinates, blur, black, white and a slope of the light, with
    Cauchy weights. The pattern is a sum of squares blurred by a Gaussian across each edge, which
    leaves edges where they are in linear light. `corner_u_px` is the root mean square of the
    fit's own standard uncertainties, widened for correlated noise, with a floor that grows with
    the blur for what tone curves leave.

    Examples
    --------
    >>> from dryslate.core.card.channel import split_channel
    >>> blank = split_channel(np.zeros((80, 80, 3), np.uint8))
    >>> corners = np.array([(20.0, 20.0), (60, 20), (60, 60), (20, 60)])
    >>> refine_marker(blank, np.eye(8, dtype=bool), corners) is None
    True
    """
    n = cells.shape[0]
    start = np.asarray(corners_px, dtype=np.float64)
    sides = np.hypot(*(start - np.roll(start, 1, axis=0)).T)
    cell_px = float(sides.mean()) / n
    w, h = channel.size_px
    if cell_px < 1.0 or not np.all((start > -0.5) & (start < (w - 0.5, h - 0.5))):
        return None
    if not is_convex(start):
        return None
    cells_to_px = _square_to_quad(start, n)
    if float(sides.max()) <= WHOLE_SIDE_PX:
        points = _all_pixels(start, RIM_CELLS * cell_px)
    else:
        reach = max(REACH_SIGMA * blur_px, 3.0)
        points = _edge_pixels(cells, cells_to_px, cell_px, reach)
    inside = np.all((points >= 0) & (points <= (w - 1, h - 1)), axis=1)
    points = points[inside]
    uv = apply_homography(np.linalg.inv(cells_to_px), points)
    points = points[np.all((uv > -RIM_CELLS) & (uv < n + RIM_CELLS), axis=1)]
    if len(points) < 40:
        return None
    points = points[:: 1 + len(points) // MOST_PX]
    whole = points.astype(np.intp)
    values = channel.lut[channel.levels[0][whole[:, 1], whole[:, 0]]].astype(np.float64)
    total = float(np.median(np.abs(values - np.median(values)))) + float(values.std())
    if total < 1e-4:
        return None
    origin = start.mean(axis=0)
    fit = _Fit(cells, points - origin, values)
    return _iterate(fit, start - origin, origin, blur_px, cell_px)


def _iterate(
    fit: _Fit, start: FloatArray, origin: FloatArray, blur_px: float, cell_px: float
) -> Refined | None:
    """Repeat the step until the corners rest."""
    corners, blur = start.copy(), max(blur_px, 0.15 * cell_px if cell_px < 4 else blur_px)
    limit = 0.5 * cell_px
    inverse, contrast, spread = np.eye(8), 0.0, 1.0
    for k in range(N_ROUNDS):
        if not is_convex(corners):
            return None
        shift, widen, inverse, contrast, spread = fit.step(corners, blur)
        if contrast <= 0 or not np.all(np.isfinite(shift)):
            return None
        largest = float(np.abs(shift).max())
        corners = corners + shift * min(1.0, limit / max(largest, 1e-12))
        blur = float(np.clip(blur * np.exp(np.clip(widen, -0.7, 0.7)), 0.25, 0.5 * cell_px + 0.3))
        if k and largest < 0.03:
            break
    if float(np.abs(corners - start).max()) > max(1.5 * cell_px, 3.0) or not is_convex(corners):
        return None
    value, _ = fit.model(corners, blur)
    light = np.column_stack([np.ones_like(value), value])
    coefficients = _solve(light, fit.values, fit.weights)
    residual = fit.values - light @ coefficients  # every pixel counts: a wrong cell must show
    about = fit.values - fit.values.mean()
    explained = 1.0 - float(residual @ residual) / float(about @ about)
    own = np.sqrt(np.maximum(np.diag(inverse), 0.0).mean()) * spread * CORRELATED
    floor = np.hypot(FLOOR_PX, FLOOR_OF_BLUR * blur)
    return Refined(
        corners_px=corners + origin,
        corner_u_px=float(np.hypot(own, floor)),
        blur_px=blur,
        contrast=contrast,
        explained_frac=explained,
        n_px=len(fit.values),
    )
