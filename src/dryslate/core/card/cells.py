"""Rectangles of a found card as small grids of pixels, all reduced at once to robust figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.definition import Box
from dryslate.core.card.found import FloatArray, FoundCard

MOST_ACROSS = 18
EDGE_PX = 1.5
MAX_INSET_FRAC = 0.3
SURE_SIGMA = 3.5

Pixels = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """
    Grids of pixels, k by k a rectangle, along the card's axes.

    Parameters
    ----------
    centre_mm, centre_px : ndarray of float, shape (p, 2)
    sides_px : ndarray of float, shape (p, 2)
        Width and height of the whole rectangles in the photo.
    spans_mm : ndarray of float, shape (p, 2)
        Width and height of the grids.
    values : ndarray of float, shape (p, k * k, 3)
        Linear light.
    coded : ndarray of int, shape (p, k * k, 3)
    inside_frac : ndarray of float, shape (p,)
        Share of the grid inside the frame.
    """

    centre_mm: FloatArray
    centre_px: FloatArray
    sides_px: FloatArray
    spans_mm: FloatArray
    values: FloatArray
    coded: NDArray[np.int64]
    inside_frac: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduced:
    """
    Robust figures of each cell.

    Parameters
    ----------
    mean : ndarray of float, shape (p, 3)
    cov : ndarray of float, shape (p, 3, 3)
        Of one pixel about a plane through the cell.
    n_px : ndarray of int, shape (p,)
    slope : ndarray of float, shape (p, 2)
        Relative change of the strongest channel across the grid, along x and y.
    step : ndarray of float, shape (p,)
        Largest departure of a ninth of the cell from that plane, linear light.
    bright_frac, odd_frac : ndarray of float, shape (p,)
        Share of pixels far above the plane, and far from it either way.
    channel : int
        The strongest channel.
    """

    mean: FloatArray
    cov: FloatArray
    n_px: NDArray[np.int64]
    slope: FloatArray
    step: FloatArray
    bright_frac: FloatArray
    odd_frac: FloatArray
    channel: int


class CellReader:
    """Reads points of one found card out of one photo."""

    def __init__(self, img: Pixels, found: FoundCard, linear_lut: FloatArray) -> None:
        self.img = img
        self.card_to_px = np.asarray(found.card_to_px)
        self.lut = np.asarray(linear_lut, dtype=np.float64).T.copy()
        blurs = [m.blur_px for m in found.markers if m.blur_px > 0]
        doubt = float(np.median(found.points_u_px)) if len(found.points_u_px) else 0.0
        self.blur_px = float(np.median(blurs)) if blurs else 1.0
        self.edge_px = EDGE_PX + 2.2 * self.blur_px + 2.0 * min(doubt, 5.0)

    def read(self, xy_mm: FloatArray) -> tuple[FloatArray, NDArray[Any], NDArray[np.bool_]]:
        """Linear and coded values at points of the card (n, 2), and which lie inside the frame."""
        xy = np.nan_to_num(np.round(apply_homography(self.card_to_px, xy_mm)), nan=-1.0)
        height, width = self.img.shape[:2]
        inside = np.all((xy >= 0) & (xy <= (width - 1, height - 1)), axis=1)
        cols, rows = np.clip(xy, 0, (width - 1, height - 1)).astype(np.intp).T
        coded = self.img[rows, cols]
        values = np.stack([self.lut[c].take(coded[:, c]) for c in range(3)], axis=-1)
        return values, coded, inside

    def sides_px(self, boxes: Sequence[Box]) -> FloatArray:
        """Width and height of rectangles in the photo, through their middles."""
        x = np.array([b.x_mm for b in boxes])
        y = np.array([b.y_mm for b in boxes])
        w = np.array([b.width_mm for b in boxes])
        h = np.array([b.height_mm for b in boxes])
        ends = np.concatenate(
            [
                np.column_stack([x, y + h / 2]),
                np.column_stack([x + w, y + h / 2]),
                np.column_stack([x + w / 2, y]),
                np.column_stack([x + w / 2, y + h]),
            ]
        )
        left, right, top, bottom = np.split(apply_homography(self.card_to_px, ends), 4)
        return np.column_stack([np.hypot(*(right - left).T), np.hypot(*(bottom - top).T)])

    def cells(self, boxes: Sequence[Box]) -> Cells:
        """Read rectangles, less their edges, each on a grid of the same number of points."""
        sides = self.sides_px(boxes)
        inset = np.minimum(MAX_INSET_FRAC, self.edge_px / np.maximum(sides, 1e-9))
        free = np.median(sides * (1.0 - 2.0 * inset), axis=0).min()
        k = int(np.clip(free, 6, MOST_ACROSS)) // 3 * 3
        size = np.array([(b.width_mm, b.height_mm) for b in boxes])
        origin = np.array([(b.x_mm, b.y_mm) for b in boxes])
        ticks = np.linspace(0.0, 1.0, k)
        unit = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(1, -1, 2)
        start, span = origin + inset * size, size * (1.0 - 2.0 * inset)
        grid = start[:, None, :] + unit * span[:, None, :]
        values, coded, inside = self.read(grid.reshape(-1, 2))
        centre = origin + size / 2
        return Cells(
            centre_mm=centre,
            centre_px=apply_homography(self.card_to_px, centre),
            sides_px=sides,
            spans_mm=span,
            values=values.reshape(len(boxes), -1, 3),
            coded=coded.reshape(len(boxes), -1, 3),
            inside_frac=inside.reshape(len(boxes), -1).mean(axis=1),
        )


def _robust_planes(values: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Fit a plane to each cell (p, 3, n) through the pixels that agree: planes, residuals, kept."""
    n_cells, _, n = values.shape
    k = round(np.sqrt(n))
    ticks = np.linspace(-0.5, 0.5, k)
    xs, ys = np.meshgrid(ticks, ticks)
    design = np.column_stack([np.ones(n), xs.ravel(), ys.ravel()])
    products = (design[:, :, None] * design[:, None, :]).reshape(n, 9)
    residual = values - np.median(values, axis=2, keepdims=True)
    planes = np.zeros((n_cells, 3, 3))
    keep = np.ones((n_cells, n), dtype=bool)
    for _ in range(2):
        away = np.abs(residual)
        sigma = np.median(away, axis=2, keepdims=True) / 0.6745 + 1e-4
        red, green, blue = np.moveaxis(away <= SURE_SIGMA * sigma, 1, 0)
        keep = red & green & blue
        keep[keep.sum(axis=1) < max(8, 0.3 * n)] = True
        weight = keep.astype(np.float64)
        normal = (weight @ products).reshape(-1, 3, 3) + 1e-9 * np.eye(3)
        right = (weight[:, None, :] * values) @ design
        planes = np.linalg.solve(normal, np.swapaxes(right, 1, 2))
        residual = values - np.swapaxes(planes, 1, 2) @ design.T
    return planes, residual, keep


def _steps(picture: FloatArray, noise: FloatArray) -> FloatArray:
    """Largest departure of a ninth of each cell from the plane through the nine, less noise."""
    n_cells, n = picture.shape
    k = round(np.sqrt(n))
    blocks = picture.reshape(n_cells, 3, k // 3, 3, k // 3).transpose(0, 1, 3, 2, 4)
    medians = np.median(blocks.reshape(n_cells, 9, -1), axis=2)
    j, i = np.meshgrid([-1.0, 0.0, 1.0], [-1.0, 0.0, 1.0])
    design = np.column_stack([np.ones(9), j.ravel(), i.ravel()])
    away = medians - medians @ np.linalg.pinv(design).T @ design.T
    return np.asarray(np.maximum(np.abs(away).max(axis=1) - 9.0 * noise / k, 0.0))


def reduce_cells(cells: Cells) -> Reduced:
    """
    Reduce cells to robust means and signs of trouble.

    Parameters
    ----------
    cells : Cells

    Returns
    -------
    Reduced

    Notes
    -----
    A plane is fitted to the pixels that agree within 3.5 robust standard deviations in every
    channel, twice; its value at the centre is the mean, the scatter of those pixels about it the
    covariance of one pixel. Pixels count as odd beyond 8 robust standard deviations and 20 % of
    the mean and 2 % of the lightest cell.
    """
    values = np.ascontiguousarray(np.swapaxes(cells.values, 1, 2))
    planes, residual, keep = _robust_planes(values)
    mean = planes[:, 0, :]
    count = keep.sum(axis=1)
    kept = residual * keep[:, None, :]
    cov = kept @ np.swapaxes(kept, 1, 2) / np.maximum(count - 3, 1)[:, None, None]
    cov += 1e-10 * np.eye(3)
    strong = int(np.argmax(np.median(mean, axis=0)))
    rest = residual[:, strong]
    noise = np.median(np.abs(rest), axis=1) / 0.6745
    level = float(np.max(mean[:, strong], initial=0.0))
    high = np.maximum(np.maximum(8.0 * noise, 0.2 * mean[:, strong]), 0.02 * level)
    return Reduced(
        mean=mean,
        cov=cov,
        n_px=count.astype(np.int64),
        slope=planes[:, 1:, strong] / np.maximum(mean[:, strong], 0.01 * level + 1e-6)[:, None],
        step=_steps(values[:, strong], noise),
        bright_frac=(rest > high[:, None]).mean(axis=1),
        odd_frac=(np.abs(rest) > high[:, None]).mean(axis=1),
        channel=strong,
    )
