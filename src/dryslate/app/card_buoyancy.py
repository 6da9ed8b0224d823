"""Which stainless weight makes a board or card hang just negative in sea water."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dryslate.app.ports import ReferenceTables
from dryslate.base.errors import InputError
from dryslate.core.measure.buoyancy import Part, measure_buoyancy, measure_seawater_density

THICKNESS_U_FRAC = 0.05 / math.sqrt(3)
"""Plastic sheet is commonly sold to within 5 % of its thickness; common practice."""
STEEL = "stainless-steel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """
    A board, what is fixed to it, and the water.

    Parameters
    ----------
    size_mm : tuple of float
        Width, height and thickness.
    material : str
        A row of the density table.
    extras : sequence of tuple
        Mass in grams and material of each thing fixed to it already.
    salinity, temperature_deg_c, depth_m : float
        The water it will hang in.
    """

    size_mm: tuple[float, float, float]
    material: str = "polypropylene"
    extras: Sequence[tuple[float, str]] = ()
    salinity: float = 35.0
    temperature_deg_c: float = 26.0
    depth_m: float = 5.0


def weigh_board(tables: ReferenceTables, board: Board) -> dict[str, Any]:
    """
    Compute a board's net lift in sea water and the steel that makes it just sink.

    Raises
    ------
    InputError
        ``material-unknown``, ``board-size-not-positive``, ``board-sinks-already``,
        ``seawater-out-of-range``.
    """
    if not all(0 < v < 5000 for v in board.size_mm) or not all(m > 0 for m, _ in board.extras):
        raise InputError(
            "board-size-not-positive",
            f"Sizes and masses must be above zero, found {board.size_mm} mm and "
            f"{[m for m, _ in board.extras]} g.",
            "Give width x height x thickness in millimetres, such as 150x100x4.",
        )
    density, density_u, source = _density(tables, board.material)
    volume_cm3 = math.prod(board.size_mm) / 1000.0
    parts = [
        Part(
            volume_cm3=volume_cm3,
            volume_cm3_u=volume_cm3 * THICKNESS_U_FRAC,
            density_g_cm3=density,
            density_g_cm3_u=density_u,
        )
    ]
    for mass_g, material in board.extras:
        d, d_u, _ = _density(tables, material)
        parts.append(
            Part(volume_cm3=mass_g / d, volume_cm3_u=0.0, density_g_cm3=d, density_g_cm3_u=d_u)
        )
    steel, steel_u, steel_source = _density(tables, STEEL)
    water = measure_seawater_density(board.salinity, board.temperature_deg_c, board.depth_m)
    found = measure_buoyancy(tuple(parts), steel, steel_u, water)
    return {
        "material": board.material,
        "volume_cm3": round(volume_cm3, 2),
        "board_mass_g": round(volume_cm3 * density, 1),
        "water_density_kg_m3": round(found.water_density_kg_m3, 2),
        "lift_g": round(found.lift_g, 1),
        "lift_g_u": round(found.lift_g_u, 1),
        "steel_g": round(found.weight_g, 1),
        "steel_g_u": round(found.weight_g_u, 1),
        "steel_g_lo": round(found.weight_lo_g, 1),
        "steel_g_hi": round(found.weight_hi_g, 1),
        "net_down_g": round(found.net_down_g, 1),
        "sources": {board.material: source, STEEL: steel_source},
    }


def _density(tables: ReferenceTables, material: str) -> tuple[float, float, str]:
    """Density, its uncertainty and the source, from the table."""
    rows = {r["material"]: r for r in tables.table("densities")}
    row = rows.get(material.strip().lower().replace(" ", "-"))
    if row is None:
        raise InputError(
            "material-unknown",
            f"There is no density for {material!r}.",
            f"Known materials: {', '.join(rows)}.",
        )
    return float(row["density_g_cm3"]), float(row["density_g_cm3_u"]), row["source"]
