"""Naming records through the use cases, with a store in memory."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dryslate.app.identification_rows import RecordRow
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.note_records import standing_names
from dryslate.app.records import Visit
from dryslate.app.second_observer import draw_queue, look_again, open_reviews, settle
from dryslate.app.team_hit_rate import team_hit_rate
from dryslate.base.errors import InputError
from dryslate.files.reference_tables import FileReferenceTables

NOW = "2031-05-05T08:00:00Z"


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


def test_name_that_stays_open_between_two_genera_agrees_at_their_family(store, identifier) -> None:
    store.save_region("indo_pacific")
    name_record(store, identifier, replace(ASK, name="Favia"), NOW)
    draw_queue(store, "Ana", NOW)
    tevi = replace(ASK, name="Dipsastraea", observer="Tevi")
    outcome = look_again(store, identifier, tevi, NOW).outcome
    assert (outcome.rank_shared, outcome.is_agreed) == ("family", True)
    assert outcome.settled_name == "Merulinidae"


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
