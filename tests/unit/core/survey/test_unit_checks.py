"""What was noted in a unit adds up, or every fault is told with its place."""

from __future__ import annotations

import dataclasses

import pytest

from dryslate.core.survey.designs import DESIGNS, ROW_KINDS, SurveyRow, UnitDesign
from dryslate.core.survey.unit_checks import check_unit

TAPE = UnitDesign(design="line_intercept", length_m=10.0)
POINTS = UnitDesign(design="point_intercept", length_m=10.0, spacing_m=0.5)
BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
CELLS = UnitDesign(design="quadrat_cells", n_cells=2)
PHOTO = UnitDesign(design="photo_points", n_points=2, point_rule="random")
HEALTHY = {
    "normal_pct": 100.0,
    "pale_pct": 0.0,
    "bleached_pct": 0.0,
    "recently_dead_pct": 0.0,
    "old_dead_pct": 0.0,
}


def stretch(begin: float | None, end: float | None, **more: object) -> SurveyRow:
    return SurveyRow(kind="intercept", category="sand", from_m=begin, to_m=end, **more)


def point(at: float, **more: object) -> SurveyRow:
    return SurveyRow(kind="point", **({"category": "sand", "at_m": at} | more))


def cell(number: int | None, cover: float | None = None) -> SurveyRow:
    return SurveyRow(kind="cell", category="sand", cell=number, cover_pct=cover)


def photo_point(x: float, photo: str = "a" * 64, **more: object) -> SurveyRow:
    return SurveyRow(
        kind="point", **({"category": "sand", "photo_id": photo, "x_px": x, "y_px": 1.0} | more)
    )


def colony(**more: object) -> SurveyRow:
    return SurveyRow(kind="colony", category="hard coral", **more)


def slugs(design: UnitDesign, *rows: SurveyRow, **more: object) -> list[str]:
    return [problem.slug for problem in check_unit(design, rows, "T1", **more)]


def all_points() -> list[SurveyRow]:
    return [point(0.5 * k) for k in range(1, 21)]


@pytest.mark.parametrize(
    ("design", "rows"),
    [
        (TAPE, [stretch(0, 4.02), stretch(4.02, 10)]),
        (TAPE, [stretch(4.02, 10), stretch(0, 4.02)]),
        (POINTS, all_points()),
        (BELT, [colony(longest_cm=12.0, across_cm=9.0, **HEALTHY)]),
        (BELT, [SurveyRow(kind="count", category="hard coral", n=0)]),
        (CELLS, [cell(1), cell(2, 40.0), cell(2, 60.0)]),
        (PHOTO, [photo_point(1.0), photo_point(2.0)]),
        (UnitDesign(design="timed_swim", minutes=30.0), []),
    ],
)
def test_what_adds_up_has_no_fault(design: UnitDesign, rows: list[SurveyRow]) -> None:
    assert slugs(design, *rows) == []


@pytest.mark.parametrize("design", DESIGNS)
def test_design_says_what_it_lacks(design) -> None:
    assert "unit-design-incomplete" in slugs(UnitDesign(design=design))


def test_sizes_of_a_design_are_above_zero() -> None:
    for bad in (0.0, -3.0, float("nan")):
        assert "unit-design-not-positive" in slugs(dataclasses.replace(TAPE, length_m=bad))


@pytest.mark.parametrize(
    ("rows", "slug"),
    [
        ([stretch(0, 4), stretch(4.5, 10)], "intercepts-gap"),
        ([stretch(0, 4), stretch(4, 9)], "intercepts-gap"),
        ([stretch(1, 10)], "intercepts-gap"),
        ([stretch(0, 4), stretch(3.5, 10)], "intercepts-overlap"),
        ([stretch(4, 4), stretch(0, 10)], "intercept-order"),
        ([stretch(None, 4), stretch(0, 10)], "intercept-order"),
        ([stretch(0, 10.2)], "intercept-off-tape"),
        ([stretch(0, 10), point(5)], "row-kind-not-of-design"),
        ([SurveyRow(kind="intercept", from_m=0, to_m=10)], "row-blank"),
        ([stretch(0, 10, unreadable="in shade")], "row-read-and-unreadable"),
    ],
)
def test_tape_adds_up(rows: list[SurveyRow], slug: str) -> None:
    assert slug in slugs(TAPE, *rows)


def test_a_centimetre_is_read_and_no_fault() -> None:
    assert slugs(TAPE, stretch(0, 4.0), stretch(4.005, 9.996)) == []


@pytest.mark.parametrize(
    ("rows", "slug"),
    [
        (all_points()[:-1], "points-not-as-many"),
        ([*all_points()[:-1], point(0.5)], "point-twice"),
        ([*all_points()[:-1], point(9.8)], "point-off-its-place"),
        ([*all_points()[:-1], point(10.5)], "point-off-its-place"),
    ],
)
def test_tape_has_each_point_once(rows: list[SurveyRow], slug: str) -> None:
    assert slug in slugs(POINTS, *rows)


@pytest.mark.parametrize(
    ("rows", "slug"),
    [
        ([cell(1)], "cells-missing"),
        ([cell(1), cell(2, 90.0)], "cell-sum"),
        ([cell(1), cell(2), cell(3)], "cell-not-in-quadrat"),
        ([cell(1), cell(2), cell(None)], "cell-not-in-quadrat"),
    ],
)
def test_quadrat_has_each_cell(rows: list[SurveyRow], slug: str) -> None:
    assert slug in slugs(CELLS, *rows)


def test_photo_has_each_point_once() -> None:
    assert slugs(PHOTO, photo_point(1.0)) == ["points-not-as-many"]
    assert slugs(PHOTO, photo_point(1.0), photo_point(1.0)) == ["point-twice"]
    other = photo_point(1.0, "b" * 64)
    assert slugs(PHOTO, photo_point(1.0), photo_point(2.0), other) == ["points-not-as-many"]
    dark = photo_point(2.0, category="", unreadable="in shade")
    assert slugs(PHOTO, photo_point(1.0), dark) == []


@pytest.mark.parametrize(
    ("row", "slug"),
    [
        (SurveyRow(kind="count", category="hard coral"), "row-blank"),
        (SurveyRow(kind="count", category="hard coral", n=-1), "row-count-negative"),
        (colony(longest_cm=0.0), "row-size-not-positive"),
        (colony(across_line_m=-0.1), "row-size-not-positive"),
        (colony(longest_cm=9.0, across_cm=12.0), "row-size-across-longer"),
        (colony(longest_cm=2500.0), "row-size-implausible"),
        (colony(normal_pct=100.0), "row-health-blank"),
        (colony(**(HEALTHY | {"pale_pct": 10.0})), "row-health-sum"),
        (colony(**(HEALTHY | {"normal_pct": 110.0, "pale_pct": -10.0})), "row-health-sum"),
    ],
)
def test_row_says_nothing_that_cannot_be(row: SurveyRow, slug: str) -> None:
    assert slugs(BELT, row) == [slug]


def test_none_seen_and_seen_are_told_apart() -> None:
    none = SurveyRow(kind="none_seen", name="Acropora")
    seen = SurveyRow(kind="colony", name="Acropora")
    assert slugs(BELT, none, seen) == ["none-seen-and-seen"]
    assert slugs(BELT, none) == []


def test_category_is_of_the_list() -> None:
    row = SurveyRow(kind="count", category="hard corl", n=3)
    assert slugs(BELT, row, categories={"hard coral"}) == ["row-category-unknown"]
    assert slugs(BELT, row) == []


def test_every_design_has_its_rows_and_area() -> None:
    assert set(ROW_KINDS) == set(DESIGNS)
    assert BELT.searched_m2 == 10.0
    assert dataclasses.replace(BELT, area_m2=12.5).searched_m2 == 12.5
    assert UnitDesign(design="timed_swim", minutes=5.0).searched_m2 is None
    assert POINTS.n_points_expected == 20
    assert (
        UnitDesign(design="point_intercept", length_m=20.0, spacing_m=0.1).n_points_expected == 200
    )


def test_place_names_unit_and_row() -> None:
    row = SurveyRow(kind="count", category="x", place="belt.csv, row 7")
    (problem,) = check_unit(BELT, [row], "T1")
    assert problem.place == "T1, belt.csv, row 7"
