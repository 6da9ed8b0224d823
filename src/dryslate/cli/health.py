"""``dryslate health``: how the tagged colonies of a project look, colony by colony and by visit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_text


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("health")(health)


def health(
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    site: Annotated[str | None, typer.Option("--site", help="This site only.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON documents.")] = False,
) -> None:
    """
    Fractions and colour of each tagged colony, visit by visit, then each visit summed up. Those
    tagged because they were stressed stand apart: they never enter figures of a site.
    """
    from dryslate.app.colony_book import colony_stories, visit_health
    from dryslate.app.colony_colours import colour_series
    from dryslate.app.colony_words import health_words, story_as_dict, story_words

    with wiring.survey_store(folder, write=False) as store:
        stories = colony_stories(store, site)
        told = [(story, colour_series(store, story.colony)) for story in stories]
    if not told and not as_json:
        print_text("No tagged colonies yet; tag one with `dryslate colonies tag`.")
    for story, series in told:
        print_json(story_as_dict(story, series)) if as_json else print_text(
            story_words(story, series)
        )
    for one in visit_health(stories):
        print_json(one.as_dict()) if as_json else print_text(health_words(one))
