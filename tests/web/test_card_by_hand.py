"""Corners of a card set by hand on the photo page: tried, saved, kept, taken back; never lost."""

from __future__ import annotations

import json

import numpy as np
import pytest

from dryslate import wiring

NAME = "DRY_0001.JPG"


def open_store(project, **how):
    return wiring.survey_store(project, **{"write": False, **how})


def photo_called(project, name=NAME):
    """A photo's id and its latest correction."""
    with open_store(project) as store:
        photo = next(p for p in store.photos() if p.files[0].original_name == name)
        return photo.photo_id, store.correction(photo.photo_id)


def latest(project, photo_id):
    with open_store(project) as store:
        return store.correction(photo_id)


def slugs(answer):
    return [p["slug"] for p in answer.json()["problems"]]


def corners_of(row, shift=(0.0, 0.0)):
    return (np.array(row.geometry["corners_px"]) + shift).tolist()


def body_of(row, **more):
    return {"card": "field-007", "corners": corners_of(row), "version": row.key, **more}


def test_corners_set_by_hand_correct_the_photo_and_keep_who_set_them(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project, observer="Tomo Halle")
    way = f"/photos/{photo_id}/card"
    answer = client.post(f"{way}/corners", json=body_of(row, point_u_px=3.5))
    assert answer.status_code == 200
    told, now = answer.json(), latest(own_project, photo_id)
    assert now.geometry["how"] == "corners"
    assert now.geometry["corners_px"] == corners_of(row)
    assert now.geometry["points_u_px"] == [3.5] * 4
    assert now.geometry["by_hand"]["observer"] == "Tomo Halle"
    assert now.geometry["by_hand"]["at"].startswith("20")
    assert told["view"]["correction_key"] == now.key
    assert told["view"]["keys"]["corrected"].endswith(now.key[:32])
    assert "corners set by hand, by Tomo Halle" in told["html"]
    # the same plane by its markers, within what four pointed corners leave open
    scale, before = now.result["scale"], row.result["scale"]
    assert scale["px_per_mm_u"] > before["px_per_mm_u"]
    gap = scale["px_per_mm"] - before["px_per_mm"]
    assert abs(gap) < 3 * np.hypot(scale["px_per_mm_u"], before["px_per_mm_u"])
    assert (own_project / now.corrected_path).is_file()
    with open_store(own_project) as store:
        mine = [c for c in store.changes("corrections") if c.new["key"] == now.key]
        assert [c.who for c in mine] == ["Tomo Halle"]
        assert {f.kind for f in store.derived_files() if f.key == now.key} == {
            "corrected",
            "preview",
        }
    assert client.get(f"{way}").json()["html"] == told["html"]


def test_a_try_tells_what_the_correction_then_says_and_saves_nothing(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    way = f"/photos/{photo_id}/card"
    body = body_of(row)
    laid = client.post(f"{way}/lay", json=body).json()
    card = wiring.reference_tables(own_project).card("field-007")
    assert len(laid["patches"]) == len(card.patches)
    inner = np.array(laid["patches"]).reshape(-1, 2)
    low, high = np.min(corners_of(row), axis=0), np.max(corners_of(row), axis=0)
    assert np.all((inner > low) & (inner < high))
    tried = client.post(f"{way}/try", json=body).json()
    assert tried["small"].startswith("data:image/jpeg;base64,")
    assert latest(own_project, photo_id).key == row.key
    client.post(f"{way}/corners", json=body)
    now = latest(own_project, photo_id)
    assert f"95 % below {now.result['colour']['left_out_de00_p95']:.1f}" in tried["html"]


BAD = {
    "folded": ([[10, 10], [90, 60], [90, 10], [10, 60]], "corners-folded"),
    "outside": ([[10, 10], [9000, 10], [9000, 60], [10, 60]], "corners-outside"),
    "anticlockwise": ([[10, 10], [10, 60], [90, 60], [90, 10]], "corners-wrong-order"),
    "one line": ([[10, 10], [50, 10], [90, 10], [10, 60]], "corners-on-a-line"),
    "three": ([[10, 10], [90, 10], [90, 60]], "page-input"),
    "not numbers": ([[10, 10], [float("nan"), 10], [90, 60], [10, 60]], "page-input"),
    "endless": ([[10, 10], [float("inf"), 10], [90, 60], [10, 60]], "page-input"),
}


@pytest.mark.parametrize("what", BAD)
def test_corners_that_cannot_be_those_of_a_card_are_refused(what, client_of, own_project):
    photo_id, row = photo_called(own_project)
    corners, slug = BAD[what]
    client = client_of(own_project)
    sent = json.dumps(body_of(row, corners=corners))  # NaN and Infinity as Python writes them
    headers = {"content-type": "application/json"}
    answer = client.post(f"/photos/{photo_id}/card/corners", content=sent, headers=headers)
    assert answer.status_code == 422
    assert slugs(answer) == [slug]
    assert latest(own_project, photo_id).key == row.key
    laid = client.post(f"/photos/{photo_id}/card/lay", content=sent, headers=headers)
    assert slugs(laid) == [slug]
    tried = client.post(f"/photos/{photo_id}/card/try", content=sent, headers=headers)
    assert slug in tried.text


def test_unknown_cards_photos_and_versions_are_refused(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    for word in ("lay", "try", "corners"):
        way = f"/photos/{photo_id}/card/{word}"
        unknown = client.post(way, json=body_of(row, card="no-such-card"))
        assert unknown.status_code == 422
        assert slugs(unknown) == ["card-unknown"]
        path = client.post(way, json=body_of(row, card="../trip.toml"))
        assert slugs(path) == ["page-input"]
        gone = client.post(f"/photos/{'0' * 64}/card/{word}", json=body_of(row))
        assert gone.status_code == 404
    odd = client.post(f"/photos/{photo_id}/card/corners", json=body_of(row, version="latest"))
    assert odd.status_code == 422
    gone = client.post(f"/photos/{photo_id}/card/hold", json={"key": "0" * 64, "version": row.key})
    assert gone.status_code == 404
    assert slugs(gone) == ["correction-unknown"]


def test_two_people_at_once_are_both_shown_and_nothing_is_overwritten(client_of, own_project):
    photo_id, row = photo_called(own_project)
    way = f"/photos/{photo_id}/card/corners"
    first = client_of(own_project, observer="Tomo Halle")
    assert first.post(way, json=body_of(row)).status_code == 200
    kept = latest(own_project, photo_id)
    second = client_of(own_project)
    files = sorted((own_project / "derived" / "corrected").iterdir())
    mine = body_of(row, corners=corners_of(row, (1.0, 0.5)))
    answer = second.post(way, json=mine)
    assert answer.status_code == 409
    assert slugs(answer) == ["changed-meanwhile"]
    told = answer.json()
    assert "Tomo Halle" in told["problems"][0]["message"]
    assert "Tomo Halle" in told["kept"]
    assert told["view"]["correction_key"] == kept.key
    assert latest(own_project, photo_id).key == kept.key
    assert sorted((own_project / "derived" / "corrected").iterdir()) == files
    again = second.post(way, json={**mine, "version": kept.key})
    assert again.status_code == 200
    assert latest(own_project, photo_id).geometry["by_hand"]["observer"] == "Ines Varro"


def test_what_is_worked_out_while_another_saves_is_taken_away_again(client_of, own_project):
    from dataclasses import replace

    from dryslate.app import correct_by_hand as hand
    from dryslate.base.errors import StoreError
    from dryslate.web.by_hand import Unheard

    photo_id, row = photo_called(own_project)
    workshop = hand.Workshop(
        reader=wiring.photo_reader(),
        tables=wiring.reference_tables(own_project),
        runner=wiring.runner(1),
        progress=Unheard(),
    )
    corners = tuple(tuple(point) for point in corners_of(row))
    what = hand.HandCorners(card="field-007", corners_px=corners, corner_u_px=2.0)
    wanted = hand.HandRequest(
        photo_id=photo_id, version=row.key, what=what, observer="Ines Varro", now="2024-03-09"
    )
    with open_store(own_project, write=True, who="Ines Varro") as store:
        place = hand.ProjectPlace(folder=own_project, store=store, vault=wiring.vault(own_project))
        run = hand.run_by_hand(place, workshop, store.photo(photo_id))
        worked = hand.work_out(run, wanted)
        paths = [file.path for file in worked.answer.written]
        assert all(path.is_file() for path in paths)
        store.save_correction(replace(row, key="e" * 64))
        with pytest.raises(StoreError) as caught:
            hand.put_on_record(run, worked, wanted)
    assert caught.value.slug == "changed-meanwhile"
    assert not any(path.exists() for path in paths)
    assert latest(own_project, photo_id).key == "e" * 64


def test_an_earlier_correction_comes_back_as_a_further_entry(client_of, own_project):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    way = f"/photos/{photo_id}/card"
    client.post(f"{way}/corners", json=body_of(row))
    mine = latest(own_project, photo_id)
    (own_project / row.corrected_path).unlink()  # somebody threw derived files away meanwhile
    back = client.post(f"{way}/hold", json={"key": row.key, "version": mine.key})
    assert back.status_code == 200
    now = latest(own_project, photo_id)
    assert (now.key, now.geometry) == (row.key, row.geometry)
    assert (own_project / row.corrected_path).is_file()
    assert "Earlier corrections (1)" in back.json()["html"]
    late = client.post(f"{way}/hold", json={"key": row.key, "version": mine.key})
    assert late.status_code == 409
    client.post(f"{way}/hold", json={"key": mine.key, "version": row.key})
    assert latest(own_project, photo_id).key == mine.key
    anew = client.post(f"{way}/hold", json={"key": "", "version": mine.key})
    assert anew.status_code == 200
    assert latest(own_project, photo_id).geometry["how"] == "markers"
    with open_store(own_project) as store:
        assert len(store.photo_corrections(photo_id)) == 5


def test_corners_stay_with_who_set_them_when_the_photo_is_corrected_again(client_of, own_project):
    from typer.testing import CliRunner

    from dryslate.cli.main import build_app

    photo_id, row = photo_called(own_project)
    client = client_of(own_project, observer="Tomo Halle")
    client.post(f"/photos/{photo_id}/card/corners", json=body_of(row, point_u_px=4.0))
    words = ["correct", "--project", str(own_project), "--port", "dome", "--json"]
    assert CliRunner().invoke(build_app(), words).exit_code in (0, 3)
    now = latest(own_project, photo_id)
    assert now.key != row.key
    assert now.geometry["how"] == "corners"
    assert now.geometry["points_u_px"] == [4.0] * 4
    assert now.geometry["by_hand"]["observer"] == "Tomo Halle"


def test_measurements_that_rest_on_the_earlier_scale_are_told_and_taken_anew_on_demand(
    client_of, own_project
):
    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    way = f"/photos/{photo_id}/card"

    def standing():
        with open_store(own_project) as store:
            return {m.measurement_id: m for m in store.measurements() if m.photo_id == photo_id}

    before = standing()
    centre = np.mean(corners_of(row), axis=0)
    wide = (centre + 1.1 * (np.array(corners_of(row)) - centre)).tolist()
    told = client.post(f"{way}/corners", json=body_of(row, corners=wide)).json()
    assert standing() == before  # nothing moves by itself
    assert (
        f"{len(before)} measurements in this photo rest on an earlier correction." in (told["html"])
    )
    assert all(m["rests_on_earlier"] for m in told["state"]["measurements"])
    key = told["view"]["correction_key"]
    ids = list(before)
    answer = client.post(f"{way}/again", json={"ids": ids, "version": key})
    assert answer.status_code == 200
    taken, left = answer.json()["before"], answer.json()["left"]
    assert taken == dict.fromkeys([i for i in ids if before[i].kind != "colour"], row.key)
    # corners so far off that the colours are refused leave nothing to measure colours by
    assert [p["place"] for p in left] == ["grey chip"]
    now = standing()
    for row_id, kept in ((i, m) for i, m in before.items() if i in taken):
        assert now[row_id].points_px == kept.points_px
        assert now[row_id].observer == kept.observer
        assert now[row_id].correction_key == key
        if kept.colony == "bar":  # a card drawn 10 % larger makes all else in its plane smaller
            ratio = now[row_id].values["length_mm"] / kept.values["length_mm"]
            assert ratio == pytest.approx(1 / 1.1, rel=0.015)
    back = client.post(f"{way}/before", json={"keys": taken})
    assert back.status_code == 200
    assert standing() == before
    none = client.post(f"{way}/again", json={"ids": ["0" * 64], "version": key})
    assert none.status_code == 409
    assert slugs(none) == ["measure-not-standing"]
    stale = client.post(f"{way}/again", json={"ids": ids, "version": row.key})
    assert stale.status_code == 409


def test_a_measurement_whose_height_is_not_on_record_keeps_its_value_and_says_why(
    client_of, own_project
):
    from dataclasses import replace

    photo_id, row = photo_called(own_project)
    client = client_of(own_project)
    with open_store(own_project, write=True, who="Ines Varro") as store:
        old = next(m for m in store.measurements() if m.colony == "bar")
        values = {k: v for k, v in old.values.items() if k not in ("off_plane", "point_u_px")}
        store.save_measurements([replace(old, values=values)])
    told = client.post(f"/photos/{old.photo_id}/card/corners", json=body_of(row)).json()
    assert old.photo_id == photo_id
    assert told["html"].count('data-slug="measure-again-unknown"') == 1
    key = told["view"]["correction_key"]
    way = f"/photos/{photo_id}/card/again"
    answer = client.post(way, json={"ids": [old.measurement_id], "version": key})
    assert answer.status_code == 422
    assert slugs(answer) == ["measure-again-unknown"]


def test_a_photo_that_was_never_corrected_gets_its_first_correction_by_hand(client_of, own_project):
    photo_id, row = photo_called(own_project)
    with open_store(own_project, write=True, who="Ines Varro") as store:
        store._db.execute("DELETE FROM corrections WHERE photo_id = ?", [photo_id])
    client = client_of(own_project)
    way = f"/photos/{photo_id}/card"
    answer = client.post(f"{way}/corners", json={**body_of(row), "version": ""})
    assert answer.status_code == 200
    assert answer.json()["view"]["has_plane"]
    late = client.post(f"{way}/corners", json={**body_of(row), "version": ""})
    assert late.status_code == 409
    now = latest(own_project, photo_id)
    client.post(f"{way}/hold", json={"key": "", "version": now.key})
    assert latest(own_project, photo_id).geometry["how"] == "markers"


def test_a_viewer_sees_the_card_and_can_change_nothing(client_of, own_project, viewer_of):
    photo_id, row = photo_called(own_project)
    client = viewer_of(own_project)
    html = client.get(f"/photos/{photo_id}", headers={"accept": "text/html"}).text
    assert 'id="card-state"' in html
    assert "data-tool" not in html
    assert "card.js" not in html
    for word in ("lay", "try", "corners", "hold", "again", "before"):
        answer = client.post(f"/photos/{photo_id}/card/{word}", json=body_of(row))
        assert answer.status_code == 403
        assert slugs(answer) == ["page-role"]
    assert latest(own_project, photo_id).key == row.key


def test_a_picked_point_gives_colours_keeps_the_cards_scale_and_lasts(own_project):
    from typer.testing import CliRunner

    from dryslate.app import correct_by_hand as hand
    from dryslate.app.one_point import PickedPoint
    from dryslate.cli.main import build_app
    from dryslate.web.by_hand import Unheard

    photo_id, row = photo_called(own_project)
    workshop = hand.Workshop(
        reader=wiring.photo_reader(),
        tables=wiring.reference_tables(own_project),
        runner=wiring.runner(1),
        progress=Unheard(),
    )
    point = PickedPoint(xy_px=(622.0, 262.0), what="grey")
    wanted = hand.HandRequest(
        photo_id=photo_id, version=row.key, what=point, observer="Tomo Halle", now="2024-03-09"
    )
    with open_store(own_project, write=True, who="Tomo Halle") as store:
        place = hand.ProjectPlace(folder=own_project, store=store, vault=wiring.vault(own_project))
        run = hand.run_by_hand(place, workshop, store.photo(photo_id))
        now = hand.put_on_record(run, hand.work_out(run, wanted), wanted)
        assert store.photo_residuals(photo_id, now.key) == ()
    assert now.outcome == "corrected"
    assert now.result["colour"]["fit"] == "one_point"
    assert "correct-one-point" in [p["slug"] for p in now.result["problems"]]
    assert now.result["scale"] == row.result["scale"]
    assert now.geometry == row.geometry
    assert now.colour["loan"]["picked"]["observer"] == "Tomo Halle"
    words = ["correct", "--project", str(own_project), "--port", "flat", "--json"]
    assert CliRunner().invoke(build_app(), words).exit_code in (0, 3)
    assert latest(own_project, photo_id).key == now.key  # nothing changed: nothing done again
    words[words.index("flat")] = "dome"
    assert CliRunner().invoke(build_app(), words).exit_code in (0, 3)
    later = latest(own_project, photo_id)
    assert later.key != now.key
    assert later.colour["loan"]["picked"] == now.colour["loan"]["picked"]
    assert later.result["colour"] == now.result["colour"]


def test_photos_that_borrow_from_the_earlier_correction_are_named(client_of, own_project):
    borrower, lent = photo_called(own_project, "DRY_0003.JPG")
    lender = lent.result["borrowed_from"]
    client = client_of(own_project)
    with open_store(own_project) as store:
        row = store.correction(lender)
    inside = np.clip(corners_of(row), 0, (1199, 899)).tolist()  # one lies just out of the frame
    told = client.post(f"/photos/{lender}/card/corners", json=body_of(row, corners=inside)).json()
    assert "1 other photo has its colours from an earlier correction of this one." in told["html"]
    assert "DRY_0003.JPG" in told["html"]
    assert latest(own_project, borrower).key == lent.key
    back = {"key": row.key, "version": told["view"]["correction_key"]}
    html = client.post(f"/photos/{lender}/card/hold", json=back).json()["html"]
    assert "from an earlier correction of this one" not in html


def test_corners_of_a_card_that_is_gone_cannot_hold_again(client_of, own_project):
    from dataclasses import replace

    photo_id, row = photo_called(own_project)
    geometry = {**row.geometry, "how": "corners", "card": "no-such-card"}
    with open_store(own_project, write=True, who="Ines Varro") as store:
        store.save_correction(replace(row, key="d" * 64, geometry=geometry))
        store.save_correction(row)
    client = client_of(own_project)
    sent = {"key": "d" * 64, "version": row.key}
    answer = client.post(f"/photos/{photo_id}/card/hold", json=sent)
    assert answer.status_code == 422
    assert slugs(answer) == ["card-unknown"]
    assert latest(own_project, photo_id).key == row.key
