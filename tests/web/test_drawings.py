"""The drawings of states: what the tool draws, all of a question or none, plain and safe files."""

from __future__ import annotations

import csv
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / "src" / "dryslate" / "web" / "static" / "drawings"
FILES = sorted(KEPT.rglob("*.*"))
SVG = "{http://www.w3.org/2000/svg}"
MUST_BE_DRAWN = ("growth_form", "corallite_arrangement")
MOST_BYTES = 8192


def states_of() -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    table = ROOT / "src" / "dryslate" / "data" / "taxa" / "character_states.csv"
    with table.open(encoding="utf-8", newline="") as rows:
        for row in csv.DictReader(rows):
            found[row["character"]].add(row["state"])
    return found


def test_stored_drawings_are_what_the_tool_draws(tmp_path: Path) -> None:
    command = [sys.executable, str(ROOT / "tools" / "drawings"), str(tmp_path / "made")]
    subprocess.run(command, check=True, capture_output=True)
    made = {
        p.relative_to(tmp_path / "made"): p.read_bytes() for p in (tmp_path / "made").rglob("*.*")
    }
    assert made == {p.relative_to(KEPT): p.read_bytes() for p in FILES}


def test_question_with_drawings_has_them_for_all_its_states() -> None:
    drawn: dict[str, set[str]] = defaultdict(set)
    for file in FILES:
        drawn[file.parent.name].add(file.stem)
    states = states_of()
    assert {c: drawn[c] for c in drawn} == {c: states[c] for c in drawn}
    assert set(MUST_BE_DRAWN) <= set(drawn)


@pytest.mark.parametrize("file", FILES, ids=lambda f: f"{f.parent.name}/{f.stem}")
def test_drawing_is_plain_paths_and_nothing_else(file: Path) -> None:
    content = file.read_bytes()
    assert len(content) < MOST_BYTES
    root = ET.fromstring(content)
    assert root.tag == f"{SVG}svg"
    assert root.get("viewBox") == "0 0 160 120"
    assert {part.tag for part in root.iter()} == {f"{SVG}svg", f"{SVG}path"}
    looks = {"d", "fill", "stroke", "stroke-width"}
    assert all(set(part.attrib) <= looks for part in root.iter(f"{SVG}path"))
    assert b"url(" not in content
    assert b"href" not in content


def test_no_two_states_of_a_question_have_the_same_drawing() -> None:
    for folder in {file.parent for file in FILES}:
        contents = [file.read_bytes() for file in sorted(folder.iterdir())]
        assert len(set(contents)) == len(contents)
