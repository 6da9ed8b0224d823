"""Taking in through the pages: by folder, with the verdict at its end."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest

from dryslate import wiring

GOLD = Path(__file__).resolve().parents[1] / "gold" / "photos"
SAID = {"site": "Quiet Ledge", "date": "2024-05-19", "observer": "Tomo Halle"}


@pytest.fixture
def empty_project(tmp_path: Path) -> Path:
    """A new project without anything in it."""
    from dryslate.app.new import make_project

    folder = tmp_path / "new"
    _, store = make_project(folder, wiring.project_folders(), wiring.new_store)
    store.close()
    return folder


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A memory card with two photos and a note."""
    folder = tmp_path / "card" / "DCIM"
    folder.mkdir(parents=True)
    for photo in sorted(GOLD.glob("*.JPG"))[:2]:
        shutil.copy2(photo, folder)
    (folder / "notes.txt").write_text("slate 3", "utf-8")
    return folder.parent


def ended(pages, address: str):
    """Wait until the job behind a page ended; return the page."""
    for _ in range(400):
        if pages.get("/jobs/" + address.rsplit("/", 1)[1]).json()["state"] != "running":
            return pages.get(address)
        time.sleep(0.03)
    raise AssertionError("it did not end")


def started(client_of, project: Path):
    """Open the pages of a project that knows nobody yet."""
    pages = client_of(project, observer=None)
    assert pages.post("/people/new", data={"observer": "Ines Varro"}).status_code == 303
    return pages


def test_empty_project_leads_to_taking_in(client_of, empty_project) -> None:
    html = started(client_of, empty_project).get("/").text
    assert re.search(r'<a class="button main begin" href="/take">', html)


def test_card_is_taken_in_by_its_folder_with_the_verdict(client_of, empty_project, card) -> None:
    pages = started(client_of, empty_project)
    answer = pages.post("/take/folder", data={**SAID, "source": str(card)})
    assert answer.status_code == 303
    html = ended(pages, answer.headers["location"]).text
    assert "one copy: do not wipe" in html
    assert "there is no second copy" in html
    with wiring.survey_store(empty_project, write=False) as store:
        assert len(store.photos("Quiet Ledge 2024-05-19")) == 2
        assert len(store.card_files()) == 3
        assert {row.observer for row in store.card_files()} == {"Tomo Halle"}
        assert store.changes("card_files")[-1].who == "Ines Varro"


def test_zone_that_is_said_with_the_card_is_proposed_for_its_units(
    client_of, empty_project, card
) -> None:
    pages = started(client_of, empty_project)
    data = {**SAID, "source": str(card), "zone": " crest  west "}
    html = ended(pages, pages.post("/take/folder", data=data).headers["location"]).text
    assert 'href="/photos?visit=Quiet%20Ledge%202024-05-19#strip"' in html
    with wiring.survey_store(empty_project, write=False) as store:
        assert [zone.zone for zone in store.zones("Quiet Ledge")] == ["crest west"]
    form = pages.get("/units/new", params={"visit": "Quiet Ledge 2024-05-19"}).text
    assert 'list="zones" value="crest west"' in form
    data |= {"zone": "a\x07b"}
    answer = pages.post("/take/folder", data=data)
    assert answer.json()["problems"][0]["slug"] == "name-odd"


def test_two_zones_said_for_a_visit_propose_none(client_of, empty_project, card) -> None:
    pages = started(client_of, empty_project)
    for zone in ("crest", "slope"):
        data = {**SAID, "source": str(card), "zone": zone}
        ended(pages, pages.post("/take/folder", data=data).headers["location"])
    form = pages.get("/units/new", params={"visit": "Quiet Ledge 2024-05-19"}).text
    assert 'name="zone" list="zones" value=""' in form
    assert '<option value="slope">' in form


def test_second_folder_gets_a_copy_of_every_file(client_of, empty_project, card, tmp_path) -> None:
    pages = started(client_of, empty_project)
    second = tmp_path / "second"
    data = {**SAID, "source": str(card), "second": str(second)}
    ended(pages, pages.post("/take/folder", data=data).headers["location"])
    with wiring.survey_store(empty_project, write=False) as store:
        folders = [copy.folder for copy in store.copies()]
    assert folders.count(str(second.resolve())) == folders.count(".") == 3


@pytest.mark.parametrize(
    ("changed", "slug"),
    [
        ({"source": "/no/such/card"}, "source-not-found"),
        ({"source": "card"}, "page-input"),
        ({"source": " "}, "page-input"),
        ({"date": "19 May"}, "visit-date"),
        ({"site": " "}, "name-empty"),
    ],
)
def test_what_cannot_be_taken_in_is_refused_before_it_begins(
    client_of, empty_project, card, changed, slug
) -> None:
    pages = started(client_of, empty_project)
    answer = pages.post("/take/folder", data={**SAID, "source": str(card), **changed})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == slug
    assert not pages.get("/jobs").json()["jobs"]


def test_known_sites_and_observers_are_offered(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/take?site=Lantern+Steps").text
    assert '<option value="Lantern Steps">' in html
    assert 'value="Ines Varro"' in html


def test_page_of_an_unknown_job_is_not_found(client_of, read_only_project) -> None:
    assert client_of(read_only_project).get("/take/done/" + "0" * 16).status_code == 404


def test_refused_form_leads_back_to_its_page(client_of, empty_project, tmp_path) -> None:
    pages = started(client_of, empty_project)
    base = str(pages.client.base_url).rstrip("/")
    wrong = {**SAID, "source": str(tmp_path / "none")}
    page = {"accept": "text/html", "referer": f"{base}/take?site=Far+Bank"}
    refused = pages.post("/take/folder", data=wrong, headers=page)
    assert refused.status_code == 422
    assert 'href="/take?site=Far+Bank#again"' in refused.text
    elsewhere = {**page, "referer": "http://elsewhere.example/take"}
    assert "#again" not in pages.post("/take/folder", data=wrong, headers=elsewhere).text
    assert "#again" not in pages.get("/nowhere", headers=page).text
