"""``dryslate identify``: from what was seen of a coral to its name, with honest doubt."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate.cli.identify_run import Asking, Source, require_use, run_batch, run_one
from dryslate.cli.measure import (
    Cards,
    Corners,
    InPlane,
    LensFile,
    OffMm,
    OffMmU,
    PointU,
    PortName,
    Stood,
)
from dryslate.cli.measure_words import PointsCommand
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp

Stream = Annotated[
    str | None,
    typer.Argument(
        metavar="[-]", help="A dash, with --json: one JSON record a line on standard input."
    ),
]
Region = Annotated[
    str | None,
    typer.Option(
        "--region", help="Where the coral was seen; else the project's own, else indo_pacific."
    ),
]
Seen = Annotated[
    list[str] | None,
    typer.Option(
        "--seen",
        metavar="CHARACTER=STATE",
        help="A state that the colony shows. Repeatable: several states of one character mean "
        "that it shows each of them.",
    ),
]
Not = Annotated[
    list[str] | None,
    typer.Option(
        "--not",
        metavar="CHARACTER=STATE",
        help="A state that was looked for and is not there. Repeatable.",
    ),
]
Unclear = Annotated[
    list[str] | None,
    typer.Option(
        "--unclear",
        metavar="CHARACTER",
        help="Looked at and could not tell: no evidence, and not asked again. Repeatable.",
    ),
]
SizeWords = Annotated[
    list[str] | None,
    typer.Option(
        "--size",
        metavar="MEASURE=VALUE±U",
        help="corallite_diameter, valley_width or colony_diameter with its standard uncertainty, "
        "as 7.5±0.4 or 7.5+-0.4, in millimetres unless cm stands behind it. Repeatable.",
    ),
]
Juvenile = Annotated[
    bool, typer.Option("--juvenile", help="The coral is under 5 cm: adult sizes do not apply.")
]
Project = Annotated[
    Path | None,
    typer.Option("--project", help="Project folder: its own genera, region and frequencies."),
]
AllEqual = Annotated[
    bool,
    typer.Option(
        "--all-equal",
        help="Count every genus as equally common, whatever is known of how often it is met.",
    ),
]
Photo = Annotated[
    Path | None,
    typer.Option("--photo", help="Photo with a card in it, to measure the corallites in."),
]
Corallites = Annotated[
    Path | None,
    typer.Option("--corallites", help="File with X1,Y1,X2,Y2 a line, one corallite each."),
]
Measured = Annotated[
    str,
    typer.Option(
        "--measured", help="What the file has: corallite_diameter, or valley_width in valleys."
    ),
]
Ask = Annotated[bool, typer.Option("--ask", help="Go on with questions after what was given here.")]
Why = Annotated[
    bool,
    typer.Option(
        "--why", help="Show probabilities, log-odds and how much of the evidence is from memory."
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document a coral.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("identify", cls=PointsCommand)(identify_command)


def identify_command(  # noqa: PLR0913, PLR0917 - one argument an option
    stream: Stream = None,
    region: Region = None,
    seen: Seen = None,
    not_seen: Not = None,
    unclear: Unclear = None,
    size: SizeWords = None,
    juvenile: Juvenile = False,
    photo: Photo = None,
    corallites: Corallites = None,
    measured: Measured = "corallite_diameter",
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
    all_equal: AllEqual = False,
    largest_mp: LargestMp = LARGEST_MP,
    ask: Ask = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Name a coral from what was seen of it; with nothing given, by questions and answers."""
    off_plane = (off_plane_mm, off_plane_mm_u, card_stood, in_plane)
    picture = Source(photo=photo, corallites=corallites, measured=measured, off_plane=off_plane)
    picture = picture.with_optics(point_u_px, (card, corners), (lens, port), largest_mp)
    said = (seen or [], not_seen or [], unclear or [], size or [])
    asking = Asking(said=said, is_juvenile=juvenile, is_asked=ask, has_why=why, as_json=as_json)
    require_use(stream, asking, picture)
    where = (project, region, all_equal)
    raise typer.Exit(run_one(where, asking, picture) if stream is None else run_batch(where))
