"""The lens command: calibrate a camera from photos of a flat board."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.photo_limit import LARGEST_MP, LargestMp
from dryslate.cli.render import (
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_text,
    progress,
)

Photos = Annotated[list[Path], typer.Argument(help="12 to 20 photos of the board.")]
BoardKind = Annotated[str, typer.Option("--board", help="checkerboard or charuco.")]
Squares = Annotated[str, typer.Option("--squares", help="Squares across x down.")]
SquareMm = Annotated[float, typer.Option("--square-mm", help="Side of a square.")]
MarkerMm = Annotated[
    float | None, typer.Option("--marker-mm", help="Charuco: side of a marker (3/4 of a square).")
]
Dictionary = Annotated[str, typer.Option("--dictionary", help="Charuco: ArUco dictionary.")]
Model = Annotated[str, typer.Option("--model", help="normal, or fisheye for very wide lenses.")]
Out = Annotated[Path, typer.Option("-o", "--out", help="Lens file to write.")]
Name = Annotated[str, typer.Option("--name", help="What to call it; else the file's name.")]
Note = Annotated[str, typer.Option("--note", help="Camera, housing, port, water.")]
Replace = Annotated[bool, typer.Option("--replace", help="Overwrite a lens file that is there.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the lens command."""
    app.command("lens")(lens_command)


def lens_command(  # noqa: PLR0913, PLR0917 - one argument an option
    photos: Photos,
    board: BoardKind = "checkerboard",
    squares: Squares = "10x7",
    square_mm: SquareMm = 25.0,
    marker_mm: MarkerMm = None,
    dictionary: Dictionary = "4X4_50",
    model: Model = "normal",
    out: Out = Path("lens.toml"),
    name: Name = "",
    note: Note = "",
    replace: Replace = False,
    largest_mp: LargestMp = LARGEST_MP,
    as_json: Json = False,
) -> None:
    """Calibrate a lens from photos of a flat board, taken as you dive: in housing, under water."""
    described = (board, squares, square_mm, marker_mm, dictionary)
    done = run_lens(tuple(photos), described, model, (out, name, note, replace), largest_mp)
    for problem in done["problems"]:
        print_problem(problem)
    if as_json:
        print_json(done)
    else:
        print_text(words_of_lens(done))
    if done["n_views"] < len(set(photos)):  # the others are named
        raise typer.Exit(WITH_PROBLEMS)


def run_lens(
    photos: tuple[Path, ...],
    described: tuple[str, str, float, float | None, str],
    model: str,
    where: tuple[Path, str, str, bool],
    largest_mp: float,
) -> Mapping[str, Any]:
    """Run the calibration; what contradicts itself is wrong usage."""
    from dryslate.app.lens import LensRequest, board_of, calibrate_lens
    from dryslate.base.errors import SettingsError

    if model not in ("normal", "fisheye"):
        raise typer.BadParameter(f"--model is normal or fisheye; found {model!r}")
    try:
        board = board_of(*described)
    except SettingsError as error:
        raise typer.BadParameter(str(error)) from error
    out, name, note, replacing = where
    request = LensRequest(
        photos=photos,
        board=board,
        model="fisheye" if model == "fisheye" else "normal",
        name=name,
        note=note,
        out=out,
        is_replacing=replacing,
    )
    return calibrate_lens(request, wiring.photo_reader(largest_mp), progress())


def words_of_lens(done: Mapping[str, Any]) -> str:
    """Say what the calibration found."""
    p = done["parameters"]
    lines = [
        f"{done['name']} ({done['model']}), {done['width_px']} x {done['height_px']} px, from "
        f"{done['n_views']} photos:",
        f"  focal length {p['fx']:.1f} ± {p['fx_u']:.1f} px, centre {p['cx']:.1f} ± "
        f"{p['cx_u']:.1f}, {p['cy']:.1f} ± {p['cy_u']:.1f} px",
        f"  corners miss the model by {done['rms_px']:.2f} px; board seen out to "
        f"{100 * done['covered_frac']:.0f} % of the half diagonal",
        f"Written: {done['lens']}",
    ]
    return "\n".join(lines)
