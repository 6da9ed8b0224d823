"""What the report says of named corals and of second looks."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.fakes.store import MemorySurveyStore

from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewDrawRow,
    ReviewOutcomeRow,
)
from dryslate.app.records import Visit
from dryslate.app.report_identified import identified_corals
from dryslate.files.reference_tables import FileReferenceTables

SEEN = {
    "seen": {"growth_form": ["massive"], "corallite_arrangement": ["meandroid"]},
    "not": {"axial_corallite": ["present"]},
    "unclear": ["columella"],
    "sizes_mm": {"valley_width": [5.0, 0.3]},
}
FIRST = IdentificationRow(
    identification_id="i1",
    record_id="r1",
    role="first",
    name_as_recorded="Platygyra",
    name="Platygyra",
    current_names=("Platygyra",),
    rank="genus",
    qualifier="cf.",
    observer="Ines",
    identified_at="2024-03-09T18:00:00+00:00",
    data_version="1",
    confidence=3,
    evidence=SEEN,
)
SECOND = replace(
    FIRST,
    identification_id="i2",
    role="second",
    observer="Tomo",
    name_as_recorded="Coeloria",
    name="Leptoria",
    current_names=("Leptoria",),
    qualifier="",
    evidence={},
    confidence=None,
)
DRAW = ReviewDrawRow(
    draw_id="d",
    seed=1,
    random_frac=0.1,
    least_probability=0.8,
    observer="Tomo",
    drawn_at="2024-03-09T18:00:00+00:00",
)
OUTCOME = ReviewOutcomeRow(
    outcome_id="o",
    record_id="r1",
    first_id="i1",
    second_id="i2",
    rank_shared="genus",
    is_agreed=False,
    agreed_at="family",
    observer="Tomo",
    decided_at="2024-03-10T18:00:00+00:00",
)


def empty_store() -> MemorySurveyStore:
    made = MemorySurveyStore()
    made.save_visit(
        Visit(visit_id="Reef 2024-03-09", site="Reef", date="2024-03-09", observer="Ines")
    )
    return made


@pytest.fixture
def store() -> MemorySurveyStore:
    made = empty_store()
    made.save_record(
        RecordRow(
            record_id="r1",
            colony="A-1",
            visit_id="Reef 2024-03-09",
            observer="Ines",
            noted_at="2024-03-09T18:00:00+00:00",
        )
    )
    made.save_identification(FIRST)
    return made


def named(store: MemorySurveyStore):
    return identified_corals(store, FileReferenceTables(None), {})


def chance(*, is_drawn: bool) -> ReviewChanceRow:
    return ReviewChanceRow(
        identification_id="i1",
        record_id="r1",
        draw_id="d",
        p_drawn=0.12,
        is_drawn=is_drawn,
        reasons=("random",) if is_drawn else (),
    )


def test_no_names_give_no_section() -> None:
    assert identified_corals(MemorySurveyStore(), FileReferenceTables(None), {}) == ()


def test_evidence_is_told_in_words_and_weighed(store) -> None:
    (coral,) = named(store)
    (look,) = coral.looks
    assert look.name == "cf. Platygyra"
    assert "corallite arrangement: winding valleys like a brain" in look.seen
    assert any(s.startswith("axial corallite: not ") for s in look.seen)
    assert "valley width: 5.0 ± 0.3 mm" in look.seen
    assert "could not tell: columella" in look.seen
    assert look.confidence.startswith("more likely right")
    assert coral.weighed is not None
    assert "Platygyra" in [genus for genus, _, _ in coral.weighed.genera]
    assert 0.0 <= coral.weighed.memory_frac <= 1.0
    assert coral.visit == "Reef, 2024-03-09"


def test_a_look_without_evidence_is_not_weighed(store) -> None:
    bare = empty_store()
    bare.save_record(store.records()[0])
    bare.save_identification(replace(FIRST, evidence={}))
    assert named(bare)[0].weighed is None


@pytest.mark.parametrize(
    ("is_drawn", "words", "is_open"),
    [(True, "a second look is owed", True), (False, "(chance 12\u00a0%)", False)],
)
def test_a_draw_says_whether_a_look_is_owed(store, is_drawn, words, is_open) -> None:
    store.save_review_draw(DRAW, [chance(is_drawn=is_drawn)])
    (coral,) = named(store)
    assert words in coral.review
    assert coral.is_open is is_open


def test_two_names_that_differ_wait_for_a_third_who_decides(store) -> None:
    store.save_review_draw(DRAW, [chance(is_drawn=True)])
    store.save_identification(SECOND)
    store.save_review_outcome(OUTCOME)
    (coral,) = named(store)
    assert coral.is_open
    assert "differ at genus, agreed at family only" in coral.review
    assert coral.looks[1].recorded == "Coeloria"
    third = replace(FIRST, identification_id="i3", role="third", observer="Odalys", qualifier="")
    store.save_identification(third)
    store.save_review_outcome(
        replace(OUTCOME, outcome_id="o2", third_id="i3", settled_name="Platygyra")
    )
    (coral,) = named(store)
    assert not coral.is_open
    assert coral.name == "Platygyra"
    assert len(coral.looks) == 3
    both = replace(third, identification_id="i4", observer="Ines", with_observer="Tomo")
    store.save_identification(both)
    joint = replace(OUTCOME, outcome_id="o3", third_id="i4", settled_name="Leptoria")
    store.save_review_outcome(replace(joint, settled_how="together"))
    (coral,) = named(store)
    assert "settled by the two together as Leptoria" in coral.review
    assert (coral.looks[3].observer, coral.looks[3].role) == ("Ines and Tomo", "the two together")


def test_coarser_second_look_leaves_the_first_name_not_confirmed(store) -> None:
    store.save_review_draw(DRAW, [chance(is_drawn=True)])
    family = ("Leptoria", "Platygyra")
    vague = replace(
        SECOND,
        name_as_recorded="Merulinidae",
        name="Merulinidae",
        rank="family",
        current_names=family,
    )
    store.save_identification(vague)
    said = replace(OUTCOME, rank_shared="family", is_agreed=True)
    store.save_review_outcome(replace(said, settled_name="Merulinidae", settled_names=family))
    (coral,) = named(store)
    assert coral.name == "cf. Platygyra"
    assert "coarser and fits (Merulinidae): not confirmed to genus" in coral.review
    assert coral.is_open


def test_a_name_that_its_observer_corrected_is_told_by_the_correction(store) -> None:
    later = "2024-03-09T19:00:00+00:00"
    store.save_identification(
        replace(
            FIRST,
            identification_id="i3",
            name_as_recorded="Leptoria",
            name="Leptoria",
            current_names=("Leptoria",),
            qualifier="",
            evidence={},
            identified_at=later,
        )
    )
    (coral,) = named(store)
    assert coral.name == "Leptoria"
    assert [look.name for look in coral.looks] == ["cf. Platygyra", "Leptoria"]
    assert coral.weighed is None  # what was seen for the earlier name does not speak for the later
