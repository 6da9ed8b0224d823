"""A white or grey point picked on the photo page: tried, saved, shared with others, taken back."""

from __future__ import annotations

import json
import time
from dataclasses import replace

import pytest

from dryslate import wiring

NAME, CHIP = "DRY_0001.JPG", [622.0, 262.0]  # a grey chip lies there, on no card


def open_store(project, **how):
    return wiring.survey_store(project, **{"write": False, **how})


def photo_called(project, name=NAME):
    """A photo's id and its latest correction."""
    with open_store(project) as store:
        photo = next(p for p in store.photos() if p.files[0].original_name == name)
        return photo.photo_id, store.correction(photo.photo_id)


def slugs(answer):
    return [p["slug"] for p in answer.json()["problems"]]


def way_of(photo_id, word=""):
    return f"/photos/{photo_id}/card/{word}"


def done(client, job):
    """Wait for a job; return its end."""
    for _ in range(400):
        found = client.client.app.state.reach.jobs.find(job["job"])
        if found.state != "running":
            return found
        time.sleep(0.05)
    raise AssertionError("the job does not end")


def pick(client, photo_id, version, **more):
    body = {"what": "grey", "xy": CHIP, "version": version, **more}
    return client.post(way_of(photo_id, "point"), json=body)


def test_a_point_is_tried_without_saving_and_then_corrects_the_photo(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project, observer="Tomo Halle")
    body = {"what": "grey", "xy": CHIP}
    tried = client.post(way_of(photo_id, "point/try"), json=body)
    assert tried.status_code == 200
    assert tried.json()["small"].startswith("data:image/jpeg")
    assert "one point cannot be held against another" in tried.json()["html"]
    assert photo_called(own_project)[1].key == row.key
    answer = pick(client, photo_id, row.key)
    assert answer.status_code == 200
    _, now = photo_called(own_project)
    assert now.result["colour"]["fit"] == "one_point"
    assert f"95 % below {now.result['colour']['off_card_de00_p95']:.1f}" in tried.json()["html"]
    told = answer.json()
    assert told["view"]["picked"] == CHIP
    assert told["view"]["has_plane"]  # the card's scale stays
    assert "Colours by one grey point</b>, by Tomo Halle" in told["html"]
    assert "it gives the scale, not the colours" in told["html"]
    with open_store(own_project) as store:
        assert [c.who for c in store.changes("corrections")][-1] == "Tomo Halle"
    back = client.post(way_of(photo_id, "hold"), json={"key": row.key, "version": now.key})
    assert back.json()["view"]["picked"] is None
    assert photo_called(own_project)[1].key == row.key


@pytest.mark.parametrize(
    ("xy", "slug"),
    [
        ([5000.0, 10.0], "point-outside-photo"),
        ([-3.0, 10.0], "point-outside-photo"),
        ([float("nan"), 10.0], "page-input"),
        ([1e9, 10.0], "page-input"),
        ([10.0], "page-input"),
    ],
)
def test_points_that_are_none_are_refused(xy, slug, client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    headers = {"content-type": "application/json"}
    sent = json.dumps({"what": "white", "xy": xy, "version": row.key})
    answer = client.post(way_of(photo_id, "point"), content=sent, headers=headers)
    assert answer.status_code == 422
    assert slugs(answer) == [slug]
    tried = client.post(way_of(photo_id, "point/try"), content=sent, headers=headers)
    assert slug in tried.text
    assert photo_called(own_project)[1].key == row.key


def test_a_point_of_another_kind_another_version_or_in_no_photo_is_refused(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    assert pick(client, photo_id, row.key, what="black").status_code == 422
    assert pick(client, "0" * 64, row.key).status_code == 404
    late = pick(client, photo_id, "1" * 64)
    assert late.status_code == 409
    assert slugs(late) == ["changed-meanwhile"]
    assert late.json()["view"]["correction_key"] == row.key
    none = client.get(way_of(photo_id, "sharers"))
    assert none.status_code == 422
    assert slugs(none) == ["point-not-picked"]
    unasked = client.post(way_of(photo_id, "share"), json={"ids": [photo_id]})
    assert slugs(unasked) == ["point-not-picked"]


def test_a_point_serves_chosen_photos_of_the_visit_and_is_taken_back(client_of, own_project):
    photo_id, row = photo_called(own_project)
    other, before = photo_called(own_project, "DRY_0003.JPG")
    spared, spared_row = photo_called(own_project, "DRY_0002.JPG")
    client = client_of(own_project)
    pick(client, photo_id, row.key)
    html = client.get(way_of(photo_id, "sharers")).json()["html"]
    assert f'value="{other}" data-version="{before.key}" checked' in html
    assert f'value="{spared}" data-version="{spared_row.key}">' in html  # its own card is better
    answer = client.post(way_of(photo_id, "share"), json={"ids": [other]})
    assert answer.status_code == 202
    job = done(client, answer.json())
    assert (job.state, job.problems) == ("done", [])
    _, now = photo_called(own_project, "DRY_0003.JPG")
    assert now.outcome == "borrowed"
    assert now.result["borrowed_from"] == photo_id
    assert now.colour["loan"]["picked"]["xy_px"] == CHIP
    own = photo_called(own_project)[1]
    assert now.result["colour"]["off_card_de00_p95"] >= own.result["colour"]["off_card_de00_p95"]
    said = [p for p in now.result["problems"] if p["slug"] == "correct-shared-point"]
    assert NAME in said[0]["message"]
    assert photo_called(own_project, "DRY_0002.JPG")[1].key == spared_row.key
    page = client.get(f"/photos/{other}", headers={"accept": "text/html"}).text
    assert f"picked in {NAME}" in page
    assert 'id="share-begin"' not in page
    words = {"versions": {other: before.key, spared: "2" * 64}}
    job = done(client, client.post(way_of(photo_id, "unshare"), json=words).json())
    assert job.state == "done"
    assert photo_called(own_project, "DRY_0003.JPG")[1].key == before.key
    assert photo_called(own_project, "DRY_0002.JPG")[1].key == spared_row.key


def test_photos_with_other_settings_are_told_apart_and_never_share(client_of, own_project):
    photo_id, row = photo_called(own_project)
    other, _ = photo_called(own_project, "DRY_0003.JPG")
    with open_store(own_project, write=True, who="Ines Varro") as store:
        photo = store.photo(other)
        metadata = replace(photo.metadata, flash_fired=not photo.metadata.flash_fired)
        store.save_photo(replace(photo, metadata=metadata))
    client = client_of(own_project)
    pick(client, photo_id, row.key)
    html = client.get(way_of(photo_id, "sharers")).json()["html"]
    assert other not in html
    assert "one was taken with flash, the other without (1)" in html


def test_a_viewer_can_try_save_and_share_nothing(viewer_of, own_project):
    photo_id, row = photo_called(own_project)
    client = viewer_of(own_project)
    for word in ("point/try", "point", "share", "unshare"):
        answer = client.post(way_of(photo_id, word), json={"what": "grey", "xy": CHIP})
        assert answer.status_code == 403
        assert slugs(answer) == ["page-role"]
    assert photo_called(own_project)[1].key == row.key
