"""Posteriors against figures worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.identify.evidence import Evidence, Size
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.observer import ErrorRates, confusion_of, nearness_of
from dryslate.core.identify.posterior import FloatArray, score_evidence, size_density
from dryslate.core.identify.taxa import TaxaData


def states(**given: str) -> dict[str, frozenset[str]]:
    return {name: frozenset(words.split()) for name, words in given.items()}


def chances(model: Model, **evidence: Any) -> dict[str, float]:
    p = score_evidence([Evidence(**evidence)], model).p_genus[0]
    return dict(zip(model.genera, p.tolist(), strict=True))


@pytest.fixture
def model(small_reef: ModuleType) -> Model:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    return build_model(taxa, small_reef.PLAIN, "west")


def test_nothing_seen_leaves_every_genus_equally_likely(model: Model) -> None:
    assert chances(model) == pytest.approx({"Alpha": 1 / 3, "Bella": 1 / 3, "Nova": 1 / 3})
    assert model.prior_kind == "equal"


def test_one_state_weighs_as_its_error_rate_says(model: Model) -> None:
    # 0.9 : 0.1 : 0.1 over a flat prior
    assert chances(model, seen=states(wall="shared"))["Alpha"] == pytest.approx(0.9 / 1.1)


def test_two_characters_multiply(model: Model) -> None:
    # Alpha 0.9 × 0.8, Bella 0.1 × 0.8, Nova 0.1 × 0.2
    p = chances(model, seen=states(wall="shared", tissue="thin"))
    assert p == pytest.approx({"Alpha": 0.72 / 0.82, "Bella": 0.08 / 0.82, "Nova": 0.02 / 0.82})


def test_a_state_that_is_not_there_is_evidence_against(model: Model) -> None:
    p = chances(model, not_seen=states(wall="shared"))
    assert p == pytest.approx({"Alpha": 0.1 / 1.9, "Bella": 0.9 / 1.9, "Nova": 0.9 / 1.9})


def test_denying_another_state_beside_one_seen_adds_little(model: Model) -> None:
    # Alpha 0.9 (1 - 0.15 × 0.1), the others 0.1 (1 - 0.15 × 0.9)
    p = chances(model, seen=states(wall="shared"), not_seen=states(wall="separate"))
    assert p["Alpha"] == pytest.approx(0.8865 / (0.8865 + 2 * 0.0865))


def test_two_states_of_one_character_are_both_weighed(model: Model) -> None:
    p = chances(model, seen=states(wall="shared separate"))
    assert p["Alpha"] == pytest.approx(1 / 3)  # 0.9 × 0.1 for each of them


def test_could_not_tell_is_no_evidence(model: Model) -> None:
    assert chances(model, unclear=frozenset({"wall"})) == chances(model)


def test_character_that_is_not_scored_for_a_genus_neither_helps_nor_hurts_on_average(
    model: Model,
) -> None:
    # white: 0.9, 0.1, and for Nova, not scored and alone in its family, their mean 0.5
    p = chances(model, seen=states(skeleton_colour="white"))
    assert p == pytest.approx({"Alpha": 0.9 / 1.5, "Bella": 0.1 / 1.5, "Nova": 0.5 / 1.5})


def reef_where_few_have_colours(small_reef: ModuleType) -> TaxaData:
    taxa: TaxaData = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    colour = replace(taxa.characters["skeleton_colour"], is_for_some=True)
    return replace(taxa, characters={**taxa.characters, "skeleton_colour": colour})


def test_a_character_of_some_corals_counts_a_tenth_where_it_does_not_apply(
    small_reef: ModuleType,
) -> None:
    model = build_model(reef_where_few_have_colours(small_reef), small_reef.PLAIN, "west")
    p = chances(model, seen=states(skeleton_colour="white"))  # Nova: 0.5 as above, times 0.1
    assert p == pytest.approx({"Alpha": 0.9 / 1.05, "Bella": 0.1 / 1.05, "Nova": 0.05 / 1.05})


def test_a_character_of_some_corals_is_no_evidence_while_it_is_not_seen(
    small_reef: ModuleType,
) -> None:
    plain = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    name = "skeleton_colour"
    absent = {"not_seen": states(skeleton_colour="white")}
    for given in ({}, {"unclear": frozenset({name})}, absent):
        both = [
            chances(build_model(taxa, small_reef.PLAIN, "west"), **given)
            for taxa in (plain, reef_where_few_have_colours(small_reef))
        ]
        assert both[0] == pytest.approx(both[1])


def test_temperature_takes_the_root_of_the_likelihood(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    model = build_model(taxa, replace(small_reef.PLAIN, temperature=0.5), "west")
    # sqrt(0.9) : sqrt(0.1) : sqrt(0.1) = 3 : 1 : 1
    assert chances(model, seen=states(wall="shared"))["Alpha"] == pytest.approx(0.6)


def test_local_frequencies_are_the_prior_with_a_floor(small_reef: ModuleType) -> None:
    local = {"west": {"Alpha": 1.0, "Nova": 3.0}}
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA, frequencies=local)
    model = build_model(taxa, small_reef.PLAIN, "west")
    floor = 0.02 / 3
    assert chances(model) == pytest.approx(
        {"Alpha": floor + 0.98 / 4, "Bella": floor, "Nova": floor + 0.98 * 3 / 4}
    )
    assert model.prior_kind == "local"
    assert build_model(taxa, small_reef.PLAIN, "west", all_equal=True).prior_kind == "equal"


def test_how_often_a_genus_is_met_is_the_prior_where_nothing_local_is_known(
    small_reef: ModuleType,
) -> None:
    plain = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    taxa = replace(plain, met={"west": {"Alpha": "often", "Nova": "seldom"}})
    model = build_model(taxa, small_reef.PLAIN, "west")
    # 4 : 2 : 1, Bella being met at times as it is not listed
    assert chances(model) == pytest.approx({"Alpha": 4 / 7, "Bella": 2 / 7, "Nova": 1 / 7})
    assert model.prior_kind == "met"
    equal = build_model(taxa, small_reef.PLAIN, "west", all_equal=True)
    assert chances(equal) == pytest.approx({"Alpha": 1 / 3, "Bella": 1 / 3, "Nova": 1 / 3})
    local = build_model(
        replace(taxa, frequencies={"west": {"Nova": 1.0}}), small_reef.PLAIN, "west"
    )
    assert chances(local)["Nova"] == pytest.approx(0.98 + 0.02 / 7)


def test_genera_met_always_often_at_times_and_seldom_count_8_to_4_to_2_to_1(
    small_reef: ModuleType,
) -> None:
    plain = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    taxa = replace(plain, met={"west": {"Alpha": "always", "Bella": "at_times", "Nova": "seldom"}})
    p = chances(build_model(taxa, small_reef.PLAIN, "west"))
    assert p == pytest.approx({"Alpha": 8 / 11, "Bella": 2 / 11, "Nova": 1 / 11})


def test_in_a_region_made_of_several_a_genus_counts_as_where_it_is_met_most(
    small_reef: ModuleType,
) -> None:
    plain = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    met = {"west": {"Nova": "seldom", "Alpha": "seldom"}, "east": {"Nova": "often"}}
    p = chances(build_model(replace(plain, met=met), small_reef.PLAIN, "both"))
    assert p["Nova"] == pytest.approx(4 * p["Alpha"])


def test_in_a_region_made_of_several_every_genus_counts_alike_where_nothing_is_known(
    small_reef: ModuleType,
) -> None:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    both = build_model(taxa, small_reef.PLAIN, "both")
    assert chances(both) == pytest.approx({"Alpha": 1 / 3, "Bella": 1 / 3, "Nova": 1 / 3})


def test_only_genera_of_the_region_stand_for_choice(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA, small_reef.NOVA)
    assert build_model(taxa, small_reef.PLAIN, "east").genera == ("Nova",)
    assert build_model(taxa, small_reef.PLAIN, "both").genera == ("Alpha", "Bella", "Nova")


def test_profiles_of_one_genus_are_summed_by_their_shares_drawn_together(
    small_reef: ModuleType,
) -> None:
    shared = small_reef.profile("Alpha", "wall=shared", profile="joined", share=3.0)
    parted = small_reef.profile("Alpha", "wall=separate", profile="parted", share=1.0)
    taxa = small_reef.reef(shared, parted, small_reef.BELLA)
    model = build_model(taxa, small_reef.PLAIN, "west")
    # shares 3 : 1 to the power of 0.7 are 0.6833 : 0.3167; Alpha 0.1 + 0.8 × 0.6833, Bella 0.1
    joined = 3.0**0.7 / (3.0**0.7 + 1.0)
    alpha = 0.1 + 0.8 * joined
    assert joined == pytest.approx(0.6833, abs=1e-4)
    assert chances(model, seen=states(wall="shared"))["Alpha"] == pytest.approx(
        alpha / (alpha + 0.1)
    )


def test_a_look_shows_a_little_of_what_the_other_looks_of_its_genus_do(
    small_reef: ModuleType,
) -> None:
    shared = small_reef.profile("Alpha", "wall=shared growth_form=massive", profile="joined")
    parted = small_reef.profile("Alpha", "wall=separate growth_form=branching", profile="parted")
    model = build_model(small_reef.reef(shared, parted), small_reef.PLAIN, "west")
    for name in ("wall", "growth_form"):
        # shown 0.95 : 0.05, a slip in ten
        assert model.tables[name].p_written[0] == pytest.approx([0.95 * 0.9 + 0.05 * 0.1, 0.14])
        assert model.tables[name].p_written[1] == pytest.approx([0.14, 0.86])


def test_a_look_that_is_not_scored_takes_no_part_in_what_the_genus_shows(
    small_reef: ModuleType,
) -> None:
    shared = small_reef.profile("Alpha", "wall=shared", profile="joined")
    unknown = small_reef.profile("Alpha", "tissue=thin", profile="unknown")
    model = build_model(small_reef.reef(shared, unknown), small_reef.PLAIN, "west")
    assert model.tables["wall"].p_written[0] == pytest.approx([0.9, 0.1])


def test_rarer_states_weigh_less(small_reef: ModuleType) -> None:
    both = small_reef.profile("Alpha", "wall=shared,separate:rare")
    model = build_model(small_reef.reef(both, small_reef.BELLA), small_reef.PLAIN, "west")
    share = 0.09 / 1.09
    separate = share * 0.9 + (1 - share) * 0.1
    p = chances(model, seen=states(wall="separate"))
    assert p["Alpha"] == pytest.approx(separate / (separate + 0.9))


def test_size_density_is_log_normal_with_a_tail(small_reef: ModuleType) -> None:
    sized = small_reef.profile(
        "Alpha", "wall=shared", sizes={"corallite_diameter": small_reef.size(4, 5, 8, 10)}
    )
    model = build_model(small_reef.reef(sized), small_reef.PLAIN, "west")
    middle = Size(value_mm=math.sqrt(40.0))
    lik = score_evidence([Evidence(sizes={"corallite_diameter": middle})], model).log_lik[0, 0]
    # sd = (ln 1.6 / 2.5632 + ln 2.5 / 5.1516) / 2 = 0.18062; peak 2.2088; tail 0.3989 / 2.4
    assert lik == pytest.approx(math.log(0.98 * 2.2088 + 0.02 * 0.16623), abs=2e-4)


def test_stated_uncertainty_widens_the_size(small_reef: ModuleType) -> None:
    narrow = small_reef.profile(
        "Alpha", "wall=shared", sizes={"corallite_diameter": small_reef.size(4, 5, 8, 10)}
    )
    wide = small_reef.profile(
        "Bella", "wall=shared", sizes={"corallite_diameter": small_reef.size(8, 12, 20, 24)}
    )
    model = build_model(small_reef.reef(narrow, wide), small_reef.PLAIN, "west")
    sure = chances(model, sizes={"corallite_diameter": Size(value_mm=6.0, u_mm=0.1)})
    unsure = chances(model, sizes={"corallite_diameter": Size(value_mm=6.0, u_mm=4.0)})
    assert sure["Alpha"] > 0.95 > unsure["Alpha"] > 0.5


def test_size_and_growth_form_are_weighed_together(small_reef: ModuleType) -> None:
    other = small_reef.profile(
        "Bella",
        "growth_form=massive,branching",
        sizes={"corallite_diameter": small_reef.size(1, 1, 16, 16)},
    )
    model = build_model(small_reef.reef(small_reef.WITH_KINDS, other), small_reef.PLAIN, "west")
    small = {"corallite_diameter": Size(value_mm=1.4, u_mm=0.05)}
    together = chances(model, seen=states(growth_form="branching"), sizes=small)["Alpha"]
    apart = chances(model, seen=states(growth_form="massive"), sizes=small)["Alpha"]
    assert together > apart + 0.04  # small calices of Alpha are those of its branching species


def test_a_valley_is_seldom_measured_where_only_cups_are_known(small_reef: ModuleType) -> None:
    same = small_reef.size(4, 5, 8, 10)
    valleys = small_reef.profile("Alpha", "wall=shared", sizes={"valley_width": same})
    cups = small_reef.profile("Bella", "wall=shared", sizes={"corallite_diameter": same})
    model = build_model(small_reef.reef(valleys, cups), small_reef.PLAIN, "west")
    p = chances(model, sizes={"valley_width": Size(value_mm=6.3, u_mm=0.1)})
    assert p["Alpha"] > 3 * p["Bella"]
    assert p["Bella"] > 0.05


def test_the_cup_of_a_single_polyp_is_as_wide_as_the_coral(small_reef: ModuleType) -> None:
    single = small_reef.profile(
        "Alpha",
        "wall=shared coloniality=solitary",
        sizes={"colony_diameter": small_reef.size(40, 50, 80, 100)},
    )
    cups = small_reef.profile(
        "Bella", "wall=shared", sizes={"corallite_diameter": small_reef.size(4, 5, 8, 10)}
    )
    model = build_model(small_reef.reef(single, cups), small_reef.PLAIN, "west")
    assert chances(model, sizes={"corallite_diameter": Size(value_mm=63.0)})["Alpha"] > 0.9
    assert chances(model, sizes={"corallite_diameter": Size(value_mm=6.3)})["Bella"] > 0.9


def test_valley_width_stands_in_for_calice_width(small_reef: ModuleType) -> None:
    valleys = small_reef.profile(
        "Alpha", "wall=shared", sizes={"valley_width": small_reef.size(4, 5, 8, 10)}
    )
    cups = small_reef.profile(
        "Bella", "wall=shared", sizes={"corallite_diameter": small_reef.size(20, 25, 40, 50)}
    )
    model = build_model(small_reef.reef(valleys, cups), small_reef.PLAIN, "west")
    assert chances(model, sizes={"corallite_diameter": Size(value_mm=6.0)})["Alpha"] > 0.9


def test_sizes_are_not_applied_to_a_juvenile(small_reef: ModuleType) -> None:
    model = build_model(small_reef.reef(small_reef.WITH_KINDS, small_reef.BELLA), ErrorRates())
    size = {"corallite_diameter": Size(value_mm=1.4)}
    assert chances(model, sizes=size, is_juvenile=True) == pytest.approx(chances(model))
    assert chances(model, sizes=size) != pytest.approx(chances(model))


def test_many_at_once_are_answered_as_one_by_one(model: Model) -> None:
    given = [
        Evidence(seen=states(wall="shared")),
        Evidence(),
        Evidence(seen=states(tissue="fleshy"), sizes={"corallite_diameter": Size(value_mm=3.0)}),
        Evidence(not_seen=states(wall="shared")),
    ]
    together = score_evidence(given, model).p_genus
    apart = np.concatenate([score_evidence([e], model).p_genus for e in given])
    assert together == pytest.approx(apart)


def test_terms_add_up_to_the_whole_likelihood_without_sizes(model: Model) -> None:
    scores = score_evidence([Evidence(seen=states(wall="shared", tissue="thin"))], model)
    assert sum(t.log_lik[0] for t in scores.terms) == pytest.approx(scores.log_lik[0])


def test_confusion_rows_sum_to_one_and_nothing_is_impossible(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(small_reef.ALPHA, small_reef.BELLA)
    wall = taxa.characters["wall"]
    confusion = confusion_of(wall, ErrorRates(slip=0.04), nearness_of(wall, taxa))
    assert confusion.sum(axis=1) == pytest.approx([1.0, 1.0])
    assert confusion.min() >= 0.02


def test_slips_go_to_states_that_genera_show_together(small_reef: ModuleType) -> None:
    taxa = small_reef.reef(small_reef.profile("Alpha", "wall=shared,separate"))
    three = replace(taxa.characters["wall"], states={"shared": "", "separate": "", "porous": ""})
    nearness = nearness_of(three, taxa)
    assert nearness[0] == pytest.approx([0.0, 0.875, 0.125])  # 3/4 to its kin, 1/4 anywhere
    assert nearness.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0])


def test_unknown_region_is_refused(small_reef: ModuleType) -> None:
    with pytest.raises(InputError, match="identify-region-unknown"):
        build_model(small_reef.reef(small_reef.ALPHA), ErrorRates(), "wset")


def test_region_without_genera_is_refused(small_reef: ModuleType) -> None:
    with pytest.raises(InputError, match="identify-region-empty"):
        build_model(small_reef.reef(small_reef.ALPHA), ErrorRates(), "empty")


def test_unknown_character_is_an_error_of_the_caller(model: Model) -> None:
    with pytest.raises(ValueError, match="colour"):
        score_evidence([Evidence(seen=states(colour="red"))], model)


def test_growth_form_and_each_size_say_what_leaving_them_out_takes_away(
    small_reef: ModuleType,
) -> None:
    """Against the definition, kind by kind; records with one size, two and none stand together."""
    rows = "growth_form=massive,branching:sometimes"
    sizes = {
        "corallite_diameter": small_reef.size(4, 5, 8, 10),
        "colony_diameter": small_reef.size(50, 80, 200, 300),
    }
    one = small_reef.profile("Alpha", rows, sizes=sizes)
    other = small_reef.profile("Bella", "growth_form=branching", sizes={**sizes})
    model = build_model(small_reef.reef(one, other), small_reef.PLAIN, "west")
    cup, wide = Size(value_mm=6.0, u_mm=0.5), Size(value_mm=150.0, u_mm=5.0)
    massive = states(growth_form="massive")
    part = [
        Evidence(seen=massive, sizes={"corallite_diameter": cup, "colony_diameter": wide}),
        Evidence(seen=massive, sizes={"corallite_diameter": cup}),
        Evidence(sizes={"colony_diameter": wide}),
        Evidence(seen=massive),
    ]
    terms = {t.name: t for t in score_evidence(part, model).terms}
    kinds, starts = model.kinds, model.kinds.starts

    def by_profile(record: int, left_out: str) -> FloatArray:
        lik = np.ones(len(kinds.share))
        if part[record].seen and left_out != "growth_form":
            at = model.tables["growth_form"].states.index("massive")
            lik = lik * kinds.p_growth[:, at]
        for name, size in part[record].sizes.items():
            if name != left_out:
                x = np.array([[math.log(size.value_mm)]])
                u = np.array([[size.u_mm / size.value_mm]])
                lik = lik * size_density(x, u, name, model)[0]
        return np.log(np.add.reduceat(lik * kinds.share, starts))

    for name, term in terms.items():
        for j, record in enumerate(term.rows.tolist()):
            expected = by_profile(record, "") - by_profile(record, name)
            assert term.log_lik[j] == pytest.approx(expected, abs=1e-12), (name, record)
    assert terms["corallite_diameter"].rows.tolist() == [0, 1]
    assert terms["growth_form"].rows.tolist() == [0, 1, 3]
