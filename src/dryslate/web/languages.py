"""The pages' languages: gettext catalogues, and numbers and dates by locale."""

from __future__ import annotations

import gettext
import io
import math
import re
from collections.abc import Container
from datetime import date, datetime
from functools import cache, lru_cache
from importlib.resources import files

from babel import Locale, dates, numbers
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from starlette.requests import Request

from dryslate.base.figures import rounded_to_doubt

LANGUAGES = {"en": "English", "fr": "Français"}
"""Languages that the pages are being written in, each in its own words; see `offered`."""
LOCALES = {"en": "en_GB", "fr": "fr_FR"}
_GAP = re.compile(rb'\n(?:msgstr(?:\[\d\])? ""\r?\n(?!")|#,[^\n]*\bfuzzy\b)')
"""A text of a catalogue that is empty or not sure; the head's text goes on in the next line."""

SAID = "said"
"""Context of what the program's core says: templates that are found again when shown."""


def N_(text: str) -> str:  # noqa: N802  gettext's usual name for a text that is translated later
    """Mark a text that is translated when it is shown."""
    return text


def S_(text: str) -> str:  # noqa: N802  as `N_`
    """Mark a text, or template, of what the core says (`SAID`)."""
    return text


@cache
def texts_of(language: str) -> Catalog | None:
    """Return the catalogue of a language as it is written, None where there is none."""
    place = files("dryslate.web") / "locale" / f"{language}.po"
    if language == "en" or not place.is_file():
        return None
    return read_po(io.BytesIO(place.read_bytes()), locale=LOCALES[language])


@cache
def catalogue(language: str) -> gettext.NullTranslations:
    """Return the texts of a language; English stands in the templates themselves."""
    texts = texts_of(language)
    if texts is None:
        return gettext.NullTranslations()
    packed = io.BytesIO()
    write_mo(packed, texts)
    packed.seek(0)
    return gettext.GNUTranslations(packed)


@cache
def offered() -> dict[str, str]:
    """Return the languages that can be chosen: those whose catalogue lacks no text."""
    return {key: name for key, name in LANGUAGES.items() if key == "en" or _is_whole(key)}


def _is_whole(language: str) -> bool:
    """Tell whether every text of a catalogue is translated; reads it without taking it apart."""
    place = files("dryslate.web") / "locale" / f"{language}.po"
    return place.is_file() and _GAP.search(place.read_bytes()) is None


def language_of(request: Request) -> str:
    """Return the language to show to the browser that asks."""
    session = request.scope.get("state", {}).get("session")
    return choose_language(
        session.language if session else request.cookies.get("language"),
        request.headers.get("accept-language", ""),
        offered(),
    )


def choose_language(chosen: str | None, accept: str, among: Container[str]) -> str:
    """
    Return the language to show.

    Parameters
    ----------
    chosen : str or None
        What the person picked.
    accept : str
        The browser's ``Accept-Language``.
    among : container of str
        Languages that can be shown; English always can.

    Returns
    -------
    str

    Examples
    --------
    >>> choose_language(None, "de;q=0.9, fr-CA;q=0.7", ("en", "fr"))
    'fr'
    >>> choose_language("en", "fr", ("en", "fr"))
    'en'
    >>> choose_language("fr", "fr", ("en",))
    'en'
    """
    if chosen is not None and chosen in among:
        return chosen
    return next((name for name in _by_wish(accept) if name in among), "en")


@lru_cache(maxsize=64)
def _by_wish(accept: str) -> tuple[str, ...]:
    """Languages a browser asks for, most wanted first."""
    wishes = []
    for place, part in enumerate(accept.split(",")):
        name, _, weight = part.partition(";q=")
        try:
            wish = float(weight or 1.0)
        except ValueError:
            wish = 0.0
        wishes.append((-wish, place, name.strip().lower()[:2]))
    return tuple(name for _, _, name in sorted(wishes))


def number(value: float | None, digits: int, language: str) -> str:
    """
    Write a number with so many decimals as the language does; a dash where it is not known.

    Examples
    --------
    >>> number(1234.56, 1, "en"), number(0.5, 2, "fr"), number(None, 1, "en")
    ('1,234.6', '0,50', '–')
    """
    if value is None or math.isnan(value):
        return "–"
    return str(_pattern(digits).apply(value, _locale(language)))


@cache
def _locale(language: str) -> Locale:
    """Return what a language's numbers are written by."""
    return Locale.parse(LOCALES[language])


@cache
def _pattern(digits: int) -> numbers.NumberPattern:
    """Return the pattern of numbers with so many decimals, taken apart once."""
    return numbers.parse_pattern("#,##0" + ("." + "0" * digits if digits else ""))


def size_words(value: float, u: float, language: str, unit: str = "mm") -> str:
    """
    Write a size with its uncertainty, rounded to it, as the language does.

    Examples
    --------
    >>> size_words(9.0437, 0.2281, "en"), size_words(6.5, 0.0, "fr")
    ('9.04 ± 0.23 mm', '6,5 mm')
    """
    value, u, digits = rounded_to_doubt(value, u)
    doubt = f" ± {number(u, digits, language)}" if math.isfinite(u) and u > 0 else ""
    return f"{number(value, digits, language)}{doubt} {unit}"


def signed(value: float, language: str) -> str:
    """
    Write a number with its sign, and only the decimals that it has.

    Examples
    --------
    >>> signed(-3.5, "fr"), signed(3600.0, "en")
    ('-3,5', '+3,600')
    """
    text = str(numbers.format_decimal(abs(value), format="#,##0.###", locale=LOCALES[language]))
    return ("-" if value < 0 else "+") + text


def visited(visit_id: str, language: str) -> str:
    """
    Write where and when a visit was as the language does.

    Examples
    --------
    >>> visited("Lantern Steps 2026-03-14", "en"), visited("Lantern Steps 2026-03-14", "fr")
    ('Lantern Steps, 14 Mar 2026', 'Lantern Steps, 14 mars 2026')
    """
    site, _, date_text = visit_id.rpartition(" ")
    return f"{site}, {day(date_text, language)}" if site else visit_id


def day(text: str | None, language: str) -> str:
    """
    Write a date (``YYYY-MM-DD``) or a time with its date as the language does.

    Examples
    --------
    >>> day("2026-03-14", "en"), day("2026-03-14", "fr")
    ('14 Mar 2026', '14 mars 2026')
    """
    if not text:
        return "–"
    try:
        if len(text) <= 10:
            return dates.format_date(date.fromisoformat(text), "medium", locale=LOCALES[language])
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    when = dates.format_datetime(
        moment.replace(tzinfo=None), "d MMM y, HH:mm", locale=LOCALES[language]
    )
    if moment.tzinfo is None:
        return when
    offset = moment.strftime("%z")
    return f"{when} {'UTC' if offset == '+0000' else offset[:3] + ':' + offset[3:]}"
