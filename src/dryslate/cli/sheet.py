"""``dryslate sheet``: sheets for the dive, true to the millimetre, and which were printed."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.base.errors import InputError
from dryslate.cli.render import (
    WITH_PROBLEMS,
    counted,
    print_json,
    print_problem,
    print_table,
    print_text,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from dryslate.app.sheet_joining import JoinedSheet
    from dryslate.app.sheet_request import SheetRequest
    from dryslate.app.sheets import Printed

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(
        no_args_is_help=True, help="Sheets for the dive: print, list, join to units."
    )
    group.command("print")(print_command)
    group.command("list")(list_command)
    group.command("find")(find_command)
    group.command("join")(join_command)
    app.add_typer(group, name="sheet")


def print_command(  # noqa: PLR0913, PLR0917 - one argument an option
    kind: Annotated[
        str,
        typer.Argument(
            help="line_intercept, point_intercept, belt, quadrat_counts, quadrat_cells, "
            "photo_points, timed_swim, permanent_plot or tagged_colony."
        ),
    ],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="PDF to write; sheet-KIND-PAPER.pdf without.")
    ] = None,
    paper: Annotated[str, typer.Option(help="a4, a5 or letter.")] = "a4",
    units: Annotated[
        str, typer.Option(help='Units or tags to print on them: "T1 T2", or "north 1, north 2".')
    ] = "",
    pages: Annotated[int, typer.Option(help="Pages of rows for each unit.")] = 1,
    preset: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="FIELD=VALUE",
            help="Print a field beforehand: length_m=20. Repeatable.",
        ),
    ] = None,
    is_counts_only: Annotated[
        bool, typer.Option("--counts-only", help="Rows without sizes and health.")
    ] = False,
    project: Annotated[
        Path | None, typer.Option("--project", help="Keep in this project what was printed.")
    ] = None,
    visit: Annotated[
        str,
        typer.Option(
            help='Site and date of a visit of it, with its units: "North wall 2026-03-14".'
        ),
    ] = "",
    observer: Annotated[str, typer.Option("--observer", help="Who prints, with --project.")] = "",
    region: Annotated[
        str | None, typer.Option(help="Region whose corals the colony's questions tell apart.")
    ] = None,
    language: Annotated[str, typer.Option(help="en or fr.")] = "en",
    series: Annotated[
        str,
        typer.Option(help="A word of your own for each print without a project: other numbers."),
    ] = "",
    as_json: Json = False,
) -> None:
    """Write a PDF of sheets to take on a dive; each page has a number and corner markers."""
    more: dict[str, Any] = {"region": region, "language": language, "series": series}
    more |= {"n_pages": pages, "is_counts_only": is_counts_only, "visit_id": visit}
    more |= {"preset": _pairs(preset or []), "paper": paper.lower()}
    done = _printed(_request(kind, units, more), project, observer)
    target = out if out is not None else Path(f"sheet-{kind}-{paper.lower()}.pdf")
    wiring.save_file(target, done.pdf)
    if as_json:
        print_json({"path": str(target), **done.as_dict()})
        return
    print_text(f"Written: {target}, {counted(len(done.pages), 'page')}")
    print_text("Print at 100 % on underwater paper; photograph every sheet the same day.")


def _request(kind: str, units: str, more: Mapping[str, Any]) -> SheetRequest:
    """Put together what is asked for."""
    from dryslate.app.sheet_request import SheetRequest, split_units

    return SheetRequest(kind=kind, units=split_units(units), **more)


def _printed(request: SheetRequest, project: Path | None, observer: str) -> Printed:
    """Make the document, and keep in the project what was printed."""
    from dryslate.app.sheets import print_sheets

    words = _words_of(request.language)
    if project is None:
        return print_sheets(request, wiring.sheet_bench(None, None, words))
    with wiring.survey_store(project, write=True, who=observer) as store:
        return print_sheets(request, wiring.sheet_bench(project, store, words, observer))


def _pairs(given: list[str]) -> dict[str, str]:
    """Read FIELD=VALUE."""
    found = {}
    for pair in given:
        name, equals, value = pair.partition("=")
        if not equals:
            raise typer.BadParameter(f"expected FIELD=VALUE, got {pair!r}")
        found[name.strip()] = value.strip()
    return found


def _words_of(language: str) -> Callable[[str], str]:
    """Return what puts English into a language."""
    if language == "en":
        return str
    from dryslate.web.languages import LANGUAGES, catalogue

    if language not in LANGUAGES:
        raise InputError(
            "language-unknown",
            f"There are no sheets in {language!r}.",
            f"Known: {', '.join(LANGUAGES)}.",
        )
    return catalogue(language).gettext


def list_command(
    folder: Annotated[Path, typer.Argument(help="Project folder.")], as_json: Json = False
) -> None:
    """List the sheets that were printed for a project."""
    with wiring.survey_store(folder, write=False) as store:
        found = [sheet.as_dict() for sheet in store.printed_sheets()]
    if as_json:
        print_json({"sheets": found})
        return
    keys = ("sheet_id", "kind", "unit", "page_no", "paper", "observer", "printed_at")
    heads = ("number", "what", "unit", "page", "paper", "by", "printed")
    print_table("Printed sheets", heads, [[str(one[k]) for k in keys] for one in found])


def find_command(
    photo: Annotated[Path, typer.Argument(help="A photo with one whole sheet in it.")],
    project: Annotated[
        Path | None, typer.Option("--project", help="Say also what was printed on it.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Read the number of a photographed sheet, and say where its cells lie in the photo."""
    from dryslate.app.sheet_photo import find_sheet

    opened = nullcontext() if project is None else wiring.survey_store(project, write=False)
    with opened as store:
        found = find_sheet(wiring.photo_reader(), photo, store)
    if as_json:
        print_json(found)
        return
    print_text(f"Sheet {found['sheet_id']}")
    if "kind" in found:
        print_text(f"{found['kind']}, unit {found['unit'] or '-'}, page {found['page_no']}")


def join_command(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    photos: Annotated[
        list[Path] | None,
        typer.Argument(help="Photos of sheets; without any, all photos without a card."),
    ] = None,
    unit: Annotated[
        str, typer.Option(help="Name of the unit they are of; without it, as printed on them.")
    ] = "",
    observer: Annotated[str, typer.Option("--observer", help="Who joins them.")] = "",
    as_json: Json = False,
) -> None:
    """Read the photographed sheets of a project, and join each to the unit it is of."""
    with wiring.survey_store(folder, write=True, who=observer or None) as store:
        found = _join(folder, store, photos or [], unit, observer)
    if as_json:
        print_json({"sheets": [_told(one) for one in found if one.row or one.problem]})
    else:
        _show_joined(found)
        for one in found:
            if one.problem is not None:
                print_problem(one.problem)
    if any(one.problem is not None for one in found):
        raise typer.Exit(WITH_PROBLEMS)


def _show_joined(found: Sequence[JoinedSheet]) -> None:
    """List the sheets that were found."""
    rows = [_row(one) for one in found if one.row is not None]
    if rows:
        print_table("Photographed sheets", ("photo", "number", "page", "unit"), rows)
    else:
        print_text(f"No sheet was found in {counted(len(found), 'photo')} without a card.")


def _join(
    folder: Path, store: Any, photos: Sequence[Path], unit: str, observer: str
) -> list[JoinedSheet]:
    """Join the photos that were named, or all that may show a sheet."""
    from dryslate.app.project_photos import choose_photos
    from dryslate.app.sheet_joining import join_sheets, photos_to_look_at, unit_called

    desk = wiring.sheet_desk(folder, store, observer)
    named = [one.photo_id for one in choose_photos(store, photos)] if photos else []
    ids = named or [i for v in store.visits() for i in photos_to_look_at(store, v.visit_id)]
    unit_id = unit_called(store, named, unit) if unit else None
    return list(join_sheets(desk, ids, unit_id))


def _told(one: JoinedSheet) -> dict[str, Any]:
    """Return what came of a photo as plain values, for JSON."""
    return {
        "photo": one.photo.files[0].original_name,
        "photo_id": one.photo.photo_id,
        "sheet_id": one.row.sheet_id if one.row else None,
        "unit_id": one.row.unit_id if one.row else None,
        "problem": one.problem.as_dict() if one.problem else None,
    }


def _row(one: JoinedSheet) -> list[str]:
    """Return a row of the table."""
    assert one.row is not None
    assert one.sheet is not None
    page = f"{one.sheet.content.page_no} of {one.sheet.content.n_pages}"
    tag = f"tag {one.sheet.unit}" if one.sheet.kind == "tagged_colony" else "not known"
    unit = one.unit or tag
    return [one.photo.files[0].original_name, one.row.sheet_id, page, unit]
