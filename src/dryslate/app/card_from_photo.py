"""Define any flat card from one straight photo: corners, patches and two ticks of its scale."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryslate.app.card_marks import CardMarks, PatchBox
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem, has_error
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.checks import check_card
from dryslate.core.card.corners import require_corners
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab, linear_to_srgb

FloatArray = NDArray[np.float64]

WHITE_L = 93.0
"""Lightness taken for the lightest neutral where no values are given; nominal anyway."""
PICTURE_PX = 1600
STRAIGHT_NOTE, STRAIGHT_STOP = 0.03, 0.10
LEAST_SHAPE_U_FRAC = 0.002


def define_card(
    tables: ReferenceTables, reader: PhotoReader, photo: Path, marks: CardMarks, out: Path | None
) -> dict[str, Any]:
    """
    Write the definition of a card, and its picture, from one straight photo.

    Parameters
    ----------
    tables, reader
        Ports.
    photo : Path
    marks : CardMarks
    out : Path or None
        None for the project's cards, or ``NAME.toml`` in the current folder.

    Returns
    -------
    dict
        ``card``, ``path``, ``picture``, ``width_mm``, ``height_mm``, ``print_scale_u_frac``,
        ``n_patches``, ``problems``.

    Raises
    ------
    InputError
        ``corners-outside`` and its like, ``card-photo-not-straight``, ``card-ticks-wrong``,
        ``card-box-wrong``; what a check of the finished definition finds; what reading the photo
        raises.
    """
    decoded = reader.read(photo)
    pixels = upright_view(decoded.pixels, decoded.metadata.orientation)
    shape = shape_of(marks, (pixels.shape[1], pixels.shape[0]))
    linear = _rectified(pixels, decoded.linear_lut, decoded.to_srgb, shape)
    patches, is_estimated = _patches(marks, shape, linear)
    card = CardDefinition(
        name=marks.name,
        title=marks.title or f"{marks.name}, defined from a photo",
        width_mm=shape.width_mm,
        height_mm=shape.height_mm,
        ground_lab_d65=_ground(linear, patches, shape, is_estimated),
        markers=(),
        patches=patches,
        status="nominal" if is_estimated or marks.status != "measured" else "measured",
        medium="water" if marks.medium == "water" else "air",
        values_source=marks.values_source
        or f"As they look in {photo.name}, the lightest neutral taken as L* {WHITE_L:g}.",
        print_scale_u_frac=round(shape.scale_u_frac, 5),
        picture=f"{marks.name}.png",
    )
    problems = [*shape.problems, *check_card(card)]
    if has_error(problems):
        first = next(p for p in problems if p.severity == "error")
        raise InputError(first.slug, f"{first.place}: {first.message}", first.fix)
    path = out or tables.place_for(card.name)
    tables.save_card(card, path, _png(linear))
    return {
        "card": card.name,
        "path": str(path),
        "picture": str(path.parent / card.picture),
        "width_mm": round(card.width_mm, 2),
        "height_mm": round(card.height_mm, 2),
        "print_scale_u_frac": card.print_scale_u_frac,
        "status": card.status,
        "n_patches": len(card.patches),
        "problems": [p.as_dict() for p in problems],
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """
    Size of the card and how its plane lies in the photo.

    Parameters
    ----------
    width_mm, height_mm : float
    photo_to_mm : ndarray of float, shape (3, 3)
    px_per_mm : float
    scale_u_frac : float
        One standard uncertainty of the size, relative.
    problems : tuple of Problem
    """

    width_mm: float
    height_mm: float
    photo_to_mm: FloatArray
    px_per_mm: float
    scale_u_frac: float
    problems: tuple[Problem, ...]


def shape_of(marks: CardMarks, size_px: tuple[int, int]) -> Shape:
    """
    Find the card's size from its corners and two ticks, with the doubt that leaves.

    Parameters
    ----------
    marks : CardMarks
    size_px : tuple of int
        Of the upright photo.

    Returns
    -------
    Shape

    Raises
    ------
    InputError
        ``corners-outside`` and its like, ``card-photo-not-straight``, ``card-ticks-wrong``.
    """
    corners = require_corners(marks.corners_px, size_px)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    width_px, height_px = (lengths[0] + lengths[2]) / 2, (lengths[1] + lengths[3]) / 2
    bend = max(abs(lengths[0] - lengths[2]) / width_px, abs(lengths[1] - lengths[3]) / height_px)
    frame = np.array([[0, 0], [width_px, 0], [width_px, height_px], [0, height_px]])
    to_frame = fit_homography(corners, frame)
    ticks = apply_homography(to_frame, np.array(marks.ticks_px, dtype=np.float64))
    apart = float(np.hypot(*(ticks[1] - ticks[0])))
    if not marks.ticks_mm > 0 or apart < 20 * marks.point_u_px:
        raise InputError(
            "card-ticks-wrong",
            f"The two ticks lie {apart:.1f} pixels apart for {marks.ticks_mm:g} mm: too close to "
            "carry a scale.",
            "Take two ticks as far apart as the card's scale allows.",
        )
    mm_per_px = marks.ticks_mm / apart
    # Sides that converge by `bend` mean a tilt of some three times that, in radians, from three
    # card lengths away; the side that runs away from the camera looks short by half its square.
    shape_u = max((3 * bend) ** 2 / 2 / math.sqrt(3), LEAST_SHAPE_U_FRAC)
    pointing = math.sqrt(2) * marks.point_u_px / apart
    edges = marks.point_u_px / min(width_px, height_px)
    return Shape(
        width_mm=width_px * mm_per_px,
        height_mm=height_px * mm_per_px,
        photo_to_mm=np.diag([mm_per_px, mm_per_px, 1.0]) @ to_frame,
        px_per_mm=1.0 / mm_per_px,
        scale_u_frac=math.sqrt(pointing**2 + edges**2 + shape_u**2),
        problems=_straight(bend),
    )


def _straight(bend: float) -> tuple[Problem, ...]:
    """Say whether the photo is straight enough."""
    text = f"opposite sides of the card differ by {100 * bend:.1f} %"
    fix = "Take the photo from straight above, farther away, with a longer focal length."
    if bend > STRAIGHT_STOP:
        raise InputError("card-photo-not-straight", f"The photo is not straight: {text}.", fix)
    if bend > STRAIGHT_NOTE:
        return (
            Problem(
                slug="card-photo-not-straight",
                severity="warning",
                place="corners",
                message=f"{text}: the size is less certain, and that is stated.",
                fix=fix,
            ),
        )
    return ()


def _rectified(
    pixels: NDArray[Any], lut: NDArray[np.float32], to_srgb: FloatArray, shape: Shape
) -> FloatArray:
    """Draw the card straight, in linear sRGB, no finer than the photo."""
    from scipy.ndimage import map_coordinates

    scale = min(shape.px_per_mm, PICTURE_PX / max(shape.width_mm, shape.height_mm))
    size = (round(shape.height_mm * scale), round(shape.width_mm * scale))
    n_sub = max(int(np.ceil(shape.px_per_mm / scale)), 1)
    ys, xs = np.mgrid[0 : size[0] * n_sub, 0 : size[1] * n_sub]
    mm = np.column_stack([xs.ravel() + 0.5, ys.ravel() + 0.5]) / (scale * n_sub)
    at = apply_homography(np.linalg.inv(shape.photo_to_mm), mm)
    channels = []
    for c in range(3):
        values = lut[:, c][pixels[..., c]]
        fine = map_coordinates(values, [at[:, 1], at[:, 0]], order=1, mode="nearest")
        blocks = fine.reshape(size[0], n_sub, size[1], n_sub)
        channels.append(blocks.mean(axis=(1, 3)))
    return np.asarray(np.stack(channels, axis=-1).astype(np.float64) @ to_srgb.T)


def _patches(marks: CardMarks, shape: Shape, linear: FloatArray) -> tuple[tuple[Patch, ...], bool]:
    """Bring the boxes to millimetres and give each patch its values."""
    boxes, colours = [], []
    scale = linear.shape[1] / shape.width_mm
    for box in marks.patches:
        x1, y1, x2, y2 = box.box_px
        ring = apply_homography(shape.photo_to_mm, [[x1, y1], [x2, y1], [x2, y2], [x1, y2]])
        xs, ys = np.sort(ring[:, 0]), np.sort(ring[:, 1])
        left, right = xs[:2].mean(), xs[2:].mean()
        top, bottom = ys[:2].mean(), ys[2:].mean()
        rows, cols = _middle(top, bottom, scale), _middle(left, right, scale)
        inner = linear[rows, cols].reshape(-1, 3)
        if right - left < 0.5 or bottom - top < 0.5 or len(inner) < 4:
            raise InputError(
                "card-box-wrong",
                f"patch {box.patch_id!r}: the box {box.box_px} is empty, too small or not on the "
                "card.",
                "Give opposite corners of the patch in the upright photo: x1, y1, x2, y2.",
            )
        boxes.append((left, top, right - left, bottom - top))
        colours.append(np.median(inner, axis=0))
    is_estimated = any(b.lab_d65 is None for b in marks.patches)
    labs = _estimated_labs(marks.patches, colours) if is_estimated else None
    patches = []
    for k, (box, (x, y, w, h)) in enumerate(zip(marks.patches, boxes, strict=True)):
        lab = box.lab_d65 or (labs[k] if labs is not None else (0.0, 0.0, 0.0))
        patches.append(
            Patch(
                patch_id=box.patch_id,
                x_mm=round(float(x), 2),
                y_mm=round(float(y), 2),
                width_mm=round(float(w), 2),
                height_mm=round(float(h), 2),
                role="neutral" if box.role == "neutral" else "colour",
                lab_d65=lab,
                hue_group="" if box.role == "neutral" else _hue_group(lab),
            )
        )
    return tuple(patches), is_estimated


def _middle(start_mm: float, end_mm: float, px_per_mm: float) -> slice:
    """Pixels of the middle half of a stretch."""
    quarter = (end_mm - start_mm) / 4
    return slice(int((start_mm + quarter) * px_per_mm), int((end_mm - quarter) * px_per_mm) + 1)


def _estimated_labs(
    boxes: Sequence[PatchBox], colours: Sequence[FloatArray]
) -> list[tuple[float, float, float]]:
    """Nominal values as they look: the lightest neutral made neutral and light."""
    greys = [c for b, c in zip(boxes, colours, strict=True) if b.role == "neutral"]
    if not greys:
        return [(50.0, 0.0, 0.0)] * len(boxes)  # the check of the card refuses it for its neutrals
    white = max(greys, key=lambda c: float(c.sum()))
    gain = lab_to_linear_srgb((WHITE_L, 0.0, 0.0)) / np.maximum(white, 1e-3)
    labs = []
    for box, colour in zip(boxes, colours, strict=True):
        lightness, a, b = linear_srgb_to_lab(np.maximum(colour * gain, 0.0))
        is_grey = box.role == "neutral"
        labs.append(
            (
                round(float(lightness), 2),
                0.0 if is_grey else round(float(a), 2),
                0.0 if is_grey else round(float(b), 2),
            )
        )
    return labs


def _hue_group(lab: tuple[float, float, float]) -> str:
    """Name of the sixth of the hue circle a colour lies in."""
    return f"hue_{int(math.degrees(math.atan2(lab[2], lab[1])) % 360 // 60) + 1}"


def _ground(
    linear: FloatArray, patches: tuple[Patch, ...], shape: Shape, is_estimated: bool
) -> tuple[float, float, float]:
    """Colour of what is left of the card beside its patches, on the scale of its neutrals."""
    scale = linear.shape[1] / shape.width_mm
    free = np.ones(linear.shape[:2], dtype=bool)
    neutral: list[tuple[FloatArray, float]] = []
    for p in patches:
        rows = slice(int(p.y_mm * scale), int((p.y_mm + p.height_mm) * scale) + 1)
        cols = slice(int(p.x_mm * scale), int((p.x_mm + p.width_mm) * scale) + 1)
        free[rows, cols] = False
        if p.role == "neutral":
            neutral.append((np.median(linear[rows, cols].reshape(-1, 3), axis=0), p.lab_d65[0]))
    seen = linear[free] if free.any() else linear.reshape(-1, 3)
    colour = np.median(seen, axis=0)
    if neutral:
        white, lightness = max(neutral, key=lambda n: n[1])
        target = WHITE_L if is_estimated else lightness
        colour = colour * lab_to_linear_srgb((target, 0.0, 0.0)) / np.maximum(white, 1e-3)
    lab = linear_srgb_to_lab(np.maximum(colour, 0.0))
    return round(float(lab[0]), 1), round(float(lab[1]), 1), round(float(lab[2]), 1)


def _png(linear: FloatArray) -> bytes:
    """Write the straight picture as PNG."""
    from PIL import Image

    coded = np.rint(255.0 * np.clip(linear_to_srgb(np.clip(linear, 0.0, 1.0)), 0.0, 1.0))
    buffer = io.BytesIO()
    Image.fromarray(coded.astype(np.uint8)).save(buffer, format="PNG")
    return buffer.getvalue()
