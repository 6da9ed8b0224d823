"""Evidence that cannot be right is told before it is used."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

from dryslate.core.identify.evidence import Evidence, Size, check_evidence
from dryslate.core.identify.taxa import TaxaData


@pytest.fixture
def taxa(small_reef: ModuleType) -> TaxaData:
    sized = small_reef.profile(
        "Alpha",
        "wall=shared tissue=thin",
        sizes={"corallite_diameter": small_reef.size(3, 4, 9, 12)},
    )
    data: TaxaData = small_reef.reef(sized, small_reef.BELLA, small_reef.NOVA)
    return data


def found(taxa: TaxaData, **evidence: Any) -> dict[str, str]:
    return {p.slug: f"{p.message} {p.fix}" for p in check_evidence(Evidence(**evidence), taxa)}


def test_sound_evidence_has_no_problems(taxa: TaxaData) -> None:
    assert not found(
        taxa,
        region="west",
        seen={"wall": frozenset({"shared"})},
        not_seen={"tissue": frozenset({"fleshy"})},
        sizes={"corallite_diameter": Size(value_mm=7.5, u_mm=0.4)},
    )


def test_unknown_words_are_told_with_the_nearest(taxa: TaxaData) -> None:
    told = found(taxa, region="wets", seen={"wal": frozenset({"x"}), "wall": frozenset({"shred"})})
    assert "west" in told["identify-region-unknown"]
    assert "wall" in told["identify-character-unknown"]
    assert told["identify-state-unknown"] == "there is no state 'shred' Nearest: shared."
    far = found(taxa, seen={"wall": frozenset({"qqq"})})
    assert "Known: " in far["identify-state-unknown"]
    assert "shared" in far["identify-state-unknown"]


def test_unknown_character_that_could_not_be_told_is_told_too(taxa: TaxaData) -> None:
    assert "identify-character-unknown" in found(taxa, unclear=frozenset({"septum"}))


def test_state_both_seen_and_not_there_is_an_error(taxa: TaxaData) -> None:
    both = {"wall": frozenset({"shared"})}
    assert "shared" in found(taxa, seen=both, not_seen=both)["identify-seen-and-not"]


def test_states_that_one_coral_cannot_show_are_told(taxa: TaxaData) -> None:
    told = found(taxa, seen={"coloniality": frozenset({"solitary", "colonial"})})
    assert "cannot go together" in told["identify-states-exclude"]


def test_states_that_no_genus_shows_together_are_told(taxa: TaxaData) -> None:
    told = found(taxa, seen={"wall": frozenset({"shared"}), "tissue": frozenset({"fleshy"})})
    assert "wall=shared" in told["identify-states-never-together"]
    assert not found(taxa, seen={"wall": frozenset({"shared"}), "tissue": frozenset({"thin"})})


@pytest.mark.parametrize("value_mm", [0.0, -1.0, float("nan"), float("inf")])
def test_size_that_is_no_size_is_an_error(taxa: TaxaData, value_mm: float) -> None:
    sizes = {"corallite_diameter": Size(value_mm=value_mm)}
    assert "identify-size-not-positive" in found(taxa, sizes=sizes)


def test_measure_that_is_not_known_is_an_error(taxa: TaxaData) -> None:
    assert "identify-measure-unknown" in found(taxa, sizes={"height": Size(value_mm=5.0)})


def test_size_in_another_unit_is_asked_about(taxa: TaxaData) -> None:
    told = found(taxa, sizes={"corallite_diameter": Size(value_mm=75.0)})
    assert "Was it 7.5 mm?" in told["identify-size-unlikely"]


def test_attached_colony_under_five_centimetres_is_a_juvenile_and_a_loose_one_is_not() -> None:
    small = {"colony_diameter": Size(value_mm=30.0)}
    assert Evidence(sizes=small).is_small
    assert not Evidence(sizes=small, seen={"attachment": frozenset({"free_living"})}).is_small
    assert not Evidence(sizes=small, seen={"coloniality": frozenset({"solitary"})}).is_small
    assert Evidence(is_juvenile=True).is_small
    assert not Evidence(sizes={"colony_diameter": Size(value_mm=50.0)}).is_small
