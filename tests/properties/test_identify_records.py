"""Whatever stands in a record or on a line, it is answered or told, and nothing breaks."""

from __future__ import annotations

import json
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate import wiring
from dryslate.app.identify import Identifier
from dryslate.app.identify_batch import answer_blocks
from dryslate.app.identify_request import RECORD_KEYS, Words, parse_record, parse_size, parse_words
from dryslate.base.problems import has_error

NAMES = st.sampled_from(
    ["growth_form", "wall", "massive", "porous", "corallite_diameter", "indo_pacific", "x", ""]
)
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | NAMES
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=8,
)
RECORDS = st.dictionaries(st.sampled_from(RECORD_KEYS) | NAMES, VALUES, max_size=5) | VALUES


@cache
def identifier() -> Identifier:
    return Identifier(wiring.reference_tables())


@settings(max_examples=150, deadline=None)
@given(RECORDS)
def test_every_record_is_answered_or_told(record: object) -> None:
    evidence, problems = parse_record(record)
    answer, found = identifier().answer(evidence, problems)
    assert (answer is None) == has_error(found)
    if answer is not None:
        assert 0.0 < sum(r.probability for r in answer.ranked) < 1.0 + 1e-9


@settings(max_examples=100, deadline=None)
@given(st.lists(RECORDS.map(lambda r: json.dumps(r).encode()) | st.binary(max_size=20), max_size=5))
def test_every_line_has_one_line_of_answer(lines: list[bytes]) -> None:
    text = b"\n".join(lines)
    found = [a for part in answer_blocks([text], identifier()) for a in part]
    wanted = [i for i, line in enumerate(text.split(b"\n"), 1) if line.strip()]
    assert [json.loads(a.text)["line"] for a in found] == wanted
    for answer in found:
        document = json.loads(answer.text)
        assert answer.is_answered == (document["verdict"] is not None)
        assert answer.is_answered or document["problems"]


@given(st.text(max_size=12))
def test_size_in_any_words_is_a_size_or_a_problem(text: str) -> None:
    size, problem = parse_size(text, "valley_width")
    assert (size is None) != (problem is None)


@given(st.floats(0.001, 1e4), st.floats(0.0, 1e3), st.sampled_from(["±", "+-", " +/- "]))
def test_size_comes_back_as_it_was_written(value: float, u: float, sign: str) -> None:
    size, _ = parse_size(f"{value:.6f}{sign}{u:.6f} mm", "valley_width")
    assert size is not None
    assert (size.value_mm, size.u_mm) == (round(value, 6), round(u, 6))


@given(st.lists(st.text(max_size=8), max_size=4), st.lists(st.text(max_size=8), max_size=3))
def test_options_in_any_words_are_read_or_told(seen: list[str], sizes: list[str]) -> None:
    evidence, problems = parse_words(Words(seen=seen, sizes=sizes), None)
    assert len(problems) <= len(seen) + len(sizes)
    assert all(states for states in evidence.seen.values())
