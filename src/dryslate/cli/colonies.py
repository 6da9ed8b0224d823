"""``dryslate colonies``: one coral, one identity for life, followed from visit to visit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.colonies_run import carry_all, draw_timeline, note_visit, show_follow, use_photos
from dryslate.cli.heat import Columns, Deployed, Offset, Zone, heat_of
from dryslate.cli.render import counted, print_json, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.colony_records import Neighbour

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Label = Annotated[str, typer.Argument(help="What its tag says, or digits of its identity.")]
Site = Annotated[
    str | None, typer.Option("--site", help="The site, where the label is not enough.")
]
Who = Annotated[str, typer.Option("--observer", help="Who says so.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]
OneVisit = Annotated[
    tuple[str, str], typer.Option("--visit", metavar="SITE DATE", help="The visit.")
]


def _share(flag: str, what: str) -> Any:
    """Make the option of one fraction."""
    return typer.Option(flag, min=0.0, max=100.0, help=f"Per cent of the colony {what}.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="Tagged colonies, followed for life.")
    group.callback()(_group)
    for command in (tag, see, outline, follow, onset, due, plot):
        group.command(command.__name__)(command)
    group.command("list")(list_)
    app.add_typer(group, name="colonies")


def _group() -> None:
    """
    Tagged colonies: where each stands, what became of it, how it looks, how its colour changed
    against its own first visit, and when it is to be looked at again.
    """


def list_(folder: Folder, site: Site = None, as_json: Json = False) -> None:
    """List the tagged colonies with what became of each last."""
    from dryslate.app.colony_book import colony_stories
    from dryslate.app.colony_words import story_as_dict, story_row

    with wiring.survey_store(folder, write=False) as store:
        found = colony_stories(store, site)
    for story in found if as_json else ():
        print_json(story_as_dict(story))
    if not as_json:
        columns = ("colony", "site", "tagged", "name", "last", "photos")
        print_table(f"{len(found)} tagged colonies", columns, [story_row(s) for s in found])


def tag(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    label: Label,
    observer: Who,
    visit: Annotated[
        tuple[str, str] | None,
        typer.Option("--visit", metavar="SITE DATE", help="When it was first tagged."),
    ] = None,
    why: Annotated[
        str | None,
        typer.Option("--why", help="random, place, or stressed: because it looked unwell."),
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="How to find it, in words.")] = None,
    depth_m: Annotated[float | None, typer.Option("--depth-m", help="Its depth.")] = None,
    from_what: Annotated[
        str | None, typer.Option("--from", help="What bearing and distance are taken from.")
    ] = None,
    bearing: Annotated[
        float | None, typer.Option("--bearing", help="From there, degrees from north.")
    ] = None,
    distance: Annotated[float | None, typer.Option("--distance-m", help="From there.")] = None,
    neighbour: Annotated[
        list[str] | None,
        typer.Option(
            "--neighbour", metavar="WHAT=BEARING,METRES", help="Stands beside it. Repeatable."
        ),
    ] = None,
    sketch: Annotated[
        str | None, typer.Option("--sketch", help="Picture of the map sketch, taken in before.")
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything worth knowing.")] = None,
    new_label: Annotated[
        str | None, typer.Option("--new-label", help="What a new tag says; the identity stays.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Tag a colony, or change what is said of its place; its identity never changes."""
    words: dict[str, object] = {
        "why": why,
        "place": place,
        "depth_m": depth_m,
        "from_what": from_what,
    }
    words |= {"bearing_deg": bearing, "distance_m": distance, "sketch": sketch, "note": note}
    words |= {"new_label": new_label, "neighbours": _neighbours(neighbour)}
    _tag(folder, (label, observer, visit), words, as_json)


def _neighbours(texts: list[str] | None) -> tuple[Neighbour, ...] | None:
    """Read what stands beside a colony."""
    from dryslate.app.colonies import parse_neighbour

    return None if texts is None else tuple(parse_neighbour(text) for text in texts)


def _tag(
    folder: Path,
    which: tuple[str, str, tuple[str, str] | None],
    words: dict[str, object],
    as_json: bool,
) -> None:
    """Tag a colony and show it."""
    from dryslate.app.colonies import TagRequest, tag_colony
    from dryslate.app.colony_words import colony_words

    label, observer, visit = which
    request = TagRequest(label=label, observer=observer, visit=visit, **words)  # type: ignore[arg-type]  # its own fields
    now = wiring.clock().now_utc()
    with wiring.survey_store(folder, write=True, who=observer) as store:
        colony = tag_colony(store, request, now, wiring.new_identity)
    print_json(colony.as_dict()) if as_json else print_text(colony_words(colony))


def see(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    label: Label,
    visit: OneVisit,
    observer: Who,
    state: Annotated[
        str,
        typer.Option(
            "--state",
            help="seen, tag_lost, dead, not_found or not_looked_for. Lost is not dead.",
        ),
    ] = "seen",
    normal: Annotated[float | None, _share("--normal", "that looks normal")] = None,
    pale: Annotated[float | None, _share("--pale", "that is pale")] = None,
    bleached: Annotated[float | None, _share("--bleached", "white with living tissue")] = None,
    recently_dead: Annotated[float | None, _share("--recently-dead", "that died lately")] = None,
    old_dead: Annotated[float | None, _share("--old-dead", "that is long dead")] = None,
    lesion: Annotated[str, typer.Option("--lesion", help="Lesions in plain words.")] = "",
    photo: Annotated[
        list[str] | None,
        typer.Option("--photo", help="A photo of it, by name or hash. Repeatable; three are best."),
    ] = None,
    record: Annotated[
        str | None, typer.Option("--record", help="The coral noted on this visit that it is.")
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything worth knowing.")] = None,
    as_json: Json = False,
) -> None:
    """Note what became of a colony on a visit: its state, fractions that make 100 %, photos."""
    shares = (normal, pale, bleached, recently_dead, old_dead)
    seen = (state, record, note)
    note_visit(folder, (label, visit, observer), seen, (shares, lesion, photo or []), as_json)


def outline(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    label: Label,
    photos: Annotated[list[str], typer.Argument(help="Photos, by name or hash.")],
    observer: Who,
    draw: Annotated[
        Path | None, typer.Option("--draw", help="File of the outline's points X,Y, one a line.")
    ] = None,
    points: Annotated[
        Path | None,
        typer.Option(
            "--points",
            help="File of pairs X1,Y1,X2,Y2: a place in the reference photo and in this one.",
        ),
    ] = None,
    confirm: Annotated[
        bool, typer.Option("--confirm", help="You looked at the carried outline; it lies right.")
    ] = False,
    remove: Annotated[bool, typer.Option("--remove", help="The photo is not of it.")] = False,
    site: Site = None,
    as_json: Json = False,
) -> None:
    """
    Carry a colony's outline from its reference photo to others, by matching the photos. With --draw
    it is set by hand; the first one drawn is the reference. A carried one waits for --confirm.
    """
    which = (label, site, observer)
    if draw is None and not confirm and not remove:
        carry_all(folder, which, (photos, points), as_json)
    else:
        use_photos(folder, which, (photos, draw, remove), as_json)


def follow(
    folder: Folder,
    observer: Who,
    label: Annotated[
        str | None, typer.Option("--colony", help="This colony only; else all of them.")
    ] = None,
    site: Site = None,
    as_json: Json = False,
) -> None:
    """Measure the colour of every outlined frame that is new, and compare with the first visit."""
    show_follow(folder, (label, site), observer, as_json)


def onset(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    site: Annotated[str, typer.Argument(help="The site.")],
    date: Annotated[str, typer.Argument(help="When stress set in, year-month-day.")],
    observer: Who,
    reason: Annotated[str, typer.Option("--reason", help="Where the date comes from.")] = "",
    label: Annotated[
        str | None, typer.Option("--colony", help="For this colony only; else all of the site.")
    ] = None,
    take_back: Annotated[bool, typer.Option("--take-back", help="It no longer holds.")] = False,
    as_json: Json = False,
) -> None:
    """Say when stress set in; looks are due 2 to 4 weeks, 2, 6, 12 and 24 months later."""
    from dryslate.app.colonies import find_colony
    from dryslate.app.colony_due import onset_at, state_onset, take_onset_back

    who = (observer, wiring.clock().now_utc())
    with wiring.survey_store(folder, write=True, who=observer) as store:
        where = (site, None if label is None else find_colony(store, label, site))
        if take_back:
            found = take_onset_back(store, onset_at(*where, date), who)
        else:
            found = state_onset(store, where, (date, reason), who)
    said = f"{found.site}, {found.onset_date}: {found.reason}"
    print_json(found.as_dict()) if as_json else print_text(said)


def due(
    folder: Folder,
    today: Annotated[
        str | None, typer.Option("--today", help="Year-month-day; else the computer's.")
    ] = None,
    overdue: Annotated[bool, typer.Option("--overdue", help="Only what is overdue.")] = False,
    to_do: Annotated[
        bool, typer.Option("--to-do", help="Only what is to be gone for now: due and overdue.")
    ] = False,
    as_json: Json = False,
) -> None:
    """
    List when each colony is to be looked at, and what came of it: done, done late, due, overdue (a
    late look is still to be had) or missed (the time of the next look has begun).
    """
    from dryslate.app.colony_due import TO_DO, due_dates
    from dryslate.app.colony_words import due_row

    with wiring.survey_store(folder, write=False) as store:
        looks = due_dates(store, today or wiring.clock().now_utc()[:10])
    found = tuple(d for d in looks if not overdue or d.state == "overdue")
    found = tuple(d for d in found if not to_do or d.state in TO_DO)
    for one in found if as_json else ():
        print_json(one.as_dict())
    if not as_json and not found:
        hint = "" if looks else ": say when stress set in (dryslate colonies onset)"
        print_text(f"No colony is to be looked at{hint}.")
    elif not as_json:
        columns = ("colony", "site", "after the onset", "between", "state", "done on")
        print_table(counted(len(found), "look"), columns, [due_row(d) for d in found])


def plot(  # noqa: PLR0913, PLR0917  one option each for what is known of a logger
    folder: Folder,
    label: Label,
    out: Annotated[Path, typer.Option("--out", "-o", help="The picture to write, SVG.")],
    site: Site = None,
    logger: Annotated[
        Path | None, typer.Option("--logger", help="CSV or XLSX of a logger at the site.")
    ] = None,
    warmest_month: Annotated[
        tuple[float, str] | None,
        typer.Option("--warmest-month", help="Its long-term mean in °C, and the source."),
    ] = None,
    deployed: Deployed = None,
    offset: Offset = None,
    zone: Zone = None,
    columns: Columns = ("time", "temperature_c"),
) -> None:
    """
    Draw a colony's timeline: fractions, colour with its intervals, heat stress beneath, of the
    loggers kept for its site (dryslate heat --keep) or of the one given.
    """
    heat = None
    if logger is not None:
        heat = heat_of([logger], (warmest_month, deployed, offset), (zone, columns))
    draw_timeline(folder, (label, site), out, heat)
