"""
What the core says, in the person's language.

The core is English and knows nothing of languages: what it says of a problem is a finished
sentence with its values in it, and some are stored so. `tools/sentences.py` gathers the sentences
from the code as templates; here the template of a text is found again, its values are taken out,
and they are put into the template's translation. Where none is known the English stands, and says
that it is English.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from dryslate.base.problems import Problem
from dryslate.web.languages import SAID, texts_of

_PLACE = re.compile(r"\{(\w+)\}")
_NUMBER = re.compile(r"[+-]?\d+\.\d+")
_NUMBERS = re.compile(r"[-+±×x\d., ]*\d[-+±×x\d., ]*")
_PER_CENT = re.compile(r"(\d+(?:\.\d+)?)%")
_DETAIL = re.compile(r"(.*[.!?]) \(([^()]*)\)", re.S)
_ENDS = (".", "!", "?", "…", ":")
_COLON = {"fr": "\u00a0: "}
_POINT = {"fr": ","}
"""What stands for a decimal point; languages that are not listed keep it."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """A template with its translation."""

    pattern: re.Pattern[str]
    hint: str
    weight: int
    translated: str


@dataclass(frozen=True, slots=True)
class Sentences:
    """Every sentence of a language: by its whole text, as templates, and the data's own words."""

    whole: Mapping[str, str]
    templates: tuple[Sentence, ...]
    data_words: Mapping[str, str]


@cache
def sentences_of(language: str) -> Sentences:
    """Return the sentences of a language; none of English."""
    whole: dict[str, str] = {}
    templates: list[Sentence] = []
    data_words: dict[str, str] = {}
    for message in texts_of(language) or ():
        if not isinstance(message.id, str) or not isinstance(message.string, str):
            continue
        if not message.id or not message.string:
            continue
        if any(place == "data/taxa" for place, _ in message.locations):
            data_words[message.id] = message.string
        elif message.context == SAID and _PLACE.search(message.id):
            templates.append(_sentence(message.id, message.string))
        elif message.context == SAID:
            whole[message.id] = message.string
    templates.sort(key=lambda one: -one.weight)
    return Sentences(whole=whole, templates=tuple(templates), data_words=data_words)


def _sentence(template: str, translated: str) -> Sentence:
    """Make what finds a template again."""
    parts = [part.replace("{{", "{").replace("}}", "}") for part in _PLACE.split(template)]
    pattern = "".join(
        f"(?P<{part}>{_what_fits(parts[n + 1])})" if n % 2 else re.escape(part)
        for n, part in enumerate(parts)
    ).replace(r")\.(", r")\.(?!\d)(")  # a stop between two values, and no decimal point
    literal = parts[::2]
    return Sentence(
        pattern=re.compile(pattern, re.S),
        hint=max(literal, key=len),
        weight=sum(len(part) for part in literal),
        translated=translated,
    )


def _what_fits(behind: str) -> str:
    """What a value may be: numbers where a unit stands behind it, else anything."""
    return "[^A-Za-z]*?" if behind.startswith((" mm", " px", " %", " GB")) else ".*?"


def said(language: str, text: str, *, of_data: bool = False) -> str | None:
    """
    Return what the core says in a language, None where no translation applies.

    Parameters
    ----------
    language : str
    text : str
        A sentence, with or without its stop, perhaps after a file's name and a colon; several,
        parted by semicolons; or numbers.
    of_data : bool
        Whether the values are words of the genus data (characters, states, genera), which are
        translated too; elsewhere a value may be a name that somebody gave, and stays.

    Returns
    -------
    str or None
    """
    if not text or not text.strip():
        return text
    return _said(language, text, of_data)


@lru_cache(maxsize=4096)
def _said(language: str, text: str, of_data: bool) -> str | None:
    """Find a text in every way there is, the most certain first."""
    known = sentences_of(language).data_words
    if of_data and text in known:
        return known[text]
    core = text if text.endswith("..") else text.removesuffix(".")
    stop = text[len(core) :]
    for way in (_numbers, _known, _listed, _with_detail, _after_place):
        found = way(language, core if way is not _with_detail else text, of_data)
        if found is not None:
            return found + stop if way is not _with_detail else found
    return None


def _numbers(language: str, text: str, of_data: bool) -> str | None:
    """Numbers alone, with their decimal mark."""
    del of_data
    if not _NUMBERS.fullmatch(text) and not _PER_CENT.fullmatch(text):
        return None
    return numerals(language, text)


def numerals(language: str, text: str) -> str:
    r"""
    Write the numbers of a text with the language's decimal mark.

    Examples
    --------
    >>> numerals("fr", "7.5 ± 0.4"), numerals("fr", "6.5, 12.0"), numerals("en", "7.5")
    ('7,5 ± 0,4', '6,5\xa0; 12,0', '7.5')
    """
    point = _POINT.get(language)
    if point is None:
        return text
    parted = text.replace(", ", " ; ") if re.search(r"\d, [+-]?\d", text) else text
    decimal = _NUMBER.sub(lambda m: m[0].replace(".", point), parted)
    return _PER_CENT.sub("\\1\u00a0%", decimal.replace(" ;", "\u00a0;"))


def _known(language: str, text: str, of_data: bool) -> str | None:
    """A sentence that is known whole, or whose template is."""
    known = sentences_of(language)
    if text in known.whole:
        return known.whole[text]
    if of_data and text in known.data_words:
        return known.data_words[text]
    for one in known.templates:
        if one.hint in text:
            match = one.pattern.fullmatch(text)
            if match is not None:
                values = {k: value(language, v, of_data) for k, v in match.groupdict().items()}
                return _filled(one.translated, values)
    return None


def _filled(translated: str, values: Mapping[str, str]) -> str:
    """Put values into a translation."""
    text = _PLACE.sub(lambda m: values.get(m[1], m[0]), translated)
    return text.replace("{{", "{").replace("}}", "}")


def value(language: str, text: str, of_data: bool) -> str:
    """Return a value as it stands in a translated sentence: it may itself be said by the core."""
    core = text.strip()
    if core != text:
        return text.replace(core, value(language, core, of_data)) if core else text
    found = said(language, text, of_data=of_data)
    if found is None and of_data:
        found = sentences_of(language).data_words.get(text.replace("_", " "))
    if found is None and of_data and ", " in text:
        found = ", ".join(value(language, part, of_data) for part in text.split(", "))
    return text if found is None else found


def _listed(language: str, text: str, of_data: bool) -> str | None:
    """Several sentences parted by semicolons, each of which is known."""
    parts = text.split("; ")
    found = [said(language, part, of_data=of_data) for part in parts] if len(parts) > 1 else [None]
    known = [one for one in found if one is not None]
    return "\u00a0; ".join(known) if len(known) == len(parts) else None


def _with_detail(language: str, text: str, of_data: bool) -> str | None:
    """A known sentence with a detail behind it, in brackets."""
    match = _DETAIL.fullmatch(text)
    found = said(language, match[1], of_data=of_data) if match else None
    return f"{found} ({value(language, match[2], of_data)})" if match and found else None


def _after_place(language: str, text: str, of_data: bool) -> str | None:
    """A known sentence after the name of a file or thing, and a colon."""
    place, mark, rest = text.partition(": ")
    found = said(language, rest, of_data=of_data) if mark and rest else None
    return f"{place}{colon(language)}{found}" if found is not None else None


def colon(language: str) -> str:
    """Return the colon between a word and what is said of it."""
    return _COLON.get(language, ": ")


def semicolon(language: str) -> str:
    """Return the semicolon between two parts of a sentence."""
    return "\u00a0; " if language in _COLON else "; "


def told(language: str, problem: Problem | Mapping[str, Any]) -> dict[str, Any]:
    """
    Return a problem as a page shows it.

    Parameters
    ----------
    language : str
    problem : Problem or Mapping
        As made now, or as stored.

    Returns
    -------
    dict
        Its fields in the person's language, the message with its stop, and ``lang``: that of the
        message, where it is not the page's.
    """
    fields: dict[str, Any] = problem.as_dict() if isinstance(problem, Problem) else dict(problem)
    of_data = str(fields.get("slug", "")).startswith(("identify-", "lookalikes-"))
    message = str(fields.get("message", ""))
    found = said(language, message, of_data=of_data) if language != "en" else message
    fields["lang"] = "" if found is not None else "en"
    fields["colon"] = colon(language if found is not None else "en")
    fields["message"] = with_stop(message if found is None else found)
    if language != "en":
        fields["fix"] = said(language, str(fields.get("fix", ""))) or fields.get("fix", "")
        fields["place"] = value(language, str(fields.get("place", "")), of_data)
    return fields


def with_stop(text: str) -> str:
    """
    End a sentence with its stop, once.

    Examples
    --------
    >>> with_stop("it is empty"), with_stop("Was it 7.5 mm?"), with_stop("it is empty.")
    ('it is empty.', 'Was it 7.5 mm?', 'it is empty.')
    """
    return text if not text or text.rstrip().endswith(_ENDS) else text + "."
