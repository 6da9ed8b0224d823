"""Sums of one unit: blanks stay blank, and what was not read leaves the denominator."""

from __future__ import annotations

from dryslate.core.survey.colony_health import examined, is_bleached, is_pale_or_bleached
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.tally import tally_unit

TAPE = UnitDesign(design="line_intercept", length_m=10.0)
BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")


def by_category(rows):
    return [(row, (row.category,) if row.category else ()) for row in rows]


def test_stretches_of_tape_are_summed_and_the_unread_left_out() -> None:
    rows = [
        SurveyRow(kind="intercept", category="sand", from_m=0.0, to_m=4.0),
        SurveyRow(kind="intercept", category="hard coral", from_m=4.0, to_m=6.5),
        SurveyRow(kind="intercept", unreadable="in shade", from_m=6.5, to_m=7.5),
        SurveyRow(kind="intercept", category="sand", from_m=7.5, to_m=10.0),
    ]
    tally = tally_unit(TAPE, by_category(rows))
    assert dict(tally.on) == {"sand": 6.5, "hard coral": 2.5}
    assert (tally.read, tally.unreadable) == (9.0, 1.0)


def test_cells_and_points_count_by_share_and_by_one() -> None:
    cells = [
        SurveyRow(kind="cell", category="sand", cell=1),
        SurveyRow(kind="cell", category="sand", cell=2, cover_pct=25.0),
        SurveyRow(kind="cell", category="turf", cell=2, cover_pct=75.0),
    ]
    tally = tally_unit(UnitDesign(design="quadrat_cells", n_cells=2), by_category(cells))
    assert dict(tally.on) == {"sand": 1.25, "turf": 0.75}
    points = [SurveyRow(kind="point", category="sand")] * 3 + [
        SurveyRow(kind="point", unreadable="x")
    ]
    tally = tally_unit(UnitDesign(design="photo_points"), by_category(points))
    assert (tally.on["sand"], tally.read, tally.unreadable) == (3.0, 3.0, 1.0)


def test_blank_count_adds_nothing_and_none_seen_adds_a_zero() -> None:
    rows = [
        SurveyRow(kind="count", category="soft coral", n=3),
        SurveyRow(kind="count", category="sponge", n=None),
        SurveyRow(kind="none_seen", category="hydrocoral"),
        SurveyRow(kind="count", category="anemone", n=0),
    ]
    tally = tally_unit(BELT, by_category(rows))
    assert dict(tally.counts) == {"soft coral": 3, "hydrocoral": 0, "anemone": 0}


def test_colonies_wholly_old_dead_or_of_unknown_shares_are_not_examined() -> None:
    def colony(**shares: float) -> SurveyRow:
        names = ("normal", "pale", "bleached", "recently_dead", "old_dead")
        given = {f"{n}_pct": shares.get(n, 0.0) for n in names} if shares else {}
        return SurveyRow(kind="colony", category="hard coral", longest_cm=10.0, **given)

    rows = [
        colony(normal=100.0),
        colony(normal=60.0, pale=40.0),
        colony(bleached=50.0, old_dead=50.0),
        colony(old_dead=100.0),
        colony(),
    ]
    tally = tally_unit(BELT, by_category(rows))
    assert tally.counts["hard coral"] == 5
    seen = examined(tally.colonies["hard coral"])
    assert len(seen) == 3
    assert sum(map(is_bleached, seen)) == 1
    assert sum(map(is_pale_or_bleached, seen)) == 2


def test_a_row_of_several_alike_colonies_stands_once_for_each() -> None:
    rows = [SurveyRow(kind="colony", category="hard coral", longest_cm=7.0, n=3)]
    tally = tally_unit(BELT, by_category(rows))
    assert tally.counts["hard coral"] == 3
    assert [row.longest_cm for row in tally.colonies["hard coral"]] == [7.0] * 3


def test_a_row_counts_to_its_group_too() -> None:
    rows = [(SurveyRow(kind="point", category=c), (c, "all")) for c in ("sand", "turf")]
    tally = tally_unit(UnitDesign(design="photo_points"), rows)
    assert dict(tally.on) == {"sand": 1.0, "turf": 1.0, "all": 2.0}
