"""``dryslate units zone-weights``: how much of a site each zone is."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_table, print_text


def zone_weights(  # noqa: PLR0913, PLR0917  one option each for what is stated
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    site: Annotated[str | None, typer.Argument(help="Site; without it all are shown.")] = None,
    weights: Annotated[
        list[str] | None, typer.Argument(help="Each zone with its weight, such as crest=1200.")
    ] = None,
    measure: Annotated[
        str, typer.Option("--measure", help="What the weights are: m2, ha or share.")
    ] = "m2",
    source: Annotated[
        str, typer.Option("--source", help="Where they come from, such as a map and its year.")
    ] = "",
    observer: Annotated[str, typer.Option("--observer", help="Who states them.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    State the area or share of each zone of a site, in place of what was stated before; without
    weights show them. Results of a whole site are made with these, and of no site without.
    """
    from dryslate.app.zone_weights import parse_weights

    if weights:
        _state(folder, site or "", parse_weights(weights), (measure, source, observer))
    with wiring.survey_store(folder, write=False) as store:
        found = [one for one in store.zone_weights() if site in (None, one.site)]
    if as_json:
        print_json({"zone_weights": [one.as_dict() for one in found]})
    elif not found:
        print_text("No weights of zones are stated: results are by zone only.")
    else:
        rows = [(o.site, o.zone, f"{o.weight:g} {o.measure}", o.source, o.observer) for o in found]
        print_table("", ("site", "zone", "weight", "source", "stated by"), rows)


def _state(folder: Path, site: str, weights: dict[str, float], said: tuple[str, str, str]) -> None:
    """Store the weights of a site."""
    from dryslate.app.zone_weights import WeightsStated, state_zone_weights

    measure, source, observer = said
    with wiring.survey_store(folder, write=True, who=observer or None) as store:
        state_zone_weights(
            store,
            WeightsStated(
                site=site,
                weights=weights,
                measure=measure,
                source=source,
                observer=observer,
                stated_at=wiring.clock().now_utc(),
            ),
        )
