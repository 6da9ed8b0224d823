"""Commands read, call and render: nothing more than fifteen lines each."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
import typer

from dryslate.cli.main import build_app

ROOT = Path(__file__).resolve().parents[2]
CLI = sorted((ROOT / "src" / "dryslate" / "cli").glob("*.py"))


def is_command(node: ast.FunctionDef) -> bool:
    """Tell a command by its typer options, by annotation or by default."""
    words = [ast.unparse(a.annotation) for a in node.args.args if a.annotation]
    words += [ast.unparse(d) for d in (*node.args.defaults, *filter(None, node.args.kw_defaults))]
    return any("typer.Option" in w or "typer.Argument" in w for w in words)


@pytest.mark.parametrize("path", CLI, ids=lambda p: p.name)
def test_body_of_a_command_is_short(path: Path) -> None:
    if path.name in ("render.py", "main.py"):
        return
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.FunctionDef) and is_command(node):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            assert lines <= 15, f"{path.name}:{node.name} has {lines} lines"


def test_building_the_commands_again_adds_nothing_to_the_first() -> None:
    """A group kept by its module grew with every build, and later tests took ever longer."""
    first, second = ([len(g.registered_commands) for g in groups()] for _ in range(2))
    assert first == second


def groups() -> list[typer.Typer]:
    """Build the commands, and return every group below the front door."""
    return [info.typer_instance for info in build_app().registered_groups if info.typer_instance]
