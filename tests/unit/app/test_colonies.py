"""Tagged colonies: one identity, what became of them, and what never enters figures of a site."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import Any

import pytest

from dryslate.app.check_colonies import check_colonies
from dryslate.app.chosen_colonies import chosen_rows, tagged_because_stressed
from dryslate.app.colonies import TagRequest, find_colony, parse_neighbour, tag_colony
from dryslate.app.colony_records import Sighting
from dryslate.app.colony_visits import Seen, add_frame, judge_colony, see_colony
from dryslate.app.coral_health import SHARES
from dryslate.app.project_records import CardFile
from dryslate.app.survey_records import NotedRow, StatedDesign
from dryslate.app.survey_results import survey_results
from dryslate.app.unit_records import Unit
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import SurveyRow, UnitDesign

NOW, WHO = "2024-05-19T12:00:00Z", "Ines Varro"
LATER = "2024-06-20"


@pytest.fixture
def store(memory_store, dive) -> Any:
    """Two visits to one site and one to another, with photos."""
    dive.add_visit(memory_store)
    dive.add_visit(memory_store, date=LATER)
    dive.add_visit(memory_store, site="Far Rock")
    dive.add_photos(memory_store, [("a", 0), ("b", 1)])
    dive.add_photos(memory_store, [("c", 0)], visit_id=f"{dive.SITE} {LATER}")
    return memory_store


@pytest.fixture
def tag(store, dive):
    """Tag a colony of the first visit."""
    numbers = count(1)

    def make(label="17", **words):
        said = {"visit": (dive.SITE, dive.DATE), "why": "random"} | words
        request = TagRequest(label=label, observer=WHO, **said)
        return tag_colony(store, request, NOW, lambda: f"{next(numbers):08d}-aaaa")

    return make


@pytest.fixture
def visits(store):
    """Visits by id."""
    return {v.visit_id: v for v in store.visits()}


def shares(*five):
    return dict(zip(SHARES, five, strict=True))


def test_identity_is_made_once_and_kept_when_label_and_place_change(store, tag) -> None:
    first = tag(place="left of  the split rock", depth_m=7.5)
    assert (first.organism_id, first.place) == ("00000001-aaaa", "left of the split rock")
    assert [s.state for s in store.colony_sightings()] == ["seen"]
    changes = len(store.changes())
    assert tag(place="left of the split rock") == first
    assert len(store.changes()) == changes
    again = tag(visit=None, why=None, new_label="17b", bearing_deg=120.0, distance_m=2.0)
    assert again.organism_id == first.organism_id
    assert (again.label, again.depth_m, again.bearing_deg) == ("17b", 7.5, 120.0)
    assert find_colony(store, "00000001").label == "17b"


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        ({"why": None}, "colony-why-missing"),
        ({"why": "pretty"}, "colony-why-unknown"),
        ({"depth_m": -1.0}, "colony-place-odd"),
        ({"bearing_deg": 360.0}, "colony-place-odd"),
        ({"distance_m": float("nan")}, "colony-place-odd"),
        ({"sketch": "nothing.jpg"}, "colony-sketch-unknown"),
        ({"visit": None, "is_new": True}, "colony-visit-missing"),
        ({"visit": None}, "colony-unknown"),
    ],
)
def test_a_colony_that_is_not_well_said_is_not_stored(store, tag, words, slug) -> None:
    with pytest.raises(InputError, match=slug):
        tag(**words)
    assert store.colonies() == ()
    assert store.colony_sightings() == ()


def test_labels_are_apart_within_a_site_and_may_be_alike_across_sites(store, tag, dive) -> None:
    tag("a1")
    other = tag("b1")
    with pytest.raises(InputError, match="colony-label-taken"):
        tag("A1", is_new=True)
    with pytest.raises(InputError, match="colony-label-taken"):
        tag(other.label, new_label="A1")
    far = tag("A1", visit=("Far Rock", dive.DATE))
    with pytest.raises(InputError, match="colony-ambiguous"):
        find_colony(store, "a1")
    assert find_colony(store, "a1", "Far Rock") == far


def test_neighbours_and_sketch_help_to_find_it(store, tag, dive) -> None:
    sha = dive.sha_of("b")
    store.save_card_file(
        CardFile(
            visit_id=dive.VISIT,
            card_path="sketch.jpg",
            sha256=sha,
            original_name="sketch.jpg",
            size_bytes=1,
            modified_ns=0,
            observer=WHO,
        )
    )
    stake = parse_neighbour("north stake")
    colony = tag(neighbours=(parse_neighbour("boulder coral=120,0.8"), stake), sketch="Sketch.JPG")
    assert colony.neighbours[0].bearing_deg == 120.0
    assert (stake.bearing_deg, colony.sketch_sha256) == (None, sha)
    for text in ("=1,2", "rock=north,2", "rock=1"):
        with pytest.raises(InputError, match="colony-neighbour-unreadable"):
            parse_neighbour(text)


def test_lost_is_not_dead_and_what_was_said_can_be_corrected(store, tag, visits, dive) -> None:
    colony, visit = tag(), visits[f"{dive.SITE} {LATER}"]
    lost = see_colony(store, colony, visit, Seen(state="not_found"), (WHO, NOW))
    assert lost.state == "not_found"
    with pytest.raises(InputError, match="colony-not-seen"):
        judge_colony(store, colony, visit, (shares(100, 0, 0, 0, 0), ""), (WHO, NOW))
    see_colony(store, colony, visit, Seen(state="tag_lost", note="by its neighbours"), (WHO, NOW))
    judge_colony(store, colony, visit, (shares(0, 0, 100, 0, 0), ""), (WHO, NOW))
    with pytest.raises(InputError, match="colony-has-judgements"):
        see_colony(store, colony, visit, Seen(state="not_found"), (WHO, NOW))
    with pytest.raises(InputError, match="colony-dead-with-tissue"):
        see_colony(store, colony, visit, Seen(state="dead"), (WHO, NOW))
    judge_colony(store, colony, visit, ({}, ""), (WHO, NOW))  # taken back
    see_colony(store, colony, visit, Seen(state="dead"), (WHO, NOW))
    with pytest.raises(InputError, match="colony-dead-with-tissue"):
        judge_colony(store, colony, visit, (shares(0, 10, 0, 0, 90), ""), (WHO, NOW))
    judge_colony(store, colony, visit, (shares(0, 0, 0, 10, 90), ""), (WHO, NOW))
    logged = [c.new["state"] for c in store.changes("colony_sightings")]
    assert logged == ["seen", "not_found", "tag_lost", "dead"]
    assert check_colonies(store) == []


def test_each_observer_has_a_judgement_of_each_visit(store, tag, visits, dive) -> None:
    colony, visit = tag(), visits[dive.VISIT]
    judge_colony(store, colony, visit, (shares(80, 20, 0, 0, 0), "a pink spot"), (WHO, NOW))
    judge_colony(store, colony, visit, (shares(60, 40, 0, 0, 0), ""), ("Tevi", NOW))
    assert [(r.observer, r.pale_pct) for r in store.colony_fractions()] == [
        (WHO, 20.0),
        ("Tevi", 40.0),
    ]
    with pytest.raises(InputError, match="health-sum-not-100"):
        judge_colony(store, colony, visit, (shares(80, 30, 0, 0, 0), ""), (WHO, NOW))


def test_visits_before_tagging_and_of_other_sites_are_refused(store, tag, visits, dive) -> None:
    colony = tag(visit=(dive.SITE, LATER))
    for visit, slug in (
        (visits[dive.VISIT], "colony-before-tagging"),
        (visits[f"Far Rock {dive.DATE}"], "colony-other-site"),
    ):
        with pytest.raises(InputError, match=slug):
            see_colony(store, colony, visit, Seen(state="seen"), (WHO, NOW))
    with pytest.raises(InputError, match="colony-before-tagging"):
        add_frame(store, colony, "a.JPG", (WHO, NOW))
    with pytest.raises(InputError, match="colony-state-unknown"):
        see_colony(store, colony, visits[dive.VISIT], Seen(state="gone"), (WHO, NOW))


def test_photo_of_a_colony_says_that_it_was_seen(store, tag, dive) -> None:
    colony = tag()
    frame = add_frame(store, colony, "c.JPG", (WHO, NOW))
    assert add_frame(store, colony, "c.JPG", ("Tevi", NOW)) == frame
    assert [s.visit_id for s in store.colony_sightings()] == [dive.VISIT, f"{dive.SITE} {LATER}"]


def test_check_finds_what_no_use_case_would_store(store, tag, visits, dive) -> None:
    colony = tag()
    judge_colony(store, colony, visits[dive.VISIT], (shares(80, 20, 0, 0, 0), ""), (WHO, NOW))
    frame = add_frame(store, colony, "a.JPG", (WHO, NOW))
    triangle = ((0.0, 0.0), (9.0, 0.0), (0.0, 9.0))
    store.save_colony_frame(replace(frame, outline_px=triangle, outline_how="drawn"))
    (seen,) = store.colony_sightings()
    store.save_colony_sighting(replace(seen, state="not_found"))
    elsewhere = Sighting(
        organism_id=colony.organism_id,
        visit_id=f"Far Rock {dive.DATE}",
        state="not_looked_for",
        observer=WHO,
        noted_at=NOW,
    )
    store.save_colony_sighting(elsewhere)
    found = {p.slug for p in check_colonies(store)}
    assert found == {
        "colony-judgement-odd",
        "colony-frame-wrong",
        "colony-reference-odd",
        "colony-visit-wrong",
    }


def test_a_coral_noted_on_the_visit_can_be_the_colony(store, tag, visits, dive) -> None:
    from dryslate.app.identification_rows import RecordRow

    colony = tag()
    for name, visit_id in (("C1", dive.VISIT), ("C2", f"{dive.SITE} {LATER}")):
        store.save_record(
            RecordRow(
                record_id=f"id {name}", colony=name, visit_id=visit_id, observer=WHO, noted_at=NOW
            )
        )
    visit = visits[dive.VISIT]
    seen = see_colony(store, colony, visit, Seen(state="seen", record="C1"), (WHO, NOW))
    assert seen.record_id == "id C1"
    with pytest.raises(InputError, match="colony-record-elsewhere"):
        see_colony(store, colony, visit, Seen(state="seen", record="C2"), (WHO, NOW))


def test_dead_and_alive_again_is_asked_about(store, tag, visits, dive) -> None:
    colony = tag()
    see_colony(store, colony, visits[dive.VISIT], Seen(state="dead"), (WHO, NOW))
    see_colony(store, colony, visits[f"{dive.SITE} {LATER}"], Seen(state="seen"), (WHO, NOW))
    assert [p.slug for p in check_colonies(store)] == ["colony-alive-again"]


def test_health_of_colonies_tagged_because_stressed_enters_no_prevalence(store, tag, dive) -> None:
    stressed = tag("S1", why="stressed")
    tag("R1", why="random")
    design = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
    for k in range(3):
        name = f"T{k}"
        store.save_unit(Unit(unit_id=name, visit_id=dive.VISIT, observer=WHO, name=name))
        stated = {"list_version": None, "observer": WHO, "stated_at": NOW}
        store.save_unit_design(StatedDesign(unit_id=name, design=design, **stated))
        for tag_text, five in (("s1", (0, 0, 100, 0, 0)), ("R1", (100, 0, 0, 0, 0))):
            row = SurveyRow(kind="colony", name="Porites", tag=tag_text, **shares(*five))
            store.save_survey_rows(
                [NotedRow(unit_id=name, row=row, name="Porites", observer=WHO, noted_at=NOW)]
            )
    assert tagged_because_stressed(store) == {stressed.organism_id}
    assert chosen_rows(store) == {1, 3, 5}
    rows = {(r.figure, r.thing): r for r in survey_results(store)}
    assert rows["density_per_m2", "Porites"].estimate == pytest.approx(0.2)  # both are counted
    assert rows["prevalence_bleached_frac", "Porites"].estimate == 0.0
    store.save_colony(replace(stressed, why_tagged="random"))
    rows = {(r.figure, r.thing): r for r in survey_results(store)}
    assert rows["prevalence_bleached_frac", "Porites"].estimate == 0.5
