"""Visits begun by mistake on the pages: taken out, corrected, put to another, undone."""

from __future__ import annotations

from dryslate import wiring

VISIT = "Lantern Steps 2024-03-09"


def visits_of(project) -> set[str]:
    with wiring.survey_store(project, write=False) as store:
        return {visit.visit_id for visit in store.visits()}


def begin(project, site: str, date: str) -> str:
    from dryslate.app.visits import begin_visit

    with wiring.survey_store(project, write=True, who="Ines Varro") as store, store.write():
        return begin_visit(store, site, date, "Ines Varro").visit_id


def done_of(answer) -> int:
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/visit/edits?done=")
    return int(answer.headers["location"].partition("done=")[2].partition("&")[0])


def test_first_page_offers_to_take_an_empty_visit_out(client_of, own_project) -> None:
    slip = begin(own_project, "Lanten Steps", "2024-03-09")
    pages = client_of(own_project)
    html = pages.get("/").text
    assert "nothing in it yet" in html
    assert html.count("Begun by mistake?") == 1
    assert html.count("Wrong site or date?") == 1
    html = pages.get("/visit", params={"visit": slip}).text
    assert "/visit/withdraw" in html
    assert "/visit/move" not in html
    done = done_of(pages.post("/visit/withdraw", data={"visit": slip, "reason": "name mistyped"}))
    assert visits_of(own_project) == {VISIT}
    html = pages.get("/visit/edits", params={"done": done}).text
    assert "Lanten Steps 2024-03-09 was taken out" in html
    assert "name mistyped" in html
    assert "Lanten Steps" not in pages.get("/take").text, "the slip is offered as a site no more"
    again = done_of(pages.post("/visit/undo", data={"edit": done}))
    assert visits_of(own_project) == {VISIT, slip}
    html = pages.get("/visit/edits").text
    assert html.count("undone since") == 1
    assert "Do it again" in html
    done_of(pages.post("/visit/undo", data={"edit": again}))
    assert visits_of(own_project) == {VISIT}


def test_date_is_corrected_and_photos_stay_what_they_are(client_of, own_project) -> None:
    pages = client_of(own_project)
    html = pages.get("/visit", params={"visit": VISIT}).text
    assert "/visit/withdraw" not in html
    assert "4 photos" in html
    said = {"visit": VISIT, "site": "Lantern Steps", "date": "2024-03-08", "reason": "dived before"}
    done = done_of(pages.post("/visit/correct", data=said))
    assert visits_of(own_project) == {"Lantern Steps 2024-03-08"}
    assert pages.get("/photos?visit=Lantern+Steps+2024-03-08").text.count("DRY_000") > 3
    assert pages.get("/visit", params={"visit": VISIT}).status_code == 404
    with wiring.survey_store(own_project, write=False) as store:
        assert store.changes("photos")[-1].who == "Ines Varro"
    done_of(pages.post("/visit/undo", data={"edit": done}))
    assert visits_of(own_project) == {VISIT}


def test_chosen_photos_go_to_another_visit(client_of, own_project) -> None:
    pages = client_of(own_project)
    with wiring.survey_store(own_project, write=False) as store:
        ids = [photo.photo_id for photo in store.photos() if not_noted(store, photo.photo_id)]
    asked = pages.post(f"/visit/chosen?visit={VISIT.replace(' ', '+')}", data={"photo": ids[:1]})
    assert asked.status_code == 200
    assert asked.text.count(f'name="photo" value="{ids[0]}"') == 1
    assert "/visit/correct" not in asked.text
    said = {"visit": VISIT, "which": "some", "photo": ids[:1], "reason": "of the ledge"}
    done_of(pages.post("/visit/move", data={**said, "site": "Quiet Ledge", "date": "2024-03-09"}))
    assert visits_of(own_project) == {VISIT, "Quiet Ledge 2024-03-09"}
    with wiring.survey_store(own_project, write=False) as store:
        assert [p.photo_id for p in store.photos("Quiet Ledge 2024-03-09")] == ids[:1]
    every = pages.post(f"/visit/chosen?visit={VISIT.replace(' ', '+')}", data={"every": "true"})
    assert every.text.count('name="photo"') == 3


def not_noted(store, photo_id: str) -> bool:
    return all(record.photo_id != photo_id for record in store.records())


def test_units_that_are_ticked_and_photos_of_none_go(client_of, own_project) -> None:
    pages = client_of(own_project)
    said = {"visit": VISIT, "which": "some", "site": "Quiet Ledge", "date": "2024-03-09"}
    said["reason"] = "of the ledge"
    refused = pages.post("/visit/move", data=said)
    assert refused.json()["problems"][0]["slug"] == "visit-no-photos"
    done = done_of(pages.post("/visit/move", data={**said, "loose": "true"}))
    with wiring.survey_store(own_project, write=False) as store:
        assert len(store.photos("Quiet Ledge 2024-03-09")) == 4
        assert store.visit_edits()[-1].edit_no == done
    assert visits_of(own_project) == {VISIT, "Quiet Ledge 2024-03-09"}, "some is not all"


def test_refusals_say_what_to_do(client_of, own_project, viewer_of) -> None:
    pages = client_of(own_project)
    for path, data, status, slug in (
        ("withdraw", {"reason": "slip"}, 422, "visit-not-empty"),
        ("withdraw", {"reason": " "}, 422, "visit-reason"),
        (
            "correct",
            {"site": "Lantern Steps", "date": "2024-03-09", "reason": "x"},
            422,
            "visit-same",
        ),
        ("undo", {"edit": "7"}, 422, "visit-edit-unknown"),
    ):
        answer = pages.post(f"/visit/{path}", data={"visit": VISIT, **data})
        assert (answer.status_code, answer.json()["problems"][0]["slug"]) == (status, slug)
    assert visits_of(own_project) == {VISIT}


def test_somebody_who_looks_only_changes_no_visit(viewer_of, own_project) -> None:
    pages = viewer_of(own_project)
    said = {"visit": VISIT, "site": "Lantern Steps", "date": "2024-03-08", "reason": "x"}
    assert pages.post("/visit/correct", data=said).status_code == 403
    assert visits_of(own_project) == {VISIT}
