"""``dryslate conditions``: what sea and weather were like on a visit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_table, print_text

if TYPE_CHECKING:
    from dryslate.app.condition_records import VisitConditions


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("conditions")(conditions)


def conditions(  # noqa: PLR0913, PLR0917  one option each for what is stated
    folder: Annotated[Path, typer.Argument(help="Project folder.")],
    site: Annotated[str | None, typer.Argument(help="Site; without it all are shown.")] = None,
    date: Annotated[str | None, typer.Argument(help="Date of the visit.")] = None,
    tide: Annotated[str | None, typer.Option(help="The tide, in words.")] = None,
    visibility_m: Annotated[str | None, typer.Option(help="How far one saw, in metres.")] = None,
    water_c: Annotated[str | None, typer.Option(help="Water temperature, degrees C.")] = None,
    weather: Annotated[str | None, typer.Option(help="The weather, in words.")] = None,
    sea: Annotated[str | None, typer.Option(help="Swell, waves, current, in words.")] = None,
    table: Annotated[
        Path | None,
        typer.Option(
            "--from", help="CSV or XLSX with site, date, tide, visibility_m, water_c, weather, sea."
        ),
    ] = None,
    observer: Annotated[str, typer.Option("--observer", help="Who states them.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    State the conditions of a visit's dives, or take them from a table; without any show them.
    The report and the archive carry them.
    """
    said = dict(tide=tide, visibility_m=visibility_m, water_c=water_c, weather=weather, sea=sea)
    is_said = any(text is not None for text in said.values())
    if table is not None and (is_said or site is not None):
        raise typer.BadParameter("give --from, or the conditions of one visit, not both")
    if table is not None or is_said:
        _state(folder, (site or "", date or "", table), said, observer)
    found = _stated(folder, site, date)
    if as_json:
        print_json({"conditions": [one.as_dict() for one in found]})
    elif not found:
        print_text("No conditions of visits are stated.")
    else:
        print_table("", ("visit", "conditions"), [(o.visit_id, o.words()) for o in found])


def _state(
    folder: Path,
    where: tuple[str, str, Path | None],
    said: dict[str, str | None],
    observer: str,
) -> None:
    """Store what was stated."""
    from dryslate.app.visit_conditions import import_conditions, state_conditions
    from dryslate.app.visits import find_visit

    site, date, table = where
    with wiring.survey_store(folder, write=True, who=observer or None) as store:
        if table is not None:
            import_conditions(store, wiring.read_table(table), observer, wiring.clock())
        else:
            visit = find_visit(store, site, date)
            state_conditions(store, visit, said, observer, wiring.clock())


def _stated(folder: Path, site: str | None, date: str | None) -> list[VisitConditions]:
    """Read what is stated: of all visits, or of those of a site or a date."""
    with wiring.survey_store(folder, write=False) as store:
        wanted = {
            one.visit_id
            for one in store.visits()
            if site in (None, one.site) and date in (None, one.date)
        }
        return [one for one in store.visit_conditions() if one.visit_id in wanted]
