"""
Made photos for the finding benchmark: cards warped onto textured ground, and ground without cards.

Everything happens in linear light with area sampling, so that the true corners are exact. The
grounds are noise, branches and polyps of our own making; nothing here is a real photo.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.markers import marker_corners_mm
from dryslate.core.card.picture import draw_labels
from dryslate.core.card.rendering import render_picture

RENDERER_VERSION = 3


def to_linear(img_srgb: NDArray[np.generic]) -> NDArray[np.float32]:
    """sRGB bytes to linear light."""
    coded = np.arange(256) / 255.0
    table = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[img_srgb]


def to_coded(linear: NDArray[np.floating]) -> NDArray[np.uint8]:
    """Linear light to sRGB bytes."""
    grid = np.linspace(0.0, 1.0, 8193)
    coded = np.where(grid <= 0.0031308, 12.92 * grid, 1.055 * grid ** (1 / 2.4) - 0.055) * 255.0
    index = np.clip(linear * 8192.0 + 0.5, 0, 8192).astype(np.int32)
    return np.round(coded).astype(np.uint8)[index]


@dataclass(frozen=True, kw_only=True)
class CardTruth:
    """Where one card lies, and how clear each of its markers is."""

    card: CardDefinition
    card_to_px: NDArray[np.float64]
    side_px: dict[int, float]  # shortest projected side of each marker
    clear: dict[int, bool]
    tilt_deg: float

    @property
    def corners_px(self) -> NDArray[np.float64]:
        w, h = self.card.width_mm, self.card.height_mm
        return apply_homography(self.card_to_px, [(0, 0), (w, 0), (w, h), (0, h)])

    @property
    def n_clear(self) -> int:
        return sum(self.clear.values())


@dataclass(frozen=True, kw_only=True)
class FindScene:
    """A made photo with its truth."""

    jpeg: bytes
    cards: list[CardTruth]
    blur_px: float
    contrast_frac: float

    @property
    def img_srgb(self) -> NDArray[np.uint8]:
        """The decoded photo, red first."""
        return decode(self.jpeg)


def decode(jpeg: bytes) -> NDArray[np.uint8]:
    """JPEG bytes to pixels, red first."""
    pixels = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    return np.ascontiguousarray(pixels[..., ::-1])


def draw_ground(shape: tuple[int, int], rng: np.random.Generator) -> NDArray[np.float32]:
    """Textured ground in linear light: noise of many scales, branches, polyps."""
    h, w = shape
    grey = np.zeros((h, w), np.float32)
    slope = rng.uniform(1.2, 1.7)
    for k in range(2, 13):
        n = 2**k
        if n > max(h, w):
            break
        rows = max(2, n * h // w)
        noise = rng.normal(size=(rows, n)).astype(np.float32)
        grey += cv2.resize(noise, (w, h), interpolation=cv2.INTER_CUBIC) * slope**-k
    grey = np.clip(110.0 + rng.uniform(20, 45) * grey / grey.std(), 0, 255)
    img = np.repeat(grey[..., None], 3, axis=2)
    img *= rng.uniform(0.6, 1.3, size=3).astype(np.float32)
    canvas = np.clip(img, 0, 255).astype(np.uint8)
    scale = max(h, w) / 4000.0
    for _ in range(int(rng.integers(20, 80))):  # branches
        a = rng.uniform((0, 0), (w, h))
        turn = rng.uniform(0, 2 * np.pi)
        colour = tuple(int(c) for c in rng.uniform(20, 230, size=3))
        points = [a]
        for _ in range(12):
            turn += rng.normal() * 0.4
            points.append(
                points[-1] + scale * rng.uniform(20, 90) * np.array([np.cos(turn), np.sin(turn)])
            )
        thick = int(scale * rng.uniform(6, 60)) + 1
        cv2.polylines(canvas, [np.int32(points)], False, colour, thick, cv2.LINE_AA)
    for _ in range(int(rng.integers(2, 8))):  # fields of polyps
        c = rng.uniform((0, 0), (w, h))
        size = scale * rng.uniform(8, 40)
        dark = tuple(int(v) for v in rng.uniform(10, 90, size=3))
        light = tuple(int(v) for v in rng.uniform(120, 240, size=3))
        for p in c + rng.normal(size=(250, 2)) * size * 9:
            q = (int(p[0]), int(p[1]))
            cv2.circle(canvas, q, int(size), light, -1, cv2.LINE_AA)
            cv2.circle(canvas, q, int(size * 0.6), dark, -1, cv2.LINE_AA)
    return to_linear(canvas)


def pose(
    card: CardDefinition, side_px: float, tilt_deg: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Homography of a tilted, rolled card about its centre, before it is moved into the frame."""
    roll, azimuth = rng.uniform(0, 2 * np.pi, size=2)
    tilt = np.radians(tilt_deg)
    cz, sz = np.cos(roll), np.sin(roll)
    ca, sa = np.cos(azimuth), np.sin(azimuth)
    turn = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    axis = np.array([[ca, -sa, 0], [sa, ca, 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    r = axis @ lean @ axis.T @ turn
    distance = rng.uniform(2.5, 6.0) * max(card.width_mm, card.height_mm)
    centre = np.array(
        [[1, 0, -card.width_mm / 2], [0, 1, -card.height_mm / 2], [0, 0, 1]], dtype=float
    )
    plane = np.column_stack([r[:, 0], r[:, 1], [0, 0, distance]])
    h = plane @ centre
    sides = marker_sides(card, h)
    return np.diag([side_px / min(sides.values()), side_px / min(sides.values()), 1.0]) @ h


def marker_sides(card: CardDefinition, h: NDArray[np.float64]) -> dict[int, float]:
    """Shortest projected side of each marker, in pixels."""
    out = {}
    for m in card.markers:
        c = apply_homography(h, marker_corners_mm(m))
        out[m.marker_id] = float(np.min(np.hypot(*(c - np.roll(c, 1, axis=0)).T)))
    return out


def place_card(
    card: CardDefinition, h: NDArray[np.float64], shape: tuple[int, int], rng: np.random.Generator
) -> NDArray[np.float64]:
    """Move the card to a random place in the frame (whole card inside where it fits)."""
    corners = apply_homography(
        h,
        [(0, 0), (card.width_mm, 0), (card.width_mm, card.height_mm), (0, card.height_mm)],
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = np.array([shape[1], shape[0]]) - (high - low)
    target = np.where(room > 8, rng.uniform(4, np.maximum(room - 4, 5)), room / 2)
    shift = target - low
    return np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]]) @ h


def paste_card(
    img: NDArray[np.float32], card: CardDefinition, h: NDArray[np.float64]
) -> tuple[slice, slice]:
    """Paint a card into linear light with area sampling; returns the box that it covers."""
    height, width = img.shape[:2]
    corners = apply_homography(
        h,
        [(0, 0), (card.width_mm, 0), (card.width_mm, card.height_mm), (0, card.height_mm)],
    )
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)) - 2, 0).astype(int)
    x1, y1 = np.minimum(np.ceil(corners.max(axis=0)) + 3, (width, height)).astype(int)
    box = (slice(y0, y1), slice(x0, x1))
    edges = np.hypot(*(corners - np.roll(corners, 1, axis=0)).T)
    # whole tenths of a millimetre (halves for the larger cards) lie on pixel edges, so that the
    # drawn markers are exact
    grid = 10 if card.width_mm < 100 else 2
    px_per_mm = grid * max(2.0, np.ceil(float(edges.max() / card.width_mm) * 2.0 / grid))
    px_per_mm = min(px_per_mm, grid * np.floor(5000.0 / card.width_mm / grid))
    picture = to_linear(render_picture(card, px_per_mm))
    on_card = (draw_labels(card, px_per_mm).labels >= 0).astype(np.float32)
    layer = np.dstack([picture, on_card])
    fine = 4 if (x1 - x0) * (y1 - y0) < 1.2e6 else 2
    mm_of_picture = np.array(
        [[1 / px_per_mm, 0, 0.5 / px_per_mm], [0, 1 / px_per_mm, 0.5 / px_per_mm], [0, 0, 1]]
    )
    fine_of_px = np.array(
        [
            [fine, 0, (0.5 - x0) * fine - 0.5],
            [0, fine, (0.5 - y0) * fine - 0.5],
            [0, 0, 1],
        ],
        dtype=float,
    )
    size = ((x1 - x0) * fine, (y1 - y0) * fine)
    warped = cv2.warpPerspective(
        layer, fine_of_px @ h @ mm_of_picture, size, flags=cv2.INTER_LINEAR, borderValue=0.0
    )
    warped = cv2.resize(warped, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    alpha = warped[..., 3:]
    covered = cv2.resize(
        cv2.warpPerspective(
            np.ones(layer.shape[:2], np.float32), fine_of_px @ h @ mm_of_picture, size
        ),
        (x1 - x0, y1 - y0),
        interpolation=cv2.INTER_AREA,
    )[..., None]
    alpha = np.minimum(alpha, covered)
    img[box] = img[box] * (1 - alpha) + warped[..., :3] * np.where(covered > 0, alpha, 0)
    return box


def hide_marker(
    img: NDArray[np.float32], corners: NDArray[np.float64], rng: np.random.Generator
) -> None:
    """Lay a finger or a weed over a marker."""
    centre = corners.mean(axis=0)
    side = float(np.hypot(*(corners[0] - corners[1])))
    colour = tuple(float(c) for c in rng.uniform((0.15, 0.08, 0.05), (0.5, 0.35, 0.3)))
    patch = img if img.flags.c_contiguous else np.ascontiguousarray(img)
    angle = float(rng.uniform(0, 360))
    cv2.ellipse(
        patch,
        (int(centre[0]), int(centre[1])),
        (int(side * 1.3) + 1, int(side * 0.55) + 1),
        angle,
        0,
        360,
        colour,
        -1,
        cv2.LINE_AA,
    )


@dataclass(frozen=True, kw_only=True)
class Look:
    """How the light and the camera treat the scene."""

    blur_px: float = 0.7
    veil: float = 0.05
    exposure: float = 0.8
    cast: tuple[float, float, float] = (0.35, 0.9, 1.0)
    uneven_frac: float = 0.2
    noise_frac: float = 0.006
    s_curve: float = 0.0
    quality: int = 92


def random_look(rng: np.random.Generator) -> Look:
    """Draw water, light and camera."""
    red = float(np.exp(rng.uniform(np.log(0.01), np.log(0.9))))
    green, blue = rng.uniform(0.5, 1.0, size=2)
    if rng.random() < 0.15:  # nearly one channel
        blue *= 0.1
        red *= 0.1
    exposure = float(rng.uniform(0.35, 1.0))
    contrast = float(rng.uniform(0.0, 1.0))
    return Look(
        blur_px=float(rng.choice([0.3, 0.5, 0.8, 1.0, 1.5, 2.0, 3.0])),
        veil=float(0.45 * (1 - contrast) ** 2),
        exposure=exposure,
        cast=(red, float(green), float(blue)),
        uneven_frac=float(rng.uniform(0, 0.5)),
        noise_frac=float(rng.uniform(0.002, 0.012)),
        s_curve=float(rng.choice([0.0, 0.0, 0.3])),
        quality=int(rng.integers(80, 96)),
    )


def develop(img: NDArray[np.float32], look: Look, rng: np.random.Generator) -> tuple[bytes, float]:
    """Water, light, blur, noise, tone and JPEG; also the contrast of white on black (coded)."""
    h, w = img.shape[:2]
    cast = np.array(look.cast, np.float32)
    span = look.exposure * (1 - look.veil)
    veil = look.veil * look.exposure * np.array([0.15, 0.9, 1.0], np.float32) * (cast > 0)
    out = cv2.GaussianBlur(img, (0, 0), look.blur_px) if look.blur_px > 0 else img.copy()
    ys, xs = np.ogrid[:h, :w]
    turn = rng.uniform(0, 2 * np.pi)
    ramp = ((xs / w - 0.5) * np.cos(turn) + (ys / h - 0.5) * np.sin(turn)).astype(np.float32)
    out *= (span * (1 + look.uneven_frac * ramp))[..., None] * cast
    out += veil
    ends = np.array([0.0222, 0.854])[:, None] * span * cast + veil  # ink and paper
    sigma = look.noise_frac * np.sqrt(0.02 + np.maximum(out, 0) / 0.5)
    out += sigma * rng.standard_normal(out.shape, dtype=np.float32)
    coded = to_coded(np.clip(out, 0, 1))
    if look.s_curve:
        x = np.arange(256) / 255.0
        table = np.round(255 * (x + look.s_curve * 0.5 * (x - 0.5) * x * (1 - x) * 4)).clip(0, 255)
        coded = table.astype(np.uint8)[coded]
    contrast = float((to_coded(np.clip(ends[1], 0, 1)).astype(int) - to_coded(ends[0])).max() / 255)
    ok, data = cv2.imencode(".jpg", coded[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.quality])
    assert ok
    return data.tobytes(), contrast


def make_scene(
    cards: list[CardDefinition],
    rng: np.random.Generator,
    *,
    shape: tuple[int, int],
    side_range_px: tuple[float, float],
    max_tilt_deg: float = 50.0,
    look: Look | None = None,
    p_hidden: float = 0.35,
) -> FindScene:
    """One photo with the given cards, not overlapping each other."""
    img = draw_ground(shape, rng)
    look = look or random_look(rng)
    taken = np.zeros(shape, bool)
    placed = []
    for card in cards:
        for _ in range(40):
            side = float(np.exp(rng.uniform(*np.log(side_range_px))))
            tilt = float(rng.uniform(0, max_tilt_deg))
            h = place_card(card, pose(card, side, tilt, rng), shape, rng)
            corners = apply_homography(
                h,
                [(0, 0), (card.width_mm, 0), (card.width_mm, card.height_mm), (0, card.height_mm)],
            )
            fits = (corners.min() > 0) and bool(np.all(corners < (shape[1], shape[0])))
            mask = np.zeros(shape, np.uint8)
            cv2.fillConvexPoly(mask, np.int32(corners), 1)
            if fits and not np.any(taken & (mask > 0)):
                break
        else:
            continue
        taken |= mask > 0
        paste_card(img, card, h)
        hidden: set[int] = set()
        if rng.random() < p_hidden and len(card.markers) > 2:
            n = int(rng.integers(1, 3))
            hidden = {int(m) for m in rng.choice([m.marker_id for m in card.markers], n, False)}
        for m in card.markers:
            if m.marker_id in hidden:
                hide_marker(img, apply_homography(h, marker_corners_mm(m)), rng)
        placed.append((card, h, tilt, hidden))
    photo, contrast = develop(img, look, rng)
    truths = []
    for card, h, tilt, hidden in placed:
        sides = marker_sides(card, h)
        clear = {
            i: bool(
                s >= 24 and s >= 24 * look.blur_px and contrast >= 0.25 and tilt <= 50
                and i not in hidden
            )
            for i, s in sides.items()
        }  # fmt: skip
        truths.append(CardTruth(card=card, card_to_px=h, side_px=sides, clear=clear, tilt_deg=tilt))
    return FindScene(jpeg=photo, cards=truths, blur_px=look.blur_px, contrast_frac=contrast)


def make_ground_photo(shape: tuple[int, int], rng: np.random.Generator) -> bytes:
    """One photo without a card, strewn with bright and dark quads and framed random bit grids."""
    img = draw_ground(shape, rng)
    h, w = shape
    for _ in range(int(rng.integers(10, 60))):
        side = float(np.exp(rng.uniform(np.log(20), np.log(300))))
        n = int(rng.integers(4, 10))
        cells = (
            rng.random((n, n)) < 0.5 if rng.random() < 0.7 else np.full((n, n), rng.random() < 0.5)
        )
        cells = cells.astype(np.float32)
        if rng.random() < 0.8:
            cells[[0, -1], :] = 0
            cells[:, [0, -1]] = 0
        framed = np.pad(cells, 1, constant_values=float(rng.random() < 0.8))
        k = 16
        tile = np.kron(framed, np.ones((k, k), np.float32)) * 0.8 + 0.02
        quad = rng.uniform((0, 0), (w, h)) + side * (
            np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) + rng.uniform(-0.12, 0.12, size=(4, 2))
        )
        src = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * (framed.shape[0] * k - 1.0)
        m = fit_homography(src, quad)
        x0, y0 = np.maximum(np.floor(quad.min(axis=0)), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(quad.max(axis=0)), (w, h)).astype(int)
        if x1 - x0 < 4 or y1 - y0 < 4:
            continue
        shift = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1]], float)
        size = (int(x1 - x0), int(y1 - y0))
        warped = cv2.warpPerspective(tile, shift @ m, size, flags=cv2.INTER_AREA)
        mask = cv2.warpPerspective(np.ones_like(tile), shift @ m, size)
        box = img[y0:y1, x0:x1]
        box[:] = box * (1 - mask[..., None]) + warped[..., None] * mask[..., None]
    return develop(img, random_look(rng), rng)[0]


def scene_rng(name: str, k: int) -> np.random.Generator:
    """A stream of its own for each numbered scene of a named set."""
    digest = hashlib.sha256(f"{name}:{k}:{RENDERER_VERSION}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))
