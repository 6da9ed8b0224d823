"""The backup page, and what the first page says of backups."""

from __future__ import annotations

import time
from pathlib import Path

from dryslate import wiring


def back_up(pages, to: Path) -> str:
    """Ask for a backup and wait for it; return the page that shows it."""
    answer = pages.post("/backup", data={"to": str(to)})
    assert answer.status_code == 303
    for _ in range(300):
        if not pages.get("/jobs").json()["jobs"]:
            return pages.get(answer.headers["location"]).text
        time.sleep(0.03)
    raise AssertionError("it did not end")


def test_first_page_says_when_the_records_were_backed_up(client_of, own_project, tmp_path) -> None:
    pages = client_of(own_project)
    assert "The records have no backup yet." in pages.get("/").text
    html = back_up(pages, tmp_path / "disk")
    assert "Last backup:" in html
    assert "Nothing has changed since." in html
    assert "4 originals have no second copy" in html
    assert "Nothing has changed since." in pages.get("/").text
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        (made,) = store.backups()
        store.save_region("western_atlantic")
    assert made.observer == "Ines Varro"
    assert (Path(made.folder) / "dryslate.sqlite").is_file()
    assert "1 change has come since." in pages.get("/").text


def test_no_backup_into_the_project_or_without_a_whole_path(client_of, own_project) -> None:
    pages = client_of(own_project)
    inside = pages.post("/backup", data={"to": str(own_project / "backups")})
    assert inside.status_code in (409, 422)
    assert "backup-into-project" in inside.text
    assert pages.post("/backup", data={"to": "disk"}).status_code == 422
    assert pages.post("/backup", data={"to": " "}).status_code == 422


def test_backing_up_needs_an_observer(client_of, read_only_project, tmp_path) -> None:
    pages = client_of(read_only_project, observer=None)
    assert pages.post("/backup", data={"to": str(tmp_path)}).status_code in (403, 409, 422)
