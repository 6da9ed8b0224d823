"""Figures, what they are about and their changes: no English of our own is left in French."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.about_words import matched
from dryslate.app.survey_results import survey_results

FRENCH = {"accept": "text/html", "accept-language": "fr-FR,fr;q=0.9"}
NOTED = {"coral", "ledge", "wall", "white", "spots"}
"""Words of categories, sites, lesions and the title of a journal."""


@pytest.fixture
def of_all_kinds(visited: Path, visited_twice, tmp_path: Path) -> Path:
    """Cover, counts, sizes, health and diversity at two visits."""
    made: Path = visited_twice.add_colonies(visited, tmp_path)
    return made


def test_every_figure_and_change_is_said_in_french(client_of, of_all_kinds, english_left) -> None:
    pages = client_of(of_all_kinds)
    asked = [
        f"/results?site=Ledge&subject={subject}&things={things}"
        for subject in ("cover", "density", "sizes", "health", "diversity")
        for things in ("category", "group", "name")
    ]
    asked += [
        f"/change?{way}&subject={subject}&things=name"
        for way in (
            "way=visits&site=Ledge",
            "way=trend&site=Ledge",
            "way=sites",
            "way=contrast&impact=Ledge&control=Wall&after=2025-01-01",
        )
        for subject in ("cover", "density", "health", "sizes")
    ]
    left, titles = {}, set()
    for path in asked:
        shown = pages.get(path, headers=FRENCH).text
        words = english_left.MADE_UP | NOTED
        if english := english_left.english_in(english_left.shown_in(shown), words):
            left[path] = english
        titles |= {html.unescape(t) for t in re.findall(r'<h2 id="panel-\d+">(.*?) <small', shown)}
    assert left == {}
    assert any("nombre effectif de genres" in title for title in titles)
    assert any("par rapport au" in title for title in titles)
    assert any("de 10 à moins de 20 cm" in title for title in titles)


def test_all_that_figures_are_about_is_known_to_the_catalogue(of_all_kinds) -> None:
    with wiring.survey_store(of_all_kinds, write=False) as store:
        rows = survey_results(store, wiring.result_settings())
    parts = {part for row in rows for part in row.about.split("; ") if part}
    assert len(parts) > 15
    assert {part for part in parts if matched(part) is None} == {"white spots"}
