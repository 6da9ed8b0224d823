"""The page of one photo and the work it asks for, without a browser."""

from __future__ import annotations

import itertools
import json
import re
import shutil
from dataclasses import replace

import pytest

from dryslate import wiring
from dryslate.app.geometry import geometry_from_dict
from dryslate.app.measure import measure_one
from dryslate.app.measure_request import MeasureOptions, ToMeasure

PICKED = [[900.0, 700.0], [1000.0, 700.0]]


def open_store(project, **how):
    return wiring.survey_store(project, **{"write": False, **how})


def measured_photo(project):
    """A photo with measured corals: its id, its correction's key, its measurements."""
    with open_store(project) as store:
        rows = store.measurements()
        photo_id = next(m.photo_id for m in rows if m.kind == "outline")
        return photo_id, store.correction(photo_id), [m for m in rows if m.photo_id == photo_id]


def standing(project, photo_id):
    with open_store(project) as store:
        return {m.measurement_id: m for m in store.measurements() if m.photo_id == photo_id}


def slugs(answer):
    return [p["slug"] for p in answer.json()["problems"]]


def test_page_shows_the_photo_with_all_that_its_scripts_need(client_of, read_only_project):
    photo_id, row, _ = measured_photo(read_only_project)
    answer = client_of(read_only_project).get(
        f"/photos/{photo_id}", headers={"accept": "text/html"}
    )
    assert answer.status_code == 200
    found = re.search(r'<script type="application/json" id="photo">(.*?)</script>', answer.text)
    view = json.loads(found[1])
    assert view["width_px"] > 0
    assert view["correction_key"] == row.key
    assert view["has_plane"]
    assert view["cards"][0]["corners_px"] == row.result["cards"][0]["corners_px"]
    assert "drawing" in json.loads(
        re.search(r'id="words">(.*?)</script>', answer.text, re.DOTALL)[1]
    )
    unknown = client_of(read_only_project).get(f"/photos/{'0' * 64}")
    assert unknown.status_code == 404
    assert slugs(unknown) == ["photo-not-in-project"]


def test_a_page_without_the_viewers_code_shows_a_plain_picture_and_says_why(
    client_of, read_only_project, monkeypatch
):
    from dryslate.web import pages

    photo_id, _, _ = measured_photo(read_only_project)
    client = client_of(read_only_project)
    monkeypatch.setattr(pages, "vendor_is_there", lambda: False)
    html = client.get(f"/photos/{photo_id}", headers={"accept": "text/html"}).text
    assert "openseadragon" not in html
    way = re.search(r'<img class="plain" src="([^"]+)"', html)[1]
    picture = client.get(way)
    assert picture.status_code == 200
    assert picture.headers["content-type"] == "image/jpeg"
    assert "without the code that shows photos" in html


def test_photos_that_are_not_corrected_or_cannot_be_read_have_their_page(client_of, own_project):
    with open_store(own_project, write=True, who="Ines Varro") as store:
        bare, bad = store.photos()[:2]
        store._db.execute("DELETE FROM corrections WHERE photo_id = ?", [bare.photo_id])
    shutil.rmtree(own_project / "derived" / "tiles", ignore_errors=True)  # made by earlier tests
    path = wiring.vault(own_project).path_of(bad.photo_id, bad.files[0].original_name)
    path.chmod(0o644)
    path.write_bytes(b"no photo any more")
    client = client_of(own_project)

    def page_of(photo):
        answer = client.get(f"/photos/{photo.photo_id}", headers={"accept": "text/html"})
        assert answer.status_code == 200
        return answer.text

    assert "This photo is not corrected yet." in page_of(bare)
    assert "This photo cannot be shown." in page_of(bad)
    assert 'data-slug="photo-' in page_of(bad)
    body = {"kind": "length", "points": PICKED, "key": ""}
    told = client.post(f"/photos/{bare.photo_id}/measure/try", json=body).json()
    assert [p["slug"] for p in told["problems"]] == ["measure-no-card"]
    saved = client.post(f"/photos/{bare.photo_id}/measurements", json={**body, "colony": "X"})
    assert saved.status_code == 422
    assert slugs(saved) == ["measure-no-card"]


def test_a_try_tells_what_the_stored_measurement_says_and_saves_nothing(client_of, own_project):
    photo_id, row, rows = measured_photo(own_project)
    client = client_of(own_project)
    for kept in rows:
        body = {"kind": kept.kind, "points": kept.points_px, "key": row.key}
        answer = client.post(f"/photos/{photo_id}/measure/try", json=body)
        assert answer.status_code == 200
        told = answer.json()
        assert told["key"] == row.key
        assert told["values"]
        if kept.kind == "outline":
            plane = geometry_from_dict(row.geometry)
            thing = ToMeasure(kind="outline", points_px=kept.points_px)
            area = measure_one(plane, thing, MeasureOptions()).values["area_cm2"]
            assert told["values"][0]["text"].startswith(f"{area:.1f} ±")
            shares = [part["share"] for part in told["budget"]]
            assert sum(shares) == pytest.approx(1.0, abs=0.01)
            assert shares == sorted(shares, reverse=True)
        if kept.kind == "colour":
            assert re.fullmatch("#[0-9a-f]{6}", told["hex"])
    assert len(standing(own_project, photo_id)) == len(rows)


def test_where_the_card_stood_changes_the_reading_and_says_so(client_of, read_only_project):
    photo_id, row, _ = measured_photo(read_only_project)
    client = client_of(read_only_project)

    def told(stood):
        body = {"kind": "length", "points": PICKED, "key": row.key, "stood": stood}
        return client.post(f"/photos/{photo_id}/measure/try", json=body).json()

    def value(answer):
        return float(answer["values"][0]["text"].split()[0])

    unsaid, top, base = told(""), told("top"), told("base")
    assert value(base) < value(unsaid) < value(top)  # what stands nearer the camera reads large
    assert any("not said" in flag for flag in unsaid["flags"])
    assert all("--" not in p["fix"] for p in unsaid["problems"])  # no options of a command here
    assert [p["slug"] for p in unsaid["problems"]] == ["measure-off-plane-assumed"]
    assert not any("not said" in flag for flag in top["flags"])


def test_a_try_that_cannot_be_measured_says_why(client_of, read_only_project):
    photo_id, row, _ = measured_photo(read_only_project)
    client = client_of(read_only_project)
    way = f"/photos/{photo_id}/measure/try"
    few = client.post(way, json={"kind": "outline", "points": PICKED, "key": row.key}).json()
    assert [p["slug"] for p in few["problems"]] == ["measure-too-few-points"]
    assert few["values"] == []
    assert client.post(way, json={"kind": "weight", "points": PICKED}).status_code == 422
    assert client.post(way, json={"kind": "length", "points": [[1e9, 0]]}).status_code == 422


def test_saving_notes_the_coral_and_the_same_again_is_one_measurement(client_of, own_project):
    photo_id, row, rows = measured_photo(own_project)
    client = client_of(own_project)
    body = {"kind": "length", "points": PICKED, "key": row.key, "colony": "New one"}
    first = client.post(f"/photos/{photo_id}/measurements", json=body)
    again = client.post(f"/photos/{photo_id}/measurements", json=body)
    assert first.status_code == again.status_code == 201
    assert first.json()["saved"] == again.json()["saved"]
    assert len(standing(own_project, photo_id)) == len(rows) + 1
    with open_store(own_project) as store:
        record = next(r for r in store.records() if r.colony == "New one")
        changes = [c for c in store.changes("measurements") if c.who == "Ines Varro"]
    assert record.measurement_ids == (first.json()["saved"],)
    assert record.photo_id == photo_id
    assert len(changes) == 1
    corals = {c["colony"]: c for c in first.json()["state"]["corals"]}
    assert corals["New one"]["is_here"]


def test_a_reading_of_an_older_correction_is_not_saved_unseen(client_of, own_project):
    photo_id, _, rows = measured_photo(own_project)
    body = {"kind": "length", "points": PICKED, "key": "older", "colony": "New one"}
    answer = client_of(own_project).post(f"/photos/{photo_id}/measurements", json=body)
    assert answer.status_code == 409
    assert slugs(answer) == ["measure-corrected-anew"]
    assert len(standing(own_project, photo_id)) == len(rows)


def test_a_better_measurement_follows_and_undo_lets_the_older_stand_again(client_of, own_project):
    photo_id, row, rows = measured_photo(own_project)
    client = client_of(own_project)
    old = next(m for m in rows if m.kind == "length")
    way = f"/photos/{photo_id}/measurements"
    moved = [[x + 1.0, y] for x, y in old.points_px]
    body = {"kind": old.kind, "points": moved, "key": row.key, "colony": old.colony}
    better = client.post(way, json={**body, "follows": old.measurement_id}).json()["saved"]
    now = standing(own_project, photo_id)
    assert better in now
    assert old.measurement_id not in now
    twice = client.post(way, json={**body, "follows": old.measurement_id})
    assert twice.status_code == 409
    assert slugs(twice) == ["measure-not-standing"]
    undone = client.post(f"{way}/{old.measurement_id}/again", json={})
    assert undone.status_code == 200
    now = standing(own_project, photo_id)
    assert now[old.measurement_id] == old
    assert better not in now
    with open_store(own_project) as store:  # three entries more, none gone
        n_entries = len(store.changes("measurements"))
        kept = store.measurements(with_taken_back=True)
    assert n_entries >= 5
    assert {better, old.measurement_id} <= {m.measurement_id for m in kept}


def test_a_measurement_goes_to_another_coral_and_back(client_of, own_project):
    photo_id, _, rows = measured_photo(own_project)
    client = client_of(own_project)
    old = next(m for m in rows if m.kind == "outline")
    way = f"/photos/{photo_id}/measurements/{old.measurement_id}"
    renamed = client.post(f"{way}/rename", json={"colony": "Other"}).json()["saved"]
    now = standing(own_project, photo_id)
    assert now[renamed].colony == "Other"
    assert now[renamed].points_px == old.points_px
    assert now[renamed].values == old.values
    assert old.measurement_id not in now
    with open_store(own_project) as store:
        ids = {r.colony: r.measurement_ids for r in store.records()}
    assert renamed in ids["Other"]
    assert old.measurement_id not in ids.get(old.colony, ())
    assert client.post(f"{way}/again", json={}).status_code == 200
    assert standing(own_project, photo_id)[old.measurement_id] == old
    unknown = client.post(f"/photos/{photo_id}/measurements/{'0' * 64}/back", json={})
    assert unknown.status_code == 409
    assert slugs(unknown) == ["measure-not-standing"]


def test_a_coral_of_the_visit_seen_in_another_photo_stays_one_coral(client_of, own_project):
    photo_id, row, _ = measured_photo(own_project)
    client = client_of(own_project)
    with open_store(own_project) as store:
        visit = store.photo(photo_id).visit_id
        others = [p.photo_id for p in store.photos(visit) if p.photo_id != photo_id]
        other = next(i for i in others if store.correction(i).geometry.get("plane"))
        key = store.correction(other).key
    body = {"kind": "length", "points": PICKED, "colony": "Seen twice"}
    first = client.post(f"/photos/{photo_id}/measurements", json={**body, "key": row.key}).json()
    second = client.post(f"/photos/{other}/measurements", json={**body, "key": key}).json()
    with open_store(own_project) as store:
        records = [r for r in store.records() if r.colony == "Seen twice"]
    assert len(records) == 1
    assert set(records[0].measurement_ids) == {first["saved"], second["saved"]}


def test_grid_lines_pass_through_the_cards_corners(client_of, read_only_project):
    photo_id, row, _ = measured_photo(read_only_project)
    client = client_of(read_only_project)
    answer = client.get(f"/photos/{photo_id}/grid?box=0,0,3000,2000&least_px=20&key={row.key}")
    assert answer.status_code == 200
    told = answer.json()
    assert told["step_mm"] in {5.0, 10.0}
    corner = row.geometry["corners_px"][0]  # (0, 0) mm by the card's own definition
    for axis in (0, 1):
        line = next(x for x in told["lines"] if x["axis"] == axis and x["mm"] == 0.0)
        ends = line["points_px"]
        gaps = [
            abs((bx - ax) * (ay - corner[1]) - (ax - corner[0]) * (by - ay))
            / ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
            for (ax, ay), (bx, by) in itertools.pairwise(ends)
        ]
        assert min(gaps) < 1.5
    refused = client.get(f"/photos/{photo_id}/grid?box=5,5,1,1")
    assert refused.status_code == 422
    assert slugs(refused) == ["picture-box-unclear"]


def test_health_is_noted_by_further_entries_and_has_to_make_a_whole(client_of, own_project):
    photo_id, _, _ = measured_photo(own_project)
    client = client_of(own_project)
    with open_store(own_project) as store:
        record = next(r for r in store.records() if r.photo_id == photo_id)
    way = f"/photos/{photo_id}/health"
    shares = {"normal_pct": 60, "pale_pct": 20, "bleached_pct": 15, "recently_dead_pct": 5}
    whole = {"record_id": record.record_id, **shares, "old_dead_pct": 0}
    assert client.post(way, json=whole).status_code == 200
    assert client.post(way, json=whole).status_code == 200
    over = client.post(way, json={**whole, "old_dead_pct": 10})
    assert over.status_code == 422
    assert slugs(over) == ["health-sum-not-100"]
    assert client.post(way, json={**whole, "old_dead_pct": 120}).status_code == 422
    some = client.post(way, json={"record_id": record.record_id, "bleached_pct": 30})
    assert some.status_code == 200
    with open_store(own_project) as store:
        history = store.coral_health_history(record.record_id)
        latest = {h.record_id: h for h in store.coral_health()}[record.record_id]
    assert len(history) == 2
    assert latest.bleached_pct == 30.0
    assert latest.normal_pct is None  # what was not judged is not zero
    unknown = client.post(way, json={"record_id": "0" * 64, "bleached_pct": 30})
    assert unknown.status_code == 404
    assert slugs(unknown) == ["record-unknown"]


def test_what_a_coral_is_called_is_not_on_the_photos_page(client_of, own_project):
    with open_store(own_project) as store:
        said = store.identifications()[0]
        record = next(r for r in store.records() if r.record_id == said.record_id)
    client = client_of(own_project)
    html = client.get(f"/photos/{record.photo_id}", headers={"accept": "text/html"}).text
    state = client.get(f"/photos/{record.photo_id}/state").text
    assert said.name
    assert said.name not in html + state
    assert said.name_as_recorded not in html + state


def test_refused_colour_is_said_above_all_with_what_can_be_done(client_of, own_project) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        photo = next(
            p for p in store.photos("Lantern Steps 2024-03-09") if store.correction(p.photo_id)
        )
        row = store.correction(photo.photo_id)
        told = {
            "slug": "colour-twins-differ",
            "severity": "error",
            "place": "white_1, white_2",
            "message": "two copies of one grey differ by 6.1 in Lab beyond the light",
            "fix": "Look for shade, dirt or glare on one of them.",
        }
        result = {**row.result, "problems": [told]}
        store.save_correction(replace(row, key=f"{row.key}-x", outcome="refused", result=result))
    html = client_of(own_project).get(f"/photos/{photo.photo_id}").text
    above = html[html.index('id="refused"') : html.index('id="measure-heading"')]
    assert "two copies of one grey differ by 6.1" in above
    assert "Lengths and areas can be measured" in above
    assert 'href="#card-panel"' in above


def test_a_photo_that_breaks_off_is_told_by_its_name_before_it_is_corrected(
    client_of, own_project
) -> None:
    with wiring.survey_store(own_project, write=True, who="Ines Varro") as store:
        photo = store.photos("Lantern Steps 2024-03-09")[0]
    name = photo.files[0].original_name
    whole = wiring.vault(own_project).path_of(photo.photo_id, name)
    whole.chmod(0o644)
    whole.write_bytes(whole.read_bytes()[:60_000])
    shutil.rmtree(own_project / "derived", ignore_errors=True)
    pages = client_of(own_project)
    html = pages.get(f"/photos/{photo.photo_id}").text
    assert "This photo cannot be shown." in html
    assert f"<b>{name}: the file breaks off" in html
    told = pages.get(f"/photos/{photo.photo_id}/thumb/original.jpg").json()["problems"][0]
    assert told["slug"] == "photo-truncated"
    assert told["message"].startswith(f"{name}: the file breaks off")
