"""Figures from the units' sums: sizes, juveniles and health, checked by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from dryslate.app.result_figures import figures_of
from dryslate.app.result_made import Made
from dryslate.app.result_settings import ResultSettings
from dryslate.app.result_size_changes import size_changes
from dryslate.app.result_tallies import ALL, NotedName, SampledAlike, TalliedUnit
from dryslate.app.unit_records import Unit
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.tally import tally_unit

BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
TAPE = UnitDesign(design="line_intercept", length_m=10.0)
LINE = UnitDesign(design="point_intercept", length_m=10.0, spacing_m=0.5)
NAMES = {
    "name\tFavites": NotedName(rank="genus", genera=("Favites",)),
    "name\tMerulinidae": NotedName(rank="family", genera=("Favites", "Goniastrea")),
}


def group(
    design: UnitDesign, units: Sequence[Sequence[SurveyRow]], *, is_permanent: bool = False
) -> SampledAlike:
    """Put units together; a colony counts to all corals and to its name."""
    made = [
        TalliedUnit(
            unit=Unit(unit_id=f"u{k}", visit_id="v", observer="Ines Varro"),
            tally=tally_unit(
                design, [(r, (ALL, f"name\t{r.name}") if r.name else (ALL,)) for r in rows]
            ),
        )
        for k, rows in enumerate(units)
    ]
    return SampledAlike(
        visit_id="v",
        site="Ledge",
        date="2024-05-19",
        zone="",
        design=design.design,
        is_permanent=is_permanent,
        units=tuple(made),
    )


def figures(found: SampledAlike, settings: ResultSettings | None = None) -> dict:
    """Return figures by name, word of the thing, and what they are about."""
    made = figures_of(found, NAMES, settings or ResultSettings())
    return {(m.found.what, m.thing.split("\t")[1], m.about): m for m in made}


def colony(size: float | None = None, shares: str = "", **more: object) -> SurveyRow:
    names = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct")
    given = dict(zip(names, map(float, shares.split()), strict=True)) if shares else {}
    return SurveyRow(kind="colony", longest_cm=size, **given, **more)


def one(found: dict, what: str, word: str = "all corals", about: str = "") -> Made:
    (made,) = [m for (w, t, a), m in found.items() if (w, t) == (what, word) and about in a]
    return made


def test_sizes_give_mean_quantiles_shape_and_classes_of_5_times_2_to_the_k() -> None:
    sizes = [[3.0, 8.0, 12.0, 30.0], [6.0, 9.0, 45.0], [2.0, 100.0, 200.0, 18.0]]
    found = figures(group(BELT, [[colony(s) for s in unit] for unit in sizes]))
    every = np.log(np.concatenate(sizes))
    mean = one(found, "geometric_mean_cm")
    assert mean.found.estimate == pytest.approx(math.exp(every.mean()))
    assert mean.n_colonies == 11
    assert "few_colonies" in mean.found.flags
    assert one(found, "log_sd").found.estimate == pytest.approx(every.std(ddof=1))
    assert one(found, "size_q50_cm").found.estimate == 12.0
    counts = {m.about: m.n_colonies for (w, _, _), m in found.items() if w == "class_share_frac"}
    assert counts == {
        "0 to under 5 cm; all sizes": 2,
        "5 to under 10 cm; all sizes": 3,
        "10 to under 20 cm; all sizes": 2,
        "20 to under 40 cm; all sizes": 1,
        "40 to under 80 cm; all sizes": 1,
        "80 to under 160 cm; all sizes": 1,
        "160 cm and more; all sizes": 1,
    }


def test_classes_and_cut_off_that_the_user_typed_are_stated() -> None:
    settings = ResultSettings(size_edges_cm=(4.0, 15.0), size_cut_off_cm=5.0)
    units = [[colony(s) for s in unit] for unit in ([3.0, 8.0], [6.0, 20.0])]
    found = figures(group(BELT, units), settings)
    about = {a: m.n_colonies for (w, _, a), m in found.items() if w == "class_share_frac"}
    assert about == {
        "4 to under 15 cm; colonies of 5 cm and more": 2,
        "15 cm and more; colonies of 5 cm and more": 1,
    }
    assert "sizes_cut_off" in one(found, "geometric_mean_cm").found.flags


@pytest.mark.parametrize(
    ("typed", "slug"),
    [
        ({"size_edges_cm": (5.0, 5.0)}, "results-size-classes-wrong"),
        ({"size_edges_cm": ()}, "results-size-classes-wrong"),
        ({"size_cut_off_cm": -1.0}, "results-size-limit-wrong"),
        ({"juvenile_cm": 0.0}, "results-size-limit-wrong"),
    ],
)
def test_classes_and_limits_that_cannot_be_are_refused(typed: dict, slug: str) -> None:
    with pytest.raises(InputError) as error:
        ResultSettings(**typed)
    assert error.value.slug == slug


def test_sizes_under_a_tape_are_weighed_by_one_over_the_width_across_it() -> None:
    units = [
        [colony(10.0, across_line_m=0.10), colony(40.0, across_line_m=0.40)],
        [colony(20.0, across_line_m=0.20)],
    ]
    made = one(figures(group(TAPE, units)), "geometric_mean_cm")
    logs, weights = np.log([10.0, 40.0, 20.0]), [10.0, 2.5, 5.0]
    assert made.found.estimate == pytest.approx(math.exp(np.average(logs, weights=weights)))
    assert "weighed" in made.about


def test_sizes_under_points_are_weighed_by_one_over_the_area() -> None:
    units = [[colony(10.0, across_cm=5.0)], [colony(40.0, across_cm=20.0)]]
    made = one(figures(group(LINE, units)), "geometric_mean_cm")
    weights = [1 / 50, 1 / 800]
    assert made.found.estimate == pytest.approx(
        math.exp(np.average(np.log([10.0, 40.0]), weights=weights))
    )


def test_without_widths_a_tape_gives_neither_density_nor_sizes_and_says_so() -> None:
    units = [[colony(10.0, across_line_m=0.1)], [colony(20.0)]]
    found = figures(group(TAPE, units))
    for what in ("density_per_m2", "geometric_mean_cm"):
        made = one(found, what)
        assert made.found.estimate is None
        assert "width_missing" in made.found.flags
    assert not [w for w, _, _ in found if w == "class_share_frac"]


def test_juveniles_are_counted_where_every_colony_was_sized() -> None:
    units = [[colony(3.0), colony(4.9), colony(5.0)], [colony(12.0)], [colony(2.0), colony()]]
    made = one(figures(group(BELT, units)), "juvenile_density_per_m2")
    assert made.found.estimate == pytest.approx((2 / 10 + 0) / 2)  # the third belt is blank
    assert (made.found.n_units, made.found.n_blank) == (2, 1)
    assert made.about == "colonies under 5 cm"
    assert "juveniles_read_low" not in made.found.flags


def test_juveniles_of_photos_alone_read_low() -> None:
    quadrat = UnitDesign(design="quadrat_counts", area_m2=1.0, edge_rule="two_sides_in")
    units = [[colony(3.0, photo_id="a"), colony(9.0, photo_id="a")], [colony(4.0, photo_id="b")]]
    made = one(figures(group(quadrat, units)), "juvenile_density_per_m2")
    assert made.found.estimate == pytest.approx(1.0)
    assert "juveniles_read_low" in made.found.flags


HEALTH = [
    [colony(10.0, "100 0 0 0 0", across_cm=10.0), colony(20.0, "40 20 20 0 20", across_cm=20.0)],
    [colony(10.0, "0 0 60 40 0", across_cm=10.0), colony(30.0, "0 0 0 0 100", across_cm=30.0)],
]


def test_health_of_colonies_that_were_examined() -> None:
    found = figures(group(BELT, HEALTH))
    assert one(found, "prevalence_bleached_frac").found.estimate == pytest.approx(2 / 3)
    assert one(found, "prevalence_recently_dead_frac").found.estimate == pytest.approx(1 / 3)
    alike = one(found, "bleached_of_live_frac", about="alike")
    assert alike.found.estimate == pytest.approx((20 + 60) / (100 + 80 + 60))
    by_area = one(found, "bleached_of_live_frac", about="area")  # areas as 1 : 4 : 1
    assert by_area.found.estimate == pytest.approx((4 * 20 + 60) / (100 + 4 * 80 + 60))
    assert one(found, "partial_mortality_recent_frac").found.estimate == pytest.approx(0.4 / 3)
    assert one(found, "partial_mortality_old_frac").found.estimate == pytest.approx(0.2 / 3)


def test_index_is_made_of_covered_mixes_only() -> None:
    units = [HEALTH[0], [colony(10.0, "0 0 60 0 40", place="sheet 2, row 7")]]
    made = one(figures(group(BELT, units)), "bleaching_index_seven_classes_pct")
    assert made.found.estimate == pytest.approx(100 * (0 + 3 + 5) / 18)  # ranks 0, 3 and 5 of 6
    assert "McClanahan" in made.about
    units[1] = [colony(10.0, "0 0 60 40 0", place="sheet 2, row 7")]
    made = one(figures(group(BELT, units)), "bleaching_index_seven_classes_pct")
    assert made.found.estimate is None
    assert "mix_not_covered" in made.found.flags
    assert made.about == "1 of 3 colonies fit in no class of the index, the first at sheet 2, row 7"


def test_lesions_by_their_word_of_colonies_looked_at() -> None:
    sound = "100 0 0 0 0"
    units = [
        [colony(9.0, sound, lesion="Tissue loss"), colony(9.0, sound), colony(9.0, sound)],
        [colony(9.0, sound, lesion="growth; tissue loss"), colony(9.0, lesion="none")],
        [colony(9.0, lesion="growth"), colony(9.0)],  # nobody knows how many were looked at
    ]
    found = figures(group(BELT, units))
    loss = one(found, "prevalence_lesion_frac", about="tissue loss")
    assert loss.found.estimate == pytest.approx(2 / 5)
    assert loss.found.n_blank == 1
    assert one(found, "prevalence_lesion_frac", about="growth").found.estimate == 0.2
    assert one(found, "prevalence_lesion_frac", about="any lesion").found.estimate == 0.4


def test_prevalence_of_a_genus_has_its_bounds() -> None:
    sound, white = "100 0 0 0 0", "50 0 50 0 0"
    units = [
        [colony(9.0, sound, name="Favites"), colony(9.0, white, name="Merulinidae")],
        [colony(9.0, white, name="Favites"), colony(9.0, sound, name="Favites")],
    ]
    made = one(figures(group(BELT, units)), "prevalence_bleached_frac", "Favites")
    assert made.found.estimate == pytest.approx(1 / 3)
    assert made.bounds is not None
    assert made.bounds.if_all == pytest.approx(2 / 4)
    assert made.bounds.undetermined_frac == pytest.approx(1 / 4)


def test_colonies_chosen_because_stressed_leave_sizes_and_health_but_not_counts() -> None:
    units = group(BELT, [[colony(9.0, "100 0 0 0 0")], [colony(7.0, "80 20 0 0 0")]])
    first, second = units.units
    white = [(replace(colony(50.0, "0 0 100 0 0"), kind="count", n=1), (ALL,))]
    tally = tally_unit(BELT, [(r, (ALL,)) for r in second.tally.colonies[ALL]] + white)
    tally.chosen = tally_unit(BELT, white).counts
    found = figures(replace(units, units=(first, replace(second, tally=tally))))
    assert one(found, "density_per_m2").found.estimate == pytest.approx(0.15)
    bleached = one(found, "prevalence_bleached_frac").found
    assert (bleached.estimate, bleached.hi95 is not None) == (0, True)
    assert "chosen_left_out" in bleached.flags
    assert one(found, "geometric_mean_cm").n_colonies == 2
    assert one(found, "juvenile_density_per_m2").found.n_blank == 0


def test_permanent_plots_speak_of_themselves_and_one_unit_has_no_interval() -> None:
    found = figures(group(BELT, HEALTH[:1], is_permanent=True))
    for what in ("density_per_m2", "geometric_mean_cm", "prevalence_bleached_frac", "size_q50_cm"):
        made = one(found, what).found
        assert {"of_these_plots", "one_unit"} <= set(made.flags), what
        assert (made.lo95, made.hi95) == (None, None)


def test_sizes_are_held_against_those_of_the_visit_before() -> None:
    rng = np.random.default_rng(5)
    sizes = [np.exp(rng.normal(np.log(mean), 0.5, (5, 12))) for mean in (10.0, 20.0)]
    visits = [
        replace(group(BELT, [[colony(s) for s in unit] for unit in units]), date=date)
        for units, date in zip(sizes, ("2024-05-19", "2025-05-20"), strict=True)
    ]
    ((first, second, made),) = size_changes(visits[::-1], ResultSettings())
    assert (first.date, second.date) == ("2024-05-19", "2025-05-20")
    ratio = math.exp(np.log(sizes[1]).mean() - np.log(sizes[0]).mean())
    assert made.found.estimate == pytest.approx(ratio)
    assert made.found.lo95 < ratio < made.found.hi95
    assert made.found.method == "two_groups_t_log"
    assert made.about.startswith("against 2024-05-19 (60 colonies); greatest distance")
    assert "by exchanging whole units (252 ways, smallest p 0.0079)" in made.about
    few = [replace(one, units=one.units[:2]) for one in visits]
    ((_, _, made),) = size_changes(few, ResultSettings())
    assert "few_colonies" in made.found.flags
    assert "no p under 50 colonies" in made.about


DESIGNS = {
    "belt": BELT,
    "quadrat_counts": UnitDesign(
        design="quadrat_counts", area_m2=1.0, edge_rule="two_sides_in", searched=("Favites",)
    ),
    "timed_swim": UnitDesign(design="timed_swim", minutes=20.0),
    "line_intercept": TAPE,
    "point_intercept": LINE,
    "photo_points": UnitDesign(design="photo_points", n_points=10, point_rule="random"),
    "quadrat_cells": UnitDesign(design="quadrat_cells", n_cells=4),
}


@pytest.mark.parametrize("design", DESIGNS.values(), ids=DESIGNS)
@pytest.mark.parametrize("n_units", [1, 3])
def test_units_in_which_nothing_was_noted_are_blank_and_not_zero(
    design: UnitDesign, n_units: int
) -> None:
    assert figures(group(design, [[]] * n_units)) == {}


@pytest.mark.parametrize("design", [DESIGNS[d] for d in ("belt", "quadrat_counts", "timed_swim")])
def test_none_seen_anywhere_gives_an_upper_limit_only(design: UnitDesign) -> None:
    found = figures(group(design, [[SurveyRow(kind="none_seen", category="hard coral")]] * 4))
    assert len(found) == 1
    (made,) = found.values()
    assert (made.found.estimate, made.found.lo95) == (0.0, None)
    assert made.found.hi95 > 0
    assert "upper_limit_only" in made.found.flags


def test_tails_have_no_interval_under_ten_units_and_the_largest_reads_low_under_twenty() -> None:
    rng = np.random.default_rng(8)
    sizes = np.exp(rng.normal(2.5, 0.7, (12, 15)))
    for n, wanted in ((2, ""), (5, "median"), (12, "all")):
        found = figures(group(BELT, [[colony(s) for s in unit] for unit in sizes[:n]]))
        assert (one(found, "size_q50_cm").found.lo95 is not None) == (wanted != "")
        tail = one(found, "size_q90_cm").found
        assert (tail.lo95 is not None) == (wanted == "all")
        assert ("coverage_low" in tail.flags) == (wanted == "all")
        assert ("few_units" in tail.flags) == (wanted != "all")
