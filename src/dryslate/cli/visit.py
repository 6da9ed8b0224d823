"""``dryslate visit``: a visit begun by mistake taken out, corrected, or put to another."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import counted, print_json, print_text

if TYPE_CHECKING:
    from dryslate.app.visit_edit_records import VisitEdit
    from dryslate.app.visit_edits import VisitDone, Why

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Who = Annotated[str, typer.Option("--observer", help="Who does it.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
Reason = Annotated[str, typer.Option("--reason", help="What was wrong, in a few words.")]
Visit = Annotated[
    tuple[str, str],
    typer.Option("--visit", metavar="SITE DATE", help="The visit, as it is called now."),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(
        no_args_is_help=True, help="Visits begun for the wrong site or date: put right, undone."
    )
    group.command("withdraw")(withdraw)
    group.command("correct")(correct)
    group.command("move")(move)
    group.command("undo")(undo)
    group.command("list")(list_)
    app.add_typer(group, name="visit")


def _why(reason: str, observer: str) -> Why:
    """Return why, by whom and when."""
    from dryslate.app.visit_edits import Why

    return Why(reason=reason, observer=observer, at=wiring.clock().now_utc())


def withdraw(
    folder: Folder, visit: Visit, reason: Reason, observer: Who, as_json: Json = False
) -> None:
    """Take out a visit without photos, units and notes. The change log keeps it; see `undo`."""
    from dryslate.app.visit_edits import withdraw_visit
    from dryslate.app.visits import find_visit

    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = find_visit(store, *visit)
        done = withdraw_visit(store, found.visit_id, _why(reason, observer))
    _show(done, as_json=as_json)


def correct(  # noqa: PLR0913, PLR0917  one option each for what can be wrong
    folder: Folder,
    visit: Visit,
    reason: Reason,
    observer: Who,
    site: Annotated[str, typer.Option("--site", help="The right site.")] = "",
    date: Annotated[str, typer.Option("--date", help="The right date, year-month-day.")] = "",
    whose: Annotated[
        str,
        typer.Option(
            "--whose", help="Whose visit it is, and whose photos that bear the wrong name."
        ),
    ] = "",
    as_json: Json = False,
) -> None:
    """Correct site, date or observer of a visit. All that it holds goes along; see `undo`."""
    from dryslate.app.visit_edits import correct_visit
    from dryslate.app.visits import find_visit

    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = find_visit(store, *visit)
        why = _why(reason, observer)
        done = correct_visit(store, found.visit_id, why, site=site, date=date, whose=whose)
    _show(done, as_json=as_json)


def move(  # noqa: PLR0913, PLR0917  one option each for what is put where
    folder: Folder,
    visit: Visit,
    to: Annotated[
        tuple[str, str],
        typer.Option("--to", metavar="SITE DATE", help="The other visit; begun where needed."),
    ],
    reason: Reason,
    observer: Who,
    photo: Annotated[
        list[str] | None, typer.Option("--photo", help="A photo, by name or hash. Repeatable.")
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", help="A unit with its photos. Repeatable.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="All that the visit holds; it is no visit any more.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Move photos and units of a visit to another, wholly or not at all; see `undo`."""
    from dryslate.app.visit_edits import chosen_of, move_to_visit
    from dryslate.app.visits import find_visit

    if everything == bool(photo or unit):
        raise typer.BadParameter("give --photo or --unit, or --all and neither of them")
    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = find_visit(store, *visit)
        chosen = None if everything else chosen_of(store, found, photo or (), unit or ())
        done = move_to_visit(store, found.visit_id, to, _why(reason, observer), chosen)
    _show(done, as_json=as_json)


def undo(
    folder: Folder,
    observer: Who,
    edit: Annotated[
        int | None, typer.Option("--edit", help="Its number in the list; else the latest.")
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why it is taken back.")] = "",
    as_json: Json = False,
) -> None:
    """Take back what was done to a visit, where nobody changed since what it touched."""
    from dryslate.app.visit_edits import latest_edit, take_back_edit

    with wiring.survey_store(folder, write=True, who=observer) as store:
        number = latest_edit(store) if edit is None else edit
        done = take_back_edit(store, number, _why(reason, observer))
    _show(done, as_json=as_json)


def list_(folder: Folder, as_json: Json = False) -> None:
    """List what was done to visits as a whole, with the reason."""
    with wiring.survey_store(folder, write=False) as store:
        edits = store.visit_edits()
    if as_json:
        print_json({"edits": [edit.as_dict() for edit in edits]})
        return
    for edit in edits:
        print_text(
            f"{edit.edit_no}. {_line(edit)}; {edit.reason} ({edit.observer}, {edit.edited_at})"
        )
    if not edits:
        print_text("No visit was taken out, corrected or moved to another.")


def _line(edit: VisitEdit) -> str:
    """Say what was done to a visit."""
    what = edit.what if edit.undoes is None else f"{edit.what} ({edit.undoes})"
    to = f" -> {edit.to_visit_id}" if edit.to_visit_id not in ("", edit.visit_id) else ""
    return f"{edit.visit_id}{to}: {what}, {counted(edit.n_photos, 'photo')}"


def _show(done: VisitDone, *, as_json: bool) -> None:
    """Say what was done."""
    if as_json:
        print_json(done.as_dict())
        return
    print_text(f"{_line(done.edit)}.")
    for camera in done.clocks_left:
        print_text(f"The clock of {camera} stays as the other visit has it; look at its times.")
    print_text(f"`dryslate visit undo --edit {done.edit.edit_no}` takes it back.")
