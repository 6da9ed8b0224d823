"""``dryslate review``: the second observer, who looks without knowing the first name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.identify import Not, Seen, SizeWords, Unclear
from dryslate.cli.identify_run import identifier_of
from dryslate.cli.record import (
    At,
    Folder,
    Json,
    Key,
    LookedAt,
    OldSense,
    Photo,
    Region,
    request_of,
    with_evidence,
)
from dryslate.cli.render import print_json, print_problem, print_text

if TYPE_CHECKING:
    from dryslate.app.second_observer import Looked

Who = Annotated[str, typer.Option("--observer", help="Who draws, looks or decides.")]
Coral = Annotated[str, typer.Argument(help="The coral's label, or digits of the record's id.")]
Name = Annotated[str, typer.Argument(help="What this observer calls it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="A second observer, blind, and a third.")
    group.callback()(_group)
    for command in (draw, look, answer, settle, rate):
        group.command(command.__name__)(command)
    group.command("open")(open_)
    app.add_typer(group, name="review")


def _group() -> None:
    """A second observer looks blind at doubtful names and at a random share; a third decides."""


def draw(
    folder: Folder,
    observer: Who,
    share: Annotated[
        float, typer.Option("--share", help="Share of the undoubted names drawn at random.")
    ] = 0.10,
    least: Annotated[
        float, typer.Option("--least", help="Names with less probability are all drawn.")
    ] = 0.80,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the random share.")] = 1,
    as_json: Json = False,
) -> None:
    """Draw what a second observer looks at: every doubtful name, and a share of the others."""
    from dryslate.app.second_observer import draw_names

    now = wiring.clock().now_utc()
    with wiring.survey_store(folder, write=True, who=observer) as store:
        report = draw_names(store, (observer, now), (share, least), seed)
    print_json(report.as_dict()) if as_json else print_text(report.words())


def look(folder: Folder, observer: Who, as_json: Json = False) -> None:
    """Show the corals that wait for this observer, without any name given to them."""
    from dryslate.app.second_observer import blind_queue

    with wiring.survey_store(folder, write=False) as store:
        found = blind_queue(store, observer)
    for one in found:
        print_json(one.as_dict()) if as_json else print_text(one.words())
    if not found and not as_json:
        print_text("Nothing waits for this observer.")


def answer(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    coral: Coral,
    text: Name,
    observer: Who,
    photo: Photo = None,
    confidence: Key = None,
    seen: Seen = None,
    not_seen: Not = None,
    unclear: Unclear = None,
    size: SizeWords = None,
    looked_at: LookedAt = None,
    region: Region = None,
    old_sense: OldSense = False,
    at: At = None,
    as_json: Json = False,
) -> None:
    """Store the second observer's name, and whether it agrees with the first."""
    from dryslate.app.second_observer import look_again

    request = request_of(
        (coral, text, photo), (observer, confidence, at), (region, old_sense, False)
    )
    with wiring.survey_store(folder, write=True, who=observer) as store:
        request = with_evidence(request, (seen, not_seen, unclear, size), (looked_at, store))
        now = wiring.clock().now_utc()
        found = look_again(store, identifier_of(folder, request.region), request, now)
    _show(found, as_json)


def open_(folder: Folder, as_json: Json = False) -> None:
    """List the corals of which two names differ, not saying whose name is which."""
    from dryslate.app.second_observer import open_reviews

    with wiring.survey_store(folder, write=False) as store:
        found = open_reviews(store)
    for one in found:
        names = " / ".join(one["names"])
        print_json(one) if as_json else print_text(f"{one['colony']}: {names}")
    if not found and not as_json:
        print_text("Nothing is open.")


def settle(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    coral: Coral,
    text: Name,
    observer: Who,
    photo: Photo = None,
    confidence: Key = None,
    region: Region = None,
    at: At = None,
    as_json: Json = False,
) -> None:
    """Let a third observer decide; every name that was given stays."""
    from dryslate.app.second_observer import settle as decide

    request = request_of((coral, text, photo), (observer, confidence, at), (region, False, False))
    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = decide(
            store, identifier_of(folder, request.region), request, wiring.clock().now_utc()
        )
    _show(found, as_json)


def _show(found: Looked, as_json: bool) -> None:
    """Show what came of a look."""
    for problem in found.named.problems:
        print_problem(problem)
    print_json(found.as_dict()) if as_json else print_text(found.words())


def rate(folder: Folder, as_json: Json = False) -> None:
    """Say how often the team's first names hold, once 50 corals are verified."""
    from dryslate.app.team_hit_rate import team_hit_rate

    with wiring.survey_store(folder, write=False) as store:
        found = team_hit_rate(store)
    print_json(found.as_dict()) if as_json else print_text(found.words())
