"""
Sub-pixel corners of a marker: its whole known pattern is fitted to the photo in linear light.

Blur moves edges in coded values (white blooms over black) but not in linear light, so the fit is
done there, on pixels of the full-size photo near the pattern's edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.channel import Channel
from dryslate.core.card.found import FloatArray
from dryslate.core.card.pattern_fit import PatternFit, pad_pattern, square_to_quad

N_ROUNDS = 10
WHOLE_SIDE_PX = 56.0
RIM_CELLS = 0.45
REACH_SIGMA = 2.5
MOST_PX = 1000

AT_REST_PX = 0.03

WIDER = 1.15
"""The doubt from blocks of pixels is known from few of them, and comes out small."""

FLOOR_PX = 0.015
FLOOR_OF_BLUR = 0.01
"""What no residual shows, beside the noise: the second is a share of the blur."""


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


def _edge_pixels(
    cells: NDArray[np.bool_], cells_to_px: FloatArray, cell_px: float, reach_px: float
) -> FloatArray:
    """Whole pixels near the pattern's inner and outer edges."""
    pattern = pad_pattern(cells)
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
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = quad.tolist()
    return bool(
        (bx - ax) * (cy - by) - (by - ay) * (cx - bx) > 1e-6
        and (cx - bx) * (dy - cy) - (cy - by) * (dx - cx) > 1e-6
        and (dx - cx) * (ay - dy) - (dy - cy) * (ax - dx) > 1e-6
        and (ax - dx) * (by - ay) - (ay - dy) * (bx - ax) > 1e-6
    )


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
    Gauss-Newton on eight corner coordinates, blur, black, white, tone and a slope of the light,
    with Cauchy weights. The pattern is a sum of squares blurred by a Gaussian across each edge,
    which leaves edges where they are in linear light. A tone curve moves every edge towards
    black or towards white; inner and outer edges move against each other then, which no place
    of the corners does, so that its strength is fitted: a hump m (1 - m) on the pattern m.

    A pixel at the top of its range says only that the light is no less. The fit expects there
    what a limited value with the fit's own noise has as its mean [1]_, and such a pixel moves
    nothing; leaving it out, or taking its value as it stands, would move the edges.

    `corner_u_px` is the root mean square over the coordinates of a covariance that lets residuals
    go together within blocks of 8 pixels [2]_ (demosaicing, JPEG, what the model does not
    follow), never below what independent noise gives, with a small floor.

    References
    ----------
    .. [1] Tobin 1958, Econometrica 26:24-36.
    .. [2] Liang & Zeger 1986, Biometrika 73:13-22.

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
    cells_to_px = square_to_quad(start, n)
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
    fit = PatternFit(cells, points - origin, values)
    return _iterate(fit, start - origin, origin, blur_px, cell_px)


def _iterate(
    fit: PatternFit, start: FloatArray, origin: FloatArray, blur_px: float, cell_px: float
) -> Refined | None:
    """Repeat the step until the corners rest."""
    fit.corners = start.copy()
    fit.blur = max(blur_px, 0.15 * cell_px if cell_px < 4 else blur_px)
    for k in range(N_ROUNDS):
        if not is_convex(fit.corners):
            return None
        delta = fit.step()
        if delta is None:
            return None
        fit.move(delta, cell_px)
        if k and float(np.abs(delta[:8]).max()) < AT_REST_PX:
            break
    away = float(np.abs(fit.corners - start).max())
    if away > max(1.5 * cell_px, 3.0) or not is_convex(fit.corners) or fit.light[1] <= 0:
        return None
    about = fit.values - fit.values.mean()  # every pixel counts: a wrong cell must show
    explained = 1.0 - float(fit.residual @ fit.residual) / float(about @ about)
    floor = np.hypot(FLOOR_PX, FLOOR_OF_BLUR * fit.blur)
    return Refined(
        corners_px=fit.corners + origin,
        corner_u_px=float(np.hypot(WIDER * fit.corner_u(), floor)),
        blur_px=fit.blur,
        contrast=float(fit.light[1]),
        explained_frac=explained,
        n_px=len(fit.values),
    )
