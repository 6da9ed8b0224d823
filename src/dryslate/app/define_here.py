"""Define a card from a photo of the project: marks looked at as they are set, saved, put away."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dryslate.app.card_from_photo import WHITE_L, define_card, shape_of
from dryslate.app.card_marks import CardMarks
from dryslate.app.measure_try import hex_of
from dryslate.app.ports import PhotoReader, PhotoVault, ReferenceTables, SurveyStore
from dryslate.app.records import DecodedPhoto
from dryslate.app.tiles import require_photo
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import problem_of
from dryslate.core.arrays.homography import apply_homography, fit_homography
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card.corners import require_corners
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab

NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
GREY_CHROMA = 8.0
"""Below this chroma, beside the lightest patch, a patch is suggested as a grey one (judgement)."""
MOST_PATCHES = 200
MOST_PX = 1_000_000

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksLook:
    """
    What marks in a photo give so far.

    Parameters
    ----------
    width_mm, height_mm, scale_u_frac : float or None
        Size of the card with its relative standard uncertainty; None where it cannot be had yet.
    seen : tuple of (str, str)
        For each box its colour as it looks beside the lightest one, ``#rrggbb``, and the role it
        seems to have; both empty where the box cannot be read.
    problems : tuple of dict
    """

    width_mm: float | None
    height_mm: float | None
    scale_u_frac: float | None
    seen: tuple[tuple[str, str], ...]
    problems: tuple[dict[str, str], ...]


def look_at_marks(decoded: DecodedPhoto, marks: CardMarks) -> MarksLook:
    """
    Say what marks give so far: the card's size with its doubt, and how the patches look.

    Parameters
    ----------
    decoded : DecodedPhoto
    marks : CardMarks
        Without patches where none is marked yet.

    Returns
    -------
    MarksLook
    """
    pixels = upright_view(decoded.pixels, decoded.metadata.orientation)
    seen = _look(pixels, decoded, [box.box_px for box in marks.patches])
    try:
        shape = shape_of(marks, (pixels.shape[1], pixels.shape[0]))
    except DryslateError as error:
        problems = (problem_of(error, "").as_dict(),)
        return MarksLook(
            width_mm=None, height_mm=None, scale_u_frac=None, seen=seen, problems=problems
        )
    return MarksLook(
        width_mm=shape.width_mm,
        height_mm=shape.height_mm,
        scale_u_frac=shape.scale_u_frac,
        seen=seen,
        problems=tuple(p.as_dict() for p in shape.problems),
    )


def fill_grid(
    corners_px: Sequence[tuple[float, float]], first: Box, last: Box, shape: tuple[int, int]
) -> tuple[Box, ...]:
    """
    Lay boxes for patches in rows and columns between the first and the last one.

    Parameters
    ----------
    corners_px : sequence of points
        The card's corners: the grid is even on the card, not in the photo.
    first, last : tuple of float
        Boxes of the top left and the bottom right patch, x1, y1, x2, y2.
    shape : tuple of int
        Rows and columns.

    Returns
    -------
    tuple of boxes
        Row by row; the first and the last as they were given.

    Raises
    ------
    InputError
        ``card-grid-wrong``; ``corners-outside`` and its like.
    """
    rows, columns = shape
    if rows * columns < 2 or rows * columns > MOST_PATCHES or min(shape) < 1:
        raise InputError(
            "card-grid-wrong",
            f"{rows} rows of {columns} patches make no grid: 2 to {MOST_PATCHES} patches.",
            "Count the rows and columns of the card's patches.",
        )
    square = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
    to_card = fit_homography(require_corners(corners_px, (MOST_PX, MOST_PX)), square)
    to_photo = np.linalg.inv(to_card)
    ends = apply_homography(to_card, np.array([first, last], dtype=np.float64).reshape(4, 2))
    starts, sizes = ends[[0, 2]], np.abs(ends[[1, 3]] - ends[[0, 2]]).mean(axis=0)
    starts = np.minimum(starts, ends[[1, 3]])
    boxes = []
    for row in range(rows):
        for column in range(columns):
            share = np.array([column / max(columns - 1, 1), row / max(rows - 1, 1)])
            at = starts[0] + share * (starts[1] - starts[0])
            ring = apply_homography(to_photo, at + square * sizes)
            x, y = np.sort(ring, axis=0).T
            boxes.append(
                (float(x[:2].mean()), float(y[:2].mean()), float(x[2:].mean()), float(y[2:].mean()))
            )
    return (first, *boxes[1:-1], last)


def define_in_project(
    ports: tuple[ReferenceTables, PhotoReader, PhotoVault],
    store: SurveyStore,
    photo_id: str,
    marks: CardMarks,
    observer: str,
) -> dict[str, Any]:
    """
    Save a card of the project from marks in one of its photos.

    Parameters
    ----------
    ports : tuple of ReferenceTables, PhotoReader and PhotoVault
    store : SurveyStore
    photo_id : str
    marks : CardMarks
    observer : str
        Who set the marks; stands in the card's file.

    Returns
    -------
    dict
        As `dryslate.app.card_from_photo.define_card`, without where the files lie.

    Raises
    ------
    InputError
        ``card-name-wrong``, ``card-name-taken``, ``photo-not-in-project``, and those of
        `define_card`.
    """
    tables, reader, vault = ports
    photo = require_photo(store, photo_id)
    _require_name(tables, marks.name)
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    source = (
        f"As they look in {file.original_name}, the lightest neutral taken as L* {WHITE_L:g}; "
        f"marked by {observer}."
    )
    told = replace(
        marks, title=marks.title or f"{marks.name}, defined from a photo", values_source=source
    )
    path = vault.path_of(file.sha256, file.original_name)
    done = define_card(tables, reader, path, told, None)
    return {name: value for name, value in done.items() if name not in ("path", "picture")}


def put_card_away(tables: ReferenceTables, store: SurveyStore, name: str) -> None:
    """
    Take a card of the project back; its files are moved aside, not deleted.

    Parameters
    ----------
    tables : ReferenceTables
    store : SurveyStore
    name : str

    Raises
    ------
    InputError
        ``card-unknown`` where the project has no such card of its own; ``card-in-use`` where a
        photo's correction rests on it.
    """
    resting = [row for row in store.corrections() if row.geometry.get("card") == name]
    if resting:
        photo = store.photo(resting[0].photo_id)
        called = resting[0].photo_id[:12] if photo is None else photo.files[0].original_name
        raise InputError(
            "card-in-use",
            f"The card {name} stays: {len(resting)} corrections rest on it, that of {called} "
            "first.",
            "Let earlier corrections of those photos hold again first.",
        )
    if NAME.fullmatch(name) is None or not tables.put_away(name):
        raise InputError(
            "card-unknown",
            f"The project has no card of its own called {name!r}.",
            "Look at the project's cards.",
        )


def _require_name(tables: ReferenceTables, name: str) -> None:
    """Refuse a name that is none, or that a card has already."""
    if NAME.fullmatch(name) is None:
        raise InputError(
            "card-name-wrong",
            f"{name!r} cannot be the name of a card.",
            "Take small letters, digits and dashes, at most 40, such as reef-slate-2.",
        )
    if any(card.name == name for card in tables.cards()) or tables.place_for(name).exists():
        raise InputError(
            "card-name-taken",
            f"There is a card called {name!r} already.",
            "Give this one another name.",
        )


def _look(pixels: Any, decoded: DecodedPhoto, boxes: Sequence[Box]) -> tuple[tuple[str, str], ...]:
    """Say of each box how its middle looks beside the lightest, and which role it seems to have."""
    colours = [_middle(pixels, decoded, box) for box in boxes]
    known = [c for c in colours if c is not None]
    if not known:
        return tuple(("", "") for _ in boxes)
    white = max(known, key=lambda c: float(c.sum()))
    gain = lab_to_linear_srgb((WHITE_L, 0.0, 0.0)) / np.maximum(white, 1e-3)
    seen = []
    for colour in colours:
        if colour is None:
            seen.append(("", ""))
            continue
        lab = linear_srgb_to_lab(np.maximum(colour * gain, 0.0))
        chroma = float(np.hypot(lab[1], lab[2]))
        seen.append((hex_of(lab), "neutral" if chroma < GREY_CHROMA else "colour"))
    return tuple(seen)


def _middle(pixels: Any, decoded: DecodedPhoto, box: Box) -> Any | None:
    """Return the colour of the middle half of a box in linear sRGB, None where it holds nothing."""
    x1, x2 = sorted((box[0], box[2]))
    y1, y2 = sorted((box[1], box[3]))
    qx, qy = (x2 - x1) / 4, (y2 - y1) / 4
    rows = slice(max(round(y1 + qy), 0), round(y2 - qy) + 1)
    columns = slice(max(round(x1 + qx), 0), round(x2 - qx) + 1)
    cell = pixels[rows, columns].reshape(-1, 3)
    if len(cell) < 4:
        return None
    linear = np.stack([decoded.linear_lut[cell[:, c], c] for c in range(3)], axis=-1)
    return np.median(linear, axis=0) @ decoded.to_srgb.T
