"""``dryslate sites`` and ``describe``: where sites lie, and what a project says of itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.render import (
    WITH_PROBLEMS,
    print_json,
    print_problem,
    print_table,
    print_text,
)

if TYPE_CHECKING:
    from dryslate.app.publication_records import SitePlace

Folder = Annotated[Path, typer.Argument(help="Project folder.")]
Who = Annotated[str, typer.Option("--observer", help="Who says so.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
Sure = Annotated[
    bool, typer.Option("--sure", help="The position was looked at: do not ask about it.")
]
Radius = Annotated[
    float | None,
    typer.Option("--uncertainty-m", help="Radius in metres that holds the whole of it."),
]
Grid = Annotated[
    float | None,
    typer.Option(
        "--coarsen-to",
        help="Sensitive: everything exported gives the position to this grid, in degrees; "
        "0: not sensitive.",
    ),
]
Text = str | None


def register(app: typer.Typer) -> None:
    """Add the commands."""
    group = typer.Typer(no_args_is_help=True, help="Where sites and units lie.")
    group.command("list")(list_)
    group.command("set")(set_)
    group.command("gpx")(gpx)
    app.add_typer(group, name="sites")
    app.command("describe")(describe)


def list_(folder: Folder, as_json: Json = False) -> None:
    """List the sites with their positions."""
    from dataclasses import asdict

    with wiring.survey_store(folder, write=False) as store:
        names = [one.site for one in store.sites()]
        places = {one.site: one for one in store.site_places()}
    if as_json:
        print_json({"sites": [asdict(places[n]) if n in places else {"site": n} for n in names]})
        return
    lines = [[name, *_line(places.get(name))] for name in names]
    print_table("Sites", ("site", "latitude", "longitude", "within m", "exported to"), lines)


def _line(place: SitePlace | None) -> list[str]:
    """Return a site's position as cells of text."""
    if place is None or place.latitude_deg is None:
        return ["not stated", "", "", ""]
    within = "not stated" if place.uncertainty_m is None else f"{place.uncertainty_m:g}"
    grid = "as it is" if place.grid_deg is None else f"{place.grid_deg:g}°"
    return [f"{place.latitude_deg:.6f}", f"{place.longitude_deg:.6f}", within, grid]


def set_(  # noqa: PLR0913, PLR0917  one option each for what is known of a place
    folder: Folder,
    site: Annotated[str, typer.Argument(help="The site.")],
    observer: Who,
    position: Annotated[
        Text, typer.Option("--position", help="Latitude first: -8.35, 115.51 or 8°21.0'S ...")
    ] = None,
    uncertainty_m: Radius = None,
    coarsen_to: Grid = None,
    country: Annotated[Text, typer.Option("--country", help="Country.")] = None,
    country_code: Annotated[
        Text, typer.Option("--country-code", help="Its two letters (ISO 3166-1).")
    ] = None,
    water_body: Annotated[Text, typer.Option("--water-body", help="Sea, bay or lagoon.")] = None,
    locality: Annotated[Text, typer.Option("--locality", help="Where it lies in words.")] = None,
    publish_as: Annotated[
        Text,
        typer.Option(
            "--publish-as",
            help="Words published as its locality; of a sensitive site also in place of its name.",
        ),
    ] = None,
    unit: Annotated[
        tuple[str, str] | None,
        typer.Option("--unit", metavar="DATE UNIT", help="A unit of the site instead."),
    ] = None,
    sure: Sure = False,
    as_json: Json = False,
) -> None:
    """
    Say where a site or a unit lies, and in what words. Positions of sensitive sites are kept
    whole in the project and coarsened in everything that is exported; their names and localities
    leave only as `--publish-as` says, else as the wider area.
    """
    from dataclasses import asdict

    words = _words(position, (uncertainty_m, coarsen_to), sure)
    words |= {"country": country, "country_code": country_code}
    words |= {"water_body": water_body, "locality": locality}
    words["published_locality"] = publish_as
    with wiring.survey_store(folder, write=True, who=observer) as store:
        found = _set(store, site, unit, words, observer)
    if as_json:
        print_json(asdict(found))
    else:
        print_text(f"{site}: {found.position_text or 'position not stated'}")


def _words(
    position: str | None, extent: tuple[float | None, float | None], is_sure: bool
) -> dict[str, Any]:
    return {
        "position": position,
        "uncertainty_m": extent[0],
        "grid_deg": extent[1],
        "is_sure": is_sure,
    }


def _set(
    store: Any, site: str, unit: tuple[str, str] | None, words: dict[str, Any], observer: str
) -> Any:
    """Store the place of a site, or of one of its units."""
    from dryslate.app.site_positions import PlaceWords, set_site_place, set_unit_place
    from dryslate.app.unit_list import find_unit
    from dryslate.app.visits import find_visit

    said = PlaceWords(**words)
    if unit is None:
        return set_site_place(store, site, said, observer, wiring.clock())
    visit = find_visit(store, site, unit[0])
    unit_id = find_unit(store, unit[1], visit.visit_id).unit_id
    return set_unit_place(store, unit_id, said, observer, wiring.clock())


def gpx(  # noqa: PLR0913, PLR0917  one option each for what is known of waypoints
    folder: Folder,
    file: Annotated[Path, typer.Argument(help="GPX file of the receiver.")],
    observer: Who,
    called: Annotated[
        list[str] | None,
        typer.Option("--as", metavar="WAYPOINT=SITE", help="Which site it is. Repeatable."),
    ] = None,
    uncertainty_m: Radius = None,
    save: Annotated[
        bool, typer.Option("--save", help="Store them; without it they are only listed.")
    ] = False,
    sure: Sure = False,
    as_json: Json = False,
) -> None:
    """Take the positions of sites from waypoints that are called like them."""
    from dryslate.app.site_positions import PlaceWords, plan_waypoints, save_waypoints
    from dryslate.formats.gpx import read_gpx

    found = read_gpx(wiring.read_file(file), file.name)
    names = dict(pair.partition("=")[::2] for pair in called or ())
    with wiring.survey_store(folder, write=save, who=observer) as store:
        plan = plan_waypoints(store, found, file.name, names)
        is_sound = not any(p.severity == "error" for p in plan.problems)
        words = PlaceWords(uncertainty_m=uncertainty_m, is_sure=sure)
        n = save_waypoints(store, plan, words, observer, wiring.clock()) if save and is_sound else 0
    _show_waypoints(plan, n, as_json=as_json)


def _show_waypoints(plan: Any, n_stored: int, *, as_json: bool) -> None:
    """Say which waypoint is which site."""
    for problem in plan.problems:
        print_problem(problem)
    if as_json:
        print_json({**plan.as_dict(), "n_stored": n_stored})
    else:
        lines = list(plan.found.items())
        print_table(f"{len(lines)} waypoints", ("site", "position"), lines)
        print_text(f"{n_stored} stored." if n_stored else "Nothing was stored; use --save.")
    if plan.problems:
        raise typer.Exit(WITH_PROBLEMS)


def describe(  # noqa: PLR0913, PLR0917  one option each for what a project says of itself
    folder: Folder,
    title: Annotated[Text, typer.Option("--title", help="Title of the data.")] = None,
    summary: Annotated[Text, typer.Option("--summary", help="What the data are.")] = None,
    licence: Annotated[
        Text, typer.Option("--licence", help="CC0-1.0, CC-BY-4.0, CC-BY-NC-4.0 or your own words.")
    ] = None,
    rights_holder: Annotated[
        Text, typer.Option("--rights-holder", help="Whom the data belong to.")
    ] = None,
    permit: Annotated[
        str | None, typer.Option("--permit", help="Number of the permit the work is done under.")
    ] = None,
    methods: Annotated[
        Text, typer.Option("--methods", help="How the survey is done, in words.")
    ] = None,
    language: Annotated[
        Text, typer.Option("--language", help="Language of the texts: en, fr ...")
    ] = None,
    person: Annotated[
        tuple[str, str] | None,
        typer.Option("--person", metavar="NAME ROLE", help="Somebody and what they did."),
    ] = None,
    organisation: Annotated[str, typer.Option("--organisation", help="Of that person.")] = "",
    email: Annotated[str, typer.Option("--email", help="Of that person; published.")] = "",
    names: Annotated[
        Path | None,
        typer.Option("--names", help="Table of names and their identifiers in a register."),
    ] = None,
    observer: Annotated[str | None, typer.Option("--observer", help="Who says so.")] = None,
    as_json: Json = False,
) -> None:
    """
    Say what an archive tells of the project: title, licence, rights holder, people, methods, and
    names in a register (a table that you bring). Without options: show what is said.
    """
    from dryslate.app.project_words import described

    facts = {"title": title, "summary": summary, "licence": licence, "methods": methods}
    facts |= {"rights_holder": rights_holder, "language": language, "permit": permit}
    who = (*person, organisation, email) if person is not None else None
    if who or names or any(text is not None for text in facts.values()):
        with wiring.survey_store(folder, write=True, who=observer) as store:
            _describe(store, facts, who, names)
    with wiring.survey_store(folder, write=False) as store:
        found = described(store)
    print_json(found) if as_json else _show_described(found)


def _describe(
    store: Any,
    facts: dict[str, str | None],
    who: tuple[str, str, str, str] | None,
    names: Path | None,
) -> None:
    """Store what was said."""
    from dryslate.app.project_words import read_name_ids, set_facts, set_person
    from dryslate.app.publication_records import ProjectPerson

    with store.write():
        set_facts(store, facts)
        if who is not None:
            person, role, organisation, email = who
            set_person(
                store,
                ProjectPerson(person=person, role=role, organisation=organisation, email=email),
            )
        if names is not None:
            store.replace_name_ids(read_name_ids(wiring.read_table(names)))


def _show_described(found: dict[str, Any]) -> None:
    """Print what the project says of itself."""
    for name, text in found["facts"].items():
        print_text(f"{name.replace('_', ' ')}: {text}")
    for one in found["people"]:
        parts = (one["person"], one["role"], one["organisation"], one["email"])
        print_text(", ".join(part for part in parts if part))
    print_text(f"{found['n_name_ids']} names with an identifier")
