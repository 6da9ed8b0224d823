"""Corals on the pages: weighing, naming, blind looks, two people at once."""

from __future__ import annotations

import re

import pytest

from dryslate import wiring
from dryslate.app.coral_health import HealthRow

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
    equal = pages.post("/weigh", json={"evidence": {"seen": SEEN}, "all_equal": True}).json()
    assert "a judgement" in told["prior"]
    assert "equally common" in equal["prior"]
    assert equal["ranked"] != told["ranked"]
    wrong = pages.post("/weigh", json={"evidence": {"seen": {"wall": ["of gold"]}}})
    assert wrong.json()["problems"][0]["slug"] == "identify-state-unknown"


@pytest.mark.parametrize("is_second", [False, True])
def test_name_keeps_the_probability_that_was_shown(client_of, own_project, is_second) -> None:
    pages = client_of(own_project)
    record_id, observer = records(own_project)["L1-2"], None
    if is_second:
        record_id, observer = drawn(pages, own_project), "Tomo Halle"
        pages.post("/people/new", data={"observer": observer})
    path = f"/{'second' if is_second else 'corals'}/{record_id}/names"
    evidence = {"evidence": {"seen": SEEN}}
    shown = {
        alike: float(one["probability"].split()[0])
        for alike in (False, True)
        for one in pages.post("/weigh", json={**evidence, "all_equal": alike}).json()["ranked"]
        if one["genus"] == "Dipsastraea"
    }
    assert shown[False] != shown[True]
    answer = pages.post(path, json={**named("Dipsastraea", 4), "all_equal": True})
    assert answer.status_code == 200, answer.text
    with wiring.survey_store(own_project, write=False) as store:
        row = store.identifications(record_id)[-1]
    assert 100 * row.probability == pytest.approx(shown[True], abs=0.5)
    assert row.evidence["all_equal"] is True
    assert "equally common" in pages.get(f"/corals/{record_id}").text
    if not is_second:
        pages.post(path, json=named("Dipsastraea", 4))
        with wiring.survey_store(own_project, write=False) as store:
            row = store.identifications(record_id)[-1]
        assert 100 * row.probability == pytest.approx(shown[False], abs=0.5)
        assert "all_equal" not in row.evidence


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
        shown = re.sub(r"<datalist.*?</datalist>", "", answer.text, flags=re.S)
        told.append(re.sub(r'"genera": \[.*?\]', "", shown, flags=re.S))
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
        if path.endswith("/settle"):
            html = pages.get(path).text
            assert "Favites" in html
            assert "Ines Varro" not in html  # whose name is which does not sway the third
        assert pages.post(path, **body).status_code in (200, 303)
    html = pages.get(f"/corals/{record_id}").text
    assert html.count("<tr>") >= 3
    assert "settled" in html


def looked(pages_of, project, name: str) -> tuple[str, object]:
    """Ines Varro called L1-1 Dipsastraea; Tomo Halle looks too. Returns the coral and his pages."""
    record_id = drawn(pages_of(project), project)
    pages = pages_of(project, observer=None)
    pages.post("/people/new", data={"observer": "Tomo Halle"})
    answer = pages.post(f"/second/{record_id}/names", json=named(name))
    assert answer.status_code == 200, answer.text
    return record_id, pages


def test_coarser_second_look_leaves_the_first_name_not_confirmed(client_of, own_project) -> None:
    record_id, pages = looked(client_of, own_project, "Merulinidae")
    html = pages.get(f"/second/{record_id}/both").text
    assert "Not confirmed to genus: <i>Dipsastraea</i>." in html
    assert "<i>Merulinidae" not in html
    assert "not confirmed to genus" in pages.get(f"/corals/{record_id}").text
    assert "not confirmed to genus" in pages.get("/corals?status=coarser").text
    assert 'data-kind="not_confirmed"' in pages.get("/").text
    queue = pages.get("/second").text
    assert f'href="/second/{record_id}/settle"' in queue
    assert "a coarser name that fits" in queue


def test_the_two_settle_together_only_when_both_are_there(client_of, own_project) -> None:
    record_id, pages = looked(client_of, own_project, "Favites")
    html = pages.get(f"/second/{record_id}/settle").text
    assert "Ines Varro is here and decides with me" in html
    asked = {"name": "Favites", "confidence": 4, "other": "Ines Varro"}
    alone = pages.post(f"/second/{record_id}/settle", data=asked)
    assert alone.json()["problems"][0]["slug"] == "page-not-here"
    by_himself = pages.post(
        f"/second/{record_id}/settle", data={"name": "Favites", "confidence": 4}
    )
    assert by_himself.json()["problems"][0]["slug"] == "review-same-observer"
    done = pages.post(f"/second/{record_id}/settle", data={**asked, "is_here": "true"})
    assert done.status_code == 303
    both = pages.get(f"/second/{record_id}/both").text
    assert "Settled together: <i>Favites</i>." in both
    assert "Ines Varro, Tomo Halle" in both


def test_settled_coral_shows_its_name_and_is_opened_again_by_who_may(
    client_of, own_project
) -> None:
    record_id, pages = looked(client_of, own_project, "Dipsastraea")
    html = pages.get(f"/second/{record_id}/settle").text
    assert "is settled" in html
    assert 'name="confidence"' not in html
    assert "Open it again" in html
    assert pages.post(f"/second/{record_id}/reopen").status_code == 303
    html = pages.get(f"/second/{record_id}/settle").text
    assert 'name="confidence"' in html
    assert "Open again" in html
    again = pages.post(f"/second/{record_id}/reopen")
    assert again.json()["problems"][0]["slug"] == "review-nothing-settled"
    unseen = pages.get(f"/second/{records(own_project)['L1-2']}/settle")
    assert unseen.headers["location"] == f"/corals/{records(own_project)['L1-2']}"


def test_team_settles_together_by_the_other_ones_password(client_of, own_project) -> None:
    record_id, pages = looked(client_of, own_project, "Favites")
    app = pages.client.app
    from dryslate.app.accounts import set_account

    book, hasher = wiring.account_book(own_project), wiring.password_hasher()
    set_account(book, hasher, "Ines Varro", "surveyor", "reef and slate")
    object.__setattr__(app.state.reach.settings, "host", "0.0.0.0")
    assert app.state.reach.settings.is_team
    asked = {"name": "Favites", "confidence": 4, "other": "Ines Varro", "is_here": "true"}
    wrong = pages.post(f"/second/{record_id}/settle", data={**asked, "password": "not hers at all"})
    assert wrong.json()["problems"][0]["slug"] == "page-wrong-password"
    right = pages.post(f"/second/{record_id}/settle", data={**asked, "password": "reef and slate"})
    assert right.status_code == 303


def test_genera_are_in_italics_and_families_are_not(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/corals").text
    assert "<i>Dipsastraea</i>" in html
    sides = pages.get("/lookalikes?a=Favites&b=Goniastrea").text
    assert "<h1><i>Favites</i> beside <i>Goniastrea</i></h1>" in sides
    assert "<i>Merulinidae" not in html + sides


def test_team_hit_rate_stands_beside_the_probability_from_fifty_on(client_of, own_project) -> None:
    pages = client_of(own_project)
    record_id = records(own_project)["L1-2"]
    assert "first names hold" not in pages.get(f"/corals/{record_id}/name").text
    fill_verified(own_project, 50)
    html = pages.get(f"/corals/{record_id}/name").text
    place = html.index('id="chances"')
    assert "80% of the team's first names hold" in html[place:].replace("&#39;", "'")


def fill_verified(project, n: int) -> None:
    """So many corals looked at twice; four of five first names held."""
    from dryslate.app.identification_rows import (
        IdentificationRow,
        RecordRow,
        ReviewChanceRow,
        ReviewDrawRow,
        ReviewOutcomeRow,
    )

    with wiring.survey_store(project, write=True, who="Ines Varro") as store, store.write():
        visit = store.visits()[0].visit_id
        when = {"observer": "Ines Varro"}
        chances = []
        for i in range(n):
            record = f"{i:064x}"
            store.save_record(
                RecordRow(record_id=record, colony=f"H{i}", visit_id=visit, noted_at="2024", **when)
            )
            for role, name in (("first", "Favites"), ("second", "Favites" if i % 5 else "Porites")):
                store.save_identification(
                    IdentificationRow(
                        identification_id=f"{role}{i}",
                        record_id=record,
                        role=role,
                        name_as_recorded=name,
                        name=name,
                        current_names=(name,),
                        rank="genus",
                        identified_at="2024-03-09T18:00:00+00:00",
                        data_version="1",
                        probability=0.75,
                        **when,
                    )
                )
            chances.append(
                ReviewChanceRow(
                    identification_id=f"first{i}",
                    record_id=record,
                    draw_id="d",
                    p_drawn=1.0,
                    is_drawn=True,
                    reasons=("probability",),
                )
            )
        draw = ReviewDrawRow(
            draw_id="d",
            seed=1,
            random_frac=0.1,
            least_probability=0.8,
            drawn_at="2024-03-09T18:00:00+00:00",
            **when,
        )
        store.save_review_draw(draw, chances)
        for i in range(n):
            name = "Favites" if i % 5 else "Porites"
            store.save_review_outcome(
                ReviewOutcomeRow(
                    outcome_id=f"o{i}",
                    record_id=f"{i:064x}",
                    first_id=f"first{i}",
                    second_id=f"second{i}",
                    third_id=None if i % 5 else f"second{i}",
                    rank_shared="genus",
                    is_agreed=bool(i % 5),
                    agreed_at="genus" if i % 5 else "",
                    decided_at="2024-03-10T18:00:00+00:00",
                    settled_name=name,
                    settled_names=(name,),
                    settled_rank="genus",
                    relation="same" if i % 5 else "differs",
                    **when,
                )
            )


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
    html = pages.get(f"/corals/{record_id}/name").text
    assert "in hand" in html
    assert "for 0 minutes" not in html
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


NEW = {
    "visit": "Lantern Steps 2024-03-09",
    "label": "T17",
    "place": "tape 12 m, left",
    "width": "12 cm",
    "width_how": "eye",
    "calice": "8 ± 0.5",
    "calice_how": "ruler",
    "growth_form": "massive",
    "age": "grown",
}


def test_coral_from_a_slate_is_noted_and_named_like_the_others(client_of, own_project) -> None:
    pages = client_of(own_project)
    assert "/corals/new" in pages.get("/corals").text
    assert "Number or tag" in pages.get("/corals/new").text
    answer = pages.post("/corals/new", data={**NEW, "then": "name"})
    assert answer.status_code == 303
    record_id = records(own_project)["T17"]
    assert answer.headers["location"] == f"/corals/{record_id}/name"
    with wiring.survey_store(own_project, write=False) as store:
        row = next(r for r in store.records() if r.record_id == record_id)
    assert (row.photo_id, row.place, row.is_juvenile) == (None, "tape 12 m, left", False)
    assert row.sizes_noted == {
        "colony_diameter": {"value_mm": 120.0, "u_mm": 24.0, "how": "eye"},
        "corallite_diameter": {"value_mm": 8.0, "u_mm": 0.5, "how": "ruler"},
    }
    html = pages.get(f"/corals/{record_id}/name").text
    assert '"corallite_diameter": [8.0, 0.5]' in html
    assert "120 ± 24 mm" in html
    page = pages.get(f"/corals/{record_id}").text
    assert "120 ± 24 mm" in page
    assert "by eye" in page
    saved = pages.post(f"/corals/{record_id}/names", json=named("Dipsastraea", 4))
    assert saved.status_code == 200
    drawn = pages.post("/second/draw", data={"random_pct": 100, "least_pct": 100, "seed": 1})
    assert drawn.status_code == 303


def test_noting_the_next_one_keeps_visit_and_place(client_of, own_project) -> None:
    pages = client_of(own_project)
    answer = pages.post("/corals/new", data={**NEW, "then": "another"})
    html = pages.get(answer.headers["location"]).text
    assert "T17 is noted." in html
    assert 'value="tape 12 m, left"' in html
    assert 'value="12 cm"' not in html


def test_decimal_commas_are_read_in_the_sizes_of_a_coral(client_of, own_project) -> None:
    pages = client_of(own_project)
    data = {**NEW, "width": "12,5 cm", "calice": "8,25 ± 0,5"}
    assert pages.post("/corals/new", data=data).status_code == 303
    with wiring.survey_store(own_project, write=False) as store:
        row = next(r for r in store.records() if r.colony == "T17")
    assert row.sizes_noted["colony_diameter"]["value_mm"] == 125.0
    told = row.sizes_noted["corallite_diameter"]
    assert (told["value_mm"], told["u_mm"]) == (8.25, 0.5)


def test_slips_of_a_new_coral_are_told_and_what_was_typed_stays(client_of, own_project) -> None:
    pages = client_of(own_project)
    asks = {"accept": "text/html"}
    for change, slug in (
        ({"label": "l1-1"}, "record-label-taken"),
        ({"width": "12 inches"}, "identify-size-unit"),
        ({"width": "twelve"}, "identify-size-unclear"),
        ({"width": "0"}, "identify-size-not-positive"),
        ({"width": "12", "width_how": "ruler"}, "record-size-class"),
        ({"growth_form": "pretty"}, "record-growth-form-unknown"),
    ):
        answer = pages.post("/corals/new", data={**NEW, **change}, headers=asks)
        assert answer.status_code in (409, 422), change
        assert f'data-slug="{slug}"' in answer.text
        assert 'value="tape 12 m, left"' in answer.text
    assert "T17" not in records(own_project)
    plain = pages.post("/corals/new", data={**NEW, "label": "L1-1"})
    assert plain.json()["problems"][0]["slug"] == "record-label-taken"


def test_sizes_and_place_that_were_noted_are_put_right_on_the_corals_page(
    client_of, own_project
) -> None:
    pages = client_of(own_project)
    pages.post("/corals/new", data=NEW)
    record_id = records(own_project)["T17"]
    html = pages.get(f"/corals/{record_id}").text
    version = re.search(r'name="version" value="([0-9a-f]+)"', html)[1]  # type: ignore[index]
    said = {"version": version, "has_sizes": "true", "width": "95 ± 5", "width_how": "ruler"}
    assert pages.post(f"/corals/{record_id}/words", data=said).status_code == 303
    with wiring.survey_store(own_project, write=False) as store:
        row = next(r for r in store.records() if r.record_id == record_id)
    assert row.sizes_noted == {"colony_diameter": {"value_mm": 95.0, "u_mm": 5.0, "how": "ruler"}}
    said |= {"width": "12 cm", "width_how": "eye"}
    later = pages.post(f"/corals/{record_id}/words", data=said, headers={"accept": "text/html"})
    assert re.search(
        r"<td>95(\.0)? ± 5(\.0)? mm with a ruler</td><td>12 cm by eye</td>", later.text
    )
    assert later.status_code == 409
    assert 'name="width" value="12 cm"' in later.text


def test_look_alikes_stand_side_by_side(client_of, read_only_project) -> None:
    html = client_of(read_only_project).get("/lookalikes?a=Favites&b=Goniastrea").text
    assert "What differs" in html
    assert "a honeycomb, neighbours share one wall" in html
    assert "/static/drawings/corallite_arrangement/cerioid.svg?v=" in html


def test_page_of_a_coral_shows_its_measured_sizes_and_how_its_surface_looks(
    client_of, own_project
) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        outlined = {m.measurement_id for m in store.measurements() if m.kind == "outline"}
        record = next(r for r in store.records() if set(r.measurement_ids) & outlined)
        shares = {"normal_pct": 80.0, "pale_pct": 20.0}
        row = HealthRow(
            record_id=record.record_id, observer="Ines Varro", noted_at="2024-03-09", **shares
        )
        store.save_coral_health(row)
    html = client_of(own_project).get(f"/corals/{record.record_id}").text
    assert "<dt>longest diameter</dt>" in html
    assert "<dt>pale</dt><dd>20 %</dd>" in html
    assert "<dt>bleached</dt>" not in html  # nobody judged it


def test_a_draw_says_how_many_wait_now(client_of, own_project) -> None:
    pages = client_of(own_project)
    fields = {"random_pct": 100, "least_pct": 100, "seed": 1}
    there = pages.post("/second/draw", data=fields).headers["location"]
    html = pages.get(there).text
    with wiring.survey_store(own_project, write=False) as store:
        n = sum(chance.is_drawn for chance in store.review_chances())
    assert f"Drawn: {n} of the {n} corals named since the last draw." in html
    again = pages.get(pages.post("/second/draw", data=fields).headers["location"]).text
    assert "No coral was named since the last draw." in again


def test_name_of_a_coral_stands_apart_from_how_it_came_to_be(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get(f"/corals/{records(read_only_project)['L1-1']}").text
    assert re.search(r"</i> <span class=\"soft\">", html)
    bare = re.search(r'<p class="standing">(.*?)</p>', html, re.DOTALL)
    assert bare is not None
    assert "No name yet." not in bare[1]
