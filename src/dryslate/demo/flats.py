"""Flat things to lay into a scene: cards, chips, bars, and what may cover a marker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.picture import draw_labels
from dryslate.demo.pinhole import Pose, turn_about
from dryslate.demo.spectra import FloatArray, lab_of
from dryslate.demo.surfaces import (
    PRINT_PIGMENTS,
    PigmentSet,
    brown_algae,
    reflectance_for_lab,
    reflectance_in_water,
    skin,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """
    Where a flat thing lies.

    Parameters
    ----------
    centre_mm : tuple of float
        World x and y of its centre.
    height_mm : float
        Its centre above the ground plane.
    turn_deg : float
        Turned clockwise as seen from above.
    lean_deg, lean_towards_deg : float
        Raised out of the level by `lean_deg`: the side away from `lean_towards_deg` rises.
    """

    centre_mm: tuple[float, float] = (0.0, 0.0)
    height_mm: float = 1.0
    turn_deg: float = 0.0
    lean_deg: float = 0.0
    lean_towards_deg: float = 0.0

    def pose(self, width_mm: float, height_mm: float) -> Pose:
        """From the thing's millimetres (origin its top left corner) to the world."""
        axis = np.deg2rad(self.lean_towards_deg)
        lean = turn_about((np.cos(axis), np.sin(axis), 0.0), self.lean_deg)
        turn = lean @ turn_about((0.0, 0.0, 1.0), self.turn_deg)
        centre = np.array([self.centre_mm[0], self.centre_mm[1], -self.height_mm])
        return Pose(turn=turn, shift_mm=centre - turn @ np.array([width_mm / 2, height_mm / 2, 0]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """
    A flat thing made of uniform materials.

    Parameters
    ----------
    name : str
    labels : ndarray of int16, shape (rows, columns)
        Number of the material of each cell; negative where there is nothing.
    cells_per_mm : float
    spectra : ndarray of float, shape (n_materials, 31)
        Reflectance as it is in the scene (under water as a rule).
    place : Place
    is_cover : bool
        Lies over the cards: what it covers cannot be seen.
    """

    name: str
    labels: NDArray[np.int16]
    cells_per_mm: float
    spectra: FloatArray
    place: Place = Place()
    is_cover: bool = False

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        rows, columns = self.labels.shape
        return columns / self.cells_per_mm, rows / self.cells_per_mm

    def pose(self) -> Pose:
        """From its millimetres to the world."""
        return self.place.pose(*self.size_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedCard:
    """
    A card lying in a scene.

    Parameters
    ----------
    card : CardDefinition
    place : Place
    pigments : PigmentSet
        What its colours are mixed from.
    spectra : mapping of str to ndarray
        Reflectance in the scene by material name (``"patch:n50"``, ``"ground"``); replaces
        what would be made from the definition's colours.
    wet : bool
        Values that hold in air are turned into what the print shows under water.
    cells_per_mm : float
        Resolution it is drawn at.
    """

    card: CardDefinition
    place: Place = Place()
    pigments: PigmentSet = PRINT_PIGMENTS
    spectra: Mapping[str, FloatArray] = field(default_factory=dict)
    wet: bool = True
    cells_per_mm: float = 10.0

    def materials(self) -> dict[str, FloatArray]:
        """Reflectance in the scene by material name."""
        drawn = draw_labels(self.card, 0.5)
        made = {}
        for material in drawn.materials:
            if material.name in self.spectra:
                made[material.name] = self.spectra[material.name]
                continue
            spectrum = reflectance_for_lab(material.lab_d65, self.pigments)
            if self.wet and self.card.medium == "air":
                spectrum = reflectance_in_water(spectrum)
            made[material.name] = spectrum
        return made

    def flat(self) -> Flat:
        """The card as a flat thing."""
        drawn = draw_labels(self.card, self.cells_per_mm)
        return Flat(
            name=self.card.name,
            labels=drawn.labels,
            cells_per_mm=self.cells_per_mm,
            spectra=np.stack(list(self.materials().values())),
            place=self.place,
        )

    def patch_lab(self) -> dict[str, tuple[float, float, float]]:
        """True colour of each patch in the scene."""
        labs = {}
        for name, spectrum in self.materials().items():
            if name.startswith("patch:"):
                lab = lab_of(spectrum)
                labs[name.removeprefix("patch:")] = (float(lab[0]), float(lab[1]), float(lab[2]))
        return labs


def chip(
    name: str, spectrum: FloatArray, place: Place, size_mm: tuple[float, float] = (20.0, 20.0)
) -> Flat:
    """A plain piece of one colour."""
    cells = np.zeros((round(size_mm[1] * 4), round(size_mm[0] * 4)), np.int16)
    return Flat(name=name, labels=cells, cells_per_mm=4.0, spectra=spectrum[None], place=place)


def bar(name: str, length_mm: float, place: Place, width_mm: float = 12.0) -> Flat:
    """A white bar with a dark end mark at each end: the marks' inner edges are its length apart."""
    cells_per_mm = 5.0
    end = 6.0
    cells = np.zeros(
        (round(width_mm * cells_per_mm), round((length_mm + 2 * end) * cells_per_mm)), np.int16
    )
    n_end = round(end * cells_per_mm)
    cells[:, :n_end] = 1
    cells[:, -n_end:] = 1
    spectra = np.stack([reflectance_for_lab((88.0, 0.0, 1.0)), reflectance_for_lab((22.0, 0, 0))])
    return Flat(name=name, labels=cells, cells_per_mm=cells_per_mm, spectra=spectra, place=place)


def bar_ends_mm(thing: Flat) -> FloatArray:
    """The two measured points of a bar made by `bar`, in its own millimetres, shape (2, 2)."""
    width, height = thing.size_mm
    return np.array([[6.0, height / 2], [width - 6.0, height / 2]])


def finger(place: Place, width_mm: float = 17.0, length_mm: float = 70.0) -> Flat:
    """A finger tip lying on the card, its tip at the top."""
    scale = 3.0
    cells = np.full((round(length_mm * scale), round(width_mm * scale)), -1, np.int16)
    rows, columns = np.indices(cells.shape)
    r = width_mm * scale / 2
    inside = (rows > r) | ((rows - r) ** 2 + (columns - r) ** 2 < r * r)
    cells[inside] = 0
    edge = cv2.erode(inside.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=4) == 0
    cells[inside & edge] = 1
    nail = ((rows - 1.15 * r) / (0.85 * r)) ** 2 + ((columns - r) / (0.55 * r)) ** 2 < 1.0
    cells[nail] = 2
    flesh = skin()
    spectra = np.stack([0.85 * flesh, 0.55 * flesh, 0.95 * flesh + 0.03])
    return Flat(
        name="finger",
        labels=cells,
        cells_per_mm=scale,
        spectra=spectra,
        place=place,
        is_cover=True,
    )


def weed(rng: np.random.Generator, place: Place, size_mm: float = 60.0) -> Flat:
    """A loose tuft of brown algae."""
    scale = 3.0
    n = round(size_mm * scale)
    cells = np.full((n, n), -1, np.int16)
    for _ in range(14):
        angle = rng.uniform(0.0, 2.0 * np.pi)
        start = np.array([n / 2, n / 2]) + rng.normal(0.0, n * 0.05, 2)
        points = [start]
        for _step in range(9):
            angle += rng.normal(0.0, 0.35)
            points.append(points[-1] + n * 0.055 * np.array([np.cos(angle), np.sin(angle)]))
        line = np.round(np.array(points)).astype(np.int32).reshape(-1, 1, 2)
        leaf = int(rng.integers(0, 3))
        drawn = np.zeros((n, n), np.uint8)
        cv2.polylines(drawn, [line], False, 1, thickness=int(rng.integers(9, 17)))
        cells[drawn > 0] = leaf
    tone = brown_algae()
    spectra = np.stack([tone, 0.7 * tone, 1.35 * tone + 0.005])
    return Flat(
        name="weed", labels=cells, cells_per_mm=scale, spectra=spectra, place=place, is_cover=True
    )
