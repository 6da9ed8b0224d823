"""
Write the reference pages that are made from the code: commands, flags and database.

Run it after changing a command, a flag or the schema; ``tests/docs`` fails when a page is stale.
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path
from typing import Any

import typer

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"


def commands_page() -> str:
    """Return the page of commands and options."""
    from dryslate.cli.main import build_app

    lines = [
        "# Commands",
        "",
        "Made from the code by `tools/docs_pages.py`. Every command ends with 0 (done), 1 (error),",
        "2 (wrong usage) or 3 (done with problems).",
    ]
    root = typer.main.get_command(build_app())
    for path, command in walk(root, "dryslate"):
        lines += ["", f"## {path}", "", (command.help or "").strip() or "—"]
        rows = [option_row(p) for p in command.params if not getattr(p, "hidden", False)]
        rows = [r for r in rows if r]
        if rows:
            lines += ["", "| option | what it does |", "| --- | --- |", *rows]
    return "\n".join(lines) + "\n"


def walk(command: Any, path: str) -> list[tuple[str, Any]]:
    """Return each command with its full name, groups first."""
    found = [(path, command)]
    for name, sub in sorted(getattr(command, "commands", {}).items()):
        found += walk(sub, f"{path} {name}")
    return found


def option_row(param: Any) -> str:
    """Return one table row, or nothing for ``--help``."""
    names = ", ".join(f"`{o}`" for o in (*param.opts, *param.secondary_opts))
    if "--help" in names:
        return ""
    if param.param_type_name == "argument":
        names = f"`{param.name.upper()}`"
    text = (getattr(param, "help", "") or "").replace("\n", " ").replace("|", "\\|")
    return f"| {names} | {text} |"


def flags_page() -> str:
    """Return the page of quality flags, from their docstrings in the enumeration."""
    tree = ast.parse((ROOT / "src/dryslate/base/quality.py").read_text("utf-8"))
    lines = [
        "# Flags",
        "",
        "Reservations that travel with a value, where the doubt is not a number. Made from the",
        "code by `tools/docs_pages.py`.",
    ]
    enumeration = next(n for n in tree.body if isinstance(n, ast.ClassDef) and n.name == "Flag")
    for node, after in zip(enumeration.body, enumeration.body[1:], strict=False):
        if isinstance(node, ast.Assign) and isinstance(after, ast.Expr):
            lines += ["", f"## {ast.literal_eval(node.value)}", "", ast.literal_eval(after.value)]
    return "\n".join(lines) + "\n"


def database_page() -> str:
    """Return the page of tables and columns."""
    from dryslate.store.schema_page import database_page as page

    return page()


PAGES = {"commands.md": commands_page, "flags.md": flags_page, "database.md": database_page}


def main() -> int:
    """Write every page; say which changed."""
    for name, make in PAGES.items():
        path, text = DOCS / name, make()
        if not path.exists() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")
            print(f"wrote {path.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
