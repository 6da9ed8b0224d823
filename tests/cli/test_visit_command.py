"""`dryslate visit`: taken out, corrected, put to another, undone, listed."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

SITE, DATE = VISIT = ("Lantern Steps", "2024-03-09")
WHO = ("--observer", "Ines Varro")
WHY = ("--reason", "wrong date typed")


def run(*words: object, code: int = 0) -> str:
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == code, done.output
    return done.output


@pytest.fixture
def trip(web_project, tmp_path) -> Path:
    return Path(shutil.copytree(web_project, tmp_path / "trip"))


def visits(project: Path) -> dict[str, int]:
    with wiring.survey_store(project, write=False) as store:
        return {v.visit_id: len(store.photos(v.visit_id)) for v in store.visits()}


def test_a_date_is_corrected_listed_and_undone(trip) -> None:
    said = run("visit", "correct", trip, "--visit", *VISIT, "--date", "2024-03-08", *WHY, *WHO)
    assert "visit undo --edit 1" in said
    assert visits(trip) == {f"{SITE} 2024-03-08": 4}
    assert "wrong date typed" in run("visit", "list", trip)
    run("visit", "undo", trip, *WHO)
    assert visits(trip) == {f"{SITE} {DATE}": 4}
    edits = json.loads(run("visit", "list", trip, "--json"))["edits"]
    assert [edit["what"] for edit in edits] == ["corrected", "undone"]
    with pytest.raises(InputError, match="no edit 0"):
        run("visit", "undo", trip, *WHO)
    assert "0 things to look at" in run("check", trip).replace("\n", " ")


def test_photos_go_to_another_visit_and_an_empty_one_is_taken_out(trip) -> None:
    to = ("--to", "Quiet Ledge", DATE)
    run("visit", "move", trip, "--visit", *VISIT, *to, "--photo", "DRY_0003.JPG", *WHY, *WHO)
    assert visits(trip) == {f"{SITE} {DATE}": 3, f"Quiet Ledge {DATE}": 1}
    back = ("--visit", "Quiet Ledge", DATE, "--to", *VISIT)
    run("visit", "move", trip, *back, "--photo", "DRY_0003.JPG", *WHY, *WHO)
    assert visits(trip) == {f"{SITE} {DATE}": 4, f"Quiet Ledge {DATE}": 0}
    run("visit", "withdraw", trip, "--visit", "Quiet Ledge", DATE, *WHY, *WHO)
    assert visits(trip) == {f"{SITE} {DATE}": 4}
    with pytest.raises(InputError, match="is not empty"):
        run("visit", "withdraw", trip, "--visit", *VISIT, *WHY, *WHO)
    run("visit", "move", trip, "--visit", *VISIT, *to, *WHY, *WHO, code=2)


def test_the_card_taken_in_again_leaves_photos_where_they_were_put(trip, tmp_path) -> None:
    run("visit", "correct", trip, "--visit", *VISIT, "--site", "Quiet Ledge", *WHY, *WHO)
    photos = Path(__file__).resolve().parents[1] / "gold" / "photos"
    said = run("take", photos, "--into", trip, "--visit", *VISIT, *WHO)
    assert "stay with it" in said.replace("\n", " ")
    assert visits(trip) == {f"{SITE} {DATE}": 0, f"Quiet Ledge {DATE}": 4}
    run("visit", "withdraw", trip, "--visit", *VISIT, *WHY, *WHO)
    assert visits(trip) == {f"Quiet Ledge {DATE}": 4}
