"""The one front door of the command line: commands are registered here, errors end here."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from functools import cache

import typer

from dryslate.base.errors import DryslateError, SettingsError
from dryslate.cli.render import ERROR, USAGE, words

_MORE = {
    "project": ("visits", "clock", "control"),
    "record": ("record", "name", "region"),
    "sites": ("sites", "describe"),
    "units": ("units", "set-aside"),
    "backup": ("backup", "restore"),
}
"""Commands of the modules that register others than the one they are called after."""

STOPPED = 130
"""Exit code after Ctrl+C; typer turns the interrupt into it without a word."""

MODULES = (
    "demo",
    "new",
    "card",
    "lens",
    "take",
    "project",
    "visit",
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
def build_app(module: str | None = None) -> typer.Typer:
    """
    Return the application.

    Parameters
    ----------
    module : str or None
        Register the commands of this module only: taking all of them apart costs more than most
        commands take to start. None registers every command.
    """
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
    for name in MODULES if module is None else (module,):
        importlib.import_module(f"dryslate.cli.{name}").register(app)
    return app


def module_of(words: Sequence[str]) -> str | None:
    """
    Return the module whose command a line begins with, None where it needs to know them all.

    Examples
    --------
    >>> module_of(["set-aside", "trip"]), module_of(["--help"]), module_of(["srve"])
    ('units', None, None)
    """
    asked = words[0] if words else ""
    return next((name for name in MODULES if asked in _MORE.get(name, (name,))), None)


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


def _say_stopped() -> None:
    """Say, on a line of its own, what becomes of work that Ctrl+C ended."""
    words().print("\nStopped. What was finished is kept; run the same command to go on.")


def main() -> None:
    """Run the command line; exit 0 done, 1 error, 2 wrong usage, 3 done with problems."""
    try:
        build_app(module_of(sys.argv[1:]))()
    except DryslateError as error:
        words().print(f"error: {error}", style="bold red", markup=False)
        sys.exit(USAGE if isinstance(error, SettingsError) else ERROR)
    except KeyboardInterrupt:
        _say_stopped()
        sys.exit(STOPPED)
    except SystemExit as end:
        if end.code == STOPPED:
            _say_stopped()
        raise
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(ERROR)


if __name__ == "__main__":
    main()
