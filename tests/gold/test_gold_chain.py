"""Stored photos through the whole chain give what they gave when it was last accepted."""

from __future__ import annotations

import copy
import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def chain() -> ModuleType:
    path = Path(__file__).with_name("chain.py")
    spec = importlib.util.spec_from_file_location("gold_chain", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_nothing_has_moved_beyond_its_doubt(chain: ModuleType, tmp_path: Path) -> None:
    moved = chain.compare(chain.record(tmp_path), chain.load_expected())
    assert moved == [], "see tests/gold/README.md on how to accept a change"


def test_every_step_of_the_chain_is_kept(chain: ModuleType) -> None:
    names = " | ".join(chain.load_expected())
    for part in ("corner 0 x", "px_per_mm", "fit", "off_card", "corrected", "area_cm2"):
        assert part in names
    for part in ("outline", "length", "corallites", "colour", "is borrowed"):
        assert part in names


def test_a_value_that_moves_is_told(chain: ModuleType) -> None:
    expected = chain.load_expected()
    found = copy.deepcopy(expected)
    name = next(n for n, e in found.items() if "value" in e)
    found[name]["value"] += 0.9 * found[name]["within"]
    assert chain.compare(found, expected) == []
    found[name]["value"] += 0.2 * found[name]["within"]
    (told,) = chain.compare(found, expected)
    assert told.startswith(name)


def test_a_word_that_changes_and_a_figure_that_is_gone_are_told(chain: ModuleType) -> None:
    expected = chain.load_expected()
    found = copy.deepcopy(expected)
    word = next(n for n in found if n.endswith(" fit"))
    gone = next(n for n in found if n.endswith("px_per_mm"))
    found[word]["text"] = "another"
    del found[gone]
    assert {line.split(":")[0] for line in chain.compare(found, expected)} == {word, gone}
