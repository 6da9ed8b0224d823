"""A command is taken apart by itself: its module is known by the first word of the line."""

from __future__ import annotations

import click
import pytest
import typer
from typer.testing import CliRunner

from dryslate.cli.main import build_app, module_of

WHOLE = typer.main.get_command(build_app())
NAMES = sorted(WHOLE.commands)  # type: ignore[attr-defined]


def test_every_command_is_found_in_its_module() -> None:
    assert [name for name in NAMES if module_of([name]) is None] == []


@pytest.mark.parametrize("name", NAMES)
def test_command_is_the_same_alone_as_among_all(name: str) -> None:
    alone = typer.main.get_command(build_app(module_of([name]))).commands[name]  # type: ignore[attr-defined]
    among = WHOLE.commands[name]  # type: ignore[attr-defined]
    assert alone.help == among.help
    assert [p.opts for p in alone.params] == [p.opts for p in among.params]
    assert list(getattr(alone, "commands", ())) == list(getattr(among, "commands", ()))


@pytest.mark.parametrize("words", [[], ["--help"], ["--version"], ["srve"], [""]])
def test_line_that_names_no_command_needs_all_of_them(words: list[str]) -> None:
    assert module_of(words) is None


def test_word_that_is_no_command_is_answered_with_those_like_it() -> None:
    done = CliRunner().invoke(build_app(module_of(["srve"])), ["srve"])
    assert done.exit_code == 2
    assert "serve" in click.unstyle(done.output)
