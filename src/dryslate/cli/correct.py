"""The command that corrects photos: colour and scale, from files or in a project."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate.cli.correct_words import CorrectOptions, run_photos, run_project
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp

Photos = Annotated[
    list[Path] | None,
    typer.Argument(
        help="Photos; with --project their names in it (without any: all but those set aside)."
    ),
]
Corners = Annotated[
    tuple[str, str, str, str] | None,
    typer.Option(
        metavar="X,Y X,Y X,Y X,Y",
        help="The card's four corners in the upright photo, clockwise from the card's top left.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("correct")(correct_command)


def correct_command(  # noqa: PLR0913, PLR0917 - one argument an option
    photos: Photos = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the corrected photos.")] = None,
    project: Annotated[Path | None, typer.Option(help="Correct the photos of a project.")] = None,
    card: Annotated[list[str] | None, typer.Option(help="Card to look for; repeatable.")] = None,
    corners: Corners = None,
    white: Annotated[str | None, typer.Option(help="A white point: X,Y.")] = None,
    grey: Annotated[str | None, typer.Option(help="A mid-grey point: X,Y.")] = None,
    apply_to: Annotated[
        list[Path] | None,
        typer.Option(help="Photos corrected by the same point; more may follow it. Repeatable."),
    ] = None,
    nominal_as_measured: Annotated[
        bool, typer.Option("--nominal-as-measured", help="Trust a card's nominal colours.")
    ] = False,
    port: Annotated[
        str, typer.Option(help="Between lens and water: unknown, flat, dome, or none for air.")
    ] = "unknown",
    tiff: Annotated[bool, typer.Option("--tiff", help="Write 16-bit TIFF.")] = False,
    preview: Annotated[bool, typer.Option(help="Write a small copy of each photo.")] = True,
    lens: Annotated[Path | None, typer.Option(help="Lens calibration file.")] = None,
    depths: Annotated[
        Path | None,
        typer.Option(
            help="CSV of time and depth_m, or a dive's log in UDDF, for borrowing in a project; "
            "times are taken as local, as photos have them."
        ),
    ] = None,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Photos at a time; without it one a core.")
    ] = None,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON line a photo.")] = False,
) -> None:
    """Correct colour and scale by the card in each photo; originals are only read."""
    options = CorrectOptions(**{k: v for k, v in locals().items() if k != "options"})
    code = run_photos(options) if project is None else run_project(options)
    raise typer.Exit(code)
