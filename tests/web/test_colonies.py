"""Tagged colonies on the pages: tagged, noted, photographed, followed; and what is refused."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dryslate import wiring
from dryslate.app.colony_records import Neighbour
from dryslate.base.errors import InputError

VISIT = "Lantern Steps 2024-03-09"


@pytest.fixture
def pages(client_of, own_project):
    """A client whose project may change."""
    return client_of(own_project)


def tagged(pages, label="17", why="random") -> str:
    """Tag a colony; returns its address."""
    fields = {"label": label, "visit": VISIT, "why": why, "place": "left of the split rock"}
    answer = pages.post("/colonies", data=fields)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def shares(*five: object) -> dict[str, object]:
    names = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct")
    return dict(zip(names, five, strict=True))


def test_colony_is_tagged_with_its_reason_and_listed(pages) -> None:
    assert "No colony is tagged yet" in pages.get("/colonies").text
    address = tagged(pages)
    assert "left of the split rock" in pages.get(address).text
    html = pages.get("/colonies").text
    assert address in html
    assert "at random" in html
    for fields, slug in (
        ({"label": "17", "visit": VISIT, "why": "random"}, "colony-label-taken"),
        ({"label": "18", "visit": VISIT, "why": ""}, "colony-why-missing"),
        ({"label": "18", "visit": "long ago", "why": "random"}, "visit-unknown"),
    ):
        refused = pages.post("/colonies", data=fields)
        assert refused.status_code >= 400
        assert slug in refused.text
        assert f'value="{fields["label"]}"' in refused.text  # nothing has to be typed twice


def test_state_and_fractions_are_noted_with_a_decimal_comma(pages) -> None:
    address = tagged(pages)
    said = {"visit_id": VISIT, "state": "seen", "lesion": "a white edge", **shares(
        "66,5", "33,5", 0, 0, 0)}  # fmt: skip
    assert pages.post(f"{address}/visits", data=said).status_code == 303
    html = pages.get(address).text
    assert "a white edge" in html
    assert "recently dead" in html  # of the timeline too
    wrong = pages.post(f"{address}/visits", data=said | shares(90, 30, 0, 0, 0))
    assert wrong.status_code >= 400
    assert "health-sum-not-100" in wrong.text
    assert 'value="90"' in wrong.text
    elsewhere = pages.post(f"{address}/visits", data=said | {"visit_id": "a reef long ago"})
    assert "visit-unknown" in elsewhere.text
    letters = pages.post(f"{address}/visits", data=said | {"normal_pct": "most"})
    assert "health-share-impossible" in letters.text
    lost = pages.post(f"{address}/visits", data={"visit_id": VISIT, "state": "not_found"})
    assert "colony-has-judgements" in lost.text
    with wiring.survey_store(pages.project, write=False) as store:
        (row,) = store.colony_fractions()
    assert (row.normal_pct, row.observer) == (66.5, "Ines Varro")


def test_photo_gets_the_outline_that_was_measured_in_it_and_its_colour(pages) -> None:
    with wiring.survey_store(pages.project, write=False) as store:
        outline = next(m for m in store.measurements() if m.kind == "outline")
        photo = store.photo(outline.photo_id)
    address = tagged(pages)
    unknown = pages.post(f"{address}/frames", data={"photo": "nothing.jpg"})
    assert "record-photo-unknown" in unknown.text
    name = photo.files[0].original_name
    assert pages.post(f"{address}/frames", data={"photo": name}).status_code == 303
    frame = f"{address}/frames/{photo.photo_id}"
    assert pages.get(f"{frame}.jpg").content[:2] == b"\xff\xd8"
    assert "colony-no-outline" in pages.post(frame, data={"do": "carry"}).text
    missing = pages.post(frame, data={"do": "use", "measurement": "other"})
    assert "colony-no-outline" in missing.text
    used = pages.post(frame, data={"do": "use", "measurement": outline.measurement_id})
    assert used.status_code == 303
    html = pages.get(address).text
    assert "<polygon" in html
    assert "Measure the colour in 1 photo" in html
    assert pages.get(f"{frame}.jpg").content[:2] == b"\xff\xd8"
    assert pages.post(f"{address}/follow").status_code == 303
    assert "Measure the colour" not in pages.get(address).text
    with wiring.survey_store(pages.project, write=False) as store:
        (row,) = store.colony_colours()
    assert "lab" in row.measured or row.measured["problems"]
    assert pages.post(frame, data={"do": "remove"}).status_code == 303
    gone = pages.get(f"{frame}.jpg")
    assert gone.status_code >= 400
    assert "colony-frame-unknown" in gone.text


def test_looks_are_listed_once_the_onset_is_stated_and_can_be_taken_back(pages) -> None:
    both = [tagged(pages), tagged(pages, "18")]
    onset = datetime.now(UTC).date() - timedelta(days=85)
    said = {"site": "Lantern Steps", "date": str(onset), "reason": "white colonies seen"}
    assert pages.post("/colonies/onsets", data=said).status_code == 303
    html = pages.get("/colonies").text
    assert "To be looked at" in html
    looks = re.findall(r"<li>(.*?)</li>", html.split("To be looked at")[1].split("</ul>")[0], re.S)
    (late,) = looks  # one line for what one visit to the site would do
    assert "2 months" in late
    assert "overdue" in late
    assert "worth a late look until" in late
    assert all(address in late for address in both)
    assert "6 months" in html.split("Next")[1].split("</p>")[0]
    missed = html.split("Missed, no longer to be done")[1].split("</ul>")[0]
    assert "2 to 4 weeks" in missed
    home = pages.get("/").text.split("Tagged colonies to look at")[1].split("</section>")[0]
    assert '<span class="count">2</span>' in home
    assert "overdue" in home
    assert "2 to 4 weeks" not in home  # what was missed is not left to do
    own = pages.get(both[0]).text
    assert "overdue" in own
    assert "missed" in own
    bare = pages.post("/colonies/onsets", data=said | {"reason": " "})
    assert "onset-reason-missing" in bare.text
    back = {"site": said["site"], "date": said["date"], "take_back": "true"}
    assert pages.post("/colonies/onsets", data=back).status_code == 303
    assert "To be looked at" not in pages.get("/colonies").text


def test_unknown_colony_is_told_and_nothing_is_saved_without_an_observer(
    client_of, own_project
) -> None:
    pages = client_of(own_project, observer=None)
    answer = pages.post("/colonies", data={"label": "1", "visit": VISIT, "why": "place"})
    assert answer.status_code >= 400
    nowhere = pages.get("/colonies/00000000-0000-0000-0000-000000000000")
    assert nowhere.status_code >= 400
    assert re.search("colony-unknown", nowhere.text)


def test_place_is_drawn_from_above_and_a_photo_of_a_sketch_is_chosen(pages) -> None:
    address = tagged(pages)
    assert "north up" not in pages.get(address).text
    with wiring.survey_store(pages.project, write=True, who="Ines Varro") as store:
        (colony,) = store.colonies()
        beside = (
            Neighbour(what="18 <west>", bearing_deg=270.0, distance_m=0.8),
            Neighbour(what="fan", bearing_deg=20.0),
        )
        placed = {"from_what": "north stake", "bearing_deg": 120.0, "distance_m": 6.5}
        store.save_colony(replace(colony, neighbours=beside, **placed))
        photo = store.photos()[0]
    html = pages.get(address).text
    assert "north up" in html
    assert "north stake, 6.5 m, 120° from there to the colony" in html
    assert "18 &lt;west&gt;, 0.8 m, 270°" in html
    assert 'cx="42.0" cy="160.0"' in html  # straight west of the middle, at the rim
    assert "not drawn: bearing or distance was not taken" in html
    assert pages.get(f"{address}/sketch.jpg").status_code >= 400
    refused = pages.post(f"{address}/sketch", data={"sketch": "nothing.jpg"})
    assert "colony-sketch-unknown" in refused.text
    assert 'value="nothing.jpg"' in refused.text
    name = photo.files[0].original_name
    assert pages.post(f"{address}/sketch", data={"sketch": name}).status_code == 303
    assert f"{address}/sketch.jpg" in pages.get(address).text
    picture = pages.get(f"{address}/sketch.jpg")
    assert picture.content[:2] == b"\xff\xd8"


def test_outline_is_carried_by_pairs_of_points_tried_first(pages) -> None:
    with wiring.survey_store(pages.project, write=False) as store:
        outline = next(m for m in store.measurements() if m.kind == "outline")
        photos = {p.photo_id: p.files[0].original_name for p in store.photos()}
    other = next(i for i in photos if i != outline.photo_id)
    address = tagged(pages)
    for photo_id in (outline.photo_id, other):
        said = {"photo": photos[photo_id]}
        assert pages.post(f"{address}/frames", data=said).status_code == 303
    page = f"{address}/frames/{other}/pairs"
    assert page not in pages.get(address).text  # nothing to carry yet
    assert "colony-no-outline" in pages.get(page).text
    used = {"do": "use", "measurement": outline.measurement_id}
    pages.post(f"{address}/frames/{outline.photo_id}", data=used)
    assert page in pages.get(address).text
    assert f"{address}/frames/{outline.photo_id}/pairs" not in pages.get(address).text
    assert "the same spots in both photos" in pages.get(page).text
    xs, ys = zip(*outline.points_px, strict=True)
    low, high = (min(xs) - 9, min(ys) - 9), (max(xs) + 9, max(ys) + 9)
    corners = [low, (high[0], low[1]), high, (low[0], high[1]), (low[0], sum(ys) / len(ys))]
    pairs = [[[x, y], [x + 5, y + 3]] for x, y in corners]
    tried = pages.post(f"{page}/try", json={"pairs": pairs}).json()
    assert tried["may_save"]
    assert tried["outline"][0] == pytest.approx([xs[0] + 5, ys[0] + 3])
    assert tried["misfit_px"] < 1e-6
    assert all("off" in pair["off"] for pair in tried["pairs"])
    few = pages.post(f"{page}/try", json={"pairs": pairs[:3]}).json()
    assert "align-too-few-points" in few["html"]
    assert not few["may_save"]
    refused = pages.post(page, json={"pairs": pairs[:3]})
    assert refused.status_code >= 400
    assert pages.post(page, json={"pairs": pairs}).json() == {"address": f"{address}#photos"}
    html = pages.get(address).text
    assert "outline carried by 5 pairs of points" in html
    with wiring.survey_store(pages.project, write=False) as store:
        logged = [c for c in store.changes("colony_frames") if c.what == "update"][-1]
    assert logged.who == "Ines Varro"
    assert "tie_points_px" in logged.new
    assert "colony-outline-kept" in pages.get(f"{address}/frames/{outline.photo_id}/pairs").text


def test_refused_outline_leads_to_the_pairs(pages, monkeypatch) -> None:
    def refused(*_: object) -> None:
        raise InputError("align-no-match", "The two photos show too little in common.", "")

    monkeypatch.setattr("dryslate.web.routes.colony_frames.carry_outline", refused)
    with wiring.survey_store(pages.project, write=False) as store:
        photo = store.photos()[0]
    address = tagged(pages)
    pages.post(f"{address}/frames", data={"photo": photo.files[0].original_name})
    answer = pages.post(f"{address}/frames/{photo.photo_id}", data={"do": "carry"})
    assert answer.status_code >= 400
    assert "Set pairs of points by hand" in answer.text
    assert f"{address}/frames/{photo.photo_id}/pairs" in answer.text
