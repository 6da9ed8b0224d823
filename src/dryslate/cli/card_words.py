"""Reading the card commands' options, and saying their answers in words."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from dryslate.app.card_marks import CardMarks
    from dryslate.app.card_values import CharacteriseOptions
    from dryslate.app.ports import ReferenceTables


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


def characterise_options(given: Mapping[str, Any]) -> CharacteriseOptions:
    """Build the options of `card characterise` from the command's arguments."""
    from dryslate.app.card_values import CharacteriseOptions

    line = parse_point(given["line_mm"]) if given["line_mm"] else None
    return CharacteriseOptions(
        card=given["card"],
        readings=given["readings"],
        illuminant=given["illuminant"],
        medium=given["medium"],
        known=given["known"],
        photos=tuple(given["photo"] or ()),
        known_corners_px=parse_points(given["known_corners"], 4),
        dry=given["dry"],
        filled=given["filled"],
        ptfe_px=tuple(parse_point(p) for p in given["ptfe"] or ()),
        ptfe_u_frac=given["ptfe_u_frac"],
        serial=given["serial"],
        name=given["name"],
        line_mm=line,
        out=given["out"],
    )


def marks_from_options(tables: ReferenceTables, given: Mapping[str, Any]) -> CardMarks:
    """Build what was marked in the photo, from the file or from the options."""
    from dryslate.app.card_marks import CardMarks, PatchBox, parse_marks

    file: Path | None = given["file"]
    if file is not None:
        return parse_marks(tables.read_text(file), str(file))
    needed = {k: given[k] for k in ("name", "corners", "ticks", "ticks_mm", "patch")}
    if not all(needed.values()):
        raise typer.BadParameter(
            "give --file, or all of --name, --corners, --ticks, --ticks-mm and --patch"
        )
    boxes = []
    for text in given["patch"]:
        try:
            patch_id, role, box = text.rsplit(":", 2)
            x1, y1, x2, y2 = (float(v) for v in box.split(","))
        except ValueError:
            role = ""
        if role not in ("neutral", "colour"):
            raise typer.BadParameter(f"expected ID:neutral:X1,Y1,X2,Y2 or colour; found {text!r}")
        boxes.append(PatchBox(patch_id=patch_id, role=role, box_px=(x1, y1, x2, y2)))
    return CardMarks(
        name=given["name"],
        title="",
        corners_px=parse_points(given["corners"], 4),
        ticks_px=parse_points(given["ticks"], 2),
        ticks_mm=given["ticks_mm"],
        patches=boxes,
    )


def value_rows(done: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return one row of cells per patch of a characterised card."""
    return [
        (
            p["id"],
            *(f"{v:.2f}" for v in p["lab_d65"]),
            *(f"{v:.2f}" for v in p["lab_u"]),
            str(p["n"]),
        )
        for p in done["patches"]
    ]


def compare_rows(done: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return one row of cells per patch of a comparison, the most changed first."""
    return [
        (
            p["id"],
            f"{p['drift_de00']:.1f}",
            f"{p['drift_de00_u']:.1f}",
            *(f"{v:+.1f}" for v in p["drift_lab"]),
            p["verdict"],
        )
        for p in sorted(done["patches"], key=lambda p: -p["drift_de00"])
    ]
