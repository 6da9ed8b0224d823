"""What is proved where, and making the second copy through the pages."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.second_copy import copies_of
from dryslate.web.errors import Refusal
from dryslate.web.taking import folder_from

VISIT = "Lantern Steps 2024-03-09"


def make_second(pages, second: Path):
    """Ask for the second copy and wait for it; return the page that shows it."""
    answer = pages.post("/take/copies", data={"visit": VISIT, "second": str(second)})
    assert answer.status_code == 303
    for _ in range(300):
        if not pages.get("/jobs").json()["jobs"]:
            return pages.get(answer.headers["location"])
        time.sleep(0.03)
    raise AssertionError("it did not end")


def test_second_copy_holds_every_file_of_the_visit(client_of, own_project, tmp_path) -> None:
    pages = client_of(own_project)
    html = make_second(pages, tmp_path / "second").text
    assert "Copied now: 4" in html
    with wiring.survey_store(own_project, write=False) as store:
        hashes = {row.sha256 for row in store.card_files() if row.visit_id == VISIT}
        told = copies_of(store, VISIT)
        assert store.changes("copies")[-1].who == "Ines Varro"
    kept = [p for p in (tmp_path / "second" / "originals").rglob("*") if p.is_file()]
    assert {hashlib.sha256(p.read_bytes()).hexdigest() for p in kept} == hashes
    assert [f.folder for f in told.folders] == [".", str((tmp_path / "second").resolve())]
    assert "There before: 4" in make_second(pages, tmp_path / "second").text


def test_two_folders_on_one_drive_count_as_one_copy(client_of, own_project, tmp_path) -> None:
    html = make_second(client_of(own_project), tmp_path / "second").text
    assert "one copy: do not wipe" in html
    assert "lie on one drive" in html or "counts for no drive" in html


def test_damaged_original_is_not_copied_but_told(client_of, own_project, tmp_path) -> None:
    victim = next(p for p in (own_project / "originals").rglob("*") if p.is_file())
    victim.chmod(0o644)
    data = bytearray(victim.read_bytes())
    data[5000] ^= 1
    victim.write_bytes(bytes(data))
    html = make_second(client_of(own_project), tmp_path / "second").text
    assert "Copied now: 3" in html
    assert 'data-slug="second-copy-failed"' in html
    kept = [p for p in (tmp_path / "second" / "originals").rglob("*") if p.is_file()]
    assert len(kept) == 3


@pytest.mark.parametrize("below", [".", "derived/second"])
def test_second_copy_cannot_lie_in_the_project(client_of, own_project, below) -> None:
    second = str(own_project / below)
    answer = client_of(own_project).post("/take/copies", data={"visit": VISIT, "second": second})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "take-second-same"


def test_unknown_visit_and_missing_folder_are_refused(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    assert pages.get("/take/copies?visit=Nowhere").status_code == 404
    assert pages.post("/take/copies", data={"visit": VISIT, "second": " "}).status_code == 422


def test_no_browser_names_folders_on_a_team_server() -> None:
    from starlette.requests import Request

    from dryslate.web.app import create_app
    from dryslate.web.settings import ServeSettings

    app = create_app(ServeSettings(project=Path("trip"), host="192.0.2.7", token="k"))
    with pytest.raises(Refusal, match="page-role"):
        folder_from(Request({"type": "http", "app": app}), "/media/card")
