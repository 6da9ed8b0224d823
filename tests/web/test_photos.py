"""The list of photos: filters, steps, and correcting as a job."""

from __future__ import annotations

import re
import time
from dataclasses import replace

import pytest

from dryslate import wiring

VISIT = "Lantern Steps 2024-03-09"


def names_in(html: str) -> list[str]:
    """Names of the listed photos, in their order."""
    return re.findall(r'<span class="name">([^<]+)</span>', html)


def wait_for(pages, n: int = 600) -> None:
    """Wait until no job is under way."""
    for _ in range(n):
        if not pages.get("/jobs").json()["jobs"]:
            return
        time.sleep(0.05)
    raise AssertionError("a job did not end")


def test_list_shows_every_photo_of_the_visit_in_the_order_taken(
    client_of, read_only_project
) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/photos", params={"visit": VISIT}).text
    with wiring.survey_store(read_only_project, write=False) as store:
        names = [photo.files[0].original_name for photo in store.photos(VISIT)]
    assert names_in(html) == names
    assert len(names) == 4
    assert len(re.findall(r"<img[^>]+/thumb/", html)) == 4


@pytest.mark.parametrize(
    "show", ["not_corrected", "corrected", "borrowed", "refused", "no_card", "unreadable"]
)
def test_filter_by_outcome_agrees_with_the_records(client_of, read_only_project, show) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/photos", params={"visit": VISIT, "show": show}).text
    with wiring.survey_store(read_only_project, write=False) as store:
        outcome = {row.photo_id: row.outcome for row in store.corrections()}
        wanted = [
            photo.files[0].original_name
            for photo in store.photos(VISIT)
            if outcome.get(photo.photo_id, "not_corrected") == show
        ]
    assert names_in(html) == wanted


def test_filters_by_corals_name_and_time_narrow_the_list(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    assert names_in(pages.get("/photos?show=corals").text) == ["DRY_0001.JPG", "DRY_0002.JPG"]
    assert names_in(pages.get("/photos?name=0003").text) == ["DRY_0003.JPG"]
    with wiring.survey_store(read_only_project, write=False) as store:
        second = store.photos(VISIT)[1]
    at = (second.taken_corrected or second.metadata.taken_local)[11:16]
    listed = names_in(pages.get(f"/photos?after={at}&before={at}").text)
    assert second.files[0].original_name in listed
    assert len(listed) < 4


@pytest.mark.parametrize(
    "query", ["show=every", "seen=perhaps", "after=25:00", "page=0", "page=x", "name=" + "a" * 300]
)
def test_what_the_list_cannot_use_is_refused_in_words(client_of, read_only_project, query) -> None:
    answer = client_of(read_only_project).get("/photos?" + query)
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "page-input"


def test_unknown_visit_is_not_found(client_of, read_only_project) -> None:
    answer = client_of(read_only_project).get("/photos?visit=Nowhere+2024-01-01")
    assert answer.status_code == 404
    assert answer.json()["problems"][0]["slug"] == "page-not-found"


def test_next_step_comes_alone_and_names_the_one_after(
    client_of, read_only_project, monkeypatch
) -> None:
    monkeypatch.setattr("dryslate.app.photo_list.FIRST_STEP", 3)
    pages = client_of(read_only_project)
    first = pages.get("/photos").text
    assert len(names_in(first)) == 3
    more = re.search(r'hx-get="([^"]+)"', first)
    assert more
    address = more[1].replace("&amp;", "&")
    step = pages.get(address, headers={"hx-request": "true"}).text
    assert "<html" not in step
    assert len(names_in(step)) == 1
    assert "hx-get" not in step
    assert names_in(pages.get(address).text) == names_in(step)  # the plain link, without scripts


def test_correcting_again_with_another_port_makes_new_results(client_of, own_project) -> None:
    pages = client_of(own_project)
    with wiring.survey_store(own_project, write=False) as store:
        before = {row.photo_id: row.key for row in store.corrections()}
    query = f"/photos/correct?name=0001&visit={VISIT}"
    answer = pages.post(query, data={"port": "dome", "again": "all"})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/photos?")
    wait_for(pages)
    with wiring.survey_store(own_project, write=False) as store:
        after = {row.photo_id: row.key for row in store.corrections()}
        changed = [photo for photo in before if after[photo] != before[photo]]
        assert [store.photo(p).files[0].original_name for p in changed] == ["DRY_0001.JPG"]
        assert store.changes("corrections")[-1].who == "Ines Varro"


def test_corrected_photos_stay_unless_asked_for_again(client_of, own_project) -> None:
    pages = client_of(own_project)
    with wiring.survey_store(own_project, write=False) as store:
        before = len(store.changes())
    assert pages.post("/photos/correct", data={"port": "flat"}).status_code == 303
    wait_for(pages)
    with wiring.survey_store(own_project, write=False) as store:
        assert len(store.changes()) == before


def test_photos_tried_in_vain_are_tried_again_only_where_asked_for(client_of, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        row = store.corrections(VISIT)[0]
        with store.write():
            store.save_correction(replace(row, outcome="no_card", key="other", corrected_path=None))
    pages = client_of(own_project)
    html = pages.get("/photos", params={"visit": VISIT}).text
    assert "Correct this photo<" not in html
    assert "Try 1 photo again that could not be corrected" in html
    query = f"/photos/correct?visit={VISIT}"
    for again, outcome in (("", "no_card"), ("failed", "corrected")):
        assert pages.post(query, data={"port": "flat", "again": again}).status_code == 303
        wait_for(pages)
        with wiring.survey_store(own_project, write=False) as store:
            assert store.correction(row.photo_id).outcome == outcome


def test_port_must_be_one_that_is_known(client_of, read_only_project) -> None:
    answer = client_of(read_only_project).post("/photos/correct", data={"port": "glass"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "page-input"


def test_correcting_needs_an_observer(client_of, read_only_project) -> None:
    answer = client_of(read_only_project, observer=None).post("/photos/correct", data={})
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["slug"] == "page-no-observer"
