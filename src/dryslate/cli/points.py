"""``dryslate points``: where the points of a unit lie on its photos."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.survey_records import StatedDesign

COLUMNS = ("photo_id", "photo", "point", "x_px", "y_px")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("points")(points)


def points(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    unit: Annotated[str, typer.Argument(help="Name of a unit, or the first digits of its id.")],
    visit: Annotated[
        str, typer.Option("--visit", help="Of this visit, where names repeat.", metavar="VISIT")
    ] = "",
    csv: Annotated[Path | None, typer.Option("--csv", help="Write them to a file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Place the points of a unit on its photos, and list them. The seed that the unit states gives the
    same points on every machine, and the same order of photos.
    """
    from dryslate.app.unit_points import seed_of
    from dryslate.formats.table_csv import write_table_csv

    stated, rows = _placed(folder, unit, visit)
    if csv is not None:
        wiring.save_file(csv, write_table_csv(COLUMNS, rows))
        print_text(f"{csv}: {len(rows)} points on {len({row[0] for row in rows})} photos.")
    elif as_json:
        found = [dict(zip(COLUMNS, row, strict=True)) for row in rows]
        print_json({"unit_id": stated.unit_id, "seed": seed_of(stated), "points": found})
    else:
        _show(rows)


def _placed(folder: Path, unit: str, visit: str) -> tuple[StatedDesign, list[list[Any]]]:
    """Place the points of a unit."""
    from dryslate.app.unit_list import find_unit
    from dryslate.app.unit_points import place_unit_points, points_table, stated_design

    with wiring.survey_store(folder, write=False) as store:
        stated = stated_design(store, find_unit(store, unit, visit or None).unit_id)
        frames = place_unit_points(store, stated, wiring.import_tools(folder).size_of)
    return stated, points_table(frames)


def _show(rows: list[list[Any]]) -> None:
    """Show points as a table."""
    lines = [[row[1], str(row[2]), f"{row[3]:.2f}", f"{row[4]:.2f}"] for row in rows]
    print_table("Points", ("photo", "point", "x, px", "y, px"), lines)
