"""The card commands: list, show, print, picture, buoyancy."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from dryslate import wiring
from dryslate.cli.card_words import buoyancy_words, parse_extra, parse_size
from dryslate.cli.render import print_json, print_table, print_text

CardName = Annotated[
    str, typer.Option("--card", help="Name of a card, or the path of its definition file.")
]
Project = Annotated[
    Path | None, typer.Option("--project", help="Project whose own cards are known too.")
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON documents, one a line.")]
Out = Annotated[Path | None, typer.Option("-o", "--out", help="File to write.")]


def register(app: typer.Typer) -> None:
    """Add the card commands."""
    from dryslate.cli import card_values

    group = typer.Typer(
        no_args_is_help=True,
        help="The reference card: show, print, characterise, compare, define, weigh.",
    )
    group.command("list")(list_command)
    group.command("show")(show_command)
    group.command("print")(print_command)
    group.command("picture")(picture_command)
    group.command("buoyancy")(buoyancy_command)
    card_values.register(group)
    app.add_typer(group, name="card")


def list_command(project: Project = None, as_json: Json = False) -> None:
    """List every known card: the built-in ones and the project's own."""
    from dryslate.app.card_show import LIST_COLUMNS, list_cards, list_row

    cards = list_cards(wiring.reference_tables(project))
    for card in cards if as_json else ():
        print_json(card)
    if not as_json:
        print_table("Known cards", LIST_COLUMNS, [list_row(c) for c in cards])


def show_command(
    card: CardName = "field",
    cgats: Annotated[
        bool, typer.Option("--cgats", help="Print its values as CGATS.17 text instead.")
    ] = False,
    project: Project = None,
    as_json: Json = False,
) -> None:
    """Show one card: size, patches with their values, markers."""
    from dryslate.app.card_show import card_as_cgats, describe_card, show_card

    tables = wiring.reference_tables(project)
    if as_json:
        print_json(show_card(tables, card))
    elif cgats:
        typer.echo(card_as_cgats(tables, card), nl=False)
    else:
        told = describe_card(tables, card)
        print_text("\n".join(f"{name}: {words}" for name, words in told["facts"].items()))
        print_table(f"Patches of {told['name']}", told["columns"], told["rows"])


def print_command(  # noqa: PLR0913, PLR0917 - one argument an option
    card: CardName = "field",
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    copies: Annotated[
        int | None, typer.Option(help="How many cards; without it two, or eight of a stick.")
    ] = None,
    serial: Annotated[str, typer.Option(help="Serial number to print on card and label.")] = "",
    out: Out = None,
    project: Project = None,
    as_json: Json = False,
) -> None:
    """Write the millimetre-true PDF of a card, with how to print, seal and look after it."""
    from dryslate.app.card_show import print_card

    options: dict[str, Any] = {"paper": paper, "copies": copies, "serial": serial}
    tables = wiring.reference_tables(project)
    done = print_card(tables, wiring.document_writer(), card, out, options)
    if as_json:
        print_json(done)
        return
    print_text(f"Written: {done['path']}")
    print_text("Print at 100 %, on matt paper; page 2 says how, and has the divers' cautions.")


def picture_command(
    card: CardName = "field",
    dpi: Annotated[float, typer.Option(help="Pixels per inch.")] = 300.0,
    out: Out = None,
    project: Project = None,
    as_json: Json = False,
) -> None:
    """Write a picture that is exactly the card, edge to edge, in sRGB."""
    from dryslate.app.card_show import draw_card_picture

    tables = wiring.reference_tables(project)
    done = draw_card_picture(tables, wiring.document_writer(), card, dpi, out)
    if as_json:
        print_json(done)
    else:
        print_text(f"Written: {done['path']} ({done['width_px']} x {done['height_px']} pixels)")


def buoyancy_command(  # noqa: PLR0913, PLR0917 - one argument an option
    size: Annotated[
        str, typer.Option(help="Board in mm: width x height x thickness, such as 150x100x4.")
    ] = "150x100x4",
    material: Annotated[str, typer.Option(help="A material of the density table.")] = (
        "polypropylene"
    ),
    extra: Annotated[
        list[str] | None,
        typer.Option("--with", help="Fixed to it already: grams:material, repeatable."),
    ] = None,
    salinity: Annotated[float, typer.Option(help="Practical salinity of the water.")] = 35.0,
    temperature: Annotated[float, typer.Option(help="Water temperature, degrees C.")] = 26.0,
    depth: Annotated[float, typer.Option(help="Depth in metres.")] = 5.0,
    as_json: Json = False,
) -> None:
    """Say how much a board floats or sinks, and the stainless weight that makes it just sink."""
    from dryslate.app.card_buoyancy import Board, weigh_board

    board = Board(
        size_mm=parse_size(size),
        material=material,
        extras=[parse_extra(e) for e in extra or []],
        salinity=salinity,
        temperature_deg_c=temperature,
        depth_m=depth,
    )
    done = weigh_board(wiring.reference_tables(), board)
    print_json(done) if as_json else print_text(buoyancy_words(done))
