"""What is true about a picture: where each thing lies in it and which colour it really has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.demo.flats import Flat, PlacedCard
from dryslate.demo.pinhole import Pose, SceneLens, project
from dryslate.demo.spectra import FloatArray, lab_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """How the camera sees the world: `pose` world to camera, lens and size of the picture."""

    pose: Pose
    lens: SceneLens
    size_px: tuple[int, int]

    def of(self, xyz_mm: FloatArray) -> FloatArray:
        """Where world points (n, 3) land, in pixels (n, 2)."""
        return project(xyz_mm, self.pose, self.lens, self.size_px)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkerTruth:
    """One marker: its corners in the picture, how much of it is covered, and if it is in frame."""

    dictionary: str
    marker_id: int
    corners_px: FloatArray
    covered_frac: float
    in_frame: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardTruth:
    """
    The truth about one card.

    Parameters
    ----------
    name : str
    corners_px : ndarray of float, shape (4, 2)
        Clockwise from its top left, lens distortion included.
    card_to_px : ndarray of float, shape (3, 3)
        Homography from card millimetres to pixels of a lens without distortion.
    markers : tuple of MarkerTruth
    patch_lab : mapping of str to tuple of float
        True colour of each patch in the scene (L*, a*, b*, D65).
    tilt_deg : float
        Between the card's normal and the line of sight at its centre.
    distance_mm : float
        From the camera to the card's centre.
    pose : Pose
        From card millimetres to the world.
    """

    name: str
    corners_px: FloatArray
    card_to_px: FloatArray
    markers: tuple[MarkerTruth, ...]
    patch_lab: Mapping[str, tuple[float, float, float]]
    tilt_deg: float
    distance_mm: float
    pose: Pose


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThingTruth:
    """A chip, bar or cover: corners in the picture, and its true colour if it has one only."""

    name: str
    corners_px: FloatArray
    centre_px: FloatArray
    lab_d65: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneTruth:
    """
    Everything true about a picture.

    Parameters
    ----------
    cards : tuple of CardTruth
    things : tuple of ThingTruth
    points_px : mapping of str to ndarray of float, shape (n, 2)
        Where the scene's points land.
    camera_to_px : ndarray of float, shape (3, 3)
        Camera matrix.
    pose : Pose
        World to camera.
    gains : ndarray of float, shape (3,)
        White balance the camera used.
    exposure : float
    """

    cards: tuple[CardTruth, ...]
    things: tuple[ThingTruth, ...]
    points_px: Mapping[str, FloatArray]
    camera_to_px: FloatArray
    pose: Pose
    gains: FloatArray
    exposure: float


def to_camera(flat_pose: Pose, pose: Pose) -> FloatArray:
    """Homography from a flat thing's millimetres to camera space."""
    turn = pose.turn @ flat_pose.turn
    shift = pose.apply(flat_pose.shift_mm[None])[0]
    return np.ascontiguousarray(np.stack([turn[:, 0], turn[:, 1], shift], axis=1))


def corners_own(size_mm: tuple[float, float]) -> FloatArray:
    """Corners of a rectangle, clockwise from the top left, as (x, y, 0)."""
    w, h = size_mm
    return np.array([[0, 0, 0], [w, 0, 0], [w, h, 0], [0, h, 0]], dtype=float)


def corners_world(flat: Flat) -> FloatArray:
    """Corners of a flat thing in the world."""
    return flat.pose().apply(corners_own(flat.size_mm))


def scene_truth(
    sight: Sight,
    cards: Sequence[PlacedCard],
    things: Sequence[Flat],
    points_mm: Mapping[str, FloatArray],
    developed: tuple[FloatArray, float],
) -> SceneTruth:
    """Collect the truth; `developed` is the white balance gains and the exposure."""
    covers = [t for t in things if t.is_cover]
    return SceneTruth(
        cards=tuple(_card_truth(sight, placed, covers) for placed in cards),
        things=tuple(_thing_truth(sight, thing) for thing in things),
        points_px={name: sight.of(xyz) for name, xyz in points_mm.items()},
        camera_to_px=sight.lens.matrix(sight.size_px),
        pose=sight.pose,
        gains=developed[0],
        exposure=developed[1],
    )


def _card_truth(sight: Sight, placed: PlacedCard, covers: Sequence[Flat]) -> CardTruth:
    """The truth about one card."""
    card = placed.card
    own = placed.place.pose(card.width_mm, card.height_mm)
    corners = own.apply(corners_own((card.width_mm, card.height_mm)))
    pose = sight.pose
    centre = pose.apply(corners.mean(axis=0)[None])[0]
    normal = pose.turn @ own.turn[:, 2]
    distance = float(np.linalg.norm(centre))
    cosine = abs(float(normal @ centre)) / distance
    matrix = sight.lens.matrix(sight.size_px)
    to_px = matrix @ to_camera(own, pose)
    return CardTruth(
        name=card.name,
        corners_px=sight.of(corners),
        card_to_px=to_px / to_px[2, 2],
        markers=tuple(_marker_truths(sight, placed, own, covers)),
        patch_lab=placed.patch_lab(),
        tilt_deg=float(np.rad2deg(np.arccos(min(cosine, 1.0)))),
        distance_mm=distance,
        pose=own,
    )


def _marker_truths(
    sight: Sight, placed: PlacedCard, own: Pose, covers: Sequence[Flat]
) -> list[MarkerTruth]:
    """Corners of each marker, in its own order, and how much of it is covered."""
    truths = []
    for marker in placed.card.markers:
        square = corners_own((marker.side_mm, marker.side_mm)) + np.array(
            [marker.x_mm, marker.y_mm, 0.0]
        )
        square = np.roll(square, -(marker.turn_deg // 90), axis=0)
        corners = sight.of(own.apply(square))
        inside = (corners >= 0).all() and (corners <= np.array(sight.size_px) - 1).all()
        grid = (np.arange(12) + 0.5) / 12 * marker.side_mm
        spots = np.stack([*np.meshgrid(grid, grid), np.zeros((12, 12))], axis=-1).reshape(-1, 3)
        world = own.apply(spots + np.array([marker.x_mm, marker.y_mm, 0.0]))
        hidden = np.zeros(len(world), bool)
        for cover in covers:
            hidden |= _is_behind(cover, world, sight.pose)
        truths.append(
            MarkerTruth(
                dictionary=marker.dictionary,
                marker_id=marker.marker_id,
                corners_px=corners,
                covered_frac=float(hidden.mean()),
                in_frame=bool(inside),
            )
        )
    return truths


def _is_behind(cover: Flat, world_mm: FloatArray, pose: Pose) -> NDArray[np.bool_]:
    """Which world points a cover hides from the camera."""
    seen = pose.apply(world_mm)
    own = np.linalg.inv(to_camera(cover.pose(), pose)) @ (seen / seen[:, 2:3]).T
    u, v = (own[:2] / own[2] * cover.cells_per_mm).astype(int)
    rows, columns = cover.labels.shape
    inside = (u >= 0) & (v >= 0) & (u < columns) & (v < rows)
    hidden = np.zeros(len(world_mm), bool)
    hidden[inside] = cover.labels[v[inside], u[inside]] >= 0
    return hidden


def _thing_truth(sight: Sight, thing: Flat) -> ThingTruth:
    """The truth about a chip, a bar or a cover."""
    world = corners_world(thing)
    everything = np.concatenate([world, world.mean(axis=0)[None]])
    seen = sight.of(everything)
    lab = None
    if len(thing.spectra) == 1:
        value = lab_of(thing.spectra[0])
        lab = (float(value[0]), float(value[1]), float(value[2]))
    return ThingTruth(name=thing.name, corners_px=seen[:4], centre_px=seen[4], lab_d65=lab)
