"""A scene under water, and its picture with the truth about everything in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.demo.cameras import (
    COMPACT,
    CameraModel,
    Imaging,
    auto_exposure,
    camera_response,
    develop,
    expose,
    white_gains,
)
from dryslate.demo.flats import Flat, PlacedCard
from dryslate.demo.marching import Eye
from dryslate.demo.noise import caustic_pattern
from dryslate.demo.pinhole import SceneLens, View, project, rays
from dryslate.demo.seabed import Seabed
from dryslate.demo.spectra import N_BANDS, FloatArray, daylight, planck
from dryslate.demo.tracing import FlatThing, LightTables, trace_flat, trace_ground
from dryslate.demo.truth import SceneTruth, Sight, corners_world, scene_truth, to_camera
from dryslate.demo.water import Water, transmittance

RENDERER_VERSION = "1"
"""Raise it when a change alters pictures: caches of scenes are keyed by it."""

_NEAR_MM = 80.0
_N_DISTANCES = 160
_FAR_MM = 40_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Flash:
    """
    An underwater flash or lamp.

    Parameters
    ----------
    strength : float
        Its light on a matt white at 1 m, against daylight at the surface.
    temperature_k : float
    aim : tuple of float
        Where its beam's middle falls, as normalised picture coordinates.
    width : float
        How wide the beam is, in the same units.
    """

    strength: float = 0.5
    temperature_k: float = 5400.0
    aim: tuple[float, float] = (-0.05, -0.05)
    width: float = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Daylight:
    """
    Light from above.

    Parameters
    ----------
    brightness : float
        Against full daylight.
    chromaticity : tuple of float
        CIE x, y of the sky and sun together.
    caustics : float
        Contrast of the wandering bright lines; 0 for a dull day or deep water.
    caustic_waves : float
        How many of them cross a metre.
    gradient_per_m : tuple of float
        Slope of the log of the light along world x and y.
    """

    brightness: float = 1.0
    chromaticity: tuple[float, float] = (0.3127, 0.3290)
    caustics: float = 0.1
    caustic_waves: float = 8.0
    gradient_per_m: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """
    Everything that decides a picture.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the upright picture.
    lens : SceneLens
    view : View
    seabed : Seabed
    water : Water or None
        None is air (then give cards `wet=False`).
    daylight : Daylight
    flash : Flash or None
    camera : CameraModel
    imaging : Imaging
    cards : tuple of PlacedCard
    things : tuple of Flat
        Chips, bars and covers; covers are laid over the cards, all else below them.
    points_mm : mapping of str to ndarray of float, shape (n, 3)
        World points to follow into the picture: ends of corals, corallites, outlines.
    """

    size_px: tuple[int, int]
    lens: SceneLens
    seabed: Seabed
    view: View = field(default_factory=View)
    water: Water | None = field(default_factory=Water)
    daylight: Daylight = field(default_factory=Daylight)
    flash: Flash | None = None
    camera: CameraModel = COMPACT
    imaging: Imaging = field(default_factory=Imaging)
    cards: tuple[PlacedCard, ...] = ()
    things: tuple[Flat, ...] = ()
    points_mm: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rendered:
    """A picture, upright, sRGB, with its truth."""

    img_srgb: NDArray[np.uint8]
    truth: SceneTruth


def render_scene(scene: Scene, rng: np.random.Generator) -> Rendered:
    """
    Take the picture.

    Parameters
    ----------
    scene : Scene
    rng : numpy Generator
        For the play of light and the sensor's noise.

    Returns
    -------
    Rendered

    Notes
    -----
    Spectra at 31 wavelengths from 400 to 700 nm: daylight, the water above (Kd of Jerlov's
    types), reflectance, the path to the camera and its veiling light, sensitivities. Then blur,
    vignetting, shot and read noise, clipping, white balance, the camera's daylight matrix,
    picture style, sRGB, JPEG.
    """
    pose = scene.view.pose()
    place = -pose.turn.T @ pose.shift_mm
    eye = Eye(
        turn=np.ascontiguousarray(pose.turn), place_mm=place, focal_px=float(scene.lens.focal_px)
    )
    flats = _in_order(scene)
    spectra = np.concatenate([scene.seabed.spectra, *[f.spectra for f in flats]])
    light = light_tables(scene, spectra, rng)
    ray = rays(scene.lens, scene.size_px)
    bed = scene.seabed
    raw = trace_ground(eye, bed.near, bed.far, bed.span_mm, light, ray)
    first = len(bed.spectra)
    for flat in flats:
        _lay(scene, flat, first, (eye, light, ray, raw))
        first += len(flat.spectra)
    gains = white_gains(
        scene.imaging.white_balance,
        scene.camera,
        _custom_light(scene),
        raw[::9, ::9].reshape(-1, 3).mean(axis=0).astype(float),
    )
    exposure = auto_exposure(raw, gains, scene.imaging)
    exposed = expose(raw, exposure, scene.imaging, rng)
    img = develop(exposed, gains, scene.camera, scene.imaging)
    return Rendered(
        img_srgb=_through_jpeg(img, scene.imaging.jpeg_quality),
        truth=scene_truth(
            Sight(pose=pose, lens=scene.lens, size_px=scene.size_px),
            scene.cards,
            scene.things,
            scene.points_mm,
            (gains, exposure),
        ),
    )


def _in_order(scene: Scene) -> list[Flat]:
    """Flat things from the lowest to the highest layer."""
    below = [t for t in scene.things if not t.is_cover]
    above = [t for t in scene.things if t.is_cover]
    return [*below, *[c.flat() for c in scene.cards], *above]


def _custom_light(scene: Scene) -> FloatArray:
    """Light that a custom white balance was set in."""
    if scene.water is None:
        return daylight(*scene.daylight.chromaticity)
    return scene.water.light_at(daylight(), scene.imaging.white_balance.custom_depth_m)


def light_tables(scene: Scene, spectra: FloatArray, rng: np.random.Generator) -> LightTables:
    """Raw colours by material and distance, from the spectra."""
    water, day = scene.water, scene.daylight
    surface = day.brightness * daylight(*day.chromaticity)
    down = surface if water is None else water.light_at(surface)
    log_step = np.log(_FAR_MM / _NEAR_MM) / (_N_DISTANCES - 1)
    metres = _NEAR_MM / 1000.0 * np.exp(log_step * np.arange(_N_DISTANCES))
    if water is None:
        path, haze = np.ones((_N_DISTANCES, N_BANDS)), np.zeros(N_BANDS)
    else:
        path = transmittance(water.beam_per_m, metres[:, None])
        haze = water.veil_light(surface)
    ambient = camera_response(scene.camera, spectra[:, None, :] * down * path)
    veil = camera_response(scene.camera, haze * (1.0 - path))
    flash = scene.flash
    lit = np.zeros_like(ambient)
    if flash is not None:
        lamp = flash.strength * 100.0 * planck(flash.temperature_k)
        out = lamp * path / np.maximum(metres[:, None], 0.15) ** 2
        lit = camera_response(scene.camera, spectra[:, None, :] * out * path)
    size_m = 1.28
    return LightTables(
        ambient=np.ascontiguousarray(ambient, dtype=np.float32),
        flash=np.ascontiguousarray(lit, dtype=np.float32),
        veil=np.ascontiguousarray(veil, dtype=np.float32),
        near_mm=_NEAR_MM,
        log_step=float(log_step),
        pattern=caustic_pattern(rng, 512, day.caustic_waves * size_m, day.caustics),
        pattern_px_per_mm=512 / (1000.0 * size_m),
        flash_x=float(flash.aim[0]) if flash else 0.0,
        flash_y=float(flash.aim[1]) if flash else 0.0,
        flash_width=float(flash.width) if flash else 0.0,
        gradient=np.asarray(day.gradient_per_m, dtype=np.float64) / 1000.0,
    )


def _lay(
    scene: Scene,
    flat: Flat,
    first: int,
    drawing: tuple[Eye, LightTables, NDArray[np.float32], NDArray[np.float32]],
) -> None:
    """Draw one flat thing into the picture; materials are numbered from `first`."""
    eye, light, ray, raw = drawing
    pose = scene.view.pose()
    corners = project(corners_world(flat), pose, scene.lens, scene.size_px)
    height, width = raw.shape[:2]
    if not np.isfinite(corners).all():
        return
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 4, [width, height])
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    own = flat.pose()
    facing = float(own.turn[2, 2])
    labels = np.where(flat.labels >= 0, flat.labels + first, -1).astype(np.int16)
    # cells seen per pixel decide how finely to sample
    side = float(np.linalg.norm(corners[1] - corners[0])) / max(flat.size_mm[0], 1e-6)
    n_sub = 4 if side < 2.0 * flat.cells_per_mm else 3
    thing = FlatThing(
        to_camera=to_camera(own, pose),
        labels=np.ascontiguousarray(labels),
        cells_per_mm=float(flat.cells_per_mm),
        shade=0.45 + 0.55 * max(facing, 0.0),
        n_sub=n_sub,
    )
    trace_flat(eye, thing, light, ray[y0:y1, x0:x1], raw[y0:y1, x0:x1])


def _through_jpeg(img: NDArray[np.uint8], quality: int | None) -> NDArray[np.uint8]:
    """What is left after JPEG."""
    if quality is None:
        return img
    settings = [cv2.IMWRITE_JPEG_QUALITY, quality]
    _, coded = cv2.imencode(".jpg", cv2.cvtColor(img, cv2.COLOR_RGB2BGR), settings)
    back = cv2.imdecode(coded, cv2.IMREAD_COLOR)
    assert back is not None, "a picture just written can be read"
    return np.asarray(cv2.cvtColor(back, cv2.COLOR_BGR2RGB), dtype=np.uint8)
