"""Options and records are read as evidence, with every fault told at once."""

from __future__ import annotations

import pytest

from dryslate.app.identify_request import (
    Words,
    in_centimetres,
    parse_record,
    parse_size,
    parse_words,
)
from dryslate.core.identify.evidence import Size


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [
        ("7.5±0.4", 7.5, 0.4),
        ("7.5+-0.4", 7.5, 0.4),
        ("7.5 +/- 0.4 mm", 7.5, 0.4),
        ("7", 7.0, 0.0),
        (" .5 mm ", 0.5, 0.0),
        ("1.2±0.1cm", 12.0, 1.0),
        ("1e1", 10.0, 0.0),
    ],
)
def test_sizes_are_read_in_millimetres(text: str, value: float, u: float) -> None:
    size, problem = parse_size(text, "corallite_diameter")
    assert problem is None
    assert size == Size(value_mm=pytest.approx(value), u_mm=pytest.approx(u))


@pytest.mark.parametrize("text", ["", "wide", "7,5", "7.5±", "-3", "7 8", "±0.4", "nan"])
def test_what_is_no_size_is_told_and_not_guessed(text: str) -> None:
    size, problem = parse_size(text, "valley_width")
    assert size is None
    assert problem is not None
    assert problem.slug == "identify-size-unclear"


def test_another_unit_is_asked_about() -> None:
    size, problem = parse_size("0.3 inch", "valley_width")
    assert size is None
    assert problem is not None
    assert (problem.slug, problem.place) == ("identify-size-unit", "valley_width")


def test_states_of_one_character_are_put_together() -> None:
    said = Words(
        seen=["growth_form=massive", "growth_form = columnar,encrusting"],
        not_seen=["axial_corallite=present"],
        unclear=["columella"],
        is_juvenile=True,
    )
    evidence, problems = parse_words(said, None)
    assert problems == []
    assert evidence.seen == {"growth_form": {"massive", "columnar", "encrusting"}}
    assert evidence.not_seen == {"axial_corallite": {"present"}}
    assert (evidence.unclear, evidence.is_juvenile) == ({"columella"}, True)


def test_all_faults_of_a_command_line_come_at_once() -> None:
    said = Words(
        seen=["massive", "=massive", "growth_form="],
        not_seen=["axial_corallite"],
        sizes=["7.5", "valley_width=5", "valley_width=6", "corallite_diameter=big"],
    )
    evidence, problems = parse_words(said, None)
    assert [p.slug for p in problems] == [
        "identify-option-unclear",
        "identify-size-twice",
        "identify-size-unclear",
        *["identify-option-unclear"] * 4,
    ]
    assert evidence.sizes == {"valley_width": Size(value_mm=5.0)}


def test_centimetres_are_noticed() -> None:
    assert in_centimetres(["a=7.5cm", "b=7.5 mm", "c=1 CM"]) == {"a", "c"}


def test_record_is_read_whole() -> None:
    evidence, problems = parse_record(
        {
            "id": 7,
            "region": "atlantic",
            "seen": {"growth_form": ["massive", "columnar"], "tissue": "thin"},
            "not": {"wall": ["porous"]},
            "unclear": ["columella"],
            "sizes_mm": {"corallite_diameter": [7.5, 0.4], "valley_width": 5, "x": [3]},
            "juvenile": False,
        }
    )
    assert problems == []
    assert evidence.region == "atlantic"
    assert evidence.seen == {"growth_form": {"massive", "columnar"}, "tissue": {"thin"}}
    assert evidence.not_seen == {"wall": {"porous"}}
    assert evidence.sizes["corallite_diameter"] == Size(value_mm=7.5, u_mm=0.4)
    assert evidence.sizes["valley_width"] == evidence.sizes["valley_width"].__class__(value_mm=5.0)


@pytest.mark.parametrize(
    ("record", "place"),
    [
        ([], "record"),
        ("massive", "record"),
        ({"id": [1]}, "id"),
        ({"region": 3}, "region"),
        ({"seen": ["massive"]}, "seen"),
        ({"seen": {"growth_form": 3}}, "seen.growth_form"),
        ({"seen": {"growth_form": []}}, "seen.growth_form"),
        ({"not": {"growth_form": [["massive"]]}}, "not.growth_form"),
        ({"unclear": {"growth_form": True}}, "unclear"),
        ({"sizes_mm": 7.5}, "sizes_mm"),
        ({"sizes_mm": {"valley_width": "5"}}, "sizes_mm.valley_width"),
        ({"sizes_mm": {"valley_width": [True, 1]}}, "sizes_mm.valley_width"),
        ({"sizes_mm": {"valley_width": [1, 2, 3]}}, "sizes_mm.valley_width"),
        ({"sizes_mm": {"valley_width": [10**400, 1]}}, "sizes_mm.valley_width"),
        ({"juvenile": "yes"}, "juvenile"),
    ],
)
def test_fields_of_the_wrong_kind_are_told_with_their_place(record: object, place: str) -> None:
    _, problems = parse_record(record)
    assert [(p.slug, p.place) for p in problems] == [("identify-record-unclear", place)]


def test_unknown_fields_are_said_and_left_out() -> None:
    evidence, problems = parse_record({"size_mm": {"valley_width": [5, 1]}})
    assert [(p.slug, p.severity) for p in problems] == [("identify-record-key", "warning")]
    assert evidence.sizes == {}
