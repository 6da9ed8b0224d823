"""``dryslate units`` and ``dryslate set-aside``: what was sampled, and photos not to work on."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_table, print_text
from dryslate.cli.zone_weights import zone_weights

if TYPE_CHECKING:
    from dryslate.app.unit_edits import Edit
    from dryslate.app.unit_joining import JoinPlan
    from dryslate.app.unit_list import UnitSummary
    from dryslate.app.unit_words import UnitWords
    from dryslate.store.sqlite import SqliteSurveyStore

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Photos = Annotated[
    list[str], typer.Argument(help="Photos, by name on the memory card or digits of the hash.")
]
UnitName = Annotated[
    str, typer.Argument(help="The unit, by its name on the slate or digits of its id.")
]
Visit = Annotated[
    tuple[str, str] | None,
    typer.Option("--visit", metavar="SITE DATE", help="The visit, where names are not enough."),
]
OneVisit = Annotated[
    tuple[str, str], typer.Option("--visit", metavar="SITE DATE", help="The visit.")
]
Who = Annotated[str, typer.Option("--observer", help="Who says so.")]
Surveyor = Annotated[
    str | None, typer.Option("--surveyor", help="Who surveyed the unit; without it the observer.")
]
Name = Annotated[str | None, typer.Option("--name", help="Name or number as on the slate.")]
KindWord = Annotated[
    str | None,
    typer.Option("--kind", help="Transect, quadrat, photo station, timed swim or permanent plot."),
]
Zone = Annotated[str | None, typer.Option("--zone", help="Zone of the site it lies in.")]
Depth = Annotated[
    tuple[float, float] | None,
    typer.Option("--depth-m", metavar="DEPTH U", help="Depth and its standard uncertainty."),
]
Note = Annotated[str, typer.Option("--note", help="Anything worth knowing.")]
Gap = Annotated[
    float,
    typer.Option("--gap-min", help="A pause longer than this, in minutes, ends what follows."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="Transects, quadrats and other units.")
    group.callback()(_group)
    group.command("list")(list_)
    for command in (slate, new, change, move, join, remove):
        group.command(command.__name__)(command)
    group.command("zone-weights")(zone_weights)
    app.add_typer(group, name="units")
    app.command("set-aside")(set_aside)


def _group() -> None:
    """
    Say what was sampled on a visit and which photos belong to it: a photo of the written slate
    starts a unit, and what follows belongs to it until a long pause or the next slate.
    """


def list_(folder: Folder, visit: Visit = None, as_json: Json = False) -> None:
    """List the units with their photos, in the order they were begun."""
    from dryslate.app.unit_list import list_units

    with wiring.survey_store(folder, write=False) as store:
        found = list_units(store, _visit_id(store, visit))
    for one in found if as_json else ():
        print_json(one.as_dict())
    if not as_json:
        _print_units(found)


def slate(  # noqa: PLR0913, PLR0917  one option each for what is written on a slate
    folder: Folder,
    photos: Photos,
    observer: Who,
    name: Name = None,
    kind: KindWord = None,
    zone: Zone = None,
    depth_m: Depth = None,
    note: Note = "",
    unit: Annotated[
        str | None, typer.Option("--unit", help="They show the slate of this unit once more.")
    ] = None,
    surveyor: Surveyor = None,
    visit: Visit = None,
    not_slate: Annotated[
        bool, typer.Option("--not-slate", help="They show no slate after all.")
    ] = False,
    as_json: Json = False,
) -> None:
    """
    Say that photos show slates. With --name all of them show the slate of that one new unit;
    without it each starts a unit that has no name yet.
    """
    words = _words((name, kind, zone), depth_m, note)
    with wiring.survey_store(folder, write=True, who=observer) as store:
        ids, at = _photo_ids(store, photos, visit), _visit_id(store, visit)
        edit = _slate(store, ids, (words, surveyor or observer), (unit, at, not_slate))
        _show(store, edit, as_json)


def new(  # noqa: PLR0913, PLR0917  one option each for what is known of a unit
    folder: Folder,
    name: Annotated[str, typer.Argument(help="Its name or number.")],
    visit: OneVisit,
    observer: Who,
    photo: Annotated[
        list[str] | None, typer.Option("--photo", help="A photo that belongs to it. Repeatable.")
    ] = None,
    kind: KindWord = None,
    zone: Zone = None,
    depth_m: Depth = None,
    note: Note = "",
    surveyor: Surveyor = None,
    as_json: Json = False,
) -> None:
    """Make a unit that has no photo of a slate; its photos belong to it by hand."""
    from dryslate.app.units import start_unit
    from dryslate.app.visits import find_visit

    words = _words((name, kind, zone), depth_m, note)
    with wiring.survey_store(folder, write=True, who=observer) as store:
        at = find_visit(store, *visit).visit_id
        ids = _photo_ids(store, photo or [], visit)
        edit = start_unit(store, at, words, surveyor or observer, ids)
        _show(store, edit, as_json)


def change(  # noqa: PLR0913, PLR0917  one option each for what is known of a unit
    folder: Folder,
    unit: UnitName,
    observer: Who,
    name: Name = None,
    kind: KindWord = None,
    zone: Zone = None,
    depth_m: Depth = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything worth knowing.")] = None,
    surveyor: Surveyor = None,
    visit: Visit = None,
    as_json: Json = False,
) -> None:
    """Change what is said of a unit; what is not given stays, an empty text takes it away."""
    from dryslate.app.unit_list import find_unit
    from dryslate.app.unit_words import words_of
    from dryslate.app.units import change_unit

    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = find_unit(store, unit, _visit_id(store, visit))
        words = words_of(found, (name, kind, zone), depth_m, note)
        edit = change_unit(store, found.unit_id, words, surveyor)
        _show(store, edit, as_json)


def move(  # noqa: PLR0913, PLR0917  one option each for where they may belong
    folder: Folder,
    photos: Photos,
    observer: Who,
    unit: Annotated[str | None, typer.Option("--unit", help="The unit they belong to.")] = None,
    none: Annotated[bool, typer.Option("--none", help="They belong to no unit.")] = False,
    by_time: Annotated[
        bool, typer.Option("--by-time", help="Take back what was said by hand.")
    ] = False,
    visit: Visit = None,
    as_json: Json = False,
) -> None:
    """Say by hand which unit photos belong to; joining by time leaves them alone then."""
    if sum((unit is not None, none, by_time)) != 1:
        raise typer.BadParameter("say one of --unit, --none and --by-time")
    with wiring.survey_store(folder, write=True, who=observer) as store:
        ids = _photo_ids(store, photos, visit)
        edit = _move(store, ids, (unit, _visit_id(store, visit)), by_time)
        _show(store, edit, as_json)


def join(
    folder: Folder,
    visit: OneVisit,
    gap_min: Gap = 10.0,
    save: Annotated[
        bool, typer.Option("--save", help="Save it; without this it is only shown.")
    ] = False,
    observer: Annotated[
        str | None, typer.Option("--observer", help="Who says so; needed with --save.")
    ] = None,
    as_json: Json = False,
) -> None:
    """
    Join photos to units by time, camera by camera: what follows a slate belongs to it until a
    pause longer than the limit or the next slate. What was said by hand stays.
    """
    from dryslate.app.unit_join_words import plan_as_dict, plan_words
    from dryslate.app.visits import find_visit

    if save and observer is None:
        raise typer.BadParameter("say who with --observer")
    with wiring.survey_store(folder, write=save, who=observer) as store:
        at = find_visit(store, *visit).visit_id
        plan = _join(store, at, gap_min, save=save)
        told = (store, at, plan)
        print_json(plan_as_dict(*told)) if as_json else print_text(plan_words(*told, saved=save))


def remove(
    folder: Folder,
    unit: UnitName,
    observer: Who,
    visit: Visit = None,
    as_json: Json = False,
) -> None:
    """Take a unit out; its photos stay and belong to none."""
    from dryslate.app.unit_list import find_unit
    from dryslate.app.units import remove_unit

    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = find_unit(store, unit, _visit_id(store, visit))
        _show(store, remove_unit(store, found.unit_id), as_json)


def set_aside(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    photos: Photos,
    observer: Who,
    reason: Annotated[
        str | None,
        typer.Option("--reason", help="Blurred, not reef, double, not to use, or other."),
    ] = None,
    note: Annotated[str, typer.Option("--note", help="The reason in words.")] = "",
    take_back: Annotated[bool, typer.Option("--take-back", help="Take them back instead.")] = False,
    visit: Visit = None,
    as_json: Json = False,
) -> None:
    """Set photos aside with a reason: they are kept, but neither worked on nor in results."""
    if take_back == (reason is not None):
        raise typer.BadParameter("say either --reason or --take-back")
    with wiring.survey_store(folder, write=True, who=observer) as store:
        ids = _photo_ids(store, photos, visit)
        _show(store, _aside(store, ids, (reason, note), observer), as_json)


def _print_units(found: tuple[UnitSummary, ...]) -> None:
    """Print a table for each visit."""
    columns = ("unit", "kind", "zone", "depth m", "time", "slates", "photos")
    for visit_id, units in groupby(found, key=lambda one: one.unit.visit_id):
        rows = [one.as_row() for one in units]
        print_table(f"{visit_id}, units: {len(rows)}", columns, rows)
    if not found:
        print_text("There are no units yet.")


def _visit_id(store: SqliteSurveyStore, visit: tuple[str, str] | None) -> str | None:
    """Return the id of a visit that was named, None where none was."""
    from dryslate.app.visits import find_visit

    return None if visit is None else find_visit(store, *visit).visit_id


def _photo_ids(
    store: SqliteSurveyStore, names: list[str], visit: tuple[str, str] | None
) -> list[str]:
    """Find photos by what people call them."""
    from dryslate.app.clock_offset import find_photo

    photos = store.photos(_visit_id(store, visit))
    return [find_photo(photos, name).photo_id for name in names]


def _words(
    said: tuple[str | None, str | None, str | None], depth: tuple[float, float] | None, note: str
) -> UnitWords:
    """Put what was said of a unit together."""
    from dryslate.app.unit_words import UnitWords

    name, kind, zone = said
    depth_m, depth_m_u = depth or (None, None)
    return UnitWords(
        name=name, kind=kind, zone=zone, depth_m=depth_m, depth_m_u=depth_m_u, note=note
    )


def _slate(
    store: SqliteSurveyStore,
    ids: list[str],
    new_one: tuple[UnitWords, str],
    which: tuple[str | None, str | None, bool],
) -> Edit:
    """Mark slates, put them to a unit that is there, or take the mark away."""
    from dryslate.app.unit_list import find_unit
    from dryslate.app.unit_words import UnitWords
    from dryslate.app.units import add_slates, mark_slates, unmark_slates

    words, surveyor = new_one
    unit, visit_id, is_no_slate = which
    if is_no_slate:
        return unmark_slates(store, ids)
    if unit is not None:
        return add_slates(store, find_unit(store, unit, visit_id).unit_id, ids)
    return mark_slates(store, ids, None if words == UnitWords() else words, surveyor)


def _move(
    store: SqliteSurveyStore, ids: list[str], which: tuple[str | None, str | None], by_time: bool
) -> Edit:
    """Move photos to a unit or to none, or take back that somebody did."""
    from dryslate.app.unit_list import find_unit
    from dryslate.app.units import let_time_say, move_photos

    if by_time:
        return let_time_say(store, ids)
    unit, visit_id = which
    to = None if unit is None else find_unit(store, unit, visit_id).unit_id
    return move_photos(store, ids, to)


def _join(store: SqliteSurveyStore, visit_id: str, gap_min: float, *, save: bool) -> JoinPlan:
    """Join by time, or only look."""
    from dryslate.app.units import join_by_time, look_at_times

    if save:
        return join_by_time(store, visit_id, gap_min)[1]
    return look_at_times(store, visit_id, gap_min)


def _aside(
    store: SqliteSurveyStore, ids: list[str], why: tuple[str | None, str], observer: str
) -> Edit:
    """Set photos aside, or take them back."""
    from dryslate.app import set_aside as asides

    reason, note = why
    if reason is None:
        return asides.take_back(store, ids)
    return asides.set_aside(store, ids, (reason, note), (observer, wiring.clock().now_utc()))


def _show(store: SqliteSurveyStore, edit: Edit, as_json: bool) -> None:
    """Show what changed."""
    from dryslate.app.unit_join_words import edit_as_dict, edit_words

    print_json(edit_as_dict(store, edit)) if as_json else print_text(edit_words(store, edit))
