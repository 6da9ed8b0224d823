"""JSON lines in, JSON lines out: one answer each, whatever is wrong with the others."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator

import numpy as np
import pytest

from dryslate import wiring
from dryslate.app.identify import Identifier
from dryslate.app.identify_batch import answer_blocks
from dryslate.app.identify_check import QuickCheck
from dryslate.core.identify.evidence import Evidence, Size, check_evidence
from dryslate.core.identify.simulated import SimulatedTeam, draw_corals

GOOD = {
    "region": "indo_pacific",
    "seen": {"growth_form": ["massive"], "corallite_arrangement": ["cerioid"]},
    "not": {"axial_corallite": ["present"]},
    "sizes_mm": {"corallite_diameter": [7.5, 0.4]},
}


@pytest.fixture(scope="module")
def identifier() -> Identifier:
    return Identifier(wiring.reference_tables())


def answers(blocks: list[bytes], identifier: Identifier) -> list[dict]:
    return [json.loads(a.text) for found in answer_blocks(blocks, identifier) for a in found]


def test_bad_lines_are_told_and_the_rest_goes_on() -> None:
    lines = [
        json.dumps({"id": "a", **GOOD}).encode(),
        b"{not json",
        b"",
        b'{"seen": {"growth_form": ["massiv"]}, "region": "nowhere"}',
        b"\xff\xfe{}",
        b"[" * 100_000,
        json.dumps({**GOOD, "region": "atlantic"}).encode(),
        b"17",
        b'{"sizes_mm": {"valley_width": [1e999, 1]}}',
        b'{"id": NaN}',
        b'{"id": "\\ud800", "seen": {"\\udcff": ["a"]}}',
    ]
    done = subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", "identify", "-", "--json"],
        input=b"\n".join(lines),
        capture_output=True,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONIOENCODING": "utf-8"},
    )
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 3, done.stderr
    assert [t["line"] for t in told] == [1, 2, 4, 5, 6, 7, 8, 9, 10, 11]
    assert [t["verdict"] is not None for t in told] == [True, *[False] * 4, True, *[False] * 4]
    assert (told[0]["id"], told[9]["id"]) == ("a", "\ud800")
    slugs = [{p["slug"] for p in t["problems"]} for t in told]
    assert slugs[1] == slugs[3] == slugs[4] == {"identify-line-unreadable"}
    assert slugs[2] == {"identify-region-unknown", "identify-state-unknown"}
    assert slugs[6] == slugs[7] == {"identify-record-unclear"}
    assert slugs[8] == {"identify-line-unreadable"}
    assert b"8 of 10" in done.stderr


def test_lines_cut_anywhere_give_the_same_answers(identifier: Identifier) -> None:
    text = "\n".join(
        json.dumps({**GOOD, "region": r}) for r in ("indo_pacific", "atlantic", "indo_pacific")
    ).encode()
    whole = answers([text], identifier)
    assert answers([text[i : i + 7] for i in range(0, len(text), 7)], identifier) == whole
    assert [w["region"] for w in whole] == ["indo_pacific", "atlantic", "indo_pacific"]


def test_complete_lines_are_answered_before_more_is_asked_for(identifier: Identifier) -> None:
    read = []

    def blocks() -> Iterator[bytes]:
        for n in range(3):
            read.append(n)
            yield json.dumps(GOOD).encode() + b"\n"

    found = answer_blocks(blocks(), identifier)
    assert len(next(found)) == 1
    assert read == [0]


def test_batch_agrees_with_single_answers(identifier: Identifier) -> None:
    from dryslate.app.identify_request import parse_record

    batch = answers([json.dumps(GOOD).encode()], identifier)[0]
    single, problems = identifier.answer(*parse_record(GOOD))
    assert single is not None
    assert problems == []
    assert batch["set95"] == list(single.set95)
    assert [r["genus"] for r in batch["ranked"]] == [r.genus for r in single.ranked[:3]]
    assert batch["verdict"] == single.verdict


def test_quick_check_finds_what_the_whole_check_finds(identifier: Identifier) -> None:
    model = identifier.model("indo_pacific")
    _, drawn = draw_corals(model, model.rates, SimulatedTeam(), 150, np.random.default_rng(11))
    odd = [
        Evidence(region="nowhere"),
        Evidence(seen={"growth_form": frozenset({"massiv"})}),
        Evidence(seen={"form": frozenset({"massive"})}),
        Evidence(not_seen={"growth_form": frozenset({"massiv"})}),
        Evidence(unclear=frozenset({"form"})),
        Evidence(unclear=frozenset({"corallite_diameter"})),
        Evidence(sizes={"corallite_diameter": Size(value_mm=1e6)}),
        Evidence(sizes={"corallite_diameter": Size(value_mm=float("nan"))}),
        Evidence(sizes={"corallite_diameter": Size(value_mm=3.0, u_mm=-1.0)}),
        Evidence(sizes={"septum": Size(value_mm=3.0)}),
        Evidence(seen={"attachment": frozenset({"attached", "free_living"})}),
        Evidence(
            seen={"attachment": frozenset({"attached"})},
            not_seen={"attachment": frozenset({"attached"})},
        ),
    ]
    quick = QuickCheck(identifier.taxa)
    whole = [check_evidence(e, identifier.taxa) for e in (*drawn, *odd)]
    assert [quick(e) for e in (*drawn, *odd)] == whole
    assert sum(map(bool, whole)) >= len(odd) - 1


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ('{"seen": {"growth_form": ["massive"]}, "seen": {"wall": ["shared"]}}', "seen"),
        ('{"seen": {"wall": ["shared"], "wall": ["separate"]}}', "wall"),
        ('{"region": "atlantic", "region": "indo_pacific"}', "region"),
        ('{"sizes_mm": {"valley_width": 3, "valley_width": 30}}', "valley_width"),
    ],
)
def test_field_that_is_given_twice_is_not_lost_unseen(
    line: str, field: str, identifier: Identifier
) -> None:
    (block,) = answer_blocks([line.encode()], identifier)
    (problem,) = json.loads(block[0].text)["problems"]
    assert problem["slug"] == "identify-line-unreadable"
    assert f"the field {field!r} is given twice" in problem["message"]
