"""Corals: what a colony is, and the outline, health and skeleton pattern that it gets."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.demo.noise import Field
from dryslate.demo.spectra import FloatArray
from dryslate.demo.surfaces import Tissue, coral_reflectance, skeleton, turf

Form = Literal["plocoid", "cerioid", "meandroid", "branching", "plating"]
MATERIALS_PER_COLONY = 8
LIVE, LIVE_CALICE, PALE, PALE_CALICE, BLEACHED, BLEACHED_CALICE, RECENT_DEAD, OLD_DEAD = range(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Share of a colony in each state; together 1. Same words as the project's health records."""

    normal: float = 1.0
    pale: float = 0.0
    bleached: float = 0.0
    recently_dead: float = 0.0
    old_dead: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Colony:
    """
    A coral colony lying in a station.

    Parameters
    ----------
    name : str
    genus : str
    form : {"plocoid", "cerioid", "meandroid", "branching", "plating"}
    centre_mm : tuple of float
        World x, y.
    radius_mm : float
        Mean radius seen from above.
    aspect : float
        Long over short axis of its outline.
    turn_deg : float
        Direction of the long axis.
    corallite_mm : float
        Corallite diameter; valley width in meandroid, branch thickness in branching, ridge
        distance in plating.
    rise_mm : float
        How far its crown stands over its edge.
    tissue, calice : Tissue
        Colour between the corallites, and inside them.
    health : Health
    seed : int
        Decides its shape: the same colony is the same at every visit.
    """

    name: str
    genus: str
    form: Form
    centre_mm: tuple[float, float]
    radius_mm: float
    aspect: float = 1.2
    turn_deg: float = 0.0
    corallite_mm: float = 8.0
    rise_mm: float = 18.0
    tissue: Tissue = field(default_factory=Tissue)
    calice: Tissue = field(default_factory=Tissue)
    health: Health = field(default_factory=Health)
    seed: int = 0

    def spectra(self) -> FloatArray:
        """Reflectance of its materials, shape (8, 31)."""
        return np.stack(
            [
                coral_reflectance(self.tissue),
                coral_reflectance(self.calice),
                coral_reflectance(self.tissue, 0.33),
                coral_reflectance(self.calice, 0.36),
                coral_reflectance(self.tissue, 0.02),
                coral_reflectance(self.calice, 0.04),
                0.97 * skeleton(),
                turf(),
            ]
        )

    def radius_at(self, angle: NDArray[np.float64]) -> FloatArray:
        """Radius of the outline seen from above, by angle (radians, world axes), in mm."""
        rng = np.random.default_rng([self.seed, 11])
        a = angle - np.deg2rad(self.turn_deg)
        stretch = np.sqrt(self.aspect)
        radius = 1.0 / np.hypot(np.cos(a) / stretch, np.sin(a) * stretch)
        for k in range(2, 9):
            size = 0.085 / (k - 0.6)
            radius = radius * (1.0 + rng.normal(0.0, size) * np.cos(k * a + rng.uniform(0, 6.283)))
        return np.asarray(self.radius_mm * radius)

    def outline_mm(self, n: int = 72) -> FloatArray:
        """Points of its outline seen from above, shape (n, 2), world millimetres."""
        angle = np.arange(n) * 2.0 * np.pi / n
        r = self.radius_at(angle)
        spokes = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        return np.asarray(np.array(self.centre_mm) + r[:, None] * spokes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plot:
    """
    A square window of the map around one colony.

    Parameters
    ----------
    x_mm, y_mm : ndarray of float32, shape (n, n)
        World place of each cell.
    px_per_mm : float
    edge : ndarray of float32, shape (n, n)
        0 at the colony's centre, 1 on its outline, more outside.
    """

    x_mm: Field
    y_mm: Field
    px_per_mm: float
    edge: Field


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """
    What a growth form makes of a plot.

    Parameters
    ----------
    height_mm : ndarray of float32, shape (n, n)
    mask : ndarray of bool, shape (n, n)
        Where there is coral.
    calice : ndarray of float32, shape (n, n)
        0 outside the corallites, 1 inside: blends the two tissues.
    pale : ndarray of float32, shape (n, n)
        Ridges, rims and tips where tissue is thin and skeleton shows.
    lines_mm : ndarray of float, shape (k, 2, 2)
        Ends (x, y) of what one would measure across corallites, valleys or branches.
    level_mm : ndarray of float32, shape (n, n)
        Height at which those ends lie: the body's smooth surface with its walls on it.
    """

    height_mm: Field
    mask: NDArray[np.bool_]
    calice: Field
    pale: Field
    lines_mm: FloatArray
    level_mm: Field


def plot_for(colony: Colony, px_per_mm: float, margin_mm: float = 12.0) -> Plot:
    """The window that a colony needs, on the grid of the station's map."""
    reach = float(colony.radius_at(np.linspace(0, 6.28, 90)).max()) + margin_mm
    n = int(np.ceil(2.0 * reach * px_per_mm)) + 1
    n += n % 2
    corner = [np.round((c - reach) * px_per_mm) / px_per_mm for c in colony.centre_mm]
    steps = np.arange(n, dtype=np.float32) / np.float32(px_per_mm)
    x, y = np.meshgrid(steps + np.float32(corner[0]), steps + np.float32(corner[1]))
    dx, dy = x - colony.centre_mm[0], y - colony.centre_mm[1]
    table_angle = np.linspace(-np.pi, np.pi, 721)
    table = colony.radius_at(table_angle)
    limit = np.interp(np.arctan2(dy, dx).ravel(), table_angle, table).reshape(x.shape)
    edge = np.hypot(dx, dy) / limit
    return Plot(
        x_mm=x.astype(np.float32),
        y_mm=y.astype(np.float32),
        px_per_mm=px_per_mm,
        edge=edge.astype(np.float32),
    )


def dome(plot: Plot, rise_mm: float, lumps: Field) -> Field:
    """A low dome with lumps, 0 on the outline."""
    inside = np.clip(1.0 - plot.edge**2, 0.0, 1.0)
    body = rise_mm * (0.75 * inside + 0.25 * inside**2)
    return np.asarray(body + lumps * 0.08 * rise_mm * inside, dtype=np.float32)


def centres_within(
    colony: Colony, plot: Plot, spacing_mm: float, rng: np.random.Generator
) -> FloatArray:
    """Corallite centres: a shaken triangular grid inside the outline, shape (k, 2)."""
    x0, x1 = float(plot.x_mm[0, 0]), float(plot.x_mm[0, -1])
    y0, y1 = float(plot.y_mm[0, 0]), float(plot.y_mm[-1, 0])
    rows = np.arange(y0, y1, spacing_mm * np.sqrt(3) / 2)
    columns = np.arange(x0, x1, spacing_mm)
    gx, gy = np.meshgrid(columns, rows)
    gx = gx + (np.arange(len(rows)) % 2)[:, None] * spacing_mm / 2
    points = np.stack([gx.ravel(), gy.ravel()], axis=1)
    points = points + rng.normal(0.0, 0.13 * spacing_mm, points.shape)
    away = points - np.array(colony.centre_mm)
    limit = colony.radius_at(np.arctan2(away[:, 1], away[:, 0]))
    return np.asarray(points[np.hypot(away[:, 0], away[:, 1]) < limit - 0.3 * spacing_mm])


def nearest(plot: Plot, centres_mm: FloatArray) -> tuple[NDArray[np.int32], Field, Field]:
    """For each cell the number of its nearest centre, and the way from that centre in mm."""
    n = plot.x_mm.shape[0]
    corner = np.array([plot.x_mm[0, 0], plot.y_mm[0, 0]], dtype=float)
    at = np.clip(np.round((centres_mm - corner) * plot.px_per_mm).astype(int), 0, n - 1)
    seeds = np.full((n, n), 255, np.uint8)
    seeds[at[:, 1], at[:, 0]] = 0
    _, labels = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    number = np.zeros(int(labels.max()) + 1, np.int32)
    number[labels[at[:, 1], at[:, 0]]] = np.arange(len(centres_mm))
    which = number[labels]
    dx = plot.x_mm - centres_mm[which, 0]
    dy = plot.y_mm - centres_mm[which, 1]
    return which, dx.astype(np.float32), dy.astype(np.float32)


def health_layers(
    colony: Colony, plot: Plot, surface: Surface, patches: Field
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], Field]:
    """
    Materials of each cell by health: (first, second, share of the second).

    `patches` is a smooth random field: its ranks inside the colony are cut at the health
    shares, so that the shares of the visible area come out as asked.
    """
    inside = surface.mask
    order = np.zeros(patches.shape, np.float32)
    values = patches[inside]
    ranks = np.empty(values.size, np.float32)
    ranks[np.argsort(values)] = (np.arange(values.size) + 0.5) / max(values.size, 1)
    order[inside] = ranks
    h = colony.health
    cuts = np.cumsum([h.old_dead, h.recently_dead, h.bleached, h.pale])
    first = np.full(order.shape, LIVE, np.uint8)
    second = np.full(order.shape, LIVE_CALICE, np.uint8)
    states = (
        (OLD_DEAD, RECENT_DEAD),
        (RECENT_DEAD, RECENT_DEAD),
        (BLEACHED, BLEACHED_CALICE),
        (PALE, PALE_CALICE),
    )
    below = 0.0
    for cut, (outer, inner) in zip(cuts, states, strict=True):
        here = inside & (order >= below) & (order < cut)
        first[here], second[here] = outer, inner
        below = float(cut)
    share = surface.calice.copy()
    share[first == OLD_DEAD] *= 0.08
    tip = (first == LIVE) & (surface.pale > surface.calice)
    second[tip] = PALE
    share[tip] = surface.pale[tip]
    return first, second, share
