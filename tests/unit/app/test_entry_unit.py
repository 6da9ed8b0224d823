"""Lines typed into a grid: checked as imports are, stored once, told where somebody was quicker."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dryslate.app.entry_design import read_design, save_design
from dryslate.app.entry_lines import TypedLine, running_sums
from dryslate.app.entry_unit import LinesToSave, check_sheet, entry_sheet, save_lines
from dryslate.app.import_reading import ImportSource
from dryslate.app.survey_records import Category
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import start_unit
from dryslate.base.errors import InputError
from dryslate.core.identify.taxa import Genus, TaxaData
from dryslate.core.survey.designs import UnitDesign

NOW, WHO, OTHER = "2024-05-19T12:00:00Z", "Ines Varro", "Tomo Halle"
GENERA = {
    name: Genus(
        genus=name,
        family="Merulinidae",
        authority="",
        group="stony",
        regions=frozenset({"reef"}),
    )
    for name in ("Favites", "Favia", "Goniastrea")
}
USUAL = tuple(
    Category(
        list_version=0,
        category=name,
        group=name,
        is_hard_coral=name == "hard coral",
        definition=name,
    )
    for name in ("hard coral", "sand")
)
TAPE = {"length_m": "10"}
BELT = {"length_m": "10", "width_m": "1", "edge_rule": "centre_inside"}


@pytest.fixture
def source() -> ImportSource:
    taxa = TaxaData(
        version="1",
        characters={},
        genera=GENERA,
        profiles=(),
        lookalikes=(),
        regions={"reef": frozenset({"reef"})},
    )
    return ImportSource(
        observer=WHO, at=NOW, taxa=taxa, region="reef", photos={}, size_of=lambda photo: None
    )


class Desk:
    """One person's hands on one unit."""

    def __init__(self, store: Any, source: ImportSource, unit_id: str) -> None:
        self.store, self.source, self.unit_id = store, source, unit_id
        self.n = 0

    @property
    def sheet(self):
        return entry_sheet(self.store, self.unit_id, USUAL)

    def state(self, design: str, typed: dict[str, str]) -> None:
        found, problems = read_design(design, typed, "T1", self.source)
        assert not problems
        assert found is not None
        save_design(self.store, self.sheet, found, (WHO, NOW), USUAL)

    def faults(self, *lines: TypedLine) -> list[tuple[str, str, str]]:
        checked = check_sheet(self.sheet, lines, self.source)
        return [(f.key, f.field, f.problem.slug) for f in checked.faults]

    def save(self, *lines: TypedLine, **more: Any):
        self.n += 1
        values = {"batch_id": f"{self.n:032x}", "seal": self.sheet.seal, "lines": lines, **more}
        wanted = LinesToSave(**values)
        return save_lines(self.store, self.unit_id, wanted, self.source, USUAL)


@pytest.fixture
def desk(memory_store: Any, source: ImportSource, dive) -> Desk:
    visit_id = dive.add_visit(memory_store)
    edit = start_unit(memory_store, visit_id, UnitWords(name="T1", kind="transect"), WHO, [])
    return Desk(memory_store, source, next(iter(edit.units)))


def line(key: str, kind: str, row_no: int | None = None, **cells: str) -> TypedLine:
    return TypedLine(key=key, kind=kind, cells=cells, row_no=row_no, number=int(key, 36) % 100)


def stretch(key: str, begin: str, end: str, category: str = "sand", **more: str) -> TypedLine:
    return line(key, "intercept", from_m=begin, to_m=end, category=category, **more)


def test_faults_stand_at_the_cell_that_is_wrong(desk) -> None:
    desk.state("line_intercept", TAPE)
    assert desk.faults(stretch("a", "0", "4"), stretch("b", "4", "10")) == []
    assert desk.faults(stretch("a", "0", "x"), stretch("b", "0", "10")) == [
        ("a", "to_m", "cell-not-a-number")
    ]
    assert desk.faults(stretch("a", "5", "2"))[0] == ("a", "to_m", "intercept-order")
    assert desk.faults(stretch("a", "0", "12"))[0] == ("a", "to_m", "intercept-off-tape")
    assert desk.faults(stretch("a", "0", "10", "sandd")) == [
        ("a", "category", "row-category-unknown")
    ]
    assert desk.faults(stretch("a", "0", "10", "")) == [("a", "category", "row-blank")]
    assert desk.faults(stretch("a", "0", "10", "hard coral", name="Favites")) == []
    assert desk.faults(stretch("a", "0", "10", "hard coral", name="Fav")) == [
        ("a", "name", "name-letters-ambiguous")
    ]


def test_a_gap_within_is_told_at_its_line_and_the_end_of_the_tape_for_the_unit(desk) -> None:
    desk.state("line_intercept", TAPE)
    assert desk.faults(stretch("a", "0", "4"), stretch("b", "5", "10")) == [
        ("b", "from_m", "intercepts-gap")
    ]
    assert desk.faults(stretch("a", "0", "4")) == [("", "", "intercepts-gap")]
    overlap = desk.faults(stretch("a", "0", "4"), stretch("b", "3.5", "10"))
    assert overlap == [("b", "from_m", "intercepts-overlap")]


def test_decimal_comma_is_read_where_it_is_typed(desk) -> None:
    desk.state("line_intercept", {"length_m": "2,5"})
    assert desk.sheet.stated.design.length_m == 2.5
    assert desk.faults(stretch("a", "0", "0,75"), stretch("b", "0.75", "2,5")) == []


def test_blank_is_no_zero_and_none_seen_is_its_own_row(desk) -> None:
    desk.state("belt", BELT)
    assert desk.faults(line("a", "count", name="Favites")) == [("a", "n", "row-blank")]
    assert desk.faults(line("a", "count", name="Favites", n="0")) == []
    assert desk.faults(line("a", "count", name="Favites", none_seen="yes")) == []
    both = (
        line("a", "count", name="Favites", n="2"),
        line("b", "count", name="Favites", none_seen="y"),
    )
    assert desk.faults(*both) == [("b", "none_seen", "none-seen-and-seen")]
    saved = desk.save(line("a", "count", name="Favites", none_seen="yes"))
    (row,) = desk.sheet.rows
    assert (row.row.kind, row.row.n) == ("none_seen", None)
    (again,) = desk.sheet.lines
    assert (again.kind, again.cells["none_seen"], again.row_no) == (
        "count",
        "yes",
        saved.row_nos["a"],
    )


def test_shares_of_a_colony_are_told_at_the_cell_that_is_missing_or_wrong(desk) -> None:
    desk.state("belt", BELT)
    some = {"normal_pct": "60", "pale_pct": "40"}
    rest = {"bleached_pct": "0", "recently_dead_pct": "0", "old_dead_pct": "0"}
    assert desk.faults(line("a", "colony", **some)) == [("a", "bleached_pct", "row-health-blank")]
    assert desk.faults(line("a", "colony", **some, **rest)) == []
    wrong = {**some, **rest, "pale_pct": "30"}
    assert desk.faults(line("a", "colony", **wrong)) == [("a", "old_dead_pct", "row-health-sum")]
    wrong["pale_pct"] = "140"
    assert desk.faults(line("a", "colony", **wrong)) == [("a", "pale_pct", "row-health-sum")]
    wide = {"longest_cm": "5", "across_cm": "9"}
    assert desk.faults(line("a", "colony", **wide)) == [
        ("a", "across_cm", "row-size-across-longer")
    ]
    none = line("a", "colony", longest_cm="0")
    assert desk.faults(none) == [("a", "longest_cm", "row-size-not-positive")]


def test_cells_of_a_quadrat_add_up_and_a_share_lies_within_100(desk) -> None:
    desk.state("quadrat_cells", {"n_cells": "2"})
    half = line("a", "cell", cell="1", cover_pct="60", category="sand")
    assert ("a", "cover_pct", "cell-sum") in desk.faults(half)
    over = line("b", "cell", cell="2", cover_pct="150", category="sand")
    assert ("b", "cover_pct", "row-cover-outside") in desk.faults(half, over)
    assert desk.save(over).held == {"b"}
    outside = line("c", "cell", cell="3", category="sand")
    assert ("c", "cell", "cell-not-in-quadrat") in desk.faults(outside)


def test_unfinished_lines_are_stored_and_faulty_ones_held_back(desk) -> None:
    desk.state("line_intercept", TAPE)
    saved = desk.save(stretch("a", "0", "4"), stretch("b", "4", "x"), stretch("c", "6", "8"))
    assert saved.held == {"b"}
    assert set(saved.row_nos) == {"a", "c"}
    assert [r.row.from_m for r in desk.sheet.rows] == [0.0, 6.0]
    assert [r.row.place for r in desk.sheet.rows] == ["typed, line 10", "typed, line 12"]


def test_a_batch_that_comes_twice_is_stored_once_and_answered_alike(desk) -> None:
    desk.state("line_intercept", TAPE)
    seal = desk.sheet.seal
    first = desk.save(stretch("a", "0", "4"), batch_id="f" * 32)
    again = desk.save(stretch("a", "0", "4"), batch_id="f" * 32, seal=seal)
    assert again == first
    assert len(desk.sheet.rows) == 1


def test_a_stored_line_is_corrected_taken_out_and_both_stay_in_the_log(desk) -> None:
    desk.state("line_intercept", TAPE)
    number = desk.save(stretch("a", "0", "4")).row_nos["a"]
    later = replace(desk.source, observer=OTHER, at="2024-05-20T08:00:00Z")
    desk.source = later
    desk.save(replace(stretch("z", "0", "5"), row_no=number))
    (row,) = desk.sheet.rows
    assert (row.row_no, row.row.to_m, row.observer, row.noted_at) == (number, 5.0, WHO, NOW)
    assert row.row.place == "typed, line 10"
    desk.save(gone=(number,))
    assert desk.sheet.rows == ()
    said = [c.what for c in desk.store.changes("survey_rows")]
    assert said == ["insert", "update", "delete"]


def test_whoever_comes_second_is_told_and_nothing_of_theirs_is_stored(desk) -> None:
    desk.state("line_intercept", TAPE)
    known = desk.sheet.seal
    number = desk.save(stretch("a", "0", "4")).row_nos["a"]
    with pytest.raises(InputError, match="meanwhile") as told:
        desk.save(stretch("b", "0", "4"), seal=known)
    assert told.value.slug == "changed-meanwhile"
    with pytest.raises(InputError, match="meanwhile"):
        desk.save(gone=(number + 7,))
    assert len(desk.sheet.rows) == 1


def test_lines_need_a_unit_that_says_how_it_was_sampled(desk) -> None:
    with pytest.raises(InputError) as told:
        desk.save(stretch("a", "0", "4"))
    assert told.value.slug == "unit-without-design"


def test_design_says_at_its_field_what_is_wrong(desk) -> None:
    def faults(design: str, **typed: str) -> list[tuple[str, str]]:
        return [(p.place, p.slug) for p in read_design(design, typed, "T1", desk.source)[1]]

    assert faults("belt", **{**BELT, "width_m": "wide"}) == [("width_m", "cell-not-a-number")]
    assert faults("belt", **{**BELT, "edge_rule": "any"}) == [("edge_rule", "cell-not-a-choice")]
    assert faults("belt", length_m="10", width_m="1") == [("T1", "unit-design-incomplete")]
    assert faults("belt", **{**BELT, "length_m": "0"}) == [("T1", "unit-design-not-positive")]
    assert faults("belt", **BELT, searched="Fav") == [("searched", "name-letters-ambiguous")]
    assert faults("belt", **BELT, searched="Favites; Xyz") == [("searched", "name-unknown")]
    read, problems = read_design("belt", {**BELT, "searched": "goni; Favites"}, "T1", desk.source)
    assert problems == ()
    assert read.searched == ("Goniastrea", "Favites")
    with pytest.raises(InputError) as told:
        read_design("by guess", {}, "T1", desk.source)
    assert told.value.slug == "design-unknown"


def test_way_of_sampling_stays_while_lines_stand_and_its_figures_can_be_put_right(desk) -> None:
    desk.state("line_intercept", TAPE)
    desk.save(stretch("a", "0", "4"))
    desk.state("line_intercept", {"length_m": "20"})
    assert desk.sheet.stated.design.length_m == 20.0
    with pytest.raises(InputError) as told:
        desk.state("belt", BELT)
    assert told.value.slug == "unit-design-has-rows"


def test_sums_run_against_tape_points_and_cells(desk) -> None:
    desk.state("line_intercept", TAPE)
    checked = check_sheet(
        desk.sheet,
        [stretch("a", "0", "4"), stretch("b", "4", "5", "", unreadable="in shade")],
        desk.source,
    )
    rows = [noted.row for noted in checked.rows.values()]
    design = UnitDesign(design="line_intercept", length_m=10.0)
    assert running_sums(design, rows) == {"noted": 5.0, "unreadable": 1.0, "of": 10.0}
    quadrat = UnitDesign(design="quadrat_cells", n_cells=4)
    assert running_sums(quadrat, []) == {"of": 4.0}
