"""The one front door of the command line: commands are registered here, errors end here."""

from __future__ import annotations

import importlib
import os
import sys
from functools import cache

import typer

from dryslate.base.errors import DryslateError
from dryslate.cli.render import ERROR, words

GROUPS = (
    "demo",
    "new",
    "card",
    "lens",
    "take",
    "project",
    "sites",
    "units",
    "conditions",
    "correct",
    "measure",
    "identify",
    "record",
    "review",
    "lookalikes",
    "taxa",
    "sheet",
    "records",
    "points",
    "results",
    "change",
    "community",
    "plan",
    "heat",
    "colonies",
    "health",
    "report",
    "archive",
    "check",
    "backup",
    "serve",
    "account",
)


@cache
def build_app() -> typer.Typer:
    """Return the application with every command registered."""
    app = typer.Typer(
        name="dryslate",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        help="From a memory card of reef photos to corrected, scaled and measured corals.",
        epilog=(
            "Dive within your training and local law; data come second; touch nothing; "
            "hydrocorals sting; hold the permits your work needs. Local rules come first."
        ),
    )
    app.callback()(_front)
    for name in GROUPS:
        importlib.import_module(f"dryslate.cli.{name}").register(app)
    return app


def _print_version(wanted: bool) -> None:
    """Print the version and stop, when asked."""
    if wanted:
        from dryslate import __version__

        typer.echo(f"dryslate {__version__}")
        raise typer.Exit(0)


def _front(
    _version: bool = typer.Option(
        False,
        "--version",
        help="Print the version and stop.",
        is_eager=True,
        callback=_print_version,
    ),
) -> None:
    """Take the options that come before any command."""


def main() -> None:
    """Run the command line; exit 0 done, 1 error, 2 wrong usage, 3 done with problems."""
    try:
        build_app()()
    except DryslateError as error:
        words().print(f"error: {error}", style="bold red", markup=False)
        sys.exit(ERROR)
    except KeyboardInterrupt:
        words().print("Stopped. What was finished is kept; run the same command to go on.")
        sys.exit(130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(ERROR)


if __name__ == "__main__":
    main()
