"""``dryslate serve`` on a folder that is no project yet."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app
from dryslate.web import server


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Projects that would have been served."""
    projects: list[Path] = []
    monkeypatch.setattr(server, "serve", lambda settings, say: projects.append(settings.project))
    return projects


def test_an_empty_folder_becomes_a_project(served: list[Path], tmp_path: Path) -> None:
    result = CliRunner().invoke(build_app(), ["serve", str(tmp_path)])
    assert result.exit_code == 0, result.output
    assert served == [tmp_path]
    with wiring.survey_store(tmp_path, write=False) as store:
        assert store.records() == ()


def test_a_folder_with_other_things_is_left_alone(served: list[Path], tmp_path: Path) -> None:
    (tmp_path / "holiday.txt").write_text("not ours", "utf-8")
    CliRunner().invoke(build_app(), ["serve", str(tmp_path)])
    assert [p.name for p in tmp_path.iterdir()] == ["holiday.txt"]


def test_a_folder_that_is_not_there_is_not_made(served: list[Path], tmp_path: Path) -> None:
    CliRunner().invoke(build_app(), ["serve", str(tmp_path / "trpi")])
    assert not (tmp_path / "trpi").exists()
