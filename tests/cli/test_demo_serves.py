"""The demo ends by serving its pages, or by itself where told to."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[Path]:
    """Projects that a server was started on; the trip itself is made elsewhere."""
    started: list[Path] = []
    done = SimpleNamespace(project=tmp_path / "made-up-trip")
    monkeypatch.setattr("dryslate.demo.run.run_demo", lambda *_: done)
    monkeypatch.setattr("dryslate.cli.demo._show", lambda _: None)
    monkeypatch.setattr(
        "dryslate.web.server.serve", lambda settings, _: started.append(settings.project)
    )
    return started


def run(*words: str) -> int:
    """Run the command; returns its exit code."""
    from dryslate.cli.main import build_app

    return CliRunner().invoke(build_app(), ["demo", *words]).exit_code


def test_demo_serves_the_project_it_made(served: list[Path], tmp_path: Path) -> None:
    assert run(str(tmp_path)) == 0
    assert served == [tmp_path / "made-up-trip"]


def test_demo_ends_by_itself_where_told_to(served: list[Path], tmp_path: Path) -> None:
    assert run(str(tmp_path), "--no-serve") == 0
    assert served == []
