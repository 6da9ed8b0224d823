"""Corals on the pages: weighing, naming, blind looks, two people at once."""

from __future__ import annotations

import re

from dryslate import wiring

N_PHOTO_PAGES = 3
SEEN = {"growth_form": ["massive"], "corallite_arrangement": ["plocoid"]}


def records(project) -> dict[str, str]:
    with wiring.survey_store(project, write=False) as store:
        return {r.colony: r.record_id for r in store.records()}


def named(name: str, confidence: int = 3) -> dict[str, object]:
    return {"name": name, "confidence": confidence, "evidence": {"seen": SEEN}}


def drawn(pages, project) -> str:
    """Draw everything for a second look; returns the coral that Ines Varro named."""
    fields = {"random_pct": 100, "least_pct": 100, "seed": 3}
    assert pages.post("/second/draw", data=fields).status_code == 303
    return records(project)["L1-1"]


def test_every_coral_is_listed_and_has_its_page_and_picture(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/corals").text
    for colony, record_id in records(read_only_project).items():
        assert colony in html
        assert pages.get(f"/corals/{record_id}").status_code == 200
        assert pages.get(f"/corals/{record_id}/picture.jpg").content[:2] == b"\xff\xd8"
    assert "Dipsastraea" in html
    assert "Dipsastraea" not in pages.get("/corals?words=L1-3").text


def test_evidence_is_weighed_and_the_next_question_asked(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    first = pages.post("/weigh", json={"evidence": {}}).json()
    assert first["question"]["states"]
    told = pages.post("/weigh", json={"evidence": {"seen": SEEN}}).json()
    assert told["question"]["character"] not in SEEN
    assert len(told["ranked"]) == 6
    asked = pages.post("/weigh", json={"evidence": {}, "asked": "wall"}).json()
    assert asked["question"]["character"] == "wall"
    wrong = pages.post("/weigh", json={"evidence": {"seen": {"wall": ["of gold"]}}})
    assert wrong.json()["problems"][0]["slug"] == "identify-state-unknown"


def test_name_is_saved_with_evidence_and_leads_to_the_next_coral(client_of, own_project) -> None:
    pages = client_of(own_project)
    record_id = records(own_project)["L1-2"]
    answer = pages.post(f"/corals/{record_id}/names", json=named("Dipsastraea", 4))
    assert answer.status_code == 200, answer.text
    assert answer.json()["next"] == f"/corals/{records(own_project)['L1-3']}/name"
    with wiring.survey_store(own_project, write=False) as store:
        (row,) = store.identifications(record_id)
    assert (row.observer, row.confidence, row.name) == ("Ines Varro", 4, "Dipsastraea")
    assert row.evidence["seen"] == SEEN
    assert row.photo_regions


def test_nothing_of_the_first_name_is_told_before_the_second_has_answered(
    client_of, own_project
) -> None:
    lead = client_of(own_project)
    record_id = drawn(lead, own_project)
    pages = client_of(own_project, observer=None)
    pages.post("/people/new", data={"observer": "Tomo Halle"})
    with wiring.survey_store(own_project, write=False) as store:
        row = next(r for r in store.records() if r.record_id == record_id)
    photo_id, visit = row.photo_id, row.visit_id
    told = []
    for path in (
        "/second",
        f"/second/{record_id}",
        f"/corals/{record_id}",
        "/corals",
        "/corals?words=dips",
        f"/second/{record_id}/both",
        f"/second/{record_id}/settle",
        "/",
        f"/photos/{photo_id}",
        f"/photos/{photo_id}/state",
        f"/photos?visit={visit}",
    ):
        answer = pages.get(path, headers={"accept": "text/html"})
        # names of genera to choose from, and the visit's own observer, are no first answer
        told.append(re.sub(r"<datalist.*?</datalist>", "", answer.text, flags=re.S))
        told.append(str(answer.headers))
    for text in told:
        assert "Dipsastraea" not in text
        assert "plocoid" not in text
    for text in told[: -2 * N_PHOTO_PAGES]:  # who measured in a photo is no part of an answer
        assert "Ines Varro" not in text
    blind = pages.get(f"/second/{record_id}/both")
    assert blind.json()["problems"][0]["slug"] == "coral-still-blind"
    answer = pages.post(f"/second/{record_id}/names", json=named("Favites"))
    assert answer.status_code == 200, answer.text
    html = pages.get(f"/second/{record_id}/both").text
    assert "Dipsastraea" in html
    assert "Favites" in html
    assert "differ" in html


def test_third_person_settles_and_all_names_stay(client_of, own_project) -> None:
    record_id = drawn(client_of(own_project), own_project)
    for name, path, body in (
        ("Tomo Halle", f"/second/{record_id}/names", {"json": named("Favites")}),
        (
            "Odalys Brem",
            f"/second/{record_id}/settle",
            {"data": {"name": "Favites", "confidence": 4}},
        ),
    ):
        pages = client_of(own_project, observer=None)
        pages.post("/people/new", data={"observer": name})
        assert pages.post(path, **body).status_code in (200, 303)
    html = pages.get(f"/corals/{record_id}").text
    assert html.count("<tr>") >= 3
    assert "settled" in html


def test_who_named_it_first_is_not_asked_again(client_of, own_project) -> None:
    pages = client_of(own_project)
    answer = pages.get(f"/second/{drawn(pages, own_project)}")
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["slug"] == "page-not-blind"


def test_coral_in_hand_is_shown_so_to_others_who_may_take_it_over(client_of, own_project) -> None:
    pages = client_of(own_project)
    record_id = records(own_project)["L1-2"]
    assert "What it may be" in pages.get(f"/corals/{record_id}/name").text
    app = pages.client.app
    hand = app.state.reach.keep("in hand", dict)
    assert hand.other(record_id, "Tomo Halle").observer == "Ines Varro"
    assert hand.take(record_id, "Tomo Halle").observer == "Ines Varro"
    assert hand.take(record_id, "Tomo Halle", by_force=True) is None
    assert "in hand" in pages.get(f"/corals/{record_id}/name").text
    assert pages.post(f"/corals/{record_id}/take-over").status_code == 303
    assert pages.post(f"/corals/{record_id}/let-go", json={}).json() == {"done": True}
    assert hand.other(record_id, "Tomo Halle") is None


def test_second_of_two_people_who_change_one_coral_is_shown_both_versions(
    client_of, own_project
) -> None:
    pages = client_of(own_project)
    record_id = records(own_project)["L1-2"]
    html = pages.get(f"/corals/{record_id}").text
    version = re.search(r'name="version" value="([0-9a-f]+)"', html)[1]  # type: ignore[index]
    first = {"version": version, "growth_form": "massive", "note": "mine"}
    assert pages.post(f"/corals/{record_id}/words", data=first).status_code == 303
    second = {"version": version, "growth_form": "columnar", "note": "later"}
    page = pages.post(f"/corals/{record_id}/words", data=second, headers={"accept": "text/html"})
    assert page.status_code == 409
    assert "mine" in page.text
    assert "later" in page.text
    answer = pages.post(
        f"/corals/{record_id}/words", data=second, headers={"accept": "application/json"}
    )
    assert answer.json()["problems"][0]["slug"] == "changed-meanwhile"
    assert answer.json()["kept"]["note"] == "mine"
    assert answer.json()["yours"]["note"] == "later"


def test_coral_that_is_not_there_or_has_no_photo_is_told(client_of, own_project) -> None:
    pages = client_of(own_project)
    answer = pages.get(f"/corals/{'0' * 64}")
    assert answer.status_code == 404
    assert answer.json()["problems"][0]["slug"] == "coral-not-in-project"
    from dataclasses import replace

    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        row = store.records()[0]
        store.save_record(replace(row, record_id="1" * 64, photo_id=None, measurement_ids=()))
    answer = pages.get(f"/corals/{'1' * 64}/picture.jpg")
    assert answer.json()["problems"][0]["slug"] == "coral-no-photo"


def test_look_alikes_stand_side_by_side(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/lookalikes?a=Favites&b=Goniastrea").text
    assert "What differs" in html
    assert "a honeycomb, neighbours share one wall" in html
    assert "/static/drawings/corallite_arrangement/cerioid.svg?v=" in html
