"""Units on the pages: slates, names, joining by time, setting aside, undo, and bad input."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.unit_records import KINDS, REASONS
from dryslate.app.visits import list_visits
from dryslate.web.unit_view import KIND_WORDS, REASON_WORDS
from dryslate.web.unit_work import SAID, WORK

WHO = "Ines Varro"
SHOTS = [("s1", 0), ("a", 1), ("b", 2), ("s2", 5), ("c", 6), ("d", 30), ("e", 31)]


@pytest.fixture
def trip(tmp_path: Path, dive) -> Path:
    """A project with one visit of seven photos."""
    with wiring.new_store(tmp_path, who=WHO) as store:
        dive.add_visit(store)
        dive.add_photos(store, SHOTS)
    return tmp_path


@pytest.fixture
def pages(client_of, trip):
    """Its pages, with an observer."""
    return client_of(trip)


def work(pages, dive, do: str, *names: str, **more: object):
    """Do something with photos."""
    data = {"do": do, "photo": [dive.sha_of(name) for name in names], **more}
    return pages.post("/units/work", params={"visit": dive.VISIT}, data=data)


def units_of(project: Path) -> dict[str | None, list[str]]:
    """Photos by the name of their unit."""
    found: dict[str | None, list[str]] = {}
    with wiring.survey_store(project, write=False) as store:
        name = {u.unit_id: u.name for u in store.units()}
        joins = {j.photo_id: j for j in store.unit_photos()}
        for photo in store.photos():
            if photo.photo_id in joins:
                unit = name.get(joins[photo.photo_id].unit_id or "")
                found.setdefault(unit, []).append(photo.files[0].original_name[:-4])
    return found


def ids_of(project: Path) -> list[str]:
    """Ids of the units in the order made."""
    with wiring.survey_store(project, write=False) as store:
        return [unit.unit_id for unit in store.units()]


def seal_on(pages, unit: str) -> str:
    """The hidden field that tells what the form was made from."""
    text = pages.get(f"/units/{unit}").text
    return re.search(r'name="was" value="([0-9a-f]+)"', text)[1]


def join(pages, dive, gap_min: float = 10.0):
    """Look at what joining by time changes, then save just that."""
    told = {"visit": dive.VISIT, "gap_min": gap_min}
    seen = re.search(
        r'name="seen" value="([0-9a-f]{32})"', pages.get("/units/join", params=told).text
    )
    return pages.post("/units/join", data={**told, "seen": seen[1]})


def named(pages, dive, trip: Path, name: str = "T1") -> str:
    """Mark the first slate and write its name down; returns the unit."""
    work(pages, dive, "slate", "s1")
    (unit,) = ids_of(trip)
    said = {"was": seal_on(pages, unit), "name": name, "kind": "transect"}
    assert pages.post(f"/units/{unit}", data=said).status_code == 303
    return unit


def test_every_kind_reason_and_work_has_its_words() -> None:
    assert set(KIND_WORDS) == set(KINDS)
    assert set(REASON_WORDS) == set(REASONS)
    assert set(WORK) <= set(SAID)


def test_slate_is_marked_named_and_what_follows_is_joined_after_a_look(pages, trip, dive) -> None:
    assert work(pages, dive, "slate", "s1", "s2").status_code == 303
    first, second = ids_of(trip)
    said = {"was": seal_on(pages, first), "name": "T1", "kind": "transect", "following": "true"}
    said |= {"zone": "crest", "depth_m": "8,5", "depth_m_u": "0.5"}
    answer = pages.post(f"/units/{first}", data=said)
    assert answer.headers["location"] == f"/units/{second}"
    form = pages.get(f"/units/{second}").text
    assert '<option value="transect" selected>' in form
    assert 'name="zone" list="zones" value="crest"' in form
    said = {"was": seal_on(pages, second), "name": "T2", "kind": "transect", "following": "true"}
    assert pages.post(f"/units/{second}", data=said).headers["location"].startswith("/photos?")
    look = pages.get("/units/join", params={"visit": dive.VISIT}).text
    assert "3 photos would change" in look
    assert "24 min" in look
    assert units_of(trip) == {"T1": ["s1"], "T2": ["s2"]}
    assert join(pages, dive).status_code == 303
    assert units_of(trip) == {"T1": ["s1", "a", "b"], "T2": ["s2", "c"]}
    assert "Nothing would change." in pages.get("/units/join", params={"visit": dive.VISIT}).text
    with wiring.survey_store(trip, write=False) as store:
        unit = store.units()[0]
        assert (unit.zone, unit.depth_m, unit.depth_m_u) == ("crest", 8.5, 0.5)
        assert store.changes("units")[-1].who == WHO


def test_strip_shows_bands_gaps_and_slates(pages, trip, dive) -> None:
    named(pages, dive, trip)
    join(pages, dive)
    text = pages.get("/photos", params={"visit": dive.VISIT}).text
    strip = text[text.index('id="strip"') : text.index('id="photos"')]
    assert strip.count('<li class="band') == 2
    assert re.findall(r"<b>([^<]+)</b>", strip) == ["T1", "no unit"]
    assert "09:00–09:06" in strip
    assert "24 min" in strip
    assert strip.count('class="slate"') == 1


def test_strip_shows_cameras_apart(pages, trip, dive) -> None:
    with wiring.survey_store(trip, write=True, who=WHO) as store:
        dive.add_photos(store, [("z", 1.5), ("no time", None)], camera="Two")
    text = pages.get("/photos", params={"visit": dive.VISIT}).text
    assert text.count('<section class="camera"') == 2
    assert "1 photo without a time" in text


def test_all_visits_show_no_strip(pages) -> None:
    text = pages.get("/photos").text
    assert 'id="strip"' not in text
    assert 'id="work"' not in text


def test_list_is_narrowed_to_a_unit_a_stretch_and_what_was_said(pages, trip, dive) -> None:
    unit = named(pages, dive, trip)
    join(pages, dive)
    work(pages, dive, "none", "d")
    work(pages, dive, "aside", "e", reason="blurred")

    def names(**asked: object) -> list[str]:
        text = pages.get("/photos", params={"visit": dive.VISIT, **asked}).text
        return re.findall(r'<span class="name">([^<.]+)', text)

    assert names(unit=unit) == ["s1", "a", "b", "s2", "c"]
    assert names(stretch=dive.sha_of("d")) == ["d"]
    assert names(stretch=dive.sha_of("a")) == []
    assert names(show="slate") == ["s1"]
    assert names(show="apart") == ["d"]
    assert names(show="aside") == ["e"]
    assert names(show="no_unit") == []


def test_second_name_alike_is_refused_with_which_and_what_was_typed_stays(
    pages, trip, dive
) -> None:
    named(pages, dive, trip)
    work(pages, dive, "slate", "s2")
    second = ids_of(trip)[1]
    said = {"was": seal_on(pages, second), "name": "t1", "note": "typed & kept"}
    answer = pages.post(f"/units/{second}", data=said)
    assert answer.status_code == 409
    assert "transect T1, slate s1.JPG" in answer.text
    assert "typed &amp; kept" in answer.text
    assert "<details open><summary>The same slate photographed again" in answer.text
    assert units_of(trip) == {"T1": ["s1"], None: ["s2"]}
    first = ids_of(trip)[0]
    assert pages.post(f"/units/{second}/merge", data={"into": first}).status_code == 303
    assert units_of(trip) == {"T1": ["s1", "s2"]}


def test_name_with_html_is_shown_as_text(pages, trip, dive) -> None:
    bad = '<script>alert("1")</script>'
    unit = named(pages, dive, trip, bad)
    for path in (
        f"/photos?visit={dive.VISIT}",
        f"/units/{unit}",
        f"/units/join?visit={dive.VISIT}",
        "/",
    ):
        text = pages.get(path).text
        assert "<script>alert" not in text, path
    assert "&lt;script&gt;alert" in pages.get(f"/photos?visit={dive.VISIT}").text


def test_two_people_do_not_overwrite_each_other(pages, trip, dive) -> None:
    work(pages, dive, "slate", "s1")
    (unit,) = ids_of(trip)
    was = seal_on(pages, unit)
    assert pages.post(f"/units/{unit}", data={"was": was, "name": "T1"}).status_code == 303
    answer = pages.post(f"/units/{unit}", data={"was": was, "name": "T9"})
    assert answer.status_code == 409
    assert "changed-meanwhile" in answer.text
    assert units_of(trip) == {"T1": ["s1"]}


def test_joining_what_is_no_longer_what_was_seen_saves_nothing(pages, trip, dive) -> None:
    named(pages, dive, trip)
    told = {"visit": dive.VISIT, "gap_min": 10.0}
    text = pages.get("/units/join", params=told).text
    seen = re.search(r'name="seen" value="([0-9a-f]{32})"', text)[1]
    work(pages, dive, "none", "b")
    answer = pages.post("/units/join", data={**told, "seen": seen})
    assert answer.status_code == 409
    assert answer.json()["problems"][0]["slug"] == "changed-meanwhile"
    assert units_of(trip) == {"T1": ["s1"], None: ["b"]}


def test_photos_are_moved_begun_left_to_time_and_all_is_undone(pages, trip, dive) -> None:
    unit = named(pages, dive, trip)
    states = [units_of(trip)]
    for do, names, more in (
        ("move", ("a", "b"), {"unit": unit}),
        ("start", ("c",), {"name": "P1"}),
        ("none", ("d",), {}),
        ("time", ("a",), {}),
        ("slate", ("s1",), {}),
    ):
        assert work(pages, dive, do, *names, **more).status_code == 303
        states.append(units_of(trip))
    assert states[2] == {"T1": ["s1", "a", "b"], "P1": ["c"]}
    assert states[5] == {"T1": ["b"], "P1": ["c"], None: ["d"]}
    undo = ("/units/undo", {"visit": dive.VISIT})
    for before in reversed(states[:-1]):
        assert pages.post(undo[0], params=undo[1]).status_code == 303
        assert units_of(trip) == before
    for after in states[1:]:
        assert pages.post(undo[0], params=undo[1], data={"again": "true"}).status_code == 303
        assert units_of(trip) == after
    assert pages.post(undo[0], params=undo[1], data={"again": "true"}).status_code == 404
    with wiring.survey_store(trip, write=False) as store:
        assert store.units()[1].kind == "transect"


def test_undo_of_what_somebody_changed_since_is_refused_and_forgotten(pages, trip, dive) -> None:
    work(pages, dive, "none", "a")
    with wiring.survey_store(trip, write=True, who="Tomo Halle") as store:
        store.delete_unit_photo(dive.sha_of("a"))
    answer = pages.post("/units/undo", params={"visit": dive.VISIT})
    assert answer.status_code == 409
    assert pages.post("/units/undo", params={"visit": dive.VISIT}).status_code == 404


def test_photos_are_set_aside_and_taken_back_and_the_first_page_follows(pages, trip, dive) -> None:
    named(pages, dive, trip)
    join(pages, dive)
    assert "photos that belong to no unit" in pages.get("/").text
    work(pages, dive, "aside", "d", "e", reason="other", note="hands <b>")
    text = pages.get("/").text
    assert "photos that belong to no unit" not in text
    assert "photos set aside" in text
    text = pages.get("/photos", params={"visit": dive.VISIT, "show": "aside"}).text
    assert text.count("hands &lt;b&gt;") == 2
    assert "Correct this" not in text
    assert "Correct these" not in text
    work(pages, dive, "back", "d")
    assert "photo that belongs to no unit" in pages.get("/").text


def test_all_photos_of_a_list_are_worked_on_at_once(pages, trip, dive) -> None:
    asked = {"visit": dive.VISIT, "after": "09:30"}
    data = {"do": "aside", "reason": "not_reef", "every": "true"}
    assert pages.post("/units/work", params=asked, data=data).status_code == 303
    with wiring.survey_store(trip, write=False) as store:
        aside = {one.photo_id for one in store.photos_set_aside()}
    assert aside == {dive.sha_of("d"), dive.sha_of("e")}


def test_script_gets_only_the_parts_that_changed(pages, trip, dive) -> None:
    data = {"do": "slate", "photo": dive.sha_of("s1")}
    headers = {"hx-request": "true"}
    answer = pages.post("/units/work", params={"visit": dive.VISIT}, data=data, headers=headers)
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert re.findall(r'<li id="p-([0-9a-f]+)"', answer.text) == [dive.sha_of("s1")]
    assert 'id="strip"' in answer.text
    assert "data-undo" in answer.text


def test_unit_without_a_slate_begins_with_a_stretch(pages, trip, dive) -> None:
    told = {"visit": dive.VISIT, "stretch": dive.sha_of("d")}
    assert "2 photos would belong to it" in pages.get("/units/new", params=told).text
    answer = pages.post("/units/new", data={**told, "name": "Q1", "kind": "quadrat"})
    assert answer.status_code == 303
    assert units_of(trip) == {"Q1": ["d", "e"]}
    again = pages.post("/units/new", data={**told, "name": "Q1"})
    assert again.status_code == 409


def test_unit_is_taken_out_and_comes_back(pages, trip, dive) -> None:
    unit = named(pages, dive, trip)
    assert pages.post(f"/units/{unit}/remove").status_code == 303
    assert units_of(trip) == {}
    assert pages.get(f"/units/{unit}").status_code == 404
    pages.post("/units/undo", params={"visit": dive.VISIT})
    assert units_of(trip) == {"T1": ["s1"]}


@pytest.mark.parametrize(
    ("do", "more", "status", "slug"),
    [
        ("dance", {}, 422, "page-input"),
        ("slate", {"photo": []}, 422, "page-input"),
        ("slate", {"photo": ["nonsense"]}, 422, "page-input"),
        ("slate", {"photo": ["f" * 64]}, 404, "photo-not-in-project"),
        ("move", {"unit": "f" * 64}, 404, "unit-unknown"),
        ("move", {"unit": "T1"}, 422, "page-input"),
        ("move", {"unit": ""}, 404, "unit-unknown"),
        ("start", {"name": "  "}, 422, "name-empty"),
        ("start", {"name": "x" * 250}, 422, "name-odd"),
        ("start", {"name": "x" * 400}, 422, "page-input"),
        ("aside", {"reason": "ugly"}, 422, "aside-reason"),
        ("aside", {"reason": "other"}, 422, "aside-reason"),
    ],
)
def test_bad_input_is_refused_and_changes_nothing(  # noqa: PLR0917  one column of the table each
    pages, trip, dive, do, more, status, slug
) -> None:
    data = {"do": do, "photo": [dive.sha_of("a")], **more}
    with wiring.survey_store(trip, write=False) as store:
        before = len(store.changes())
    answer = pages.post("/units/work", params={"visit": dive.VISIT}, data=data)
    assert answer.status_code == status, answer.text
    assert answer.json()["problems"][0]["slug"] == slug
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.changes()) == before


def test_photo_and_unit_of_another_visit_are_refused(pages, trip, dive) -> None:
    unit = named(pages, dive, trip)
    with wiring.survey_store(trip, write=True, who=WHO) as store:
        other = dive.add_visit(store, date="2024-05-20")
        (photo,) = dive.add_photos(store, [("z", 0)], visit_id=other)
    data = {"do": "move", "photo": [photo], "unit": unit}
    answer = pages.post("/units/work", params={"visit": other}, data=data)
    assert answer.json()["problems"][0]["slug"] == "unit-other-visit"
    data = {"do": "start", "photo": [photo], "name": "T5"}
    answer = pages.post("/units/work", params={"visit": dive.VISIT}, data=data)
    assert answer.json()["problems"][0]["slug"] == "unit-other-visit"
    assert pages.get("/photos", params={"visit": other, "unit": unit}).status_code == 404


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/units/" + "f" * 64, 404),
        ("/units/nonsense", 422),
        ("/units/join?visit=Nowhere", 404),
        ("/units/join?visit=Quiet+Ledge+2024-05-19&gap_min=0", 422),
        ("/units/join?visit=Quiet+Ledge+2024-05-19&gap_min=nan", 422),
        ("/units/new?visit=Nowhere", 404),
        ("/units/new?visit=Quiet+Ledge+2024-05-19&stretch=" + "f" * 64, 409),
        ("/photos?visit=Quiet+Ledge+2024-05-19&unit=" + "f" * 64, 404),
        ("/photos?unit=" + "f" * 64, 422),
        ("/photos?visit=Quiet+Ledge+2024-05-19&unit=T1", 422),
    ],
)
def test_addresses_that_lead_nowhere_are_refused(pages, path, status) -> None:
    assert pages.get(path).status_code == status


@pytest.mark.parametrize("depth", ["deep", "8.5.1", "nan", "-3", "900"])
def test_depth_that_is_none_is_refused(pages, trip, dive, depth) -> None:
    work(pages, dive, "slate", "s1")
    (unit,) = ids_of(trip)
    said = {"was": seal_on(pages, unit), "name": "T1", "depth_m": depth}
    assert pages.post(f"/units/{unit}", data=said).status_code == 422
    assert units_of(trip) == {None: ["s1"]}


def test_nothing_is_saved_without_an_observer(client_of, trip, dive) -> None:
    pages = client_of(trip, observer=None)
    assert pages.get("/photos", params={"visit": dive.VISIT}).status_code == 200
    assert work(pages, dive, "slate", "s1").status_code == 409
    assert pages.post("/units/undo", params={"visit": dive.VISIT}).status_code == 409


def test_another_clock_moves_photos_and_leaves_what_was_said_by_hand(pages, trip, dive) -> None:
    from dryslate.app.project_records import ClockOffset

    named(pages, dive, trip)
    join(pages, dive)
    work(pages, dive, "none", "b")
    with wiring.survey_store(trip, write=True, who=WHO) as store:
        store.save_clock_offset(
            ClockOffset(visit_id=dive.VISIT, camera="Made One", offset_s=-7200.0)
        )
        assert list_visits(store)[0].n_photos == 7
    text = pages.get("/photos", params={"visit": dive.VISIT}).text
    assert "07:00–07:01" in text
    assert "Photos and times agree." in text
    assert units_of(trip) == {"T1": ["s1", "a", "s2", "c"], None: ["b"]}


def test_photo_page_names_the_unit_and_sets_the_photo_aside(client_of, own_project) -> None:
    pages = client_of(own_project)
    visit = "Lantern Steps 2024-03-09"
    with wiring.survey_store(own_project, write=False) as store:
        photo = store.photos(visit)[0].photo_id
    asked = {"params": {"visit": visit}}
    pages.post("/units/work", data={"do": "start", "photo": photo, "name": "Q<1>"}, **asked)
    text = pages.get(f"/photos/{photo}").text
    assert re.search(r'<a href="/units/[0-9a-f]{64}">Q&lt;1&gt;</a>', text)
    data = {"do": "aside", "photo": photo, "reason": "double", "back": "true"}
    answer = pages.post("/units/work", data=data, **asked)
    assert answer.headers["location"] == f"/photos/{photo}"
    text = pages.get(f"/photos/{photo}").text
    assert "This photo is set aside" in text
    assert "taken twice (Ines Varro)" in text
    data = {"do": "back", "photo": photo, "back": "true"}
    pages.post("/units/work", data=data, **asked)
    assert "This photo is set aside" not in pages.get(f"/photos/{photo}").text


def test_who_may_only_look_gets_no_bar_and_changes_nothing(pages, trip, dive) -> None:
    session = pages.client.app.state.reach.sessions.find(
        pages.client.cookies.get(pages.client.app.state.reach.settings.cookie)
    )
    session.role = "viewer"
    text = pages.get("/photos", params={"visit": dive.VISIT}).text
    assert 'id="strip"' in text
    assert 'id="work"' not in text
    answer = work(pages, dive, "slate", "s1")
    assert answer.status_code == 403
    assert answer.json()["problems"][0]["slug"] == "page-role"
