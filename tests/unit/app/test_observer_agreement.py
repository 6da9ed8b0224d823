"""How far observers agree, by looks that went through the use cases, against arithmetic by hand."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path
from typing import Any

import pytest

from dryslate.app.identification_rows import RecordRow
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.observer_agreement import FEWEST, observer_agreement
from dryslate.app.records import Visit
from dryslate.app.review_draw import draw_queue
from dryslate.app.second_observer import look_again
from dryslate.core.identify.review import DrawSettings
from dryslate.core.survey.agreement import Coefficient
from dryslate.files.reference_tables import FileReferenceTables

NOW = "2031-05-05T08:00:00Z"
SURE, UNSURE = 5, 2
ANA_BEN = [("Favites", "Favites")] * 8 + [("Favites", "Goniastrea")] * 2
ANA_BEN += [("Goniastrea", "Favites")] + [("Goniastrea", "Goniastrea")] * 5
ANA_BEN += [("Porites", "Porites")] * 4
"""What Ana and Ben called the same twenty corals."""


@pytest.fixture(scope="module")
def identifier() -> Identifier:
    return Identifier(FileReferenceTables(None))


@pytest.fixture
def store() -> Any:
    path = Path(__file__).resolve().parents[2] / "fakes" / "store.py"
    spec = importlib.util.spec_from_file_location("fake_store_of_agreement", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    made = module.MemorySurveyStore()
    made.save_visit(Visit(visit_id="v", site="North wall", date="2031-05-04", observer="Ana"))
    return made


def named_first(store, identifier, record_id: str, said, label: str = "") -> None:
    """Note a coral and name it; said: who, what and how sure."""
    who, name, key = said
    store.save_record(
        RecordRow(
            record_id=record_id, colony=label or record_id, visit_id="v", observer=who, noted_at=NOW
        )
    )
    ask = NameRequest(record=record_id, name=name, observer=who, confidence=key)
    name_record(store, identifier, ask, NOW)


def looked(store, identifier, looks, two=("Ana", "Ben"), key: int = SURE) -> None:
    """Store what two people called corals; every other one is named by the second of them first."""
    start = len(store.records())
    corals = [f"{start + k:064x}" for k in range(len(looks))]
    order = [(0, 1) if k % 2 == 0 else (1, 0) for k in range(len(looks))]
    for coral, names, (first, _) in zip(corals, looks, order, strict=True):
        named_first(store, identifier, coral, (two[first], names[first], key))
    draw_queue(store, "Ana", NOW, DrawSettings(random_frac=1.0))
    for coral, names, (_, second) in zip(corals, looks, order, strict=True):
        ask = NameRequest(record=coral, name=names[second], observer=two[second], confidence=SURE)
        look_again(store, identifier, ask, NOW)


def test_kappa_of_two_and_ac1_of_all_are_those_by_hand(store, identifier) -> None:
    looked(store, identifier, ANA_BEN)
    found = observer_agreement(store).by_chance
    (pair,) = found.pairs
    # Ana: 10 Favites, 6 Goniastrea, 4 Porites; Ben: 9, 7, 4; the same for 8 + 5 + 4 = 17 of 20
    observed = 17 / 20
    by_chance = (10 * 9 + 6 * 7 + 4 * 4) / 20**2
    assert pair.observers == ("Ana", "Ben")
    assert (pair.n_corals, pair.n_alike, pair.n_apart, pair.n_compatible) == (20, 17, 3, 0)
    assert pair.observed == pytest.approx(observed)
    assert pair.observed_u == pytest.approx(math.sqrt(observed * (1 - observed) / 20))
    kappa = pair.beyond_chance
    assert kappa is not None
    assert kappa.coefficient is Coefficient.COHEN
    assert kappa.value == pytest.approx((observed - by_chance) / (1 - by_chance))
    # all together: mean shares 19, 13 and 8 of 40 names, three names used
    shares = (19 / 40, 13 / 40, 8 / 40)
    by_chance = sum(p * (1 - p) for p in shares) / (3 - 1)
    ac1 = found.together.beyond_chance
    assert ac1 is not None
    assert ac1.coefficient is Coefficient.GWET_AC1
    assert ac1.value == pytest.approx((observed - by_chance) / (1 - by_chance))
    for one in (kappa, ac1):
        assert one.u is not None
        assert one.lo95 is not None
        assert one.value is not None
        reach = 2.0930 * one.u  # t of 19 degrees of freedom, from any table
        assert one.value - one.lo95 == pytest.approx(reach, rel=1e-4)
    assert pair.reason == found.together.reason == ""


def test_names_taken_for_others_come_most_frequent_first(store, identifier) -> None:
    looked(store, identifier, ANA_BEN)
    found = observer_agreement(store).by_chance
    assert [(t.names, t.n) for t in found.together.taken_for] == [(("Favites", "Goniastrea"), 3)]
    assert [(t.names, t.n) for t in found.pairs[0].taken_for] == [
        (("Favites", "Goniastrea"), 2),  # Ana's name first
        (("Goniastrea", "Favites"), 1),
    ]


@pytest.mark.parametrize(
    ("names", "each"),  # alike, apart, compatible, short
    [
        (("Favites", "Merulinidae"), (0, 0, 1, 0)),
        (("Favites", "cannot tell"), (0, 0, 1, 0)),
        (("Favites or Goniastrea", "Goniastrea or Platygyra"), (0, 0, 1, 0)),
        (("Merulinidae", "Merulinidae"), (1, 0, 0, 1)),
        (("Favites", "Poritidae"), (0, 1, 0, 1)),
        (("Favites", "Porites"), (0, 1, 0, 0)),
        (("Favites", "Favites"), (1, 0, 0, 0)),
    ],
)
def test_names_short_of_genus_are_never_taken_as_other_genera_they_hold(
    store, identifier, names, each
) -> None:
    looked(store, identifier, [names, names[::-1]])  # whoever says it, whichever comes first
    (pair,) = observer_agreement(store).by_chance.pairs
    found = (pair.n_alike, pair.n_apart, pair.n_compatible, pair.n_short)
    assert found == tuple(2 * n for n in each)
    assert pair.n_corals == pair.n_compared + pair.n_compatible == 2


def test_doubtful_names_and_those_drawn_by_chance_stay_apart(store, identifier) -> None:
    looked(store, identifier, [("Favites", "Favites")] * 3)
    looked(store, identifier, [("Favites", "Porites")] * 2, key=UNSURE)
    found = observer_agreement(store)
    assert (found.by_chance.together.n_alike, found.by_chance.together.n_apart) == (3, 0)
    assert (found.doubtful.together.n_alike, found.doubtful.together.n_apart) == (0, 2)


def test_each_two_are_compared_by_themselves_those_with_most_corals_first(
    store, identifier
) -> None:
    looked(store, identifier, [("Favites", "Porites")])
    looked(store, identifier, [("Favites", "Favites")] * 2, two=("Ben", "Caro"))
    pairs = observer_agreement(store).by_chance.pairs
    assert [(p.observers, p.n_alike) for p in pairs] == [(("Ben", "Caro"), 2), (("Ana", "Ben"), 0)]


@pytest.mark.parametrize(
    ("looks", "reason"),
    [
        ([("Favites", "Merulinidae")], "nothing"),
        (ANA_BEN[: FEWEST - 1], "few"),
        ([("Favites", "Favites")] * FEWEST, "one_name"),
        ([("Favites", "Favites")] * 10 + [("Porites", "Porites")] * 10, "no_spread"),
    ],
)
def test_what_is_missing_says_why(store, identifier, looks, reason) -> None:
    looked(store, identifier, looks)
    found = observer_agreement(store).by_chance
    for one in (*found.pairs, found.together):
        assert one.reason == reason
        assert (one.beyond_chance is None) == (reason in ("nothing", "few"))
        if reason in ("one_name", "no_spread"):
            assert one.beyond_chance is not None
            assert one.beyond_chance.lo95 is None
            assert one.observed_u is None
            assert one.observed_lo95 is not None
            assert one.observed_lo95 < 0.9  # twenty alike are no proof
    assert observer_agreement(store).doubtful.together.reason == "nothing"


def test_coral_that_waits_for_a_person_is_left_out_for_that_person_only(store, identifier) -> None:
    looked(store, identifier, [("Favites", "Porites")])
    first = store.records()[0]
    named_first(store, identifier, "e" * 64, ("Ana", "Favites", UNSURE), label=first.colony)
    draw_queue(store, "Ana", NOW)  # the same coral in another photo now waits for Ben
    for who, n_hidden in (("Ben", 1), ("", 1), ("Ana", 0), (None, 0)):
        found = observer_agreement(store, who)
        assert (who, found.n_hidden) == (who, n_hidden)
        assert found.by_chance.together.n_corals == 1 - n_hidden
        assert ("Favites" in str(found.as_dict())) == (n_hidden == 0)
