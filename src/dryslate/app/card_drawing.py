"""A card as a small picture: patches as stated and as they came out, those left out marked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from dryslate.app.measure_try import hex_of
from dryslate.app.project_records import PatchResidual
from dryslate.core.card.definition import CardDefinition, Marker, Patch
from dryslate.core.card.markers import marker_cells, rim_mm
from dryslate.core.card.picture import INK_LAB, PAPER_LAB

Square = tuple[float, float, float]
"""Left, top and side, in millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPatch:
    """
    One patch of the picture.

    Parameters
    ----------
    patch_id : str
    x_mm, y_mm, width_mm, height_mm : float
    stated_hex : str
        Its colour by the card's definition.
    seen_hex : str or None
        Its colour in the corrected photo; None where it is not known.
    off_de00 : float or None
        CIEDE2000 between the two.
    dropped : str
        Why it was not used; empty where it was.
    number : int
        Its number among the dropped ones, from 1; 0 where it was used.
    """

    patch_id: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    stated_hex: str
    seen_hex: str | None
    off_de00: float | None
    dropped: str
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnMarker:
    """
    One marker: its white rim and its black square, left, top and side in millimetres, and cells.

    Parameters
    ----------
    rim, square : tuple of float
    white : tuple of tuple of float
        The white cells within the black square.
    """

    rim: Square
    square: Square
    white: tuple[Square, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardDrawing:
    """
    A card as a small picture, in millimetres.

    Parameters
    ----------
    name, title : str
    width_mm, height_mm, corner_radius_mm : float
    ground_hex, ink_hex, paper_hex : str
    patches : tuple of DrawnPatch
    markers : tuple of DrawnMarker
    """

    name: str
    title: str
    width_mm: float
    height_mm: float
    corner_radius_mm: float
    ground_hex: str
    ink_hex: str
    paper_hex: str
    patches: tuple[DrawnPatch, ...]
    markers: tuple[DrawnMarker, ...]

    @property
    def dropped(self) -> tuple[DrawnPatch, ...]:
        """The patches that were not used, as they are numbered."""
        return tuple(p for p in self.patches if p.number)


def draw_card(
    card: CardDefinition, residuals: Iterable[PatchResidual], dropped: Mapping[str, str]
) -> CardDrawing:
    """
    Draw a card with what came of each patch.

    Parameters
    ----------
    card : CardDefinition
    residuals : iterable of PatchResidual
        Of one correction; may be empty.
    dropped : Mapping
        Reason by patch, for patches that were not used.

    Returns
    -------
    CardDrawing
    """
    rows = {row.patch_id: row for row in residuals}
    whys = {patch_id: row.dropped for patch_id, row in rows.items() if row.dropped} | dict(dropped)
    order = [p.patch_id for p in card.patches if p.patch_id in whys]
    return CardDrawing(
        name=card.name,
        title=card.title,
        width_mm=card.width_mm,
        height_mm=card.height_mm,
        corner_radius_mm=card.corner_radius_mm,
        ground_hex=hex_of(card.ground_lab_d65),
        ink_hex=hex_of(INK_LAB),
        paper_hex=hex_of(PAPER_LAB),
        patches=tuple(_patch(p, rows.get(p.patch_id), whys, order) for p in card.patches),
        markers=tuple(_marker(m) for m in card.markers),
    )


def _patch(
    patch: Patch, row: PatchResidual | None, whys: Mapping[str, str], order: list[str]
) -> DrawnPatch:
    """Draw one patch."""
    shift = None if row is None else row.residual_lab
    seen = None if shift is None else hex_of(np.add(patch.lab_d65, shift))
    return DrawnPatch(
        patch_id=patch.patch_id,
        x_mm=patch.x_mm,
        y_mm=patch.y_mm,
        width_mm=patch.width_mm,
        height_mm=patch.height_mm,
        stated_hex=hex_of(patch.lab_d65),
        seen_hex=seen,
        off_de00=None if row is None else row.residual_de00,
        dropped=whys.get(patch.patch_id, ""),
        number=order.index(patch.patch_id) + 1 if patch.patch_id in order else 0,
    )


def _marker(marker: Marker) -> DrawnMarker:
    """Draw one marker with its cells, so that the card's own top left can be told."""
    rim, side = rim_mm(marker), marker.side_mm
    cells = np.rot90(marker_cells(marker.dictionary, marker.marker_id), -(marker.turn_deg // 90))
    step = side / len(cells)
    white = tuple(
        (marker.x_mm + column * step, marker.y_mm + row * step, step)
        for row, column in np.argwhere(cells).tolist()
    )
    return DrawnMarker(
        rim=(marker.x_mm - rim, marker.y_mm - rim, side + 2 * rim),
        square=(marker.x_mm, marker.y_mm, side),
        white=white,
    )
