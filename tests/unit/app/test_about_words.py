"""What figures are about, taken apart to be said in another language."""

from __future__ import annotations

import re

import pytest

from dryslate.app.about_words import ABOUT_TEMPLATES, COMMUNITY_TEMPLATES, matched, say_about


@pytest.mark.parametrize("template", [*ABOUT_TEMPLATES, *COMMUNITY_TEMPLATES])
def test_each_sentence_is_found_again_with_its_values(template: str) -> None:
    values = {
        "date": "2024-05-19",
        "paper": "A.B. (2007). Paper 26, 1-2",
        "place": "t.csv, row 3",
        "measure": "Bray-Curtis",
        "how": "square root",
        "by": "zone",
    }
    places = re.findall(r"\{(\w+)\}", template)
    filled = template.format_map({place: values.get(place, "2.5") for place in places})
    found = matched(filled)
    assert found is not None
    assert found[0] == template
    assert template.format(**found[1]) == filled


def test_values_are_written_as_the_language_does_and_noted_words_stay() -> None:
    french = {"{low} to under {high} cm": "de {low} à {high} cm", "all sizes": "toutes"}
    said = say_about(
        "2.5 to under 5 cm; white spots; all sizes",
        lambda text: french.get(text, text),
        lambda number: number.replace(".", ","),
        " ; ",
    )
    assert said == "de 2,5 à 5 cm ; white spots ; toutes"
    assert say_about("2.5 to under 5 cm; white spots", str, str) == "2.5 to under 5 cm; white spots"
