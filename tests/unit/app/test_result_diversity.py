"""Diversity in results: genera of units at equal effort, and colonies where they were counted."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from dryslate.app.result_diversity import diversity_of, equal_efforts, genus_sample
from dryslate.app.result_made import Made
from dryslate.app.result_tallies import ALL, UNNAMED, NotedName, SampledAlike, TalliedUnit
from dryslate.app.unit_records import Unit
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.diversity import Counted, read_counts, read_units
from dryslate.core.survey.rarefaction import hill_curve
from dryslate.core.survey.richness import chao1, chao2
from dryslate.core.survey.tally import tally_unit

BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
POINTS = UnitDesign(design="photo_points", n_points=25)
GENERA = ("Acropora", "Favites", "Fungia", "Pavona", "Porites")
NAMES = {f"name\t{g}": NotedName(rank="genus", genera=(g,)) for g in GENERA} | {
    "name\tMerulinidae": NotedName(rank="family", genera=("Favites", "Goniastrea")),
    UNNAMED: NotedName(rank="none", genera=()),
}


def group(
    units: Sequence[dict[str, int]], design: UnitDesign = BELT, *, is_permanent: bool = False
) -> SampledAlike:
    """Units with so many colonies, or points, of each name."""
    kind = "count" if design is BELT else "point"
    made = []
    for k, unit in enumerate(units):
        rows = []
        for name, n in unit.items():
            things = (
                ("name\tsand",) if name == "sand" else (ALL, f"name\t{name}" if name else UNNAMED)
            )
            row = SurveyRow(kind=kind, name=name, n=n if kind == "count" else None)
            rows += [(row, things)] * (1 if kind == "count" else n)
        made.append(
            TalliedUnit(
                unit=Unit(unit_id=f"u{k}", visit_id="v", observer="Ines Varro"),
                tally=tally_unit(design, rows),
            )
        )
    return SampledAlike(
        visit_id="v",
        site="Ledge",
        date="2024-05-19",
        zone="",
        design=design.design,
        is_permanent=is_permanent,
        units=tuple(made),
    )


def figures(found: SampledAlike, *others: SampledAlike) -> dict[str, Made]:
    efforts = equal_efforts((found, *others), NAMES)
    return {made.found.what: made for made in diversity_of(found, NAMES, efforts)}


UNITS = [
    {"Acropora": 4, "Favites": 2},
    {"Acropora": 6, "Porites": 1, "Merulinidae": 3},
    {"Acropora": 1, "Favites": 1, "Fungia": 1},
    {"Favites": 5, "Pavona": 1},
]
SEEN = [[1, 1, 0, 0, 0], [1, 0, 0, 0, 1], [1, 1, 1, 0, 0], [0, 1, 0, 1, 0]]


def test_genera_of_units_are_rarefied_and_extrapolated_to_twice_the_units() -> None:
    found = figures(group(UNITS))
    curve = {(p.order, p.size): p for p in hill_curve(read_units(SEEN), [4, 8])}
    for order in (0, 1, 2):
        at_survey, at_size = (found[f"hill_q{order}_{k}"] for k in ("at_survey", "at_size"))
        assert at_survey.found.estimate == pytest.approx(curve[order, 4].estimate)
        assert at_size.found.estimate == pytest.approx(curve[order, 8].estimate)
        assert at_size.about.startswith(f"effective number of genera of order {order} in 8 units")
        assert "extrapolated" in at_size.about
        assert "extrapolated" not in at_survey.about
        assert at_size.found.lo95 < at_size.found.estimate < at_size.found.hi95
        assert at_size.found.method == "bootstrap_t_log"
    assert found["hill_q0_at_survey"].found.estimate == 5
    assert found["richness_chao2"].found.estimate == pytest.approx(chao2(read_units(SEEN)).estimate)
    assert "lower bound" in found["richness_chao2"].about
    assert "coverage_not_simulated" in found["hill_q0_at_size"].found.flags  # four units


def test_colonies_give_their_own_form_and_short_names_stay_out_with_their_share() -> None:
    found = figures(group(UNITS))
    colonies = read_counts([11, 8, 1, 1, 1], Counted.COLONIES)
    for is_bias_corrected, form in ((False, "classic"), (True, "bias_corrected")):
        made = found[f"richness_chao1_{form}"]
        wanted = chao1(colonies, is_bias_corrected=is_bias_corrected)
        assert made.found.estimate == pytest.approx(wanted.estimate)
        assert made.n_colonies == 22
        assert made.bounds.undetermined_frac == pytest.approx(3 / 25)


def test_surveys_of_one_design_meet_at_equal_units_and_equal_coverage() -> None:
    few, many = group(UNITS[:2]), group(UNITS)
    at = figures(many, few)
    assert "in 4 units" in at["hill_q0_at_size"].about  # twice the two units of the other
    effort = equal_efforts((few, many), NAMES)["belt"]
    assert f"coverage of {effort.coverage:.3f}" in at["hill_q1_at_coverage"].about
    assert f"coverage of {effort.coverage:.3f}" in figures(few, many)["hill_q1_at_coverage"].about


def test_points_say_which_genera_a_unit_holds_and_never_count_as_colonies() -> None:
    units = [{**{k: n for k, n in unit.items() if k in GENERA}, "sand": 9} for unit in UNITS]
    found = figures(group(units, POINTS))
    assert found["hill_q0_at_survey"].found.estimate == 5
    assert not [what for what in found if "chao1" in what or what.startswith(("shannon", "gini"))]


def test_empty_units_stay_and_units_without_names_are_blank() -> None:
    nothing, unnamed = {"sand": 25}, {"": 4, "sand": 21}
    named = {"Porites": 5, "sand": 20}
    sample = genus_sample(group([named, named, nothing, unnamed], POINTS), NAMES)
    assert (sample.n_units, sample.n_blank) == (3, 1)
    assert sample.units.counts.tolist() == [2.0]
    made = figures(group([named, named, nothing, unnamed], POINTS))["hill_q0_at_survey"]
    assert "blank_units" in made.found.flags


@pytest.mark.parametrize(
    "units",
    [[UNITS[0]], [{}, {}], [{"": 3}, {"": 2}], [{"Porites": 0}, {"Porites": 0}]],
    ids=["one unit", "empty visit", "no names", "all zeros"],
)
def test_with_nothing_to_say_of_units_nothing_is_said(units: list[dict[str, int]]) -> None:
    assert not [what for what in figures(group(units)) if what.startswith("hill")]


def test_permanent_plots_and_the_same_seed_each_time() -> None:
    first, again = (figures(group(UNITS, is_permanent=True)) for _ in range(2))
    assert first == again
    assert all("of_these_plots" in made.found.flags for made in first.values())


def test_order_two_above_order_zero_is_said_to_be_a_guess() -> None:
    genera = (
        {"Acropora": 1, "Favites": 1, "Fungia": 1},
        {"Acropora": 1, "Pavona": 1, "Porites": 1},
    )
    few = figures(group([*genera, {"Favites": 1, "Fungia": 1, "Pavona": 1, "Porites": 1}]))
    at_size = [few[f"hill_q{order}_at_size"].found for order in (0, 1, 2)]
    assert at_size[2].estimate > at_size[0].estimate
    assert all("orders_cross" in one.flags for one in at_size)
    assert "orders_cross" not in few["hill_q0_at_survey"].found.flags
    many = figures(group([*genera, {"Acropora": 1}, {"Acropora": 1, "Favites": 1}]))
    assert not any("orders_cross" in one.found.flags for one in many.values())
