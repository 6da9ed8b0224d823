"""``dryslate account``: who may sign in to a team's pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import print_json, print_table, print_text

Folder = Annotated[Path, typer.Argument(help="Project folder.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("account")(account)


def account(
    folder: Folder,
    name: Annotated[
        str | None, typer.Argument(help="The observer; without a name: list who may sign in.")
    ] = None,
    role: Annotated[
        str,
        typer.Option("--role", help="viewer (looks), surveyor (saves) or lead (also manages)."),
    ] = "surveyor",
    remove: Annotated[bool, typer.Option("--remove", help="Take the account away.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON documents, one a line.")
    ] = False,
) -> None:
    """Say who may sign in where `serve --host` opens the pages to a team; asks for the password."""
    from dryslate.app.accounts import remove_account, set_account

    book, hasher = wiring.account_book(folder), wiring.password_hasher()
    if name is not None and remove:
        remove_account(book, name)
    elif name is not None:
        set_account(book, hasher, name, role, _password())
    rows = [(a.observer, a.role) for a in book.accounts()]
    for observer, held in rows if as_json else ():
        print_json({"observer": observer, "role": held})
    if not as_json:
        print_table(f"{len(rows)} accounts", ("observer", "role"), rows)


def _password() -> str:
    """Ask for a password twice on a terminal; else read one line from standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    print_text("The password is not shown while you type.")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt=True))
