"""Made scenes for the colour benchmark: a card whose colours are known, and reef off the card."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from bench import spectra as own
from numpy.typing import NDArray

from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.picture import draw_labels
from dryslate.demo.flats import Flat, Place
from dryslate.demo.noise import caustic_pattern, fractal_field
from dryslate.demo.pinhole import SceneLens, View, project, rays
from dryslate.demo.scene import RENDERER_VERSION
from dryslate.demo.spectra import lab_of
from dryslate.demo.tracing import Eye, FlatThing, LightTables, trace_flat
from dryslate.demo.truth import corners_world, to_camera

FloatArray = NDArray[np.float64]
VERSION = 3
NEAR_MM, FAR_MM, N_DISTANCES = 80.0, 20_000.0, 140
CHIP_MM, TEXTURE_MM, INNER = 24.0, 42.0, 0.62
N_CHIPS, N_TEXTURES = 14, 3


@dataclass(frozen=True, kw_only=True)
class ColourScene:
    """
    A photo with its truth.

    `jpeg` is the file; `patch_lab` the card's true colours; `things` the off-card areas: corners
    of the inner part in pixels (4, 2), true Lab (3,), kind; `notes` what the scene is.
    """

    seed: int
    jpeg: bytes
    patch_lab: dict[str, list[float]]
    ground_lab: list[float]
    things: list[dict[str, Any]]
    notes: dict[str, Any]

    @property
    def stratum(self) -> str:
        """Flash or at most 6 m, or natural light deeper."""
        is_easy = self.notes["flash"] or self.notes["depth_m"] <= 6.0
        return "flash or <= 6 m" if is_easy else "natural, deeper"

    def card(self, design: CardDefinition) -> CardDefinition:
        """The card with the colours it truly has in this water."""
        patches = tuple(
            dataclasses.replace(p, lab_d65=tuple(self.patch_lab[p.patch_id]))
            for p in design.patches
        )
        return dataclasses.replace(
            design,
            patches=patches,
            ground_lab_d65=tuple(self.ground_lab),
            status="measured",
            medium="water",
        )


def colour_scene(
    seed: int, design: CardDefinition, width_px: int, cache: Path | None
) -> ColourScene:
    """Return a scene, from the cache where it has been made before."""
    name = f"colour-{VERSION}.{own.VERSION}.{RENDERER_VERSION}-{design.name}-{width_px}-{seed}"
    path = None if cache is None else cache / f"{name}.npz"
    if path is not None and path.exists():
        with np.load(path) as kept:
            words = json.loads(bytes(kept["words"]).decode())
            return ColourScene(seed=seed, jpeg=bytes(kept["jpeg"]), **words)
    scene = make_scene(seed, design, width_px)
    if path is not None:
        words = {k: v for k, v in dataclasses.asdict(scene).items() if k not in ("seed", "jpeg")}
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(f".{seed}.part.npz")
        np.savez(
            part,
            jpeg=np.frombuffer(scene.jpeg, np.uint8),
            words=np.frombuffer(json.dumps(words).encode(), np.uint8),
        )
        part.replace(path)
    return scene


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What is drawn before the picture is: light, water, camera, view."""

    sea: own.Sea
    camera: own.Camera
    surface: FloatArray
    lamp: FloatArray | None
    range_m: float
    view: View
    lens: SceneLens
    size_px: tuple[int, int]
    veil_strength: float
    gradient: FloatArray
    caustics: float


def draw_setting(rng: np.random.Generator, width_px: int) -> Setting:
    """Draw the conditions: a quarter flash, a quarter shallow, half natural light deeper."""
    kind = rng.random()
    has_flash = kind < 0.25
    if has_flash:
        depth, range_m = rng.uniform(3.0, 25.0), rng.uniform(0.3, 0.9)
    elif kind < 0.5:
        depth, range_m = rng.uniform(1.0, 6.0), rng.uniform(0.35, 1.4)
    else:
        depth, range_m = rng.uniform(6.0, 18.0), rng.uniform(0.35, 1.2)
    sea = own.draw_sea(rng, float(depth))
    surface = own.sunlight(rng) * rng.uniform(0.5, 1.0)
    lamp = None
    if has_flash:
        there = sea.light(surface)
        spectrum = own.strobe(rng)
        at_card = spectrum * np.exp(-sea.beam * range_m) / range_m**2
        lamp = spectrum * rng.uniform(3.0, 30.0) * there[15] / at_card[15]
    size = (width_px, round(width_px * 0.75))
    seen_mm = rng.uniform(420.0, 640.0)
    return Setting(
        sea=sea,
        camera=own.draw_camera(rng),
        surface=surface,
        lamp=lamp,
        range_m=float(range_m),
        view=View(
            distance_mm=float(range_m) * 1000.0,
            tilt_deg=float(rng.uniform(0.0, 32.0)),
            azimuth_deg=float(rng.uniform(0.0, 360.0)),
            roll_deg=float(rng.uniform(0.0, 360.0)),
        ),
        lens=SceneLens(
            focal_px=float(width_px * range_m * 1000.0 / seen_mm), k1=float(rng.normal(0.0, 0.02))
        ),
        size_px=size,
        veil_strength=float(rng.uniform(0.05, 0.35)),
        gradient=rng.normal(0.0, 0.35, 2) / 1000.0,
        caustics=float(rng.uniform(0.0, 0.04)) if not has_flash and depth <= 6.0 else 0.0,
    )


def light_tables(s: Setting, spectra: FloatArray, rng: np.random.Generator) -> LightTables:
    """Raw colours by material and distance."""
    log_step = np.log(FAR_MM / NEAR_MM) / (N_DISTANCES - 1)
    metres = (NEAR_MM * np.exp(log_step * np.arange(N_DISTANCES)) / 1000.0)[:, None]
    path = np.exp(-s.sea.beam * metres)
    down = s.sea.light(s.surface)
    ambient = s.camera.raw(spectra[:, None, :] * down * path)
    veil = s.camera.raw(s.sea.veil(s.surface, s.veil_strength) * (1.0 - path))
    lit = np.zeros_like(ambient)
    if s.lamp is not None:
        lit = s.camera.raw(spectra[:, None, :] * s.lamp * path * path / metres**2)
    return LightTables(
        ambient=np.ascontiguousarray(ambient, np.float32),
        flash=np.ascontiguousarray(lit, np.float32),
        veil=np.ascontiguousarray(veil, np.float32),
        near_mm=NEAR_MM,
        log_step=float(log_step),
        pattern=caustic_pattern(rng, 512, 9.0, s.caustics),
        pattern_px_per_mm=0.4,
        flash_x=float(rng.normal(0.0, 0.12)),
        flash_y=float(rng.normal(0.0, 0.12)),
        flash_width=float(rng.uniform(0.8, 1.4)),
        gradient=s.gradient,
    )


def _card_flat(
    design: CardDefinition, rng: np.random.Generator, place: Place
) -> tuple[Flat, dict[str, list[float]], list[float]]:
    """The card as painted for this scene, and the colours it truly has."""
    drawn = draw_labels(design, 10.0)
    neutral = {f"patch:{p.patch_id}" for p in design.patches if p.role == "neutral"}
    twins = {p.patch_id: p.twin_of for p in design.patches if p.twin_of}
    painted: dict[str, FloatArray] = {}
    for material in drawn.materials:
        twin = f"patch:{twins.get(material.name.removeprefix('patch:'), '')}"
        if twin in painted:
            painted[material.name] = painted[twin]
            continue
        is_grey = material.name in neutral or not material.name.startswith("patch:")
        painted[material.name] = own.card_spectrum(material.lab_d65, rng, is_grey)
    labs = {name: [float(v) for v in lab_of(s)] for name, s in painted.items()}
    flat = Flat(
        name=design.name,
        labels=drawn.labels,
        cells_per_mm=10.0,
        spectra=np.stack(list(painted.values())),
        place=place,
    )
    patches = {k.removeprefix("patch:"): v for k, v in labs.items() if k.startswith("patch:")}
    return flat, patches, labs["ground"]


def _spots(
    rng: np.random.Generator, design: CardDefinition, place: Place, reach: tuple[float, float]
) -> list[tuple[float, float]]:
    """Places for things, clear of the card and of each other."""
    half = np.array([design.width_mm, design.height_mm]) / 2.0
    angle = np.deg2rad(-place.turn_deg)
    back = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    found: list[FloatArray] = []
    for _ in range(4000):
        at = rng.uniform(-1.0, 1.0, 2) * np.array(reach)
        margin = 0.75 * TEXTURE_MM if len(found) < N_TEXTURES else 0.75 * CHIP_MM
        off = np.abs(back @ (at - np.array(place.centre_mm))) - half
        gaps = [np.linalg.norm(at - other) for other in found]
        apart = 52.0 if len(found) <= N_TEXTURES + 1 else 40.0
        if (off > margin).any() and min(gaps, default=1e9) > apart:
            found.append(at)
        if len(found) == N_CHIPS + N_TEXTURES:
            break
    return [(float(x), float(y)) for x, y in found]


def _texture(rng: np.random.Generator, name: str, place: Place) -> tuple[Flat, FloatArray]:
    """A coral-like mottled area of three tones of one spectrum, and its mean reflectance inside."""
    base = own.coral(rng) if rng.random() < 0.7 else own.reef_spectrum(rng)
    tones = np.stack([base, base ** rng.uniform(1.1, 1.5), np.clip(base * 1.35 + 0.02, 0, 0.95)])
    n = 256
    field = fractal_field(rng, n, rng.uniform(0.6, 1.4), rng.uniform(6.0, 20.0))
    labels = np.digitize(field, [-0.6, 0.7]).astype(np.int16)
    cut = round(n * (1.0 - INNER) / 2.0)
    shares = np.bincount(labels[cut : n - cut, cut : n - cut].ravel(), minlength=3).astype(float)
    mean = shares @ tones / shares.sum()
    flat = Flat(name=name, labels=labels, cells_per_mm=n / TEXTURE_MM, spectra=tones, place=place)
    return flat, mean


def _lay(
    raw: NDArray[np.float32], flat: Flat, first: int, s: Setting, drawing: tuple[Any, ...]
) -> None:
    """Draw one flat thing; its materials are numbered from `first`."""
    eye, light, ray = drawing
    pose = s.view.pose()
    corners = project(corners_world(flat), pose, s.lens, s.size_px)
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 4, s.size_px)
    if flat.name == "ground":  # parts of it lie behind the camera and have no place in the picture
        (x0, y0), (x1, y1) = (0, 0), s.size_px
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    thing = FlatThing(
        to_camera=to_camera(flat.pose(), pose),
        labels=np.ascontiguousarray(np.where(flat.labels >= 0, flat.labels + first, -1), np.int16),
        cells_per_mm=float(flat.cells_per_mm),
        shade=1.0,
        n_sub=1 if flat.name == "ground" else 3,
    )
    trace_flat(eye, thing, light, ray[y0:y1, x0:x1], raw[y0:y1, x0:x1])


def _ground(rng: np.random.Generator) -> Flat:
    """The bottom around and under everything: patches of five things, mottled."""
    n = 1024
    coarse = fractal_field(rng, n, 1.5, 3.0)
    fine = fractal_field(rng, n, 0.9, 20.0)
    labels = np.digitize(coarse + 0.7 * fine, [-1.2, -0.3, 0.4, 1.3]).astype(np.int16)
    tones = np.stack([own.bottom(rng), *[own.reef_spectrum(rng) for _ in range(4)]])
    low = Place(centre_mm=(0.0, 0.0), height_mm=0.0)
    return Flat(name="ground", labels=labels, cells_per_mm=0.42, spectra=tones, place=low)


def _trace(s: Setting, flats: list[Flat], rng: np.random.Generator) -> NDArray[np.float32]:
    """The raw picture, without noise."""
    flats = [_ground(rng), *flats]
    light = light_tables(s, np.concatenate([f.spectra for f in flats]), rng)
    pose = s.view.pose()
    eye = Eye(
        turn=np.ascontiguousarray(pose.turn),
        place_mm=-pose.turn.T @ pose.shift_mm,
        focal_px=float(s.lens.focal_px),
    )
    ray = rays(s.lens, s.size_px)
    raw = np.zeros((s.size_px[1], s.size_px[0], 3), np.float32)
    first = 0
    for flat in flats:
        _lay(raw, flat, first, s, (eye, light, ray))
        first += len(flat.spectra)
    return raw


def _balance(s: Setting, raw: NDArray[np.float32], rng: np.random.Generator) -> FloatArray:
    """The camera's own white balance: daylight, set on a grey, or automatic."""
    day = 1.0 / s.camera.raw(own.daylight())
    mode = rng.random()
    if mode < 0.35:
        gains = day
    elif mode < 0.65:
        at = s.surface * np.exp(-s.sea.kd * s.sea.depth_m * rng.uniform(0.3, 1.0))
        gains = 1.0 / np.maximum(s.camera.raw(at), 1e-9)
        gains = day * np.minimum(gains / day / (gains / day).min(), rng.uniform(3.0, 8.0))
    else:
        mean = raw[::11, ::11].reshape(-1, 3).mean(axis=0).astype(np.float64)
        pull = (1.0 / np.maximum(mean * day, 1e-12)) ** rng.uniform(0.5, 0.9)
        gains = day * np.minimum(pull / pull.min(), rng.uniform(2.0, 4.5))
    return gains / gains.min()


def _develop(
    s: Setting, raw: NDArray[np.float32], rng: np.random.Generator
) -> tuple[bytes, dict[str, Any]]:
    """Blur, expose, noise, balance, maker's matrix, in part a picture style, JPEG."""
    raw = cv2.GaussianBlur(raw, (0, 0), rng.uniform(0.4, 1.1))
    gains = _balance(s, raw, rng)
    bright = np.percentile((raw[::7, ::7].reshape(-1, 3) * gains).max(axis=1), 98.0)
    raw = raw * np.float32(rng.uniform(0.4, 0.85) / bright)
    electrons = float(np.exp(rng.uniform(np.log(2500.0), np.log(20000.0))))
    read = rng.uniform(3.0, 8.0) / electrons
    sigma = np.sqrt(np.maximum(raw, 0.0) / electrons + read**2).astype(np.float32)
    raw = np.clip(raw + sigma * rng.standard_normal(raw.shape, np.float32), 0.0, 1.0)
    has_style = bool(rng.random() < 0.6)
    saturation = float(rng.uniform(0.95, 1.25)) if has_style else 1.0
    luma = np.array([0.2126, 0.7152, 0.0722])
    style = saturation * np.eye(3) + (1.0 - saturation) * np.tile(luma, (3, 1))
    balanced = np.minimum(raw * gains.astype(np.float32), 1.0)  # so that highlights stay white
    matrix = (style @ s.camera.matrix).astype(np.float32)
    linear = np.clip(cv2.transform(balanced, matrix), 0.0, 1.0)
    grid = np.linspace(0.0, 1.0, 8192)
    coded = np.where(
        grid <= 0.0031308, 12.92 * grid, 1.055 * np.maximum(grid, 1e-9) ** (1 / 2.4) - 0.055
    )
    steep = float(rng.uniform(1.5, 4.5)) if has_style else 0.0
    if has_style:
        ends = np.tanh(steep * 0.5 * np.array([-0.45, 0.55]))
        curve = np.tanh(steep * 0.5 * (coded - 0.45))
        coded = (curve - ends[0]) / (ends[1] - ends[0])
    table = np.rint(255.0 * np.clip(coded, 0.0, 1.0)).astype(np.uint8)
    img = table[(linear * 8191.0 + 0.5).astype(np.uint16)]
    quality = int(rng.integers(88, 97))
    done, data = cv2.imencode(".jpg", img[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return data.tobytes(), {"style": steep, "saturation": saturation, "electrons": electrons}


def make_scene(seed: int, design: CardDefinition, width_px: int) -> ColourScene:
    """Draw and photograph one scene."""
    rng = np.random.default_rng([20261125, seed])
    s = draw_setting(rng, width_px)
    seen_mm = s.size_px[0] / s.lens.focal_px * s.range_m * 1000.0
    place = Place(
        centre_mm=(float(rng.uniform(-0.12, 0.12) * seen_mm), float(rng.uniform(-40.0, 40.0))),
        turn_deg=float(rng.uniform(0.0, 360.0)),
    )
    card, patch_lab, ground_lab = _card_flat(design, rng, place)
    flats, colours = [], []
    reach = (0.46 * seen_mm, 0.46 * seen_mm)
    for k, at in enumerate(_spots(rng, design, place, reach)):
        lies = Place(centre_mm=at, turn_deg=float(rng.uniform(0.0, 90.0)))
        if k < N_TEXTURES:
            flat, mean = _texture(rng, f"texture {k}", lies)
        else:
            mean = own.reef_spectrum(rng)
            cells = np.zeros((round(CHIP_MM * 4), round(CHIP_MM * 4)), np.int16)
            flat = Flat(
                name=f"chip {k}", labels=cells, cells_per_mm=4.0, spectra=mean[None], place=lies
            )
        flats.append(flat)
        colours.append([float(v) for v in lab_of(mean)])
    raw = _trace(s, [*flats, card], rng)
    jpeg, developed = _develop(s, raw, rng)
    return ColourScene(
        seed=seed,
        jpeg=jpeg,
        patch_lab=patch_lab,
        ground_lab=ground_lab,
        things=_things_in_frame(s, flats, colours),
        notes={
            "flash": s.lamp is not None,
            "depth_m": s.sea.depth_m,
            "range_m": s.range_m,
            "water": s.sea.name,
            "tilt_deg": s.view.tilt_deg,
            **developed,
        },
    )


def _things_in_frame(
    s: Setting, flats: list[Flat], colours: list[list[float]]
) -> list[dict[str, Any]]:
    """Inner corners and true colour of each thing that lies wholly in the frame."""
    found = []
    for flat, lab in zip(flats, colours, strict=True):
        world = corners_world(flat)
        middle = world.mean(axis=0)
        outer = project(world, s.view.pose(), s.lens, s.size_px)
        inner = project(middle + INNER * (world - middle), s.view.pose(), s.lens, s.size_px)
        if (outer < 2).any() or (outer > np.array(s.size_px) - 3).any():
            continue
        kind = flat.name.split()[0]
        found.append({"kind": kind, "corners_px": inner.tolist(), "lab": lab})
    return found
