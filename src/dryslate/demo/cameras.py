"""A camera: its sensitivities, and what it does between the sensor and the file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.demo.spectra import WAVELENGTHS_NM, FloatArray, daylight, linear_srgb_of
from dryslate.demo.surfaces import band, step_up

Float32Image = NDArray[np.float32]
Uint8Image = NDArray[np.uint8]
WhiteBalanceMode = Literal["daylight", "custom", "auto"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraModel:
    """
    Spectral sensitivities of a made-up camera.

    Parameters
    ----------
    name : str
    centres_nm, widths_nm : tuple of float
        Main bell of red, green and blue.
    red_side_frac : float
        A small second bell of red near 440 nm.
    green_side_frac : float
        How far green leaks into the red end.
    infrared_cut_nm : float
        Where the hot mirror cuts.
    """

    name: str = "plain"
    centres_nm: tuple[float, float, float] = (602.0, 535.0, 460.0)
    widths_nm: tuple[float, float, float] = (34.0, 38.0, 29.0)
    red_side_frac: float = 0.05
    green_side_frac: float = 0.10
    infrared_cut_nm: float = 668.0

    @property
    def sensitivities(self) -> FloatArray:
        """Response to light by wavelength, shape (31, 3), largest value 1."""
        red, green, blue = (
            band(c, w) for c, w in zip(self.centres_nm, self.widths_nm, strict=True)
        )
        red = red + self.red_side_frac * band(442.0, 26.0) + 0.10 * band(545.0, 30.0)
        green = green + self.green_side_frac * band(615.0, 42.0) + 0.12 * band(468.0, 26.0)
        blue = blue + 0.06 * band(540.0, 42.0)
        cuts = step_up(409.0, 4.0) * (1.0 - step_up(self.infrared_cut_nm, 9.0))
        curves = np.stack([0.82 * red, green, 0.78 * blue], axis=1) * cuts[:, None]
        return np.asarray(curves / curves.max())


COMPACT = CameraModel(name="compact")
MIRRORLESS = CameraModel(
    name="mirrorless",
    centres_nm=(598.0, 530.0, 455.0),
    widths_nm=(38.0, 42.0, 31.0),
    red_side_frac=0.03,
    green_side_frac=0.14,
    infrared_cut_nm=682.0,
)
ACTION = CameraModel(
    name="action",
    centres_nm=(608.0, 541.0, 466.0),
    widths_nm=(30.0, 35.0, 26.0),
    red_side_frac=0.08,
    green_side_frac=0.07,
    infrared_cut_nm=652.0,
)


def camera_response(camera: CameraModel, light: FloatArray) -> FloatArray:
    """Raw red, green and blue of spectra of light, shape (..., 31) to (..., 3)."""
    return np.asarray(np.asarray(light) @ camera.sensitivities / WAVELENGTHS_NM.size / 100.0)


@lru_cache(maxsize=64)
def daylight_matrix(camera: CameraModel) -> FloatArray:
    """
    The camera's own matrix from balanced raw to linear sRGB, as its maker would fit it.

    Returns
    -------
    ndarray of float, shape (3, 3)
        Least squares under D65 over 240 smooth spectra (fixed seed), each row summing to 1 so
        that grey stays grey.
    """
    rng = np.random.default_rng(20240501)
    spectra = np.stack([_smooth_spectrum(rng) for _ in range(240)])
    raw = camera_response(camera, spectra * daylight())
    raw = raw / camera_response(camera, daylight())
    target = linear_srgb_of(spectra)
    # rows sum to 1: regress differences from the green channel
    centred = raw[:, [0, 2]] - raw[:, [1]]
    part, *_ = np.linalg.lstsq(centred, target - raw[:, [1]], rcond=None)
    matrix = np.stack([part[0], 1.0 - part[0] - part[1], part[1]], axis=1)
    matrix.setflags(write=False)
    return matrix


def _smooth_spectrum(rng: np.random.Generator) -> FloatArray:
    """A random smooth reflectance between 0.02 and 0.95."""
    base = np.full(WAVELENGTHS_NM.size, rng.uniform(0.04, 0.5))
    for _ in range(int(rng.integers(1, 4))):
        base = base + rng.uniform(-0.4, 0.5) * band(rng.uniform(400, 700), rng.uniform(25, 90))
    base = base + rng.uniform(-0.3, 0.5) * step_up(rng.uniform(450, 650), rng.uniform(10, 40))
    return np.asarray(np.clip(base, 0.02, 0.95))


@dataclass(frozen=True, slots=True, kw_only=True)
class WhiteBalance:
    """
    How the camera balances its channels.

    Parameters
    ----------
    mode : {"daylight", "custom", "auto"}
        Daylight above water; set on a grey at `custom_depth_m` in the scene's water; or a grey
        world taken from the picture, as far as the camera dares.
    custom_depth_m : float
    strength_frac : float
        How much of the automatic balance is applied.
    gain_limit : float
        Largest ratio between two gains that the camera allows, against daylight.
    """

    mode: WhiteBalanceMode = "daylight"
    custom_depth_m: float = 6.0
    strength_frac: float = 0.75
    gain_limit: float = 3.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Imaging:
    """
    From light on the sensor to the values in the file.

    Parameters
    ----------
    white_balance : WhiteBalance
    exposure_ev : float
        Added to the automatic exposure.
    auto_percentile, auto_level : float
        The automatic exposure brings this percentile of the brightest channel to this level
        before clipping.
    blur_px : float
        Standard deviation of the lens and motion blur.
    electrons_white : float
        Electrons at clipping; fewer means more noise (higher ISO).
    read_electrons : float
        Read noise.
    contrast : float
        Picture style: 0 none to 0.6 strong S-curve on the encoded values.
    saturation : float
        Picture style: 1 none.
    vignetting_frac : float
        Light lost in the corners.
    jpeg_quality : int or None
        None leaves the pixels uncompressed.
    """

    white_balance: WhiteBalance = WhiteBalance()
    exposure_ev: float = 0.0
    auto_percentile: float = 97.0
    auto_level: float = 0.62
    blur_px: float = 0.7
    electrons_white: float = 9000.0
    read_electrons: float = 4.0
    contrast: float = 0.0
    saturation: float = 1.0
    vignetting_frac: float = 0.0
    jpeg_quality: int | None = 92


def white_gains(
    balance: WhiteBalance,
    camera: CameraModel,
    custom_light: FloatArray,
    scene_mean: FloatArray,
) -> FloatArray:
    """Gains of red, green and blue, the smallest 1."""
    day = 1.0 / camera_response(camera, daylight())
    if balance.mode == "daylight":
        gains = day
    elif balance.mode == "custom":
        gains = 1.0 / np.maximum(camera_response(camera, custom_light), 1e-9)
    else:
        gains = day * (1.0 / np.maximum(scene_mean * day, 1e-9)) ** balance.strength_frac
    relative = gains / day
    relative = np.minimum(relative / relative.min(), balance.gain_limit)
    gains = day * relative
    return np.asarray(gains / gains.min())


def auto_exposure(raw: Float32Image, gains: FloatArray, imaging: Imaging) -> float:
    """Factor that brings the bright parts of the balanced picture to the wanted level."""
    thinned = raw[::7, ::7].reshape(-1, 3) * gains.astype(np.float32)
    bright = float(np.percentile(thinned.max(axis=1), imaging.auto_percentile))
    return float(imaging.auto_level / max(bright, 1e-9) * 2.0**imaging.exposure_ev)


def encode_srgb(linear: FloatArray) -> FloatArray:
    """IEC 61966-2-1 curve, for values of 0 to 1."""
    return np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    )


@lru_cache(maxsize=64)
def tone_table(contrast: float) -> Uint8Image:
    """Code value for each of 16,384 linear levels: sRGB curve, then the style's S-curve."""
    coded = encode_srgb(np.linspace(0.0, 1.0, 16384))
    styled = coded - contrast * np.sin(2.0 * np.pi * coded) / (2.0 * np.pi)
    return np.asarray(np.rint(255.0 * np.clip(styled, 0.0, 1.0)), dtype=np.uint8)


def style_matrix(saturation: float) -> FloatArray:
    """Matrix that stretches colours away from grey."""
    luma = np.array([0.2126, 0.7152, 0.0722])
    return np.asarray(saturation * np.eye(3) + (1.0 - saturation) * np.tile(luma, (3, 1)))


def expose(
    raw: Float32Image, factor: float, imaging: Imaging, rng: np.random.Generator
) -> Float32Image:
    """Blur, darken the corners, add shot and read noise; clip at the sensor's white."""
    if imaging.blur_px > 0:
        raw = np.asarray(cv2.GaussianBlur(raw, (0, 0), imaging.blur_px), dtype=np.float32)
    height, width = raw.shape[:2]
    exposed = raw * np.float32(factor)
    if imaging.vignetting_frac > 0:
        y = (np.arange(height, dtype=np.float32) - (height - 1) / 2) / (height / 2)
        x = (np.arange(width, dtype=np.float32) - (width - 1) / 2) / (width / 2)
        fall = 1.0 - np.float32(imaging.vignetting_frac / 2) * (y[:, None] ** 2 + x[None, :] ** 2)
        exposed *= fall[..., None]
    if np.isfinite(imaging.electrons_white):
        per_electron = np.float32(1.0 / imaging.electrons_white)
        read = np.float32((imaging.read_electrons / imaging.electrons_white) ** 2)
        for top in range(0, height, 128):  # in strips: large pictures then need little memory
            strip = exposed[top : top + 128]
            sigma = np.sqrt(np.maximum(strip, 0) * per_electron + read)
            strip += sigma * rng.standard_normal(strip.shape, dtype=np.float32)
    return np.asarray(np.clip(exposed, 0.0, 1.0, out=exposed))


def develop(
    raw: Float32Image, gains: FloatArray, camera: CameraModel, imaging: Imaging
) -> Uint8Image:
    """Balance, daylight matrix, picture style, sRGB, eight bits."""
    matrix = style_matrix(imaging.saturation) @ daylight_matrix(camera) @ np.diag(gains)
    levels = cv2.transform(raw, (16383.0 * matrix).astype(np.float32))
    np.clip(levels, 0.0, 16383.0, out=levels)
    table = tone_table(imaging.contrast)
    return np.asarray(table[levels.astype(np.uint16)])
