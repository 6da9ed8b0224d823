"""A card as a small picture: patches as stated and as they came out, those left out marked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from dryslate.app.measure_try import hexes_of
from dryslate.app.project_records import PatchResidual
from dryslate.core.card.definition import CardDefinition, Marker
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
    shifted = {n: r.residual_lab for n, r in rows.items() if r.residual_lab is not None}
    ground, ink, paper = hexes_of([card.ground_lab_d65, INK_LAB, PAPER_LAB])
    stated = hexes_of([p.lab_d65 for p in card.patches])
    seen_of = [p for p in card.patches if p.patch_id in shifted]
    seen = hexes_of([np.add(p.lab_d65, shifted[p.patch_id]) for p in seen_of])
    seen_hex = {p.patch_id: colour for p, colour in zip(seen_of, seen, strict=True)}
    return CardDrawing(
        name=card.name,
        title=card.title,
        width_mm=card.width_mm,
        height_mm=card.height_mm,
        corner_radius_mm=card.corner_radius_mm,
        ground_hex=ground,
        ink_hex=ink,
        paper_hex=paper,
        patches=tuple(
            DrawnPatch(
                patch_id=p.patch_id,
                x_mm=p.x_mm,
                y_mm=p.y_mm,
                width_mm=p.width_mm,
                height_mm=p.height_mm,
                stated_hex=colour,
                seen_hex=seen_hex.get(p.patch_id),
                off_de00=rows[p.patch_id].residual_de00 if p.patch_id in rows else None,
                dropped=whys.get(p.patch_id, ""),
                number=order.index(p.patch_id) + 1 if p.patch_id in order else 0,
            )
            for p, colour in zip(card.patches, stated, strict=True)
        ),
        markers=tuple(_marker(m) for m in card.markers),
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
