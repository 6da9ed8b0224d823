"""A station: a piece of reef with colonies, built as a map, with the truth about each colony."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.spatial import ConvexHull

from dryslate.core.colour.spaces import xyz_to_lab
from dryslate.demo.corals import (
    MATERIALS_PER_COLONY,
    Colony,
    Surface,
    health_layers,
    plot_for,
)
from dryslate.demo.ground import (
    Canvas,
    Station,
    base_map,
    clear_boxes,
    far_tile,
    ground_fields,
    shade_map,
    strew_rubble,
)
from dryslate.demo.growth import grow, patches_field
from dryslate.demo.marching import Relief
from dryslate.demo.noise import Field
from dryslate.demo.seabed import ROCK, TURF, Seabed, block_for, ceiling, seabed_spectra
from dryslate.demo.spectra import FloatArray, xyz_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColonyTruth:
    """
    The truth about one colony, in world millimetres (z down, so heights are negative).

    Parameters
    ----------
    colony : Colony
    outline_mm : ndarray of float, shape (n, 3)
    longest_mm, across_mm : ndarray of float, shape (2, 3)
        Ends of the longest diameter and of the widest extent across it.
    corallites_mm : ndarray of float, shape (k, 2, 3)
        Ends of lines across corallites, valleys or branches.
    area_cm2, perimeter_mm : float
        Of the outline, seen from above.
    lab_d65 : tuple of float
        Mean colour (L*, a*, b*, D65) of all that lies within the outline, seen from above in
        light that is the same everywhere, with the shade of its own relief.
    """

    colony: Colony
    outline_mm: FloatArray
    longest_mm: FloatArray
    across_mm: FloatArray
    corallites_mm: FloatArray
    area_cm2: float
    perimeter_mm: float
    lab_d65: tuple[float, float, float] = (0.0, 0.0, 0.0)


def build_station(station: Station) -> tuple[Seabed, tuple[ColonyTruth, ...]]:
    """
    Build the map of a station.

    Parameters
    ----------
    station : Station

    Returns
    -------
    seabed : Seabed
    truths : tuple of ColonyTruth
        In the order of the station's colonies.
    """
    fields = ground_fields(station, np.random.default_rng([station.seed, 1]))
    far = far_tile(fields)
    canvas = base_map(station, fields, np.random.default_rng([station.seed, 2]))
    strew_rubble(canvas, station, np.random.default_rng([station.seed, 3]))
    clear_boxes(canvas, station)
    spectra = [seabed_spectra()]
    truths = []
    for k, colony in enumerate(station.colonies):
        truths.append(_plant(canvas, colony, len(seabed_spectra()) + k * MATERIALS_PER_COLONY))
        spectra.append(colony.spectra())
    near = Relief(
        height_mm=canvas.height,
        first=canvas.first,
        second=canvas.second,
        share=np.clip(canvas.share * 255.0, 0, 255).astype(np.uint8),
        shade=shade_map(canvas, station, far),
        x0_mm=canvas.x0_mm,
        y0_mm=canvas.y0_mm,
        px_per_mm=canvas.px_per_mm,
        wraps=False,
        ceiling_mm=ceiling(canvas.height, block_for(canvas.px_per_mm), False),
        block=block_for(canvas.px_per_mm),
    )
    every = np.concatenate(spectra)
    xyz = xyz_of(every)
    coloured = [replace(t, lab_d65=_seen_lab(near, xyz, t.outline_mm[:, :2])) for t in truths]
    return Seabed(near=near, far=far, spectra=every), tuple(coloured)


def _seen_lab(near: Relief, xyz: FloatArray, outline_mm: FloatArray) -> tuple[float, float, float]:
    """Mean colour within an outline of the map, by its cells."""
    at = (outline_mm - [near.x0_mm, near.y0_mm]) * near.px_per_mm
    inside = np.zeros(near.first.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(at).astype(np.int32)], 1)
    cells = inside > 0
    second = (near.share[cells] / 255.0)[:, None]
    mixed = (1.0 - second) * xyz[near.first[cells]] + second * xyz[near.second[cells]]
    lab = xyz_to_lab((near.shade[cells][:, None] * mixed).mean(axis=0))
    return float(lab[0]), float(lab[1]), float(lab[2])


def _plant(canvas: Canvas, colony: Colony, number: int) -> ColonyTruth:
    """Grow a colony into the map; its materials are numbered from `number`."""
    plot = plot_for(colony, canvas.px_per_mm)
    surface = grow(colony, plot)
    first, second, share = health_layers(colony, plot, surface, patches_field(colony, plot))
    s = canvas.px_per_mm
    x0 = round((float(plot.x_mm[0, 0]) - canvas.x0_mm) * s)
    y0 = round((float(plot.y_mm[0, 0]) - canvas.y0_mm) * s)
    rows, columns = canvas.height.shape
    n = plot.x_mm.shape[0]
    a0, a1 = max(-y0, 0), min(rows - y0, n)
    b0, b1 = max(-x0, 0), min(columns - x0, n)
    cut = (slice(a0, a1), slice(b0, b1))
    there = (slice(a0 + y0, a1 + y0), slice(b0 + x0, b1 + x0))
    mask = surface.mask[cut]
    if colony.form != "branching":
        _bank_up(canvas, there, plot.edge[cut], colony.radius_mm)
    canvas.height[there][mask] = surface.height_mm[cut][mask]
    canvas.first[there][mask] = first[cut][mask] + number
    canvas.second[there][mask] = second[cut][mask] + number
    canvas.share[there][mask] = share[cut][mask]
    return _colony_truth(colony, surface, canvas)


def _bank_up(canvas: Canvas, there: tuple[slice, slice], edge: Field, radius_mm: float) -> None:
    """Let the ground rise to a body's edge, with old rock around its foot."""
    away_mm = np.maximum(edge - 1.0, 0.0) * radius_mm
    height = canvas.height[there]
    rough = np.clip(0.6 * canvas.share[there] + 0.1 * np.clip(height + 8.0, -4.0, 4.0), 0.0, 1.0)
    height += np.exp(-((away_mm / 7.0) ** 2)) * (np.maximum(height, -1.6) - height)
    foot = away_mm < 1.5 + 6.0 * rough
    canvas.first[there][foot] = ROCK
    canvas.second[there][foot] = TURF


def _colony_truth(colony: Colony, surface: Surface, canvas: Canvas) -> ColonyTruth:
    """Outline, diameters and corallites with their heights."""
    flat = _seen_outline(colony, surface, canvas)
    longest = _longest(flat)
    across = _widest_across(flat, longest)
    lines = surface.lines_mm
    plot = plot_for(colony, canvas.px_per_mm)
    corner = (float(plot.x_mm[0, 0]), float(plot.y_mm[0, 0]), plot.px_per_mm)
    heights = _heights(surface.level_mm, corner, lines.reshape(-1, 2)).reshape(-1, 2, 1)
    dx, dy = np.roll(flat, -1, axis=0).T
    area = 0.5 * abs(float((flat[:, 0] * dy - flat[:, 1] * dx).sum()))
    sides = np.linalg.norm(np.roll(flat, -1, axis=0) - flat, axis=1)
    return ColonyTruth(
        colony=colony,
        outline_mm=_at_edge(colony, flat, canvas),
        longest_mm=_at_edge(colony, longest, canvas),
        across_mm=_at_edge(colony, across, canvas),
        corallites_mm=np.concatenate([lines, -heights], axis=2),
        area_cm2=area / 100.0,
        perimeter_mm=float(sides.sum()),
    )


def _seen_outline(colony: Colony, surface: Surface, canvas: Canvas) -> FloatArray:
    """The outline seen from above: the designed one, or the hull of branch tips."""
    if colony.form != "branching":
        return colony.outline_mm()
    plot = plot_for(colony, canvas.px_per_mm)
    points = np.stack([plot.x_mm[surface.mask], plot.y_mm[surface.mask]], axis=1).astype(float)
    return np.asarray(points[ConvexHull(points).vertices])


def _at_edge(colony: Colony, xy_mm: FloatArray, canvas: Canvas) -> FloatArray:
    """Add the height: 0 on the edge of a body, the branch's own for branching ones."""
    if colony.form == "branching":
        inward = np.array(colony.centre_mm) + 0.97 * (xy_mm - np.array(colony.centre_mm))
        grid = (canvas.x0_mm, canvas.y0_mm, canvas.px_per_mm)
        z = -np.maximum(_heights(canvas.height, grid, inward), 0.0)
    else:
        z = np.zeros(len(xy_mm))
    return np.column_stack([xy_mm, z])


def _heights(field: Field, grid: tuple[float, float, float], xy_mm: FloatArray) -> FloatArray:
    """A field at world places; `grid` is its corner x, y and cells per millimetre."""
    if not len(xy_mm):
        return np.zeros(0)
    u = ((xy_mm - np.array(grid[:2])) * grid[2]).astype(np.float32)
    found = cv2.remap(
        field,
        np.ascontiguousarray(u[:, 0]),
        np.ascontiguousarray(u[:, 1]),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found, dtype=np.float64).ravel()


def _longest(flat: FloatArray) -> FloatArray:
    """The two outline points farthest apart."""
    gaps = np.linalg.norm(flat[:, None] - flat[None, :], axis=2)
    i, j = np.unravel_index(int(gaps.argmax()), gaps.shape)
    return flat[[i, j]]


def _widest_across(flat: FloatArray, longest: FloatArray) -> FloatArray:
    """
    The widest chord at right angles to the longest diameter, from outline to outline.

    The chord is looked for at 200 places along the diameter.
    """
    along = longest[1] - longest[0]
    length = float(np.linalg.norm(along))
    u = along / length
    v = np.array([-u[1], u[0]])
    s = (flat - longest[0]) @ u
    w = (flat - longest[0]) @ v
    s2, w2 = np.roll(s, -1), np.roll(w, -1)
    best, ends = -1.0, np.zeros((2, 2))
    for at in np.linspace(0.02, 0.98, 200) * length:
        cross = ((s <= at) & (s2 > at)) | ((s2 <= at) & (s > at))
        if int(cross.sum()) < 2:
            continue
        heights = w[cross] + (at - s[cross]) * (w2[cross] - w[cross]) / (s2[cross] - s[cross])
        width = float(heights.max() - heights.min())
        if width > best:
            best = width
            ends = longest[0] + at * u + np.array([heights.min(), heights.max()])[:, None] * v
    return ends


def points_of(truths: Sequence[ColonyTruth]) -> dict[str, FloatArray]:
    """World points by name, to hand to a scene: ``COLONY/outline`` and so on."""
    points: dict[str, FloatArray] = {}
    for truth in truths:
        name = truth.colony.name
        points[f"{name}/outline"] = truth.outline_mm
        points[f"{name}/longest"] = truth.longest_mm
        points[f"{name}/across"] = truth.across_mm
        if len(truth.corallites_mm):
            points[f"{name}/corallites"] = truth.corallites_mm.reshape(-1, 3)
    return points
