"""Setting a camera's clock from a photo of a clock."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from dryslate import wiring

VISIT = "Lantern Steps 2024-03-09"


def first_photo(project):
    """The first photo of the visit, and when its camera says it was taken."""
    with wiring.survey_store(project, write=False) as store:
        photo = store.photos(VISIT)[0]
    return photo.photo_id, datetime.fromisoformat(photo.metadata.taken_local)


def test_page_says_before_and_after_and_saves_nothing_yet(client_of, own_project) -> None:
    pages = client_of(own_project)
    photo, taken = first_photo(own_project)
    shows = (taken + timedelta(seconds=95)).strftime("%H:%M:%S")
    html = pages.get("/take/clock", params={"visit": VISIT, "photo": photo, "shows": shows}).text
    assert f"<td>{taken.isoformat(sep=' ')}</td>" in html
    assert f"<td>{(taken + timedelta(seconds=95)).isoformat(sep=' ')}</td>" in html
    assert "+95 s" in html
    with wiring.survey_store(own_project, write=False) as store:
        assert store.clock_offsets(VISIT) == ()


def test_clock_is_set_and_replaced_only_when_said_so(client_of, own_project) -> None:
    pages = client_of(own_project)
    photo, taken = first_photo(own_project)
    data = {"visit": VISIT, "photo": photo, "shows": taken.strftime("%H:%M:%S")}
    later = {**data, "shows": (taken + timedelta(seconds=95)).strftime("%H:%M:%S")}
    assert pages.post("/take/clock", data=data).status_code == 303
    refused = pages.post("/take/clock", data=later)
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["slug"] == "clock-already-set"
    assert pages.post("/take/clock", data={**later, "replace": "true"}).status_code == 303
    with wiring.survey_store(own_project, write=False) as store:
        (offset,) = store.clock_offsets(VISIT)
        moved = store.photo(photo)
        assert store.changes("clock_offsets")[-1].who == "Ines Varro"
    assert offset.offset_s == 95.0
    assert datetime.fromisoformat(moved.taken_corrected) == taken + timedelta(seconds=95)
    assert moved.metadata.taken_local == taken.isoformat()


def test_what_is_no_time_is_refused_in_words(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    photo, _ = first_photo(read_only_project)
    told = {"visit": VISIT, "photo": photo, "shows": "half past nine"}
    answer = pages.get("/take/clock", params=told)
    assert answer.status_code == 422
    assert 'data-slug="clock-time"' in answer.text
    assert 'value="half past nine"' in answer.text  # what was typed and chosen stays
    assert re.search(rf'value="{photo}" required checked', answer.text)
    assert pages.get("/take/clock?visit=Nowhere").status_code == 404
