"""The card commands about values: characterise, from-photo, compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.card_words import (
    characterise_options,
    compare_rows,
    marks_from_options,
    parse_point,
    value_rows,
)
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp
from dryslate.cli.render import WITH_PROBLEMS, print_json, print_problem, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.card_marks import CardMarks

Project = Annotated[
    Path | None, typer.Option("--project", help="Project whose own cards are known too.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]
Out = Annotated[Path | None, typer.Option("-o", "--out", help="File to write.")]
Photos = Annotated[
    list[Path] | None,
    typer.Option("--photo", help="Photo of card and known target in daylight; repeatable."),
]
Ptfe = Annotated[
    list[str] | None,
    typer.Option(help="Middle of the white PTFE, X,Y; once for the dry, once for the filled."),
]


def register(card_app: typer.Typer) -> None:
    """Add the commands."""
    card_app.command("characterise")(characterise_command)
    card_app.command("from-photo")(from_photo_command)
    card_app.command("compare")(compare_command)


def _finish(done: Mapping[str, Any], as_json: bool, lines: Sequence[str]) -> None:
    """Print an answer with its problems, and leave with 3 where there are warnings."""
    if as_json:
        print_json(done)
    else:
        for line in lines:
            print_text(line)
    for problem in done["problems"]:
        print_problem(problem)
    if any(p["severity"] != "note" for p in done["problems"]):
        raise typer.Exit(WITH_PROBLEMS)


def characterise_command(  # noqa: PLR0913, PLR0917 - one argument an option
    card: Annotated[str, typer.Option("--card", help="The card to characterise.")] = "field",
    readings: Annotated[
        Path | None, typer.Option(help="CGATS.17 or CSV file of measured values.")
    ] = None,
    illuminant: Annotated[str, typer.Option(help="D50 or D65, where the file does not say.")] = "",
    medium: Annotated[str, typer.Option(help="air or water: where it was measured.")] = "air",
    known: Annotated[str, typer.Option(help="Target of known values beside the card.")] = "",
    photo: Photos = None,
    known_corners: Annotated[
        str, typer.Option(help="The target's corners: four points X,Y, clockwise.")
    ] = "",
    dry: Annotated[Path | None, typer.Option(help="Photo of the dry tray.")] = None,
    filled: Annotated[Path | None, typer.Option(help="Photo of the filled tray.")] = None,
    ptfe: Ptfe = None,
    ptfe_u_frac: Annotated[
        float, typer.Option(help="Relative doubt of the PTFE in water against air.")
    ] = 0.02,
    serial: Annotated[str, typer.Option(help="Serial number of this very card.")] = "",
    name: Annotated[str, typer.Option(help="Name of the new definition.")] = "",
    line_mm: Annotated[
        str, typer.Option(help="The lines of 100 mm as measured: ACROSS,DOWN.")
    ] = "",
    out: Out = None,
    project: Project = None,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Json = False,
) -> None:
    """Find the card's real values: from readings, photos beside a known target, or a tray."""
    from dryslate.app.card_characterise import characterise

    options = characterise_options(locals())
    tables = wiring.reference_tables(project)
    done = characterise(tables, wiring.photo_reader(largest_mp), options)
    if not as_json:
        columns = ("patch", "L*", "a*", "b*", "u(L*)", "u(a*)", "u(b*)", "n")
        print_table(f"Values of {done['card']}, in {done['medium']}", columns, value_rows(done))
    _finish(done, as_json, [f"Written: {done['path']}"])


def from_photo_command(  # noqa: PLR0913, PLR0917 - one argument an option
    photo: Annotated[Path, typer.Argument(help="One straight photo of the card.")],
    file: Annotated[
        Path | None, typer.Option("--file", help="TOML file with corners, ticks and patches.")
    ] = None,
    name: Annotated[str, typer.Option(help="Name of the card.")] = "",
    corners: Annotated[
        str, typer.Option(help="Its corners: four points X,Y, clockwise from the top left.")
    ] = "",
    ticks: Annotated[str, typer.Option(help="Two ticks of its scale: two points X,Y.")] = "",
    ticks_mm: Annotated[float, typer.Option(help="Distance of the two ticks in mm.")] = 0.0,
    patch: Annotated[
        list[str] | None,
        typer.Option(help="ID:neutral:X1,Y1,X2,Y2 or ID:colour:...; repeatable."),
    ] = None,
    out: Out = None,
    project: Project = None,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Json = False,
) -> None:
    """Define any flat card from one straight photo: corners, patches, two scale ticks."""
    from dryslate.app.card_from_photo import define_card

    tables = wiring.reference_tables(project)
    marks: CardMarks = marks_from_options(tables, locals())
    done = define_card(tables, wiring.photo_reader(largest_mp), photo, marks, out)
    size = f"{done['width_mm']:g} x {done['height_mm']:g} mm"
    doubt = f"± {100 * done['print_scale_u_frac']:.2g} % (standard uncertainty)"
    lines = [f"Written: {done['path']} and {done['picture']}", f"Size: {size} {doubt}"]
    _finish(done, as_json, [*lines, f"Values: {done['status']}, {done['n_patches']} patches"])


def compare_command(  # noqa: PLR0913, PLR0917 - one argument an option
    dry: Annotated[Path, typer.Argument(help="Photo with the dry twin.")],
    wet: Annotated[
        Path | None, typer.Argument(help="Photo with the dive card; none if both are in one.")
    ] = None,
    card: Annotated[str, typer.Option("--card", help="The card both are prints of.")] = "field",
    dry_at: Annotated[
        str,
        typer.Option(help="A point X,Y on the twin where both lie in one photo; else the left is."),
    ] = "",
    project: Project = None,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Json = False,
) -> None:
    """Compare the dive card with its dry twin: how far each patch has moved."""
    from dryslate.app.card_compare import compare_twins

    tables, point = wiring.reference_tables(project), parse_point(dry_at) if dry_at else None
    done = compare_twins(tables, wiring.photo_reader(largest_mp), (dry, wet or dry), card, point)
    if not as_json:
        columns = ("patch", "moved (CIEDE2000)", "±", "L*", "a*", "b*", "verdict")
        print_table(f"Dive card against twin: {done['card']}", columns, compare_rows(done))
    words = f"Replace: {', '.join(done['replace'])}" if done["replace"] else "Every patch holds."
    _finish(done, as_json, [words, *done["notes"]])
