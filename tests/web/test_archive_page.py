"""The archive page: what would be in it, what is missing, making it and downloading it."""

from __future__ import annotations

import io
import time
import zipfile

from dryslate import wiring


def made(pages, what: str, **more: str) -> str:
    """Ask for a file and wait for it; return the page that shows it."""
    answer = pages.post("/archive/make", data={"what": what, **more})
    assert answer.status_code == 303, answer.text
    for _ in range(300):
        if not pages.get("/jobs").json()["jobs"]:
            return pages.get(answer.headers["location"]).text
        time.sleep(0.03)
    raise AssertionError("it did not end")


def test_page_says_what_would_be_in_it_and_what_is_missing(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/archive").text
    assert "What will be in it" in html
    assert "1 site has no position." in html
    assert "a title, the licence, whom the data belong to" in html
    assert "Download" not in html


def test_place_is_kept_as_typed_and_coarsened_in_the_archive(client_of, own_project) -> None:
    pages = client_of(own_project)
    said = {"site": "Lantern Steps", "position": "8°21.0'S 115°30.6'E", "uncertainty_m": "200"}
    answer = pages.post("/archive/site", data={**said, "grid_deg": "0,1", "country_code": "ID"})
    assert answer.status_code == 303
    html = pages.get(answer.headers["location"]).text
    assert "coarsened to 0.1°" in html
    assert "-8.350, 115.550" in html
    assert "has no position." not in html
    with wiring.survey_store(own_project, write=False) as store:
        (place,) = store.site_places()
    assert (place.longitude_deg, place.uncertainty_m) == (115.51, 200.0)


def test_swapped_position_is_told_on_the_page(client_of, own_project) -> None:
    pages = client_of(own_project)
    said = {"site": "Lantern Steps", "position": "115.51, -8.35"}
    answer = pages.post("/archive/site", data=said)
    assert answer.status_code == 422
    assert "position-swapped" in answer.text
    answer = pages.post("/archive/site", data={**said, "position": "", "uncertainty_m": "wide"})
    assert answer.status_code == 422


def test_words_on_a_place_that_no_file_can_carry_are_refused(client_of, own_project) -> None:
    pages = client_of(own_project)
    for field in ("country", "water_body", "locality", "published_locality"):
        answer = pages.post("/archive/site", data={"site": "Lantern Steps", field: "a\x00b"})
        assert answer.status_code == 422
        assert "place-words-odd" in answer.text
    for number in ("nan", "1e999", "wide"):
        said = {"site": "Lantern Steps", "uncertainty_m": number}
        assert pages.post("/archive/site", data=said).status_code == 422
    with wiring.survey_store(own_project, write=False) as store:
        assert store.site_places() == ()


def test_words_and_people_are_kept_and_taken_out(client_of, own_project) -> None:
    pages = client_of(own_project)
    words = {"title": "Two reefs", "licence": "CC-BY-4.0", "rights_holder": "The team"}
    assert pages.post("/archive/words", data=words).status_code == 303
    person = {"name": "Ines Varro", "role": "contact", "email": "ines@example.org"}
    assert pages.post("/archive/person", data=person).status_code == 303
    html = pages.get("/archive").text
    assert 'value="Two reefs"' in html
    assert "answers questions, ines@example.org" in html
    assert pages.post("/archive/person/remove", data=person).status_code == 303
    assert "ines@example.org" not in pages.get("/archive").text


def test_archive_and_package_are_made_and_downloaded(client_of, own_project) -> None:
    pages = client_of(own_project)
    assert pages.get("/archive/file/archive").status_code == 404
    assert pages.get("/archive/file/other").status_code == 404
    html = made(pages, "archive")
    assert "decimalLatitude" in html
    assert "Names without an identifier" in html
    answer = pages.get("/archive/file/archive")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as zipped:
        assert "meta.xml" in zipped.namelist()
    assert "darwin-core-archive.zip" in answer.headers["content-disposition"]
    assert "Download the data package" in made(pages, "package")
    answer = pages.get("/archive/file/package")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as zipped:
        assert "datapackage.json" in zipped.namelist()


def test_corrected_copies_go_along_where_they_are_asked_for(client_of, own_project) -> None:
    pages = client_of(own_project)
    made(pages, "archive", photos="originals")
    answer = pages.get("/archive/file/archive")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as zipped:
        assert any(name.startswith("media/") for name in zipped.namelist())
    assert pages.post("/archive/make", data={"what": "archive", "photos": "all"}).status_code == 422


def test_making_and_saving_need_an_observer(client_of, read_only_project) -> None:
    pages = client_of(read_only_project, observer=None)
    for path in ("/archive/make", "/archive/words"):
        answer = pages.post(path, data={"what": "archive"})
        assert answer.status_code in (403, 409, 422)
