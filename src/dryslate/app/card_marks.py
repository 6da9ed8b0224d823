"""What was marked in a photo of somebody's own flat card."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryslate.base.errors import FormatError


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchBox:
    """One patch as marked in the photo: opposite corners of its box, and what is known of it."""

    patch_id: str
    role: str
    box_px: tuple[float, float, float, float]
    lab_d65: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardMarks:
    """
    What was marked in the photo.

    Parameters
    ----------
    name, title : str
    corners_px : sequence of tuple
        The card's corners, clockwise from its top left.
    ticks_px : sequence of tuple
        Two ticks of its scale.
    ticks_mm : float
        Their distance on the card.
    patches : sequence of PatchBox
    point_u_px : float
        Standard uncertainty of a marked point, each coordinate.
    status, medium, values_source : str
        Of values given with the patches.
    """

    name: str
    title: str
    corners_px: Sequence[tuple[float, float]]
    ticks_px: Sequence[tuple[float, float]]
    ticks_mm: float
    patches: Sequence[PatchBox]
    point_u_px: float = 1.0
    status: str = "nominal"
    medium: str = "air"
    values_source: str = ""


def parse_marks(text: str, place: str) -> CardMarks:
    """
    Read the small file that says what was marked in the photo.

    Parameters
    ----------
    text : str
        TOML: ``name``, ``title``, ``corners_px`` (four pairs), ``ticks_px`` (two pairs),
        ``ticks_mm``, and ``[[patches]]`` with ``id``, ``role``, ``box_px`` (x1, y1, x2, y2) and,
        where known, ``lab_d65``; with values also ``status``, ``medium``, ``values_source``.
    place : str
        Name of the file, for messages.

    Raises
    ------
    FormatError
        ``card-marks-wrong`` with what is missing or of the wrong kind.
    """
    try:
        table = tomllib.loads(text)
        return CardMarks(
            name=str(table["name"]),
            title=str(table.get("title", "")),
            corners_px=_pairs(table["corners_px"], 4),
            ticks_px=_pairs(table["ticks_px"], 2),
            ticks_mm=float(table["ticks_mm"]),
            patches=[_patch_box(row) for row in table["patches"]],
            point_u_px=float(table.get("point_u_px", 1.0)),
            status=str(table.get("status", "nominal")),
            medium=str(table.get("medium", "air")),
            values_source=str(table.get("values_source", "")),
        )
    except (KeyError, TypeError, ValueError) as error:
        what = f"{error.args[0]} is missing" if isinstance(error, KeyError) else str(error)
        raise FormatError(
            "card-marks-wrong",
            f"{place}: {what}.",
            "Expected name, corners_px (four pairs), ticks_px (two pairs), ticks_mm and "
            "[[patches]] with id, role and box_px.",
        ) from error


def _pairs(rows: Any, n: int) -> list[tuple[float, float]]:
    """Read `n` pairs of numbers."""
    pairs = [(float(x), float(y)) for x, y in rows]
    if len(pairs) != n:
        raise ValueError(f"expected {n} pairs of numbers, found {len(pairs)}")
    return pairs


def _patch_box(row: Mapping[str, Any]) -> PatchBox:
    """Read one patch."""
    x1, y1, x2, y2 = (float(v) for v in row["box_px"])
    lab = row.get("lab_d65")
    if row["role"] not in ("neutral", "colour"):
        raise ValueError(f"role is neutral or colour, found {row['role']!r}")
    return PatchBox(
        patch_id=str(row["id"]),
        role=row["role"],
        box_px=(x1, y1, x2, y2),
        lab_d65=(float(lab[0]), float(lab[1]), float(lab[2])) if lab is not None else None,
    )
