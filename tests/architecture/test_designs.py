"""A way to sample units is known everywhere or nowhere: tables by design have all of them."""

from __future__ import annotations

import ast
from pathlib import Path

from dryslate.core.survey.designs import DESIGNS

SOURCE = Path(__file__).resolve().parents[2] / "src/dryslate"
MOST = len(DESIGNS) - 2
"""A table that has so many designs is meant to have all."""


def tables() -> dict[str, set[str]]:
    """Return the designs among the keys of each written table, by its place in the code."""
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Dict):
                keys = {k.value for k in node.keys if isinstance(k, ast.Constant)} & set(DESIGNS)
                if len(keys) >= MOST:
                    found[f"{path.relative_to(SOURCE)}:{node.lineno}"] = keys
    return found


def test_tables_by_design_have_every_design() -> None:
    found = tables()
    assert len(found) >= 10
    lacking = {place: set(DESIGNS) - keys for place, keys in found.items()}
    assert {place: names for place, names in lacking.items() if names} == {}
