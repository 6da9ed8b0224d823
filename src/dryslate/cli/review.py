"""``dryslate review``: the second observer, who looks blind, and settling what stays open."""

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
With = Annotated[
    str | None,
    typer.Option(
        "--with",
        metavar="OTHER",
        help="The other of the two who looked, deciding too at the same screen.",
    ),
]
WHY = {
    "open": "they differ",
    "coarser": "the second is coarser and fits: not confirmed",
    "finer": "the second is finer and fits",
    "reopened": "opened again",
}
Name = Annotated[str, typer.Argument(help="What this observer calls it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="A second observer, blind, and a third.")
    group.callback()(_group)
    for command in (draw, look, answer, settle, reopen, rate, agreement):
        group.command(command.__name__)(command)
    group.command("open")(open_)
    app.add_typer(group, name="review")


def _group() -> None:
    """
    A second observer looks blind at doubtful names and at a random share. What stays open is
    settled by a third, or by the two together.
    """


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
    from dryslate.app.review_draw import draw_names

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
    """List the corals whose name a person has to decide, not saying whose name is which."""
    from dryslate.app.settling import open_reviews

    with wiring.survey_store(folder, write=False) as store:
        found = open_reviews(store)
    for one in found:
        names = " / ".join(one["names"])
        said = f"{one['colony']}: {names} ({WHY[one['state']]})"
        print_json(one) if as_json else print_text(said)
    if not found and not as_json:
        print_text("Nothing is open.")


def settle(  # noqa: PLR0913, PLR0917  one option each for what the person may say
    folder: Folder,
    coral: Coral,
    text: Name,
    observer: Who,
    photo: Photo = None,
    confidence: Key = None,
    with_other: With = None,
    region: Region = None,
    at: At = None,
    as_json: Json = False,
) -> None:
    """
    Let a third observer decide, or with --with the two who looked, together at one screen; every
    name that was given stays.
    """
    from dataclasses import replace

    from dryslate.app.settling import settle as decide
    from dryslate.app.settling import settle_together

    request = request_of((coral, text, photo), (observer, confidence, at), (region, False, False))
    request = replace(request, together_with=with_other)
    settling = decide if with_other is None else settle_together
    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = settling(
            store, identifier_of(folder, request.region), request, wiring.clock().now_utc()
        )
    _show(found, as_json)


def reopen(
    folder: Folder, coral: Coral, observer: Who, photo: Photo = None, as_json: Json = False
) -> None:
    """Open a settled coral again; its names and the earlier decision stay in its history."""
    from dryslate.app.note_records import find_record
    from dryslate.app.settling import reopen as open_again

    with wiring.survey_store(folder, write=True, who=observer) as store:
        record_id = find_record(store, coral, photo).record_id
        now = wiring.clock().now_utc()
        found = open_again(store, record_id, observer, now, is_lead=True)
    told = {"record_id": record_id, "state": found.state}
    print_json(told) if as_json else print_text(f"{found.record.colony}: open again.")


def _show(found: Looked, as_json: bool) -> None:
    """Show what came of a look."""
    for problem in found.named.problems:
        print_problem(problem)
    print_json(found.as_dict()) if as_json else print_text(found.words())


def rate(folder: Folder, as_json: Json = False) -> None:
    """Say what second looks brought, and from 50 verified corals how often first names hold."""
    from dryslate.app.team_hit_rate import team_hit_rate

    with wiring.survey_store(folder, write=False) as store:
        found = team_hit_rate(store)
    print_json(found.as_dict()) if as_json else print_text(f"{found.words()} {found.looks.words()}")


def agreement(
    folder: Folder,
    observer: Annotated[
        str | None,
        typer.Option("--observer", help="Leave out corals that wait for this person's own look."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say how far observers agree on names, by second looks, beside what chance gives."""
    from dryslate.app.observer_agreement import observer_agreement
    from dryslate.cli.agreement_words import agreement_lines

    with wiring.survey_store(folder, write=False) as store:
        found = observer_agreement(store, observer)
    if as_json:
        print_json(found.as_dict())
        return
    for line in agreement_lines(found):
        print_text(line)
