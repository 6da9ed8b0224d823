"""``dryslate visits``, ``clock`` and ``control``: what a project knows beside its photos."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import counted, print_json, print_table, print_text

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]
Who = Annotated[str | None, typer.Option("--observer", help="Who says so, for the change log.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("visits")(visits)
    app.command("clock")(clock)
    app.command("control")(control)


def visits(
    folder: Folder,
    as_json: Json = False,
) -> None:
    """List the visits of a project with their photos."""
    from dryslate.app.visits import list_visits

    with wiring.survey_store(folder, write=False) as store:
        found = list_visits(store)
    for summary in found if as_json else ():
        print_json(summary.as_dict())
    if not as_json:
        print_table(
            counted(len(found), "visit"),
            ("visit", "observer", "photos", "corrected"),
            [summary.as_row() for summary in found],
        )


def clock(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    visit: Annotated[
        tuple[str, str],
        typer.Option("--visit", metavar="SITE DATE", help="The visit whose photos it holds for."),
    ],
    photo: Annotated[
        str | None, typer.Option("--photo", help="A photo of a clock, by name or hash.")
    ] = None,
    shows: Annotated[
        str | None,
        typer.Option(
            "--shows", help="Time that clock shows (2026-03-14T09:30:00+07:00 or 09:30:00)."
        ),
    ] = None,
    camera: Annotated[
        str | None, typer.Option("--camera", help="The camera, with --offset-s.")
    ] = None,
    offset_s: Annotated[
        float | None, typer.Option("--offset-s", help="Seconds to add to the camera's clock.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace an offset that was wrong.")
    ] = False,
    observer: Who = None,
    as_json: Json = False,
) -> None:
    """
    Set how wrong a camera's clock was on a visit. The times in the photos stay as they are; the
    corrected time is kept beside them.
    """
    from dryslate.app.clock_offset import ClockRequest, set_clock

    site, date = visit
    request = ClockRequest(
        site=site,
        date=date,
        photo=photo,
        shows=shows,
        camera=camera,
        offset_s=offset_s,
        replace=replace,
    )
    with wiring.survey_store(folder, write=True, who=observer) as store:
        report = set_clock(store, request)
    print_json(report.as_dict()) if as_json else print_text(report.words())


def control(
    folder: Folder,
    name: Annotated[str | None, typer.Option("--name", help="Name of the object.")] = None,
    length_mm: Annotated[
        tuple[float, float] | None,
        typer.Option(
            "--length-mm", metavar="LENGTH U", help="Known length and standard uncertainty."
        ),
    ] = None,
    lab: Annotated[
        tuple[float, float, float, float] | None,
        typer.Option(
            "--lab", metavar="L A B U", help="Known CIELAB (D65, 2 degrees) and uncertainty."
        ),
    ] = None,
    observer: Who = None,
    as_json: Json = False,
) -> None:
    """
    Name a control object (a bar of known length, a grey chip that is on no card), or list them.
    Measure it as a colony of that name; `dryslate check` compares.
    """
    from dryslate.app.control_objects import control_as_dict, control_words, make_control

    if name is not None:
        made = make_control(name, length_mm=length_mm, lab=lab)
        with wiring.survey_store(folder, write=True, who=observer) as store:
            store.save_control_object(made)
    with wiring.survey_store(folder, write=False) as store:
        found = store.control_objects()
    for one in found:
        print_json(control_as_dict(one)) if as_json else print_text(control_words(one))
