"""The measure command: lengths, outlines and colours in a photo, or a table in a project."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from dryslate.cli.measure_words import (
    PointsCommand,
    answers_from_photo,
    answers_from_table,
    exit_code,
    options_of,
    require_source,
    show_measurement,
)
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp

Between = Annotated[
    list[str] | None,
    typer.Option(
        "--between",
        metavar="X1,Y1 X2,Y2",
        help="Distance between two points (more points: along them), in pixels of the upright "
        "original, pixel centres on whole numbers. Repeatable.",
    ),
]
Outline = Annotated[
    list[Path] | None,
    typer.Option("--outline", help="File with one point X,Y a line around a coral. Repeatable."),
]
Corallites = Annotated[
    list[Path] | None,
    typer.Option(
        "--corallites", help="File with X1,Y1,X2,Y2 a line, one corallite each. Repeatable."
    ),
]
Colour = Annotated[
    list[Path] | None,
    typer.Option(
        "--colour",
        help="File with one point X,Y a line around an area whose colour is wanted. Repeatable.",
    ),
]
OffMm = Annotated[
    float | None,
    typer.Option("--off-plane-mm", help="How much nearer the camera than the card it lies."),
]
OffMmU = Annotated[
    float | None, typer.Option("--off-plane-mm-u", help="Standard uncertainty of that distance.")
]
Stood = Annotated[
    str | None,
    typer.Option("--card-stood", help="top, edge or base: where on the coral the card was held."),
]
InPlane = Annotated[
    bool, typer.Option("--in-plane", help="It lies exactly in the card's plane: distance zero.")
]
PointU = Annotated[
    float,
    typer.Option("--point-u-px", help="Standard uncertainty of a picked point; 0: exact points."),
]
Cards = Annotated[list[str] | None, typer.Option("--card", help="Card to look for. Repeatable.")]
Corners = Annotated[
    str | None,
    typer.Option(
        "--corners",
        metavar="X,Y X,Y X,Y X,Y",
        help="The card's corners by hand, clockwise from its own top left; needs --card.",
    ),
]
LensFile = Annotated[Path | None, typer.Option("--lens", help="Lens file of this very set-up.")]
PortName = Annotated[
    str,
    typer.Option("--port", help="Without a lens file: flat, dome, none (in air) or unknown."),
]
Project = Annotated[Path | None, typer.Option("--project", help="Project folder.")]
From = Annotated[
    Path | None,
    typer.Option("--from", help="Table (photo, colony, kind, points) to measure and save."),
]
By = Annotated[str, typer.Option("--observer", help="Who picked the points of the table.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document a measurement.")]


def register(app: typer.Typer) -> None:
    """Add the measure command."""
    app.command("measure", cls=PointsCommand)(measure_command)


def measure_command(  # noqa: PLR0913, PLR0917 - one argument an option
    photo: Annotated[Path | None, typer.Argument(help="Photo with a card in it.")] = None,
    between: Between = None,
    outline: Outline = None,
    corallites: Corallites = None,
    colour: Colour = None,
    off_plane_mm: OffMm = None,
    off_plane_mm_u: OffMmU = None,
    card_stood: Stood = None,
    in_plane: InPlane = False,
    point_u_px: PointU = 1.0,
    card: Cards = None,
    corners: Corners = None,
    lens: LensFile = None,
    port: PortName = "unknown",
    project: Project = None,
    table: From = None,
    observer: By = "",
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Json = False,
) -> None:
    """Measure corals in a photo with a card: lengths and colours, with doubt and 95 % interval."""
    require_source(photo, project, table)
    off_plane = (off_plane_mm, off_plane_mm_u, card_stood, in_plane)
    options = options_of(off_plane, point_u_px, (card, corners), (lens, port))
    answers: Iterable[Mapping[str, Any]]
    if table is not None and project is not None:
        answers = answers_from_table((project, table), observer, options, largest_mp)
    else:
        asked = (between, outline, corallites, colour)
        answers = answers_from_photo((project, photo or Path()), asked, options, largest_mp)
    raise typer.Exit(exit_code([show_measurement(a, as_json=as_json) for a in answers]))
