"""``dryslate record`` and ``dryslate name``: what was noted, and what it is called."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.identify import Not, Seen, SizeWords, Unclear
from dryslate.cli.identify_run import identifier_of
from dryslate.cli.render import print_json, print_problem, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.identify_records import NameRequest
    from dryslate.core.identify.evidence import Evidence
    from dryslate.store.sqlite import SqliteSurveyStore

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Photo = Annotated[
    str | None, typer.Option("--photo", help="The photo it is in, by file name or hash.")
]
Who = Annotated[str | None, typer.Option("--observer", help="Who says so.")]
At = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="TIME", help="When, with offset (2026-03-14T19:00:00+07:00); else now, UTC."
    ),
]
Key = Annotated[
    int | None,
    typer.Option(
        "--confidence",
        min=1,
        max=5,
        help="1 a guess (right 3 times in 10), 2 as likely as not, 3 more likely than not (7 in "
        "10), 4 nearly sure (9 in 10), 5 sure (49 in 50).",
    ),
]
OldSense = Annotated[
    bool,
    typer.Option("--old-sense", help="The name follows a sheet from before genera were split."),
]
Unlisted = Annotated[
    bool, typer.Option("--unlisted", help="Keep a name that the data do not list, as written.")
]
Region = Annotated[
    str | None, typer.Option("--region", help="Where it lives; the project's where not given.")
]
LookedAt = Annotated[
    list[str] | None,
    typer.Option(
        "--looked-at",
        metavar="PHOTO:X0,Y0,X1,Y1",
        help="Part of a photo that was looked at, in pixels of the upright original. Repeatable.",
    ),
]
Juvenile = Annotated[
    bool | None,
    typer.Option("--juvenile/--not-juvenile", help="Whether it is under 5 cm; else not noted."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("record")(record)
    app.command("name")(name)
    app.command("region")(region)


def record(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    colony: Annotated[
        str | None, typer.Argument(help="Which coral, as it is labelled; without it: list all.")
    ] = None,
    photo: Photo = None,
    visit: Annotated[
        tuple[str, str] | None,
        typer.Option("--visit", metavar="SITE DATE", help="The visit, where there is no photo."),
    ] = None,
    growth_form: Annotated[
        str | None,
        typer.Option("--growth-form", help="Growth form as seen, apart from the name."),
    ] = None,
    juvenile: Juvenile = None,
    place: Annotated[
        str, typer.Option("--place", help="Where within the visit, as written on the slate.")
    ] = "",
    by_eye: Annotated[
        list[str] | None,
        typer.Option(
            "--by-eye",
            metavar="MEASURE=SIZE",
            help="A size noted without a photo, such as colony_diameter='12 cm'; the doubt is 20 % "
            "where none is stated. Repeatable.",
        ),
    ] = None,
    by_ruler: Annotated[
        list[str] | None,
        typer.Option(
            "--by-ruler",
            metavar="MEASURE=SIZE",
            help="The same with a ruler, such as corallite_diameter=8±0.5; 1 mm where none is "
            "stated. Repeatable.",
        ),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="Anything worth knowing.")] = "",
    history: Annotated[
        bool, typer.Option("--history", help="Show who called this coral what, oldest first.")
    ] = False,
    observer: Who = None,
    at: At = None,
    as_json: Json = False,
) -> None:
    """Note a coral (photo or visit, label, growth form, sizes), or list what is noted."""
    if colony is None:
        _list(folder, as_json)
    elif history:
        _history(folder, colony, photo, as_json)
    else:
        sizes = {**_noted(by_eye, "eye"), **_noted(by_ruler, "ruler")}
        what, how = (growth_form, juvenile, note), (place, sizes)
        _note(folder, (colony, photo, visit), (what, how), (_by(observer), at, as_json))


def _noted(texts: list[str] | None, how: str) -> dict[str, tuple[str, str]]:
    """Read sizes as typed: by measure, with how they were noted."""
    parts = [text.partition("=") for text in texts or ()]
    return {measure.strip(): (size or "nothing", how) for measure, _, size in parts}


def _note(
    folder: Path,
    which: tuple[str, str | None, tuple[str, str] | None],
    said: tuple[tuple[str | None, bool | None, str], tuple[str, dict[str, tuple[str, str]]]],
    how: tuple[str, str | None, bool],
) -> None:
    """Note one coral and show it."""
    from dryslate.app.note_records import NoteRequest, note_record, record_as_dict, record_words

    (form, juvenile, note), (place, sizes) = said
    request = NoteRequest(
        colony=which[0],
        photo=which[1],
        visit=which[2],
        observer=how[0],
        at=how[1],
        growth_form=form,
        is_juvenile=juvenile,
        note=note,
        place=place,
        sizes=sizes,
    )
    as_json = how[2]
    taxa, _ = wiring.reference_tables(folder).taxa()
    with wiring.survey_store(folder, write=True, who=request.observer) as store:
        row = note_record(store, taxa, request, wiring.clock().now_utc())
    print_json(record_as_dict(row)) if as_json else print_text(record_words(row))


def _list(folder: Path, as_json: bool) -> None:
    """Show every record with its name as things stand."""
    from dryslate.app.standing_names import standing_names

    with wiring.survey_store(folder, write=False) as store:
        found = standing_names(store)
    for one in found if as_json else ():
        print_json(one.as_dict())
    if not as_json:
        columns = ("coral", "visit", "growth form", "name", "status")
        print_table(f"{len(found)} records", columns, [one.as_row() for one in found])


def _history(folder: Path, colony: str, photo: str | None, as_json: bool) -> None:
    """Show all identifications of one record."""
    from dryslate.app.identify_records import history_of

    with wiring.survey_store(folder, write=False) as store:
        found = history_of(store, colony, photo)
    for document, said in found:
        print_json(document) if as_json else print_text(said)


def _by(observer: str | None) -> str:
    """Who says so, or a usage error: an observer is named before anything is saved."""
    if observer is None:
        raise typer.BadParameter("say who with --observer")
    return observer


def name(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    text: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="A genus or its first letters, a family, or words such as "
            '"stony coral, not known".',
        ),
    ],
    colony: Annotated[
        str | None,
        typer.Option("--colony", help="The record; without it the name is looked up only."),
    ] = None,
    photo: Photo = None,
    confidence: Key = None,
    seen: Seen = None,
    not_seen: Not = None,
    unclear: Unclear = None,
    size: SizeWords = None,
    looked_at: LookedAt = None,
    region: Region = None,
    old_sense: OldSense = False,
    unlisted: Unlisted = False,
    observer: Who = None,
    at: At = None,
    as_json: Json = False,
) -> None:
    """Say what a record is called, on what evidence and how sure; or look a name up."""
    if colony is None:
        _look_up(folder, text, (region, old_sense), as_json)
        return
    with wiring.survey_store(folder, write=True, who=_by(observer)) as store:
        request = request_of(
            (colony, text, photo), (_by(observer), confidence, at), (region, old_sense, unlisted)
        )
        request = with_evidence(request, (seen, not_seen, unclear, size), (looked_at, store))
        _say(folder, store, request, as_json)


def _say(folder: Path, store: SqliteSurveyStore, request: NameRequest, as_json: bool) -> None:
    """Store an identification and show it."""
    from dryslate.app.identify_records import name_record

    found = name_record(
        store, identifier_of(folder, request.region), request, wiring.clock().now_utc()
    )
    for problem in found.problems:
        print_problem(problem)
    print_json(found.as_dict()) if as_json else print_text(found.words())


def _look_up(folder: Path, text: str, how: tuple[str | None, bool], as_json: bool) -> None:
    """Show what a name stands for; a name that stands for nothing ends with an error."""
    from dryslate.app.name_lookup import look_up, match_as_dict, match_words

    taxa, _ = wiring.reference_tables(folder).taxa()
    with wiring.survey_store(folder, write=False) as store:
        match = look_up(store, taxa, text, how[0], how[1])
    for problem in match.problems:
        print_problem(problem)
    print_json(match_as_dict(match)) if as_json else print_text(match_words(match))
    if any(p.severity == "error" for p in match.problems):
        raise typer.Exit(1)


def request_of(
    what: tuple[str, str, str | None],
    who: tuple[str, int | None, str | None],
    how: tuple[str | None, bool, bool],
) -> NameRequest:
    """Put what was typed into one request."""
    from dryslate.app.identify_records import NameRequest

    return NameRequest(
        record=what[0],
        name=what[1],
        photo=what[2],
        observer=who[0],
        confidence=who[1],
        at=who[2],
        region=how[0],
        is_old_sense=how[1],
        is_unlisted=how[2],
    )


def with_evidence(
    request: NameRequest,
    said: tuple[list[str] | None, ...],
    looked: tuple[list[str] | None, SqliteSurveyStore],
) -> NameRequest:
    """Add what was seen and where it was looked at."""
    from dataclasses import replace

    from dryslate.app.identify_records import parse_photo_regions

    return replace(
        request,
        evidence=_evidence(said, request.region),
        photo_regions=parse_photo_regions(looked[1], looked[0] or ()),
    )


def _evidence(said: tuple[list[str] | None, ...], region: str | None) -> Evidence | None:
    """Read what was seen; None where nothing was said."""
    from dryslate.app.identify_records import evidence_of
    from dryslate.app.identify_request import Words

    seen, not_seen, unclear, size = (words or [] for words in said)
    return evidence_of(Words(seen=seen, not_seen=not_seen, unclear=unclear, sizes=size), region)


def region(
    folder: Folder,
    name: Annotated[
        str | None, typer.Argument(metavar="REGION", help="The region; without it: show it.")
    ] = None,
    observer: Who = None,
    as_json: Json = False,
) -> None:
    """Set or show the region a project works in; names are completed and mapped within it."""
    from dryslate.app.name_lookup import set_region

    taxa, _ = wiring.reference_tables(folder).taxa()
    if name is not None:
        with wiring.survey_store(folder, write=True, who=observer) as store:
            set_region(store, taxa, name)
    with wiring.survey_store(folder, write=False) as store:
        found = store.region()
    print_json({"region": found}) if as_json else print_text(found or "no region is set")
