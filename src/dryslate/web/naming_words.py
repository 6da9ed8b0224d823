"""What the evidence says of a coral, in the words and the order in which the page shows it."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from starlette.requests import Request

from dryslate.web.core_words import joined, reason_words
from dryslate.web.languages import N_, language_of, number
from dryslate.web.pages import static_version, translate
from dryslate.web.said import told, value

if TYPE_CHECKING:
    from dryslate.app.identify import Identifier
    from dryslate.core.identify.answer import Answer, Ranked
    from dryslate.core.identify.reasons import Reason

STATE_KEYS = "123456789adefhijklmopr"
"""Keys of the states of a question, in their order; letters that do something else are left out."""
SEEN_WITH = {"eye": N_("by eye"), "lens": N_("with a lens"), "scale": N_("by measuring")}
LIKELIHOODS = {
    "most likely": N_("most likely"),
    "possible": N_("possible"),
    "unlikely": N_("unlikely"),
}
CONFIDENCE = (
    (1, N_("a guess")),
    (2, N_("as likely as not")),
    (3, N_("more likely than not")),
    (4, N_("nearly sure")),
    (5, N_("sure")),
)
PRIOR = {
    "local": N_("Local frequencies of the genera are weighed in."),
    "met": N_(
        "How often surveyors meet a genus is weighed in mildly: from 1 for those met seldom to 8 "
        "for those met on nearly every dive (a judgement)."
    ),
    "equal": N_("Every genus of the region counts as equally common."),
}
SHOWN_RANKED = 6
SHOWN_REASONS = 4
MEASURES = ("corallite_diameter", "valley_width", "colony_diameter")


def answer_words(
    request: Request, identifier: Identifier, answer: Answer, asked: str
) -> dict[str, Any]:
    """
    Put an answer into what the page shows.

    Parameters
    ----------
    request : Request
        For its language.
    identifier : Identifier
    answer : Answer
    asked : str
        A character that the person wants to answer; empty: the most telling one.

    Returns
    -------
    dict
        ``verdict``, ``accept`` (the name to take over), ``question`` (or None), ``others``,
        ``ranked``, ``memory``, ``prior``, ``splits``, ``cautions``, ``problems``.
    """
    language = language_of(request)
    characters = [n.character for n in answer.next if n.character not in MEASURES]
    chosen = asked if asked in identifier.taxa.characters else next(iter(characters), "")
    split = answer.splits
    return {
        "verdict": joined(language, answer.verdict, "or"),
        "accept": accepted_name(answer),
        "question": question_words(request, identifier, chosen) if chosen else None,
        "others": [
            {"character": c, "words": character_words(request, c)}
            for c in characters
            if c != chosen
        ],
        "ranked": [_ranked(request, one) for one in answer.ranked[:SHOWN_RANKED]],
        "memory": f"{number(100.0 * answer.memory_share, 0, language)} %",
        "prior": translate(request, PRIOR[identifier.model(str(answer.region)).prior_kind]),
        "splits": None
        if split is None or not split.how_to_tell
        else {
            "genera": [split.genus_a, split.genus_b],
            "text": value(language, split.how_to_tell, of_data=True),
        },
        "problems": [told(language, p) for p in answer.problems],
    }


def accepted_name(answer: Answer) -> str:
    """Return the name that taking over the verdict records; a genus that leads by far, else it."""
    if answer.rank == "none":
        return ""
    return answer.verdict


def question_words(request: Request, identifier: Identifier, character: str) -> dict[str, Any]:
    """Return one question with its states, their drawings and keys."""
    found = identifier.taxa.characters[character]
    return {
        "character": character,
        "name": character_words(request, character),
        "text": translate(request, found.question),
        "seen_with": translate(request, SEEN_WITH.get(found.seen_with, found.seen_with)),
        "states": [
            {
                "state": state,
                "words": translate(request, words),
                "drawing": drawing_of(character, state),
                "key": STATE_KEYS[n] if n < len(STATE_KEYS) else "",
            }
            for n, (state, words) in enumerate(found.states.items())
        ],
    }


def state_words(
    request: Request, identifier: Identifier, characters: set[str]
) -> dict[str, dict[str, dict[str, Any]]]:
    """Return the words and the drawing of each state of some characters."""
    return {
        character: {
            one["state"]: one for one in question_words(request, identifier, character)["states"]
        }
        for character in characters
    }


def character_words(request: Request, character: str) -> str:
    """Return a character's name in words."""
    return translate(request, character.replace("_", " "))


@cache
def drawing_of(character: str, state: str) -> str | None:
    """Return the address of a state's drawing, or None where there is none."""
    place = files("dryslate.web") / "static" / "drawings" / character / f"{state}.svg"
    address = f"/static/drawings/{character}/{state}.svg?v={static_version()}"
    return address if place.is_file() else None


def _ranked(request: Request, one: Ranked) -> dict[str, Any]:
    """One candidate."""
    language = language_of(request)
    return {
        "genus": value(language, one.genus, of_data=True),
        "family": one.family,
        "likelihood": one.likelihood_word.replace(" ", "_"),
        "words": translate(request, LIKELIHOODS[one.likelihood_word]),
        "probability": f"{number(100.0 * one.probability, 0, language)} %",
        "for": _reasons(language, one.for_),
        "against": _reasons(language, one.against),
    }


def _reasons(language: str, reasons: tuple[Reason, ...]) -> list[str]:
    """The strongest reasons, as they are told."""
    return [reason_words(language, r.character, r.text) for r in reasons[:SHOWN_REASONS]]
