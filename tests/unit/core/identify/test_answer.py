"""Answers say what the evidence carries, why, and what to look at next."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from dryslate.core.identify.answer import (
    Answer,
    AnswerSettings,
    answer_to_dict,
    identify,
    identify_many,
    with_problems,
)
from dryslate.core.identify.batches import smallest_sets
from dryslate.core.identify.evidence import Evidence, Size, check_evidence
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.taxa import Profile
from dryslate.core.identify.verdict import Verdict, find_verdict


def states(**given: str) -> dict[str, frozenset[str]]:
    return {name: frozenset(words.split()) for name, words in given.items()}


def slugs(answer: Answer) -> list[str]:
    return [p.slug for p in answer.problems]


@pytest.fixture
def model(small_reef: ModuleType) -> Model:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    return build_model(taxa, small_reef.PLAIN, "west")


def ask(model: Model, **evidence: Any) -> Answer:
    return identify(Evidence(**evidence), model)


def test_candidates_are_ranked_with_words_for_their_probability(model: Model) -> None:
    answer = ask(model, seen=states(wall="shared", tissue="thin"))
    assert [r.genus for r in answer.ranked] == ["Alpha", "Bella", "Nova"]
    assert [r.likelihood_word for r in answer.ranked] == ["most likely", "possible", "unlikely"]
    assert sum(r.probability for r in answer.ranked) == pytest.approx(1.0)
    assert answer.set95 == ("Alpha", "Bella")


def test_weight_of_evidence_is_the_change_of_the_log_odds(model: Model) -> None:
    answer = ask(model, seen=states(wall="shared", tissue="thin"))
    reasons = {r.character: r for r in answer.ranked[0].for_}
    # with both 0.72 : 0.10; with tissue alone 0.8 : 1.0; with wall alone 0.9 : 0.2
    assert reasons["wall"].log_odds == pytest.approx(math.log(7.2 / 0.8))
    assert reasons["tissue"].log_odds == pytest.approx(math.log(7.2 / 4.5))
    assert reasons["wall"].text == "wall: shared, usual in Alpha"
    against = answer.ranked[2].against
    assert [r.character for r in against] == ["wall", "tissue"]
    assert against[0].text == "wall: shared, not known in Nova"


def test_usual_state_that_speaks_against_and_a_rare_one_that_speaks_for_say_why(
    small_reef: ModuleType,
) -> None:
    often = small_reef.profile("Alpha", "tissue=thin wall=shared,separate")
    always = small_reef.profile("Bella", "tissue=thin wall=shared")
    rarely = small_reef.profile("Nova", "tissue=thin wall=separate,shared:rare")
    never = small_reef.profile("Oona", "tissue=thin wall=separate")
    two = build_model(small_reef.reef(often, always), small_reef.PLAIN, "west")
    (alpha,) = [r for r in ask(two, seen=states(wall="shared")).ranked if r.genus == "Alpha"]
    assert alpha.against[0].text == "wall: shared, usual in Alpha; but more so in the others"
    two = build_model(small_reef.reef(rarely, never), small_reef.PLAIN, "west")
    (nova,) = [r for r in ask(two, seen=states(wall="shared")).ranked if r.genus == "Nova"]
    assert nova.for_[0].text == "wall: shared, rare in Nova; but even less so in the others"


def test_size_in_a_reason_is_rounded_to_its_doubt(small_reef: ModuleType) -> None:
    sizes = {"corallite_diameter": small_reef.size(6, 7, 10, 12)}
    known = small_reef.profile("Alpha", "wall=shared", sizes=sizes)
    other = small_reef.profile(
        "Bella", "wall=shared", sizes={"valley_width": sizes["corallite_diameter"]}
    )
    model = build_model(small_reef.reef(known, other), small_reef.PLAIN, "west")
    size = {"corallite_diameter": Size(value_mm=9.04371, u_mm=0.22813)}
    answer = ask(model, sizes=size)
    texts = [r.text for one in answer.ranked for r in (*one.for_, *one.against)]
    assert texts
    assert all("calice width 9.04 ± 0.23 mm" in text for text in texts)
    assert any("no calice width is known for Bella" in text for text in texts)


def test_valley_is_held_against_no_genus_of_which_only_the_calices_are_known(
    small_reef: ModuleType,
) -> None:
    calice = {"corallite_diameter": small_reef.size(6, 6, 15, 15)}
    valley = {"valley_width": small_reef.size(40, 40, 60, 60)}
    likely = small_reef.profile("Alpha", "wall=shared tissue=thin", sizes=calice)
    other = small_reef.profile("Bella", "wall=shared tissue=fleshy", sizes=valley)
    model = build_model(small_reef.reef(likely, other), small_reef.PLAIN, "west")
    measured = {"valley_width": Size(value_mm=5.0, u_mm=0.2)}
    assert slugs(ask(model, seen=states(wall="shared", tissue="thin"), sizes=measured)) == []


def test_a_question_that_does_not_apply_speaks_against_a_genus_and_says_why(
    small_reef: ModuleType,
) -> None:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    colour = replace(taxa.characters["skeleton_colour"], is_for_some=True)
    taxa = replace(taxa, characters={**taxa.characters, "skeleton_colour": colour})
    answer = ask(build_model(taxa, small_reef.PLAIN, "west"), seen=states(skeleton_colour="white"))
    against = next(r.against for r in answer.ranked if r.genus == "Nova")
    assert [r.text for r in against] == ["skeleton colour: white; nothing to look at in Nova"]


def test_share_of_evidence_from_memory_is_told(model: Model) -> None:
    answer = ask(model, seen=states(wall="shared", tissue="thin"))
    wall, tissue = math.log(9.0), math.log(1.6)
    assert answer.memory_share == pytest.approx(tissue / (wall + tissue))
    assert {r.character: r.is_memory for r in answer.ranked[0].for_} == {
        "wall": False,
        "tissue": True,
    }


def test_also_fit_are_all_genera_for_which_every_state_is_usual(model: Model) -> None:
    assert set(ask(model, seen=states(tissue="thin")).also_fit) == {"Alpha", "Bella"}
    assert ask(model, seen=states(tissue="thin", wall="shared")).also_fit == ("Alpha",)
    assert set(ask(model, not_seen=states(wall="shared")).also_fit) == {"Bella", "Nova"}
    assert ask(model).also_fit == ()


def test_a_size_that_is_right_for_others_that_are_likely_is_not_asked_about(
    small_reef: ModuleType,
) -> None:
    first = small_reef.profile(
        "Alpha", "wall=shared", sizes={"corallite_diameter": small_reef.size(0.5, 0.8, 1.5, 2)}
    )
    other = small_reef.profile(
        "Bella", "wall=shared", sizes={"corallite_diameter": small_reef.size(5, 7, 12, 15)}
    )
    third = replace(other, genus="Nova")
    taxa = small_reef.reef(first, other, third)
    size = {"corallite_diameter": Size(value_mm=7.5, u_mm=0.4)}
    for frequencies, asked in (({}, []), ({"Alpha": 1.0}, ["identify-size-misfit"])):
        local = replace(taxa, frequencies={"west": frequencies} if frequencies else {})
        model = build_model(local, small_reef.PLAIN, "west")
        evidence = Evidence(seen=states(wall="shared"), sizes=size)
        found = identify(evidence, model).problems
        assert [p.slug for p in found if p.slug == "identify-size-misfit"] == asked


def test_prior_is_said(model: Model, small_reef: ModuleType) -> None:
    assert "equally common" in ask(model).prior_words
    met = build_model(replace(model.taxa, met={"west": {"Alpha": "often"}}), model.rates, "west")
    assert "a judgement" in identify(Evidence(), met).prior_words
    local = replace(model.taxa, frequencies={"west": {"Alpha": 1.0}})
    assert "weighed in" in identify(Evidence(), build_model(local, model.rates, "west")).prior_words


@pytest.mark.parametrize(
    ("chances", "expected"),
    [
        ((0.96, 0.02, 0.02), ("Alpha", "genus", "")),
        ((0.85, 0.10, 0.05), ("Alpha", "genus", "cf.")),
        ((0.60, 0.30, 0.10), ("Alpha or Bella", "family", "cf. Alpha, Bella")),
        ((0.60, 0.10, 0.30), ("Alpha or Nova", "order", "cf. Alpha, Nova")),
        ((0.42, 0.42, 0.16), ("Firstidae, genus not told", "family", "gen. et sp. indet.")),
        ((0.40, 0.30, 0.30), ("cannot tell", "none", "gen. et sp. indet.")),
    ],
)
def test_verdict_says_no_more_than_the_probabilities_carry(
    model: Model, chances: tuple[float, ...], expected: tuple[str, str, str]
) -> None:
    said = find_verdict(np.array(chances), False, False, model)
    assert said == Verdict(verdict=expected[0], rank=expected[1], qualifier=expected[2])


def test_group_is_a_verdict_only_where_the_evidence_tells_it(small_reef: ModuleType) -> None:
    many = [small_reef.profile(f"{x}us", "wall=shared") for x in ("Al", "Be", "No", "Pa", "Qu")]
    sponge = small_reef.profile("Sponge", "wall=separate")
    model = build_model(small_reef.reef(*many, sponge), small_reef.PLAIN, "west")
    stony = np.array([0.198] * 5 + [0.01])
    before = np.array([0.183] * 5 + [0.085])
    assert find_verdict(stony, False, False, model).verdict == "stony coral, genus not told"
    assert find_verdict(stony, False, False, model).rank == "order"
    assert find_verdict(before, False, False, model).verdict == "cannot tell"


def test_something_else_than_a_coral_is_no_genus(small_reef: ModuleType) -> None:
    sponge = small_reef.profile("Sponge", "wall=separate")
    model = build_model(small_reef.reef(small_reef.ALPHA, sponge), small_reef.PLAIN, "west")
    said = find_verdict(np.array([0.03, 0.97]), False, False, model)
    assert said == Verdict(verdict="Sponge", rank="informal group", qualifier="")


def test_contradictory_evidence_keeps_its_cf(model: Model) -> None:
    assert find_verdict(np.array([0.99, 0.01, 0.0]), False, True, model).qualifier == "cf."


def test_juvenile_is_named_to_family_at_most(model: Model) -> None:
    answer = ask(
        model,
        seen=states(wall="shared", tissue="thin"),
        sizes={"corallite_diameter": Size(value_mm=2.0)},
        is_juvenile=True,
    )
    assert answer.verdict == "juvenile under 5 cm: genus not safe; most likely Firstidae"
    assert answer.rank == "family"
    assert "identify-juvenile-sizes" in slugs(answer)
    assert not {n.character for n in answer.next} & {"corallite_diameter", "colony_diameter"}


def test_contradictory_evidence_is_named_with_what_would_be_without(model: Model) -> None:
    answer = ask(model, seen=states(wall="shared", tissue="fleshy"))
    told = {p.slug: p for p in answer.problems}["identify-nothing-has-all"]
    assert "nothing in west has all of these; without" in told.message
    assert told.place in ("wall", "tissue")
    fine = ask(model, seen=states(wall="separate", tissue="fleshy"))
    assert "identify-nothing-has-all" not in slugs(fine)


def test_genus_of_another_region_that_would_have_all_is_named(small_reef: ModuleType) -> None:
    far = small_reef.profile("Far", "wall=shared tissue=fleshy", regions=frozenset({"east"}))
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, far)
    model = build_model(taxa, small_reef.PLAIN, "west")
    answer = ask(model, seen=states(wall="shared", tissue="fleshy"))
    assert any("Far, not known from there" in p.message for p in answer.problems)


def test_size_in_centimetres_is_asked_about(small_reef: ModuleType) -> None:
    cups = {"corallite_diameter": small_reef.size(4, 5, 9, 12)}
    huge = {"corallite_diameter": small_reef.size(40, 60, 90, 120)}
    model = build_model(
        small_reef.reef(
            small_reef.profile("Alpha", "wall=shared tissue=thin", sizes=cups),
            small_reef.profile("Bella", "wall=shared tissue=thin:rare,fleshy", sizes=cups),
            small_reef.profile("Nova", "wall=separate tissue=fleshy", sizes=huge),
        ),
        small_reef.PLAIN,
        "west",
    )
    size = {"corallite_diameter": Size(value_mm=75.0, u_mm=4.0)}
    answer = ask(model, seen=states(wall="shared", tissue="thin"), sizes=size)
    told = {p.slug: p for p in answer.problems}["identify-size-misfit"]
    assert "Was it 7.5 mm?" in told.fix


def test_next_characters_are_neither_asked_twice_nor_seen_on_broken_coral(model: Model) -> None:
    start = ask(model)
    assert {n.character for n in start.next} <= {"wall", "tissue"}
    assert start.next[0].expected_bits > 0
    then = ask(model, seen=states(wall="shared"), unclear=frozenset({"tissue"}))
    assert then.next == ()


def test_character_by_eye_comes_before_one_with_a_lens_that_tells_as_much(
    small_reef: ModuleType,
) -> None:
    rates = replace(small_reef.PLAIN, error={"wall": 0.1, "tissue": 0.1})
    first = small_reef.profile("Alpha", "wall=shared tissue=thin")
    second = small_reef.profile("Bella", "wall=separate tissue=fleshy")
    following = ask(build_model(small_reef.reef(first, second), rates, "west")).next
    assert [n.character for n in following] == ["tissue", "wall"]
    assert [n.seen_with for n in following] == ["eye", "lens"]


def test_expected_bits_are_the_mutual_information(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(
        small_reef.profile("Alpha", "wall=shared"), small_reef.profile("Bella", "wall=separate")
    )
    model = build_model(taxa, replace(small_reef.PLAIN, unclear={"wall": 0.25}), "west")
    (following,) = ask(model).next
    # a binary symmetric channel that errs in one of ten: 1 - H(0.1) = 0.5310 bits, told in 3 of 4
    assert following.expected_bits == pytest.approx(0.75 * 0.5310, abs=5e-5)


def test_looks_of_one_genus_are_not_told_apart_for_their_own_sake(small_reef: ModuleType) -> None:
    looks = [
        small_reef.profile("Alpha", f"wall={w}", profile=w, share=1.0)
        for w in ("shared", "separate")
    ]
    other = small_reef.profile("Bella", "wall=shared,separate")
    assert ask(build_model(small_reef.reef(*looks, other), small_reef.PLAIN, "west")).next == ()


def test_two_way_question_splits_the_top_two_with_the_lookalike_text(model: Model) -> None:
    split = ask(model, seen=states(tissue="thin")).splits
    assert split is not None
    assert {split.genus_a, split.genus_b} == {"Alpha", "Bella"}
    assert split.character == "wall"
    assert (split.shown_by_a, split.shown_by_b) == ("shared", "separate")
    assert split.how_to_tell == "Alpha shares its walls."


def test_two_that_nothing_splits_get_no_question(model: Model) -> None:
    split = ask(model, seen=states(wall="shared", tissue="thin")).splits
    assert split is not None
    assert split.character == ""


def test_single_genus_has_nothing_to_split(small_reef: ModuleType) -> None:
    answer = ask(build_model(small_reef.reef(small_reef.ALPHA), small_reef.PLAIN, "west"))
    assert answer.splits is None
    assert answer.set95 == ("Alpha",)


def test_smallest_set_holds_95_percent() -> None:
    order, n_set = smallest_sets(np.array([[0.3, 0.6, 0.1], [0.95, 0.03, 0.02]]))
    assert order[0].tolist() == [1, 0, 2]
    assert n_set.tolist() == [3, 1]


def test_answer_as_json_has_the_agreed_keys(model: Model) -> None:
    answer = ask(model, seen=states(wall="shared"))
    told = json.loads(json.dumps(answer_to_dict(answer)))
    agreed = {"region", "verdict", "rank", "qualifier", "ranked", "set95", "also_fit", "next"}
    assert {*agreed, "problems"} <= told.keys()
    assert {"genus", "family", "probability", "for", "against"} <= told["ranked"][0].keys()
    assert set(told["next"][0]) == {"character", "question", "expected_bits", "seen_with"}


def test_batch_answers_as_one_by_one(model: Model) -> None:
    given = [
        Evidence(seen=states(wall="shared")),
        Evidence(seen=states(wall="separate", tissue="fleshy"), region="west"),
        Evidence(not_seen=states(tissue="thin")),
    ] * 200
    settings = AnswerSettings()
    together = identify_many(given, model, settings)
    assert together[:3] == [identify(e, model, settings) for e in given[:3]]
    assert together[-3:] == together[:3]


def test_problems_of_the_evidence_go_before_those_of_the_answer(model: Model) -> None:
    evidence = Evidence(seen=states(wall="shared", tissue="fleshy"))
    before = check_evidence(evidence, model.taxa)
    answer = with_problems(identify(evidence, model), before)
    assert slugs(answer) == ["identify-states-never-together", "identify-nothing-has-all"]


def test_evidence_of_another_region_is_an_error_of_the_caller(model: Model) -> None:
    with pytest.raises(ValueError, match="east"):
        identify(Evidence(region="east"), model)


def test_profile_whose_states_are_denied_does_not_fit(small_reef: ModuleType) -> None:
    only: Profile = small_reef.ALPHA
    model = build_model(small_reef.reef(only), small_reef.PLAIN, "west")
    answer = ask(model, not_seen=states(wall="shared"))
    assert "identify-nothing-has-all" in slugs(answer)
    assert answer.also_fit == ()
