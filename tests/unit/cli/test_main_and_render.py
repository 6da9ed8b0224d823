"""The front door: version, wrong words, errors and JSON lines."""

from __future__ import annotations

import json
import sys

import numpy as np
import pytest
import typer

from dryslate.base.errors import InputError
from dryslate.cli import main as front
from dryslate.cli import render


def run(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["dryslate", *words])
    try:
        front.main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


def test_version_is_printed(monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    assert run(monkeypatch, "--version") == 0
    assert capsys.readouterr().out.startswith("dryslate ")


def test_unknown_command_is_wrong_usage(monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(monkeypatch, "no-such-command") == render.USAGE


def test_error_ends_as_one_sentence_with_its_slug_and_exit_one(
    monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    def broken(_module: str | None) -> typer.Typer:
        app = typer.Typer()

        @app.command()
        def only() -> None:
            raise InputError("made-up-slug", "IMG_1.jpg: nothing there.", "Try another.")

        return app

    monkeypatch.setattr(front, "build_app", broken)
    assert run(monkeypatch) == render.ERROR
    said = capsys.readouterr().err
    assert "IMG_1.jpg: nothing there. Try another. [made-up-slug]" in said
    assert "Traceback" not in said


def test_stopping_by_hand_says_that_finished_work_is_kept(
    monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    def stopped(_module: str | None) -> typer.Typer:
        raise KeyboardInterrupt

    monkeypatch.setattr(front, "build_app", stopped)
    assert run(monkeypatch) == 130
    assert "kept" in capsys.readouterr().err


def test_json_line_holds_plain_numbers_and_null_for_not_a_number(capsys) -> None:
    render.print_json({"a": np.float64(1.5), "b": np.array([1.0, np.nan]), "c": (np.int64(2),)})
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 1
    assert json.loads(lines[0]) == {"a": 1.5, "b": [1.0, None], "c": [2]}


def test_quiet_progress_prints_nothing(capsys) -> None:
    bar = render.progress(quiet=True)
    bar.start("Correcting", 3)
    bar.step()
    bar.done()
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == ""
