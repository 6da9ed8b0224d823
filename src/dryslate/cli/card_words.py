"""Reading the card commands' options, and saying their answers in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import typer


def parse_size(text: str) -> tuple[float, float, float]:
    """Read ``150x100x4`` as three numbers."""
    try:
        a, b, c = (float(v) for v in text.lower().replace("×", "x").split("x"))
    except ValueError:
        raise typer.BadParameter(
            f"expected width x height x thickness in mm, such as 150x100x4; found {text!r}"
        ) from None
    return a, b, c


def parse_extra(text: str) -> tuple[float, str]:
    """Read ``12:stainless-steel`` as grams and material."""
    mass, _, material = text.partition(":")
    try:
        return float(mass), material or "stainless-steel"
    except ValueError:
        raise typer.BadParameter(
            f"expected grams:material, such as 12:stainless-steel; found {text!r}"
        ) from None


def parse_point(text: str) -> tuple[float, float]:
    """Read ``120.5,88`` as a point in pixels."""
    try:
        x, y = (float(v) for v in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"expected X,Y in pixels; found {text!r}") from None
    return x, y


def parse_points(text: str | None, n: int) -> tuple[tuple[float, float], ...]:
    """Read `n` points parted by blanks; none when there is no text."""
    if not text:
        return ()
    points = tuple(parse_point(part) for part in text.split())
    if len(points) != n:
        raise typer.BadParameter(f"expected {n} points X,Y parted by blanks; found {len(points)}")
    return points


def buoyancy_words(done: Mapping[str, Any]) -> str:
    """Say how a board behaves and what to add."""
    lift, lift_u = done["lift_g"], done["lift_g_u"]
    how = f"floats with {lift:.0f} g" if lift > 0 else f"hangs {-lift:.0f} g negative"
    lines = [
        f"Board: {done['volume_cm3']:g} cm³ of {done['material']}, {done['board_mass_g']:.0f} g.",
        f"In this water ({done['water_density_kg_m3']:.1f} kg/m³) it {how} (± {lift_u:.1f} g).",
    ]
    if done["steel_g"] > 0:
        lines.append(
            f"Add {done['steel_g']:.0f} g of stainless steel, weighed dry: it then hangs "
            f"{done['net_down_g']:.0f} g negative."
        )
        lines.append(
            f"{done['steel_g_lo']:.0f} to {done['steel_g_hi']:.0f} g gives 5 to 20 g negative."
        )
    else:
        lines.append("No steel is needed.")
    lines.append("Try it in the water you dive in before the trip; trapped air lifts.")
    return "\n".join(lines)
