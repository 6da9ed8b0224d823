"""The pages in French: no English left, numbers with their comma, problems told in French."""

from __future__ import annotations

import html
import re

import pytest

FRENCH = {"accept": "text/html", "accept-language": "fr-FR,fr;q=0.9"}
IN_FRENCH = {"accept": "application/json", "accept-language": "fr"}
IN_ENGLISH = {"accept": "application/json", "accept-language": "en"}
ENGLISH = {"accept": "text/html", "accept-language": "en-GB"}
MORE = (
    "/lookalikes?a=Favites&b=Goniastrea",
    "/lookalikes?a=Acropora&b=Millepora",
    "/take/copies?visit=Lantern+Steps+2024-03-09",
    "/take/clock?visit=Lantern+Steps+2024-03-09",
    "/second",
    "/people",
    "/no-such-page",
)
FILES = re.compile(r"^/(static|openapi)|\.(png|pdf|jpg)(\?|$)")


def pages_of(pages, headers) -> dict[str, str]:
    """Every page that links lead to from the first one, one of a kind where there are many."""
    found, waiting, kinds = {}, ["/", *MORE], set()
    while waiting:
        path = waiting.pop(0)
        kind = re.sub(r"[0-9a-f]{16,}|(?<=/cards/)[^/?]+", "X", path.split("#")[0])
        if kind in kinds or FILES.search(path):
            continue
        kinds.add(kind)
        answer = pages.get(path, headers=headers, follow_redirects=True)
        if "text/html" not in answer.headers.get("content-type", ""):
            continue
        found[path] = answer.text
        links = re.findall(r'href="(/[^"#]*)', answer.text)
        waiting += [html.unescape(link) for link in links]
    assert len(found) > 25, sorted(found)
    return found


def test_no_english_is_left_on_any_page(client_of, read_only_project, english_left) -> None:
    shown = pages_of(client_of(read_only_project), FRENCH)
    left = {
        path: english
        for path, text in shown.items()
        if (english := english_left.english_in(english_left.shown_in(text), english_left.MADE_UP))
    }
    assert left == {}
    closed_up = {
        path: found
        for path, text in shown.items()
        if (found := [t for t in english_left.shown_in(text) if re.search(r"\S;(\s|$)", t)])
    }
    assert closed_up == {}  # French has a space before a semicolon
    assert {re.search(r'<html lang="(\w+)"', t)[1] for t in shown.values()} == {"fr"}  # type: ignore[index]


def test_list_of_english_words_finds_english_on_every_page(
    client_of, read_only_project, english_left
) -> None:
    for path, text in pages_of(client_of(read_only_project), ENGLISH).items():
        shown = english_left.shown_in(text)
        found = english_left.english_in(shown, english_left.MADE_UP)
        assert len(found) >= 0.15 * len(shown) or len(found) > 20, (path, len(found), len(shown))


def test_names_keys_and_marked_english_are_not_taken_for_english(english_left) -> None:
    page = '<p lang="en">the card</p><kbd>the</kbd><a class="slug">no-card</a><p>Site the Wall</p>'
    shown = english_left.shown_in(page)
    assert shown == ["Site the Wall"]
    assert english_left.english_in(shown) != []
    assert english_left.english_in(shown, frozenset({"the", "wall"})) == []
    assert english_left.english_in(english_left.shown_in('<img alt="the card">')) != []


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/no-such-page", "Cette page n’existe pas"),
        ("/photos?show=odd", "Quelque chose dans la demande est inutilisable"),
        ("/lookalikes?a=Favites&b=Nothing", "Aucun genre ne s’appelle &#x27;Nothing&#x27;"),
        ("/cards/none-such", "Aucune mire ne s’appelle"),
    ],
)
def test_refusal_is_told_in_french(client_of, read_only_project, path, words) -> None:
    pages = client_of(read_only_project)
    answer = pages.get(path, headers=FRENCH)
    assert answer.status_code >= 400
    assert words in answer.text
    assert '<html lang="fr"' in answer.text
    assert "Non fait" in answer.text
    told = pages.get(path, headers=IN_FRENCH).json()
    (problem,) = told["problems"]
    assert problem["lang"] == ""
    assert words.split(" &")[0] in problem["message"]


def test_evidence_is_weighed_in_french(client_of, read_only_project, english_left) -> None:
    pages = client_of(read_only_project)
    seen = {"growth_form": ["massive"], "corallite_arrangement": ["plocoid"]}
    sizes = {"corallite_diameter": [8.5, 0.4]}
    for evidence in (
        {},
        {"seen": seen, "sizes_mm": sizes},
        {"seen": {"attachment": ["free_living"], "growth_form": ["branching_open"]}},
        {"sizes_mm": {"corallite_diameter": [0.01, 0.0]}, "juvenile": True},
        {"seen": {"growth_form": ["massive"]}, "not": {"growth_form": ["massive"]}},
        {"seen": {"septal_margin": ["smooth"], "mouth_arrangement": ["central_corallite"]}},
    ):
        answer = pages.post("/weigh", json={"evidence": evidence}, headers=IN_FRENCH).json()
        told = [p for p in answer["problems"] if p.get("lang")] if "problems" in answer else []
        assert told == []
        shown = {k: v for k, v in answer.items() if k not in ("accept", "others")}
        for problem in shown["problems"]:
            del problem["slug"], problem["severity"]
        question = shown.pop("question", None) or {"states": []}
        shown["asked"] = [question.get("text", ""), question.get("name", "")]
        shown["states"] = [s["words"] for s in question["states"]]
        for one in shown.get("ranked", []):
            del one["likelihood"]
        texts = list(english_left.strings_in(shown))
        assert english_left.english_in(texts) == [], evidence
    words = pages.post("/weigh", json={"evidence": {"sizes_mm": sizes}}, headers=IN_FRENCH).json()
    reasons = [r for one in words["ranked"] for r in one["for"] + one["against"]]
    assert any("8,5" in reason for reason in reasons), reasons


def test_every_reason_the_data_can_give_is_told_in_french(client_of, read_only_project) -> None:
    from dryslate.web.routes.naming import identifier_of

    pages = client_of(read_only_project)
    identifier = identifier_of(pages.client.app.state.reach)
    for name, character in identifier.taxa.characters.items():
        for state in character.states:
            body = {"evidence": {"seen": {name: [state]}}}
            answer = pages.post("/weigh", json=body, headers=IN_FRENCH).json()
            for one in answer["ranked"]:
                for reason in one["for"] + one["against"]:
                    assert re.search(
                        r"(inconnu|rare|parfois|habituel|regarder) chez|non renseigné", reason
                    )
                    assert not re.search(r"\b(usual|sometimes|known|scored) (in|for)\b", reason)
                    assert character.states[state] not in reason or state == "porous"


def test_reading_has_a_decimal_comma(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    photos = re.findall(r'"/photos/([0-9a-f]{64})"', pages.get("/photos", headers=FRENCH).text)
    body = {"kind": "length", "points": [[800.0, 600.0], [1000.0, 650.0]], "stood": "top"}
    for photo in photos:
        told = pages.post(f"/photos/{photo}/measure/try", json=body, headers=IN_FRENCH).json()
        if told.get("values"):
            break
    assert re.search(r"\d,\d+ ± \d", told["values"][0]["text"]), told
    assert "95\u00a0%\u00a0:" in told["values"][0]["interval"]
    assert told["values"][0]["label"] == "longueur"
    english = pages.post(f"/photos/{photo}/measure/try", json=body, headers=IN_ENGLISH).json()
    assert re.search(r"\d\.\d+ ± \d", english["values"][0]["text"])


def test_catalogue_of_messages_is_shown_in_french(client_of, read_only_project) -> None:
    text = client_of(read_only_project).get("/help/messages", headers=FRENCH).text
    assert "Aucune mire connue n’a été trouvée sur la photo" in text
    assert "No known card" not in text
