"""``dryslate serve``: the pages in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dryslate.cli.new import new
from dryslate.cli.render import print_text


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("serve")(serve)


def serve(
    folder: Annotated[Path, typer.Argument(help="Project folder; an empty one becomes one.")],
    port: Annotated[
        int | None, typer.Option("--port", min=1, max=65535, help="Port; else the first free one.")
    ] = None,
    host: Annotated[
        str,
        typer.Option(
            "--host",
            help="Address to listen on for a team (0.0.0.0 for all); everybody then signs in.",
        ),
    ] = "127.0.0.1",
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="Name under which others reach this computer. Repeatable."),
    ] = None,
) -> None:
    """Open the pages in the browser: what is left to do before the next dive."""
    from dryslate.web.server import serve as run
    from dryslate.web.server import settings_for

    if folder.is_dir() and not any(folder.iterdir()):
        new(folder)
    run(settings_for(folder, host, port, tuple(name or ())), print_text)
