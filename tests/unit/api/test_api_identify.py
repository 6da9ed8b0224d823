"""The Python face names corals, lists genera and puts them side by side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import dryslate
from dryslate.base.errors import InputError
from dryslate.core.identify.evidence import Size


def test_sizes_may_be_given_in_three_ways_with_one_answer() -> None:
    sizes: list[float | tuple[float, float] | Size] = [
        (7.5, 0.0),
        7.5,
        Size(value_mm=7.5),
    ]
    answers = [
        dryslate.identify(seen={"growth_form": ["massive"]}, sizes_mm={"corallite_diameter": s})
        for s in sizes
    ]
    assert answers[0] == answers[1] == answers[2]
    assert answers[0].region == "indo_pacific"
    assert sum(r.probability for r in answers[0].ranked) <= 1.0 + 1e-9


def test_states_may_be_one_word_or_any_collection() -> None:
    one = dryslate.identify(seen={"growth_form": "massive"}, not_seen={"tissue": ("fleshy",)})
    other = dryslate.identify(
        seen={"growth_form": frozenset({"massive"})}, not_seen={"tissue": "fleshy"}
    )
    assert one == other


def test_what_could_not_be_told_is_not_asked_again() -> None:
    plain = dryslate.identify()
    asked = plain.next[0].character
    after = dryslate.identify(unclear=[asked])
    assert asked not in [n.character for n in after.next]
    assert [r.genus for r in after.ranked] == [r.genus for r in plain.ranked]


def test_all_faults_are_in_one_refusal() -> None:
    with pytest.raises(InputError, match="masive") as told:
        dryslate.identify(
            region="nowhere", seen={"growth_form": "masive"}, sizes_mm={"valley_width": -1.0}
        )
    assert "nowhere" in str(told.value)
    assert "valley_width" in str(told.value)


def test_genera_are_those_of_the_region_and_corals_alone() -> None:
    everywhere = {g.genus for g in dryslate.genera()}
    atlantic = {g.genus for g in dryslate.genera("atlantic")}
    assert "Diploria" in atlantic < everywhere
    assert "Favites" not in atlantic
    assert {g.group for g in dryslate.genera()} <= {"stony", "hydrocoral", "octocoral"}
    with pytest.raises(InputError, match="nowhere"):
        dryslate.genera("nowhere")


def test_lookalikes_are_listed_or_put_side_by_side() -> None:
    listed = dryslate.lookalikes("Porites")
    assert isinstance(listed, list)
    assert "Montipora" in [one.genus for one in listed]
    pair = dryslate.lookalikes("Porites", "Montipora", px_per_mm=20.0)
    assert not isinstance(pair, list)
    assert pair.differing


def test_genera_can_be_counted_as_equally_common() -> None:
    seen = {"growth_form": "massive", "corallite_arrangement": "cerioid"}
    assert "a judgement" in dryslate.identify(seen=seen).prior_words
    assert "equally common" in dryslate.identify(seen=seen, all_equal=True).prior_words


def test_project_region_is_taken_where_none_is_given(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    (tmp_path / "taxa" / "frequencies.csv").write_text(
        "region,genus,frequency,source\nwestern_atlantic,Porites,9,own\n", encoding="utf-8"
    )
    answer = dryslate.identify(seen={"tissue": "thin"}, project=tmp_path)
    assert answer.region == "western_atlantic"
    assert answer.ranked[0].genus == "Porites"


def test_folder_that_is_no_project_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="project-not-found"):
        dryslate.genera(project=tmp_path / "gone")


def test_numbers_of_numpy_are_numbers() -> None:
    plain = dryslate.identify(sizes_mm={"corallite_diameter": (7.5, 0.5)})
    for size in (np.array([7.5, 0.5]), [np.float32(7.5), 0.5], (np.float64(7.5), np.float32(0.5))):
        assert dryslate.identify(sizes_mm={"corallite_diameter": size}).ranked == plain.ranked
    whole = dryslate.identify(sizes_mm={"corallite_diameter": np.int64(7)})
    assert whole.ranked == dryslate.identify(sizes_mm={"corallite_diameter": 7}).ranked
