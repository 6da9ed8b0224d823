"""A camera in space: focal length, distortion, and where it stands over the scene."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.demo.spectra import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneLens:
    """
    Pinhole with radial and tangential distortion (Brown's model, as OpenCV writes it).

    Parameters
    ----------
    focal_px : float
    centre_px : tuple of float or None
        Principal point; the middle of the picture by default.
    k1, k2, p1, p2, k3 : float
        Distortion terms.
    """

    focal_px: float
    centre_px: tuple[float, float] | None = None
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0

    def matrix(self, size_px: tuple[int, int]) -> FloatArray:
        """Camera matrix for a picture of that width and height, shape (3, 3)."""
        cx, cy = self.centre_px or ((size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0)
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1.0]])

    @property
    def distortion(self) -> FloatArray:
        """Terms in OpenCV's order k1, k2, p1, p2, k3."""
        return np.array([self.k1, self.k2, self.p1, self.p2, self.k3])

    def distort(self, xy: ArrayLike) -> FloatArray:
        """Where an undistorted normalised point (n, 2) lands, still normalised."""
        x, y = np.moveaxis(np.asarray(xy, float), -1, 0)
        r2 = x * x + y * y
        radial = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3))
        x_d = x * radial + 2.0 * self.p1 * x * y + self.p2 * (r2 + 2.0 * x * x)
        y_d = y * radial + self.p1 * (r2 + 2.0 * y * y) + 2.0 * self.p2 * x * y
        return np.stack([x_d, y_d], axis=-1)

    def undistort(self, xy_distorted: ArrayLike) -> FloatArray:
        """Undo `distort` by repeated substitution, to about 1e-10 for ordinary lenses."""
        aim = np.asarray(xy_distorted, float)
        if not self.distortion.any():
            return aim
        xy = aim.copy()
        for _ in range(40):
            xy = xy + (aim - self.distort(xy))
        return xy


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """
    Turn and shift from one frame to another: ``there = turn @ here + shift_mm``.

    Parameters
    ----------
    turn : ndarray of float, shape (3, 3)
    shift_mm : ndarray of float, shape (3,)
    """

    turn: FloatArray
    shift_mm: FloatArray

    def apply(self, xyz_mm: ArrayLike) -> FloatArray:
        """Bring points (n, 3) over."""
        return np.asarray(xyz_mm, float) @ self.turn.T + self.shift_mm


def turn_about(axis: ArrayLike, angle_deg: float) -> FloatArray:
    """Rotation matrix about an axis (right hand)."""
    unit = np.asarray(axis, float)
    unit = unit / np.linalg.norm(unit)
    matrix, _ = cv2.Rodrigues(unit * np.deg2rad(angle_deg))
    return np.asarray(matrix, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """
    Where the camera stands: it looks at a point of the ground from a distance.

    The world has x to the right, y towards the bottom of the picture and z down into the
    seabed, in millimetres; the ground is the plane z = 0.

    Parameters
    ----------
    target_mm : tuple of float
        World x, y (and height above ground when three numbers) that the line of sight meets.
    distance_mm : float
        From the camera to that point.
    tilt_deg : float
        Angle between the line of sight and the plumb line.
    azimuth_deg : float
        Side from which the camera looks: 0 from the bottom of the picture, so that the top of
        the picture is farther away; turning clockwise.
    roll_deg : float
        The camera turned about its own line of sight.
    """

    target_mm: tuple[float, float] = (0.0, 0.0)
    distance_mm: float = 600.0
    tilt_deg: float = 10.0
    azimuth_deg: float = 0.0
    roll_deg: float = 0.0

    def pose(self) -> Pose:
        """From world to camera (x right, y down, z forward)."""
        tilt = turn_about((1.0, 0.0, 0.0), -self.tilt_deg)
        side = turn_about((0.0, 0.0, 1.0), -self.azimuth_deg)
        roll = turn_about((0.0, 0.0, 1.0), self.roll_deg)
        turn = roll @ tilt @ side
        target = np.array([self.target_mm[0], self.target_mm[1], 0.0])
        return Pose(turn=turn, shift_mm=np.array([0.0, 0.0, self.distance_mm]) - turn @ target)


def project(xyz_mm: ArrayLike, pose: Pose, lens: SceneLens, size_px: tuple[int, int]) -> FloatArray:
    """
    Where world points land in the picture.

    Parameters
    ----------
    xyz_mm : array_like of float, shape (n, 3)
    pose : Pose
        World to camera.
    lens : SceneLens
    size_px : tuple of int
        Width and height.

    Returns
    -------
    ndarray of float, shape (n, 2)
        Pixels, x right, y down, pixel centres on whole numbers.
    """
    seen = pose.apply(xyz_mm)
    ideal = seen[:, :2] / seen[:, 2:3]
    matrix = lens.matrix(size_px)
    return np.asarray(lens.distort(ideal) * [matrix[0, 0], matrix[1, 1]] + matrix[:2, 2])


def rays(lens: SceneLens, size_px: tuple[int, int]) -> NDArray[np.float32]:
    """Undistorted normalised direction of every pixel, shape (height, width, 2)."""
    width, height = size_px
    matrix = lens.matrix(size_px)
    step = 8 if lens.distortion.any() else 64
    xs = np.arange(-step, width + 2 * step, step, dtype=float)
    ys = np.arange(-step, height + 2 * step, step, dtype=float)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1)
    coarse = lens.undistort((grid - matrix[:2, 2]) / [matrix[0, 0], matrix[1, 1]])
    at_x = np.tile(((np.arange(width) + step) / step).astype(np.float32), (height, 1))
    at_y = np.repeat(((np.arange(height) + step) / step).astype(np.float32)[:, None], width, 1)
    # OpenCV interpolates with 1/32 of a cell: done by hand along both axes instead
    return _bilinear(coarse.astype(np.float64), at_x[0], at_y[:, 0])


def _bilinear(
    coarse: FloatArray, at_x: NDArray[np.float32], at_y: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Separable linear interpolation of a grid, exact weights."""
    x0 = np.minimum(at_x.astype(int), coarse.shape[1] - 2)
    y0 = np.minimum(at_y.astype(int), coarse.shape[0] - 2)
    fx = (at_x - x0)[None, :, None]
    fy = (at_y - y0)[:, None, None]
    rows = coarse[:, x0] * (1.0 - fx) + coarse[:, x0 + 1] * fx
    return np.asarray(rows[y0] * (1.0 - fy) + rows[y0 + 1] * fy, dtype=np.float32)
