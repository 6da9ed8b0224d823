"""Words of the core that pages show: fixed ones, and sentences that it puts together from parts."""

from __future__ import annotations

from dryslate.web.languages import N_, S_, catalogue
from dryslate.web.said import numerals, said, value

FIXED = (
    N_("viewer"),
    N_("surveyor"),
    N_("lead"),
    N_("usual"),
    N_("sometimes"),
    N_("rare"),
    N_("holds"),
    N_("doubtful"),
    N_("replace"),
    N_("serial number"),
    N_("size"),
    N_("values"),
    N_("source"),
    N_("markers"),
    N_("role"),
    N_("largest u"),
    N_("x, y mm"),
    N_("size mm"),
    N_("and"),
    N_("or"),
)
"""Single words: roles, frequencies, what a comparison says of a patch, and facts of a card."""

COMPOSED = (
    S_("{words}, not known in {genus}"),
    S_("{words}, rare in {genus}"),
    S_("{words}, sometimes in {genus}"),
    S_("{words}, usual in {genus}"),
    S_("not {words}, not known in {genus}"),
    S_("not {words}, rare in {genus}"),
    S_("not {words}, sometimes in {genus}"),
    S_("not {words}, usual in {genus}"),
    S_("not scored for {genus}"),
    S_("nothing to look at in {genus}"),
    S_("what is not there"),
    S_("calice width"),
    S_("valley width"),
    S_("width of the coral"),
    S_("{what} {size} mm, usual in {genus} ({low} to {high} mm)"),
    S_("{what} {size} mm, within the range of {genus} ({low} to {high} mm)"),
    S_("{what} {size} mm, outside the range of {genus} ({low} to {high} mm)"),
    S_("{what} {size} mm"),
    S_("no {what} is known for {genus}"),
    S_("but more so in the others"),
    S_("but even less so in the others"),
    S_("{genus} stings"),
    S_("{genus} can carry a strong poison"),
    S_("part of {region}"),
    S_("in {region}"),
    S_("red"),
    S_("green"),
    S_("blue"),
    S_("memory"),
    S_("unknown"),
    S_("corner"),
    S_("neutral"),
    S_("colour"),
    S_("nominal (design values: only the greys are used), in {medium}"),
    S_("measured, in {medium}"),
    S_("from photos beside a known target, in {medium}"),
    S_("none: a design, not one printed card"),
    S_("{width} x {height} mm, ± {share} % (standard uncertainty)"),
    S_("not stated"),
    S_("none"),
    S_("air"),
    S_("water"),
    S_("observer"),
    S_("site"),
    S_("coral"),
    S_("the table"),
    S_("over"),
    S_("under"),
    S_("dry"),
    S_("filled"),
)
"""Parts of sentences that the core joins by itself; tests hold them to what it really says."""


def joined(language: str, text: str, word: str) -> str:
    """Return a text of two names with a word between them, each in a language."""
    one, between, other = text.partition(f" {word} ")
    if not between:
        return value(language, text, of_data=True)
    names = [value(language, name, of_data=True) for name in (one, other)]
    return f" {catalogue(language).gettext(word)} ".join(names)


def reason_words(language: str, character: str, text: str) -> str:
    """
    Return what speaks for or against a genus, in a language.

    Parameters
    ----------
    language : str
    character : str
        Character or measure that it is about.
    text : str
        As the core tells it.

    Returns
    -------
    str
    """
    topic = character.replace("_", " ")
    if language == "en":
        return text
    if not text.startswith(f"{topic}: "):
        told = [said(language, part, of_data=True) for part in text.split("; ")]
        if all(told):
            return "\u00a0; ".join(part for part in told if part)
        return said(language, text, of_data=True) or numerals(language, text)
    parts = text.removeprefix(f"{topic}: ").split("; ")
    found = [said(language, part, of_data=True) or joined(language, part, "and") for part in parts]
    words = "\u00a0; ".join(found)
    return f"{catalogue(language).gettext(topic)}\u00a0: {words}"
