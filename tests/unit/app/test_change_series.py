"""Names and categories brought to lists that visits share, before anything is compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from dryslate.app.change import ChangeAsked, changes_of
from dryslate.app.change_categories import CategoryLists
from dryslate.app.change_rows import ChangeRow
from dryslate.app.change_series import SurveyedUnits
from dryslate.app.result_tallies import (
    ALL,
    UNNAMED,
    NotedName,
    SampledAlike,
    TalliedUnit,
    looked_for,
)
from dryslate.app.survey_records import Category
from dryslate.app.unit_records import Unit
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.tally import add_cover, tally_unit

MERULINIDAE = ("Favites", "Goniastrea", "Platygyra")
NAMES = {
    **{f"name\t{g}": NotedName(rank="genus", genera=(g,)) for g in (*MERULINIDAE, "Porites")},
    "name\tMerulinidae": NotedName(rank="family", genera=MERULINIDAE),
    "name\tFavites or Porites": NotedName(rank="order", genera=("Favites", "Porites")),
    "name\tcannot tell": NotedName(rank="none", genera=()),
    "name\tZzyzora": NotedName(rank="none", genera=(), is_listed=False),
    UNNAMED: NotedName(rank="none", genera=()),
}
NO_LISTS = CategoryLists(lists={}, steps={}, used={})
BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
Amounts = Mapping[str, int]


def belts(date: str, units: Sequence[Amounts], site: str = "Ledge", design=BELT) -> SampledAlike:
    """Belts of one visit, with so many colonies of each name."""
    made = []
    for k, counts in enumerate(units):
        rows = [
            (
                SurveyRow(kind="count", name=name, n=n),
                (ALL, UNNAMED if not name else f"name\t{name}"),
            )
            for name, n in counts.items()
        ]
        tally = tally_unit(design, rows)
        for name in design.searched:
            tally.counts.setdefault(f"name\t{name}", 0)
        tally.looked_for = looked_for(design.searched, NAMES)
        unit_id = f"{site} {date} {k}"
        unit = Unit(unit_id=unit_id, visit_id=f"{site} {date}", observer="Ines Varro")
        made.append(TalliedUnit(unit=unit, tally=tally))
    return SampledAlike(
        visit_id=f"{site} {date}",
        site=site,
        date=date,
        zone="",
        design=design.design,
        is_permanent=False,
        units=tuple(made),
    )


def surveyed(*groups: SampledAlike, lists: CategoryLists = NO_LISTS) -> SurveyedUnits:
    return SurveyedUnits(groups=groups, names=NAMES, lists=lists)


def names_of(*groups: SampledAlike, **asked: object) -> dict[str, ChangeRow]:
    found = changes_of(surveyed(*groups), ChangeAsked(of=("name",), **asked))
    return {row.thing: row for row in found.rows}


def test_a_family_then_its_genera_are_no_loss_of_one_and_gain_of_others() -> None:
    first = belts("2024-05-19", [{"Merulinidae": n, "Porites": 4} for n in (19, 20, 21, 20)])
    later = belts(
        "2025-05-20",
        [{"Favites": n, "Goniastrea": 12, "Porites": 4} for n in (8, 9, 8, 7)],
    )
    found = names_of(first, later)
    assert set(found) == {"Merulinidae", "Porites"}
    row = found["Merulinidae"]
    assert (row.level, row.together) == ("family", ("Favites", "Goniastrea", "Merulinidae"))
    assert row.estimate == pytest.approx(0.0)
    assert row.reading != "changed"
    assert (found["Porites"].level, found["Porites"].together) == ("genus", ())


def test_what_was_put_together_is_found_by_each_of_its_names() -> None:
    first = belts("2024-05-19", [{"Merulinidae": n} for n in (19, 20, 21)])
    later = belts("2025-05-20", [{"Favites": n, "Porites": 2} for n in (8, 9, 8)])
    assert set(names_of(first, later, things=("favites",))) == {"Merulinidae"}


def test_corals_that_nobody_could_tell_do_not_make_a_change_of_a_genus() -> None:
    first = belts("2024-05-19", [{"Favites": n, "cannot tell": 10} for n in (9, 10, 11, 10)])
    later = belts("2025-05-20", [{"Favites": n} for n in (19, 20, 21, 20)])
    row = names_of(first, later)["Favites"]
    assert row.p is not None
    assert row.p < 0.001
    assert row.lo95 is not None
    assert row.lo95 > 0
    assert (row.reading, row.flags[-1]) == ("not_known", "names_leave_open")
    assert (row.undetermined_first, row.undetermined_last) == (0.5, 0.0)
    assert "cannot tell" not in names_of(first, later)


def test_a_change_larger_than_all_that_is_open_stands() -> None:
    first = belts("2024-05-19", [{"Favites": n, "cannot tell": 2} for n in (9, 10, 11, 10)])
    later = belts("2025-05-20", [{"Favites": n, "": 1} for n in (19, 20, 21, 20)])
    row = names_of(first, later)["Favites"]
    assert row.reading == "changed"
    assert "names_leave_open" not in row.flags
    assert row.undetermined_first == pytest.approx(8 / 48)
    assert row.undetermined_last == pytest.approx(4 / 84)
    down = names_of(replace(later, date="2023-01-01"), first)["Favites"]
    assert down.reading == "changed"


def test_an_or_across_families_counts_as_open_for_both_and_for_nothing_else() -> None:
    more = {"Favites or Porites": 6}
    first = belts("2024-05-19", [{"Favites": n, "Goniastrea": n, **more} for n in (9, 10, 11)])
    later = belts("2025-05-20", [{"Favites": n, "Goniastrea": n} for n in (15, 16, 17)])
    found = names_of(first, later)
    assert found["Favites"].reading == "not_known"
    assert found["Favites"].undetermined_first == pytest.approx(18 / 48)
    assert found["Goniastrea"].reading == "changed"
    assert found["Goniastrea"].undetermined_first == 0


def test_a_visit_at_which_no_coral_was_named_is_not_compared() -> None:
    first = belts("2024-05-19", [{"": 20}, {"": 18}, {"": 22}])
    later = belts("2025-05-20", [{"Favites": n} for n in (9, 10, 11)])
    assert not names_of(first, later)
    no_coral = belts("2024-05-19", [{"": 0}, {"": 0}, {"": 0}])
    assert names_of(no_coral, later)["Favites"].before == 0  # nothing there is none of it


def test_names_in_no_list_are_compared_as_written_and_flagged() -> None:
    visits = [
        belts(date, [{"Zzyzora": n, "Favites": n} for n in (9, 10, 12)])
        for date in ("2024-05-19", "2025-05-20")
    ]
    found = names_of(*visits)
    assert found["Zzyzora"].level == "as written"
    assert "name_in_no_list" in found["Zzyzora"].flags
    assert found["Favites"].undetermined_first == 0.5


def test_what_was_put_together_is_blank_where_not_all_of_it_was_searched_for() -> None:
    some = replace(BELT, searched=("Favites",))
    every = replace(BELT, searched=MERULINIDAE)
    first = belts("2024-05-19", [{"Merulinidae": n} for n in (19, 20, 21)])
    found = names_of(first, belts("2025-05-20", [{"Favites": n} for n in (8, 9, 7)], design=some))
    assert "Merulinidae" not in found
    row = names_of(first, belts("2025-05-20", [{"Favites": 8}, {}, {}], design=every))[
        "Merulinidae"
    ]
    assert (row.after, row.n_blank) == (pytest.approx(8 / 30), 0)


def test_a_name_met_by_chance_is_not_compared() -> None:
    design = replace(BELT, searched=("Porites",))
    counts = [{"Porites": 9, "Favites": 4}, {"Porites": 8, "Favites": 5}, {"Porites": 7}]
    found = names_of(
        belts("2024-05-19", counts, design=design),
        belts("2025-05-20", [{"Porites": n} for n in (8, 8, 6)], design=design),
    )
    assert set(found) == {"Porites"}  # where Favites was not met nobody knows that it was not there


def a_coral(bleached_pct: int) -> SurveyRow:
    return SurveyRow(
        kind="colony",
        normal_pct=100 - bleached_pct,
        pale_pct=0,
        bleached_pct=bleached_pct,
        recently_dead_pct=0,
    )


def test_shares_of_colonies_are_held_against_what_was_not_told() -> None:
    def visit(date: str, sick: int, open_sick: int) -> SampledAlike:
        group = belts(date, [{"Favites": 0, "cannot tell": 0}] * 4)
        for k, one in enumerate(group.units):
            for thing, ill, n in (
                ("name\tFavites", sick + k % 2, 20),
                ("name\tcannot tell", open_sick, 20),
            ):
                colonies = [a_coral(50 if m < ill else 0) for m in range(n)]
                one.tally.counts[thing] += n
                one.tally.colonies[thing] += colonies
        return group

    only = {"figures": ("prevalence_bleached_frac",)}
    first, later = visit("2024-05-19", 2, 10), visit("2025-05-20", 10, 2)
    row = names_of(first, later, **only)["Favites"]
    assert (row.p is not None and row.p < 0.001, row.reading) == (True, "not_known")
    assert row.undetermined_first == 0.5
    # 2.5 of 20 and at most 10 of 10 more against 10.5 of 20 and at least none of 18 more
    told = names_of(visit("2024-05-19", 2, 0), visit("2025-05-20", 19, 20), **only)["Favites"]
    assert told.reading == "changed"


def test_changes_of_several_sites_and_contrasts_are_held_against_it_too() -> None:
    def visits(site: str, before: int, open_: int, after: int) -> tuple[SampledAlike, SampledAlike]:
        a = [{"Favites": before + k, "cannot tell": open_} for k in (-1, 0, 1, 0)]
        b = [{"Favites": after + k} for k in (-1, 0, 1, 0)]
        return belts("2024-05-19", a, site), belts("2025-05-20", b, site)

    for open_, reading in ((0, "changed"), (10, "not_known")):
        impact = [*visits("Wall", 10, open_, 20), *visits("Spur", 11, open_, 22)]
        control = [*visits("Ledge", 10, 0, 10), *visits("Reach", 10, 0, 11)]
        found = changes_of(
            surveyed(*impact, *control),
            ChangeAsked(
                of=("name",),
                control=("Ledge", "Reach"),
                impact=("Wall", "Spur"),
                after="2025-01-01",
            ),
        )
        (contrast,) = [row for row in found.rows if row.kind == "contrast"]
        assert contrast.reading == reading, open_
        only = changes_of(surveyed(*impact), ChangeAsked(of=("name",), kinds=("sites",)))
        (sites,) = only.rows
        assert sites.reading == reading
        assert sites.undetermined_first == pytest.approx(84 / 166 if open_ else 0, abs=0.05)


def test_slopes_are_held_against_it_too() -> None:
    for open_, reading in ((0, "changed"), (12, "not_known")):
        visits = [
            belts(date, [{"Favites": n + k, "cannot tell": more} for k in (-1, 0, 1)])
            for date, n, more in (
                ("2022-05-19", 10, open_),
                ("2023-05-19", 15, open_ // 2),
                ("2024-05-19", 20, 0),
                ("2025-05-19", 25, 0),
            )
        ]
        found = changes_of(surveyed(*visits), ChangeAsked(of=("name",), kinds=("trend",)))
        assert found.rows[0].reading == reading, open_


def test_in_simulated_surveys_a_poorer_look_seldom_makes_a_change() -> None:
    """Truth is the same at both visits; at the first, half of the corals were not told."""
    rng = np.random.default_rng(20240519)
    raw = held = 0
    n_surveys = 200
    for _ in range(n_surveys):
        levels = rng.gamma(4.0, 5.0, size=(2, 6))
        truth = rng.poisson(levels)
        told = rng.binomial(truth[0], 0.5)
        first = belts(
            "2024-05-19",
            [{"Favites": int(n), "cannot tell": int(m - n)} for n, m in zip(told, truth[0])],  # noqa: B905
        )
        later = belts("2025-05-20", [{"Favites": int(n)} for n in truth[1]])
        row = names_of(first, later)["Favites"]
        raw += row.p is not None and row.p < 0.05
        held += row.reading == "changed"
    assert raw > 0.3 * n_surveys  # a name by name comparison would say so
    assert held <= 0.08 * n_surveys  # 5 % and twice its Monte Carlo error


# categories


def category(version: int, name: str, group: str = "", *, is_hard: bool = False) -> Category:
    return Category(
        list_version=version,
        category=name,
        group=group or name,
        is_hard_coral=is_hard,
        definition=name,
    )


def on_points(date: str, version: int, units: Sequence[Amounts], lists: Mapping) -> SampledAlike:
    """Tapes read at 100 points, by one list."""
    design = UnitDesign(design="point_intercept", length_m=50.0, spacing_m=0.5)
    made = []
    for k, amounts in enumerate(units):
        tally = tally_unit(design, [])
        for name, n in amounts.items():
            one = lists[version][name]
            things = [f"category\t{name}"]
            things += [f"group\t{one.group}"] if one.group != name else []
            things += [ALL] if one.is_hard_coral else []
            add_cover(tally, float(n), things, is_unreadable=False)
        unit = Unit(unit_id=f"{date} {k}", visit_id=date, observer="Ines Varro")
        made.append(TalliedUnit(unit=unit, tally=tally))
    return SampledAlike(
        visit_id=date,
        site="Ledge",
        date=date,
        zone="",
        design="point_intercept",
        is_permanent=False,
        units=tuple(made),
    )


def compared(
    first: Sequence[Category],
    later: Sequence[Category],
    stands: Mapping[str, str],
    amounts: tuple[Amounts, Amounts],
):
    """Changes between a visit noted by one list and a visit noted by the next."""
    lists = {1: {c.category: c for c in first}, 2: {c.category: c for c in later}}
    visits = [
        on_points(date, version, [counts] * 3, lists)
        for date, version, counts in (
            ("2024-05-19", 1, amounts[0]),
            ("2025-05-20", 2, amounts[1]),
        )
    ]
    used = {unit_id: k for k, visit in enumerate(visits, 1) for unit_id in visit.unit_ids}
    steps = {(1, old): ((2, new),) for old, new in stands.items()}
    found = changes_of(surveyed(*visits, lists=CategoryLists(lists=lists, steps=steps, used=used)))
    return {(r.kind_of_thing, r.thing): r for r in found.rows}, found.problems


CORAL = (category(1, "hard coral", is_hard=True), category(2, "hard coral", is_hard=True))


def test_categories_that_were_merged_are_compared_as_one_and_under_the_new_group() -> None:
    found, problems = compared(
        [CORAL[0], category(1, "turf"), category(1, "mat"), category(1, "sand")],
        [CORAL[1], category(2, "low algae", "algae"), category(2, "sand")],
        {"hard coral": "hard coral", "turf": "low algae", "mat": "low algae", "sand": "sand"},
        ({"hard coral": 40, "turf": 20, "mat": 10, "sand": 30},
         {"hard coral": 40, "low algae": 35, "sand": 25}),
    )  # fmt: skip
    row = found["category", "low algae"]
    assert (row.before, row.after) == pytest.approx((0.30, 0.35))
    assert row.together == ("mat", "turf")
    assert "categories_mapped" in row.flags
    assert {thing for kind, thing in found if kind == "category"} == {
        "hard coral",
        "low algae",
        "sand",
    }
    assert found["category", "hard coral"].flags == ("no_spread",)
    (told,) = [p for p in problems if p.slug == "change-categories-mapped"]
    assert told.place == "mat, turf → low algae"


def test_a_new_category_and_its_group_are_left_out_and_said() -> None:
    found, problems = compared(
        [CORAL[0], category(1, "rubble", "loose"), category(1, "sand", "loose")],
        [CORAL[1], category(2, "rubble", "loose"), category(2, "sand", "loose"),
         category(2, "dead coral", "loose")],
        {name: name for name in ("hard coral", "rubble", "sand")},
        ({"hard coral": 40, "rubble": 30, "sand": 30},
         {"hard coral": 40, "rubble": 10, "sand": 30, "dead coral": 20}),
    )  # fmt: skip
    assert ("category", "dead coral") not in found
    assert ("group", "loose") not in found
    assert ("category", "sand") in found
    (told,) = [p for p in problems if p.slug == "change-category-left-out"]
    assert told.place == "dead coral"
    assert "noted as something else" in told.message


def test_a_category_that_nothing_stands_for_is_left_out_and_said() -> None:
    found, problems = compared(
        [CORAL[0], category(1, "sponge", "animal"), category(1, "anemone", "animal")],
        [CORAL[1], category(2, "anemone", "animal")],
        {"hard coral": "hard coral", "anemone": "anemone"},
        ({"hard coral": 40, "sponge": 30, "anemone": 30}, {"hard coral": 40, "anemone": 60}),
    )
    assert ("category", "sponge") not in found
    assert ("group", "animal") not in found
    assert ("category", "anemone") in found
    (told,) = [p for p in problems if p.slug == "change-category-left-out"]
    assert told.place == "sponge"
    assert "no category of the newer list" in told.message


def test_all_corals_are_left_out_where_hard_coral_means_something_else() -> None:
    found, problems = compared(
        [CORAL[0], category(1, "fire coral", is_hard=True)],
        [CORAL[1], category(2, "fire coral")],
        {"hard coral": "hard coral", "fire coral": "fire coral"},
        ({"hard coral": 40, "fire coral": 60}, {"hard coral": 40, "fire coral": 60}),
    )
    assert ("group", "all corals") not in found
    assert ("category", "fire coral") in found
    assert any("all corals together are left out" in p.message for p in problems)


def test_a_category_of_the_same_name_is_not_taken_as_the_same_without_a_mapping() -> None:
    found, _ = compared(
        [CORAL[0], category(1, "turf")],
        [CORAL[1], category(2, "turf")],
        {"hard coral": "hard coral"},
        ({"hard coral": 40, "turf": 60}, {"hard coral": 40, "turf": 60}),
    )
    assert ("category", "turf") not in found


def test_a_mapping_goes_through_lists_that_no_unit_uses() -> None:
    lists = CategoryLists(
        lists={n: {f"c{n}": category(n, f"c{n}")} for n in (1, 2, 3)},
        steps={(1, "c1"): ((2, "c2"),), (2, "c2"): ((3, "c3"),)},
        used={},
    )
    assert lists.stands_for(1, "c1", 3) == "c3"
    assert lists.stands_for(1, "c9", 3) is None


# sizes


def sized(date: str, sizes: Sequence[float], more: Sequence[float] = ()) -> SampledAlike:
    """Belts with one colony of Favites each, and as many that nobody could tell."""
    group = belts(date, [{"Favites": 0}] * len(sizes))
    for k, (one, cm) in enumerate(zip(group.units, sizes, strict=True)):
        colony = SurveyRow(kind="colony", longest_cm=cm)
        one.tally.colonies["name\tFavites"] = [colony]
        one.tally.counts["name\tFavites"] += 1
        if more:
            one.tally.colonies["name\tcannot tell"] = [SurveyRow(kind="colony", longest_cm=more[k])]
            one.tally.counts["name\tcannot tell"] += 1
    return group


FIRST_CM, LATER_CM = (8.0, 10.0, 9.0, 12.0, 11.0), (15.0, 14.0, 18.0, 13.0, 16.5)


def sizes_of(first: SampledAlike, later: SampledAlike) -> ChangeRow:
    return names_of(first, later, figures=("geometric_mean_change_frac",))["Favites"]


def test_sizes_of_one_colony_a_unit_are_compared_as_welch_does_their_logarithms() -> None:
    row = sizes_of(sized("2024-05-19", FIRST_CM), sized("2025-05-20", LATER_CM))
    a, b = np.log(FIRST_CM), np.log(LATER_CM)
    want = stats.ttest_ind(b, a, equal_var=False)
    ends = want.confidence_interval()
    assert row.estimate == pytest.approx(np.exp(b.mean() - a.mean()) - 1)
    assert [row.lo95, row.hi95] == pytest.approx([np.expm1(ends.low), np.expm1(ends.high)])
    assert (row.p, row.df) == pytest.approx((want.pvalue, want.df))
    assert (row.before, row.after) == pytest.approx((np.exp(a.mean()), np.exp(b.mean())))
    assert row.reading == "changed"
    assert row.sees is not None
    assert 0 < row.sees < row.estimate
    assert "few_colonies" in row.flags


def test_colonies_that_nobody_could_tell_do_not_make_a_change_of_sizes() -> None:
    large = sizes_of(
        sized("2024-05-19", FIRST_CM, [60.0, 55.0, 50.0, 70.0, 65.0]),
        sized("2025-05-20", LATER_CM),
    )
    assert (large.reading, large.undetermined_first) == ("not_known", 0.5)
    assert "names_leave_open" in large.flags
    small = sizes_of(
        sized("2024-05-19", FIRST_CM, [2.0, 2.5, 3.0, 2.0, 2.2]), sized("2025-05-20", LATER_CM)
    )
    assert small.reading == "changed"  # counted to it they would make the rise larger


def test_sizes_have_no_trend_and_no_mean_of_sites() -> None:
    visits = [sized(date, FIRST_CM) for date in ("2023-01-01", "2024-01-01", "2025-01-01")]
    found = changes_of(surveyed(*visits), ChangeAsked(figures=("geometric_mean_change_frac",)))
    assert {row.kind for row in found.rows} == {"visits"}
