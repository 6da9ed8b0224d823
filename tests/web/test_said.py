"""What the core says is found again by its template, with its values, in French."""

from __future__ import annotations

import itertools
import re

import pytest

from dryslate.app.intake import Drive
from dryslate.app.wiping import CopiesSeen, judge_wiping
from dryslate.base.problems import Problem
from dryslate.web.languages import SAID, texts_of
from dryslate.web.said import numerals, said, told, with_stop

PLACE = re.compile(r"\{\w+\}")
TEXTS = texts_of("fr")
assert TEXTS is not None
TEMPLATES = [m for m in TEXTS if m.id and m.context == SAID]


def test_every_template_is_found_again_with_its_values() -> None:
    assert len(TEMPLATES) > 600
    for message in TEMPLATES:
        texts = [
            PLACE.sub(value, str(message.id)).replace("{{", "{").replace("}}", "}")
            for value in ("7", "x7x")  # a number before its unit, or any word
        ]
        found = said("fr", texts[0]) or said("fr", texts[1])
        assert found is not None, message.id
        assert found.count("7") >= texts[0].count("7"), (message.id, found)


@pytest.mark.parametrize(
    ("english", "french"),
    [
        ("the shares make 97.5 %, not 100 %", "les parts font 97,5\u00a0%, non 100\u00a0%"),
        ("it is empty of sense", None),
        (
            "DRY_0007.JPG: no card was found; the photo was left as it is.",
            "DRY_0007.JPG\u00a0: aucune mire n’a été trouvée ; la photo est restée telle quelle.",
        ),
        (
            "no red signal: its gain is 21 times that of the strongest channel (16 at most)",
            "pas de signal rouge : son gain est 21 fois celui du canal le plus fort (16 au plus)",
        ),
        (
            "no card in this photo; colours are borrowed from A.JPG, taken 60 s away, "
            "0.4 m apart in depth. Expect colours off by up to 6.0 CIEDE2000. It has no scale.",
            "aucune mire sur cette photo ; les couleurs sont empruntées à A.JPG, prise à 60 s "
            "d’écart, 0,4 m d’écart en profondeur. Attendez-vous à des couleurs fausses de 6,0 "
            "CIEDE2000 au plus. Elle n’a pas d’échelle.",
        ),
        ("There is no card called 'edge'.", "Aucune mire ne s’appelle 'edge'."),
        (
            "150 x 100 mm, ± 0.3 % (standard uncertainty)",
            "150 x 100 mm, ± 0,3\u00a0% (incertitude type)",
        ),
    ],
)
def test_sentence_keeps_its_values(english, french) -> None:
    found = said("fr", english)
    plain = found.replace("\u00a0", " ") if found else found
    assert plain == (french.replace("\u00a0", " ") if french else french)


def test_name_that_somebody_gave_stays_though_it_is_a_word_of_the_data() -> None:
    problem = Problem(
        slug="record-place-missing",
        severity="error",
        place="wall",
        message="wall: neither a photo nor a visit is given",
    )
    assert told("fr", problem)["place"] == "wall"
    assert told("fr", problem)["message"].startswith("wall\u00a0:")


def test_what_has_no_translation_stands_in_english_and_says_so() -> None:
    problem = Problem(slug="x-y", severity="note", place="", message="made up today", fix="Do it.")
    shown = told("fr", problem)
    assert (shown["message"], shown["lang"]) == ("made up today.", "en")
    assert told("en", problem)["lang"] == ""


def test_stored_problem_is_told_as_one_made_now() -> None:
    stored = {
        "slug": "health-sum-not-100",
        "severity": "error",
        "place": "",
        "fix": "",
        "message": "the shares make 90 %, not 100 %",
    }
    assert told("fr", stored)["message"].startswith("les parts font 90")
    assert told("en", stored)["message"] == "the shares make 90 %, not 100 %."


def test_every_reason_against_wiping_is_told_in_french() -> None:
    unknown = Drive(disks=frozenset(), label="memory", why_not="it lies in memory, not on a disk")
    disk = Drive(disks=frozenset({"sda"}), label="sda", why_not="")
    reasons: set[str] = set()
    pairs = ((disk, None), (disk, disk), (unknown, disk), (disk, unknown))
    for (first, second), is_sent in itertools.product(pairs, (False, True)):
        for n in (0, 5):
            seen = CopiesSeen(
                n_files=n,
                n_not_kept=2,
                n_proved_first=n - 1,
                n_proved_second=n - 2,
                first=first,
                second=second,
                sources=(disk,),
                is_whole=False,
                is_sent=is_sent,
            )
            reasons |= set(judge_wiping(seen).reasons)
    assert len(reasons) > 8
    for reason in reasons:
        found = said("fr", reason)
        assert found is not None, reason
        assert not re.search(r"\b(the|is|are|drive|folder|not)\b", found), found


def test_numbers_have_the_mark_of_the_language() -> None:
    assert numerals("fr", "1.5 ± 0.2") == "1,5 ± 0,2"
    assert numerals("en", "1.5 ± 0.2") == "1.5 ± 0.2"
    assert said("fr", "12.5") == "12,5"
    assert said("fr", "IMG_1.5.jpg") is None
    assert with_stop("So?") == "So?"
