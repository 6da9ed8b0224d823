"""Naming records through the use cases, with a store in memory."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dryslate.app.identification_rows import RecordRow
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.records import Visit
from dryslate.app.review_draw import draw_queue
from dryslate.app.review_state import count_looks
from dryslate.app.second_observer import look_again
from dryslate.app.settling import open_reviews, reopen, settle, settle_together, standing_of
from dryslate.app.standing_names import standing_names
from dryslate.app.team_hit_rate import team_hit_rate
from dryslate.base.errors import InputError
from dryslate.files.reference_tables import FileReferenceTables

NOW = "2031-05-05T08:00:00Z"
LATER = "2031-05-06T08:00:00Z"


@pytest.fixture(scope="module")
def identifier() -> Identifier:
    return Identifier(FileReferenceTables(None))


@pytest.fixture
def store(load_fake_store) -> Any:
    made = load_fake_store.MemorySurveyStore()
    made.save_visit(Visit(visit_id="v", site="North wall", date="2031-05-04", observer="Ana"))
    made.save_record(
        RecordRow(record_id="r" * 64, colony="C1", visit_id="v", observer="Ana", noted_at=NOW)
    )
    return made


@pytest.fixture(scope="module")
def load_fake_store(request: pytest.FixtureRequest) -> Any:
    import importlib.util
    import sys
    from pathlib import Path

    path = Path(__file__).resolve().parents[2] / "fakes" / "store.py"
    spec = importlib.util.spec_from_file_location("fake_store_of_names", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


ASK = NameRequest(record="C1", name="Favites", observer="Ana", confidence=2)


@pytest.mark.parametrize(
    ("change", "slug"),
    [
        ({"confidence": 6}, "name-confidence"),
        ({"confidence": 0}, "name-confidence"),
        ({"probability": 1.2}, "name-probability"),
        ({"name": " "}, "name-empty"),
        ({"region": "north"}, "name-region-unknown"),
        ({"observer": ""}, "name-empty"),
        ({"at": "2031-05-05T08:00:00"}, "time-without-offset"),
    ],
)
def test_what_cannot_be_a_name_is_refused_and_nothing_is_stored(
    store, identifier, change, slug
) -> None:
    with pytest.raises(InputError, match=slug):
        name_record(store, identifier, replace(ASK, **change), NOW)
    assert store.identifications() == ()


def test_same_name_at_a_stated_time_is_one_row_however_often_it_is_typed_in(
    store, identifier
) -> None:
    for name in ("Favites", "Porites", "Favites", "Porites"):
        name_record(store, identifier, replace(ASK, name=name, at="2031-05-04T19:00:00+07:00"), NOW)
    assert [i.name for i in store.identifications()] == ["Favites", "Porites"]


def test_same_mind_change_within_one_second_is_kept_too(store, identifier) -> None:
    for name in ("Favites", "Porites", "Favites"):
        assert name_record(store, identifier, replace(ASK, name=name), NOW).is_new
    assert [i.name for i in store.identifications()] == ["Favites", "Porites", "Favites"]
    assert standing_names(store)[0].name == "Favites"


def looked(store, identifier, first: str, second: str) -> str:
    """Two looks at C1, by Ana and Tevi; returns what the review came to."""
    name_record(store, identifier, replace(ASK, name=first), NOW)
    draw_queue(store, "Ana", NOW)
    tevi = replace(ASK, name=second, observer="Tevi")
    return look_again(store, identifier, tevi, NOW).state


@pytest.mark.parametrize(
    ("first", "second", "state", "name"),
    [
        ("Favites", "Favites", "agreed", "Favites"),
        ("Favites", "cf. Favites", "agreed", "Favites"),
        ("Favites", "Merulinidae", "coarser", "Favites"),
        ("Favites", "Favites or Goniastrea", "coarser", "Favites"),
        ("Favites", "stony coral, not known", "coarser", "Favites"),
        ("Favites", "cannot tell", "coarser", "Favites"),
        ("Merulinidae", "stony coral", "coarser", "Merulinidae"),
        ("Merulinidae", "Favites", "finer", "Merulinidae"),
        ("cannot tell", "Favites", "finer", "cannot tell"),
        ("Favia", "Dipsastraea", "finer", "Dipsastraea or Goniastrea"),
        ("Merulinidae", "Merulinidae", "agreed", "Merulinidae"),
        ("cannot tell", "unknown", "agreed", "cannot tell"),
        ("Favites", "Porites", "open", "Favites"),
        ("Favites", "Poritidae", "open", "Favites"),
        ("Favites or Goniastrea", "Goniastrea or Porites", "open", "Favites or Goniastrea"),
        ("Porites", "not a stony coral", "open", "Porites"),
    ],
)
def test_coarser_or_finer_name_that_fits_settles_nothing_and_the_first_stays(
    store, identifier, first, second, state, name
) -> None:
    store.save_region("indo_pacific")
    assert looked(store, identifier, first, second) == state
    standing = standing_names(store)[0]
    assert (standing.name, standing.status) == (name, state)
    (outcome,) = store.review_outcomes()
    assert (outcome.settled_name != "") == (state == "agreed")
    counted = count_looks(store)
    assert counted.n == 1
    key = {"agreed": "same", "open": "differs"}.get(state, state)
    assert getattr(counted, key) == 1
    assert counted.n_undecided == int(state != "agreed")


def test_coarser_look_of_an_older_project_settles_nothing_either(store, identifier) -> None:
    looked(store, identifier, "Favites", "Merulinidae")
    (outcome,) = store.review_outcomes()
    wide = replace(outcome, settled_name="Merulinidae", settled_names=("Favites", "Goniastrea"))
    older = replace(wide, outcome_id="o" * 64, settled_rank="family", relation="", settled_how="")
    store.save_review_outcome(older)
    assert (standing_names(store)[0].name, standing_names(store)[0].status) == (
        "Favites",
        "coarser",
    )
    assert team_hit_rate(store).hit_rate.n == 0


def test_the_two_settle_together_and_are_told_apart_from_a_third(store, identifier) -> None:
    looked(store, identifier, "Favites", "Porites")
    both = replace(ASK, name="Porites", observer="Tevi", together_with="Ana")
    found = settle_together(store, identifier, both, NOW)
    assert found.state == "together"
    assert "by the two together" in found.words()
    row = store.identifications()[-1]
    assert (row.role, row.who()) == ("third", {"Ana", "Tevi"})
    outcome = store.review_outcomes()[-1]
    assert (outcome.settled_how, outcome.settled_name) == ("together", "Porites")
    assert standing_names(store)[0].status == "together"
    rate = team_hit_rate(store)
    assert (rate.hit_rate.n, rate.hit_rate.n_hits, rate.n_together) == (1, 0, 1)
    assert (rate.looks.n_together, rate.looks.n_third) == (1, 0)
    again = settle_together(store, identifier, both, NOW)
    assert again.outcome == found.outcome
    assert len(store.identifications()) == 3


@pytest.mark.parametrize(
    ("observer", "other"),
    [("Ana", "Ana"), ("Tevi", "Tevi"), ("Ana", "Ioane"), ("Ioane", "Leilani")],
)
def test_nobody_settles_together_alone_or_for_another(store, identifier, observer, other) -> None:
    looked(store, identifier, "Favites", "Porites")
    asked = replace(ASK, name="Porites", observer=observer, together_with=other)
    with pytest.raises(InputError, match="review-not-the-two"):
        settle_together(store, identifier, asked, NOW)
    for one in ("Ana", "Tevi"):
        with pytest.raises(InputError, match="review-same-observer"):
            settle(store, identifier, replace(ASK, name="Porites", observer=one), NOW)
    assert len(store.identifications()) == 2
    assert len(store.review_outcomes()) == 1


def test_settled_coral_is_opened_again_by_who_may_and_its_history_stays(store, identifier) -> None:
    looked(store, identifier, "Favites", "Porites")
    record_id = store.records()[0].record_id
    with pytest.raises(InputError, match="review-nothing-settled"):
        reopen(store, record_id, "Ioane", NOW, is_lead=True)
    ioane = replace(ASK, name="Porites", observer="Ioane")
    settle(store, identifier, ioane, NOW)
    with pytest.raises(InputError, match="review-nothing-open"):
        settle(store, identifier, replace(ioane, observer="Leilani"), NOW)
    with pytest.raises(InputError, match="review-not-yours"):
        reopen(store, record_id, "Ana", NOW, is_lead=False)
    assert reopen(store, record_id, "Ioane", LATER, is_lead=False).state == "reopened"
    standing = standing_names(store)[0]
    assert (standing.name, standing.status) == ("Favites", "reopened")
    assert [one["state"] for one in open_reviews(store)] == ["reopened"]
    assert team_hit_rate(store).hit_rate.n == 0
    settle(store, identifier, ioane, LATER)  # the same mind once more counts as a decision
    found = standing_of(store, record_id)
    assert found is not None
    assert (found.state, found.settled_name, found.outcome.decided_at) == (
        "settled",
        "Porites",
        LATER,
    )
    assert [o.settled_how for o in store.review_outcomes()] == ["", "third", "reopened", "third"]
    assert [i.name for i in store.identifications()] == ["Favites", "Porites", "Porites"]


def test_agreed_coral_is_opened_again_by_one_of_the_two(store, identifier) -> None:
    looked(store, identifier, "Favites", "Favites")
    record_id = store.records()[0].record_id
    reopen(store, record_id, "Tevi", LATER, is_lead=False)
    assert standing_names(store)[0].status == "reopened"


def test_third_may_settle_at_a_higher_rank(store, identifier) -> None:
    name_record(store, identifier, ASK, NOW)
    draw_queue(store, "Ana", NOW)
    look_again(store, identifier, replace(ASK, name="Porites", observer="Tevi"), NOW)
    assert open_reviews(store)[0]["names"] == ["Favites", "Porites"]
    said = replace(ASK, name="stony coral, not known", observer="Ioane")
    assert settle(store, identifier, said, NOW).outcome.settled_rank == "order"
    standing = standing_names(store)[0]
    assert (standing.name, standing.status) == ("Scleractinia", "settled")
    assert [i.role for i in store.identifications()] == ["first", "second", "third"]
    assert [o.third_id is None for o in store.review_outcomes()] == [True, False]


@pytest.mark.parametrize(
    ("third", "n", "n_hits"),
    [("Favites", 1, 1), ("Porites", 1, 0), ("Sponge", 1, 0), ("Merulinidae", 0, 0)],
)
def test_settled_name_tells_whether_the_first_held(store, identifier, third, n, n_hits) -> None:
    name_record(store, identifier, ASK, NOW)
    draw_queue(store, "Ana", NOW)
    look_again(store, identifier, replace(ASK, name="Acropora", observer="Tevi"), NOW)
    assert team_hit_rate(store).hit_rate.n == 0
    settle(store, identifier, replace(ASK, name=third, observer="Ioane"), NOW)
    rate = team_hit_rate(store).hit_rate
    assert (rate.n, rate.n_hits, rate.rate) == (n, n_hits, None)


def test_refused_look_leaves_nothing_behind(store, identifier) -> None:
    name_record(store, identifier, ASK, NOW)
    draw_queue(store, "Ana", NOW)
    with pytest.raises(InputError, match="name-unknown"):
        look_again(store, identifier, replace(ASK, name="Xenoturbella", observer="Tevi"), NOW)
    with pytest.raises(InputError, match="review-same-observer"):
        look_again(store, identifier, replace(ASK, name="Porites"), NOW)
    assert len(store.identifications()) == 1
    assert store.review_outcomes() == ()
