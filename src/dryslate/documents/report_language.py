"""The words and numbers of a document in the language of its reader."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

from dryslate.base.errors import SettingsError

LANGUAGES = ("en", "fr")
_MONTHS = {
    "en": "January February March April May June July August September October November December",
    "fr": "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
}
TINY = 1e-12
"""What is smaller is the rounding of a difference that is none."""
NBSP = "\N{NO-BREAK SPACE}"


@cache
def texts_in(language: str) -> dict[str, str]:
    """
    Return the texts of a language by their English.

    Parameters
    ----------
    language : {"en", "fr"}

    Returns
    -------
    dict

    Raises
    ------
    SettingsError
        ``report-language-unknown``.
    """
    if language not in LANGUAGES:
        raise SettingsError(
            "report-language-unknown",
            f"The report is not written in {language!r}.",
            f"Give one of {', '.join(LANGUAGES)}.",
        )
    if language == "en":
        return {}
    name = f"survey_report.{language}.toml"
    text = (resources.files("dryslate.documents") / "templates" / name).read_text("utf-8")
    return {str(english): str(said) for english, said in tomllib.loads(text).items()}


class Speech:
    """
    Texts and numbers in one language.

    Parameters
    ----------
    language : {"en", "fr"}
    """

    def __init__(self, language: str) -> None:
        self.language = language
        self.texts = texts_in(language)

    @property
    def colon(self) -> str:
        """Return a colon with its spaces."""
        return f"{NBSP}: " if self.language == "fr" else ": "

    @property
    def semicolon(self) -> str:
        """Return a semicolon with its spaces."""
        return f"{NBSP}; " if self.language == "fr" else "; "

    def say(self, english: str, **values: object) -> str:
        """Return a text in the language, its places filled in."""
        text = self.texts.get(english, english)
        return text.format(**values) if values else text

    def word(self, english: str) -> str:
        """Return a word of the records or figures in the language where it has one."""
        return self.texts.get(english, english)

    def number(self, value: float, decimals: int) -> str:
        """Write a number with so many decimals."""
        text = f"{round(value, decimals) + 0.0:,.{decimals}f}"
        if self.language == "fr":
            return text.replace(",", "\N{NARROW NO-BREAK SPACE}").replace(".", ",")
        return text

    def digits(self, value: float, n: int = 3) -> str:
        """Write a number with so many digits that count."""
        if abs(value) < TINY:
            return "0"
        text = f"{value:.{n}g}"
        if "e" in text and 1e-6 < abs(value) < 1e9:
            text = f"{value:.0f}" if abs(value) >= 1 else f"{value:.8f}".rstrip("0")
        return text.replace(".", ",") if self.language == "fr" else text

    def date(self, iso: str) -> str:
        """Write a date in words."""
        year, month, day = iso[:10].split("-")
        name = _MONTHS[self.language].split()[int(month) - 1]
        return f"{int(day)}{NBSP}{name} {year}"

    def listed(self, words: list[str]) -> str:
        """Write words with commas and an "and"."""
        if len(words) < 2:
            return "".join(words)
        last = " et " if self.language == "fr" else " and "
        return ", ".join(words[:-1]) + last + words[-1]
