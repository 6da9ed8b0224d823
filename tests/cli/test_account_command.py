"""``dryslate account``: who may sign in to a team's pages."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from dryslate.cli.main import build_app


def run(*words: object, given: str = "") -> tuple[int, str]:
    result = CliRunner().invoke(build_app(), [str(w) for w in words], input=given)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout


def test_account_is_added_listed_and_taken_away(tmp_path: Path) -> None:
    trip = tmp_path / "trip"
    assert run("new", trip)[0] == 0
    code, out = run("account", trip, "Ines Varro", "--role", "lead", "--json", given="a long one\n")
    assert code == 0
    assert json.loads(out) == {"observer": "Ines Varro", "role": "lead"}
    assert run("account", trip, "Ines Varro", "--remove", "--json") == (0, "")
