"""Words for what waits: every slug that can make a photo or a unit wait has some."""

from __future__ import annotations

import re
from pathlib import Path

from dryslate.web.pages import gap_words
from dryslate.web.reason_words import REASON_WORDS, reason_words

ROOT = Path(__file__).resolve().parents[2]


def test_every_slug_has_its_heading_and_short_words() -> None:
    headings = set(re.findall(r"^## (\S+)", (ROOT / "docs/messages.md").read_text("utf-8"), re.M))
    assert set(REASON_WORDS) <= headings
    assert max(len(words) for words in REASON_WORDS.values()) <= 40


def test_faults_of_units_all_have_words() -> None:
    code = (ROOT / "src/dryslate/core/survey/unit_checks.py").read_text("utf-8")
    slugs = set(re.findall(r'"((?:row|cell|point|unit)-[a-z-]+)"', code))
    assert len(slugs) > 10
    assert slugs <= set(REASON_WORDS)


def test_words_are_translated_and_a_slug_without_words_stays() -> None:
    assert reason_words("fr", "photo-truncated") != reason_words("en", "photo-truncated")
    assert reason_words("en", "made-up") == "made-up"


def test_long_pauses_are_days() -> None:
    assert gap_words("en", 12.2) == "12 min"
    assert gap_words("fr", 1008 * 60) == "42 jours"
