"""What a figure is about beyond its name, taken apart so that it can be said in any language."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from dryslate.app.survey_words import BY_LOOKS, BY_TABLE, TOGETHER

COUNTED = ("colonies", "units", "points")
HILL = "effective number of genera of order {order} in {n} "
ABOUT_TEMPLATES: tuple[str, ...] = (
    "each colony counts alike",
    "colonies weighed by their area, as ellipses",
    "any lesion",
    "all sizes",
    "colonies of {cm} cm and more",
    "colonies under {cm} cm",
    "{low} to under {high} cm",
    "{low} cm and more",
    "weighed by one over the chance of being met",
    "ranks of seven classes, {paper}",
    "{n} of {all} colonies fit in no class of the index, the first at {place}",
    "{n} of {all} colonies fit in no class of the index",
    *(f"{HILL}{one}, extrapolated" for one in COUNTED),
    *(HILL + one for one in COUNTED),
    "as surveyed",
    "the most that all surveys of this design reach",
    "at the coverage of {share} that all surveys reach",
    "share of the genera of units, each as often as it occurs, that was found",
    "lower bound of the number of genera there are",
    "number of genera there are",
    "may read high or low",
    "{n} found",
    *(f"of these {one} as found" for one in COUNTED),
    "grows with effort",
    "against {date} ({n} colonies)",
    "greatest distance between the distributions {d}, no p under {n} colonies a visit",
    "greatest distance between the distributions {d}, p {p} by exchanging whole units "
    "({ways} ways, smallest p {least})",
    BY_LOOKS,
    BY_TABLE,
    TOGETHER,
)
"""Every sentence that `about` of a figure is made of, with places for its values."""
COMMUNITY_TEMPLATES: tuple[str, ...] = (
    "visit {n}",
    "{measure}, transform {how}, seed {n}",
    "{by} tells no units apart that are not told apart already.",
)
"""What comparisons of communities call their groups, their method, and what they cannot tell."""
WORDS = ("paper", "place", "measure", "by", "how")
"""Places that hold several words."""
NO_SPACE = r"\S+?"
_PLACE = re.compile(r"\{(\w+)\}")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")


def _pattern(template: str) -> re.Pattern[str]:
    """Return what finds a template in a text."""
    parts = _PLACE.split(template)
    made = [
        re.escape(part) if k % 2 == 0 else f"(?P<{part}>{'.+' if part in WORDS else NO_SPACE})"
        for k, part in enumerate(parts)
    ]
    return re.compile("".join(made))


_PATTERNS = {one: _pattern(one) for one in (*ABOUT_TEMPLATES, *COMMUNITY_TEMPLATES)}


def say_about(
    about: str, translate: Callable[[str], str], write: Callable[[str], str], divide: str = "; "
) -> str:
    """
    Say what a figure is about in another language.

    Parameters
    ----------
    about : str
        As `ResultRow` has it.
    translate : callable
        A template to its translation.
    write : callable
        A number as written with a decimal point to the same in the language.
    divide : str
        What stands between the parts.

    Returns
    -------
    str
        Parts that somebody noted, such as the words for a lesion, stay as they are.

    Examples
    --------
    >>> french = {"{low} to under {high} cm": "de {low} à moins de {high} cm"}
    >>> comma = lambda number: number.replace(".", ",")
    >>> say_about("2.5 to under 5 cm; white spots", lambda t: french.get(t, t), comma)
    'de 2,5 à moins de 5 cm; white spots'
    """
    return divide.join(_said(part, translate, write) for part in about.split("; ") if part)


def _said(part: str, translate: Callable[[str], str], write: Callable[[str], str]) -> str:
    """Say one part."""
    found = matched(part)
    if found is None:
        return part
    template, values = found
    told = {k: write(v) if _NUMBER.fullmatch(v) else translate(v) for k, v in values.items()}
    if template == translate(template):
        return part
    return translate(template).format(**told)


def matched(part: str) -> tuple[str, Mapping[str, str]] | None:
    """
    Find the template of a part.

    Parameters
    ----------
    part : str

    Returns
    -------
    (str, mapping of str to str) or None
        None for words that somebody noted.

    Examples
    --------
    >>> matched("colonies under 5 cm")
    ('colonies under {cm} cm', {'cm': '5'})
    >>> matched("growth") is None
    True
    """
    for template, pattern in _PATTERNS.items():
        found = pattern.fullmatch(part)
        if found is not None:
            return template, found.groupdict()
    return None
