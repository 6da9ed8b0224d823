"""
The pages' texts in other languages: collects what is to be translated, tells what is missing.

    python3 tools/catalogues.py            bring the catalogues up to date
    python3 tools/catalogues.py --check    tell what is missing; exit 1 where anything is

Texts stand in the templates and, marked with ``N_``, in the code of the pages; questions, states,
regions and what tells look-alikes apart stand in the genus data. What the core says of problems is
found by `sentences.py` and stands in the context ``said``. A catalogue is a ``.po`` file in
``src/dryslate/web/locale``; fill in what is empty and run this again.
"""

from __future__ import annotations

import io
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po
from sentences import sentences, tidied

from dryslate.core.identify.evidence import MEASURES
from dryslate.core.identify.questions import MEASURE_QUESTION
from dryslate.core.sheet.words import sheet_texts
from dryslate.web.languages import SAID

ROOT = Path(__file__).resolve().parents[1]
WEB = ROOT / "src" / "dryslate" / "web"
LOCALE = WEB / "locale"
METHODS = [("**.html", "jinja2.ext.babel_extract"), ("**.py", "python")]
OPTIONS = {"**.html": {"newstyle_gettext": "true", "trimmed": "false", "silent": "false"}}
KEYWORDS: dict[str, object] = {
    "_": None,
    "gettext": None,
    "ngettext": (1, 2),
    "N_": None,
}
Text = str | tuple[str, str]
FIELD = re.compile(r"\{\w+\}")
LONE_PER_CENT = re.compile(r"(?<!%)%(?!\(\w+\)[sd]|%)")


def texts() -> Iterator[tuple[Text, str, str | None]]:
    """Yield each text (a pair where it has a plural) with where it stands, and its context."""
    yield from ((text, place, None) for text, place in _marked(KEYWORDS))
    yield from ((text, place, SAID) for text, place in _marked({"S_": None}))
    yield from ((text, "data/taxa", None) for text in _data_texts())
    yield from ((text, "core/sheet", None) for text in sheet_texts())
    yield from ((text, "data/cards", SAID) for text in _card_texts())
    yield from ((text, "app/survey_words", None) for text in _survey_texts())
    yield from ((text, place, SAID) for text, place in sentences())


def _marked(keywords: dict[str, object]) -> Iterator[tuple[Text, str]]:
    """Yield what is marked by these functions in templates and code of the pages."""
    found = extract_from_dir(
        str(WEB), method_map=METHODS, options_map=OPTIONS, keywords=keywords, comment_tags=()
    )
    for path, _line, text, _comments, _context in found:
        if text:
            yield text, f"web/{Path(path).as_posix()}"


def _data_texts() -> Iterator[str]:
    """Yield what the genus data show on the pages."""
    from dryslate.files.reference_tables import FileReferenceTables

    taxa, _ = FileReferenceTables().taxa()
    for character in taxa.characters.values():
        yield character.character.replace("_", " ")
        yield character.question
        yield from character.states.values()
    for region in taxa.regions:
        yield region.replace("_", " ")
    for pair in taxa.lookalikes:
        yield pair.how_to_tell
    for measure in MEASURES:
        yield measure.replace("_", " ")
    yield from MEASURE_QUESTION.values()
    for genus in taxa.genera.values():
        if genus.group == "not_coral":
            yield genus.genus


def _survey_texts() -> Iterator[str]:
    """Yield the words of figures and of the reservations that they carry."""
    from dryslate.app.about_words import ABOUT_TEMPLATES
    from dryslate.app.result_tallies import ALL, UNNAMED
    from dryslate.app.survey_words import FIGURE_WORDS, SURVEY_FLAGS

    yield from FIGURE_WORDS.values()
    yield from SURVEY_FLAGS.values()
    yield from ABOUT_TEMPLATES
    yield from (thing.split("\t")[1] for thing in (ALL, UNNAMED))


def _card_texts() -> Iterator[str]:
    """Yield what the built-in cards say of themselves."""
    for path in sorted((ROOT / "src" / "dryslate" / "data" / "cards").glob("*.toml")):
        card = tomllib.loads(path.read_text("utf-8"))
        yield from (tidied(card[key]) for key in ("title", "values_source") if card.get(key))


def template() -> Catalog:
    """Return every text, untranslated."""
    made = Catalog(project="dryslate", charset="utf-8")
    places: dict[tuple[Text, str | None], set[str]] = {}
    for text, place, context in texts():
        places.setdefault((text, context), set()).add(place)
    for text, context in sorted(places, key=str):
        found = [(place, None) for place in sorted(places[text, context])]
        made.add(text, locations=found, context=context)  # type: ignore[arg-type]
    return made


def updated(path: Path, language: str) -> Catalog:
    """Return a catalogue with every text of today; what is no longer used is dropped."""
    made = Catalog(locale=language, project="dryslate", charset="utf-8")
    if path.exists():
        made = read_po(io.BytesIO(path.read_bytes()), locale=language)
    made.update(template(), no_fuzzy_matching=True)
    made.obsolete.clear()
    for message in made:
        if message.context == SAID:  # a per cent sign there is one
            message.flags -= {"python-format", "python-brace-format"}
        if language == "fr" and message.id:
            given = message.string
            many = isinstance(given, tuple | list)
            message.string = tuple(map(typeset, given)) if many else typeset(given or "")
    return made


def missing(catalogue: Catalog) -> list[str]:
    """Return what is not translated, or has other fields than its text."""
    found = []
    for message in catalogue:
        if not message.id:
            continue
        given = message.string if isinstance(message.string, tuple) else (message.string,)
        if not all(given) or message.fuzzy:
            found.append(f"missing: {message.id!r}")
        elif _fields_differ(message, catalogue):
            found.append(f"fields differ: {message.id!r}")
    return found


def _fields_differ(message: Message, catalogue: Catalog) -> bool:
    """Tell whether a translation has other fields; in what the core says these are in braces."""
    given = message.string if isinstance(message.string, tuple) else (message.string,)
    in_template = any(path.endswith(".html") for path, _ in message.locations)
    if in_template and any(LONE_PER_CENT.search(str(text)) for text in given):
        return True  # a template cannot show it
    if message.context == SAID:
        return sorted(FIELD.findall(str(message.id))) != sorted(FIELD.findall(str(message.string)))
    return any(True for _ in message.check(catalogue))


def typeset(text: str) -> str:
    """
    Set the spaces and apostrophes of a French text as French has them, away from code.

    Examples
    --------
    >>> typeset("Qu'est-ce ? `a ?`") == "Qu\u2019est-ce\u00a0? `a ?`"
    True
    """
    parts = re.split(r"(`[^`]*`)", text)
    for n in range(0, len(parts), 2):
        part = re.sub(r"(?<=\w)'(?=\w)", "\u2019", parts[n])
        part = re.sub(r" (?=[:;?!\u00bb](?:[\s)\]]|$))", "\u00a0", part)
        part = re.sub(r"\u00ab ", "\u00ab\u00a0", part)
        part = re.sub(r"(?<=[\d)s}]) (?=%%|%(?![(\w]))", "\u00a0", part)
        parts[n] = re.sub(
            r"(?<=\d) (?=\d{3}\b|(?:mm|cm|m|px|Go|Mo|nm|s|dpi)\b|\u00b0C)", "\u00a0", part
        )
    return "".join(parts)


def save(path: Path, catalogue: Catalog) -> None:
    """Write a catalogue without dates and line numbers, so that it changes with its texts only."""
    packed = io.BytesIO()
    catalogue.header_comment = "# The pages' texts; see tools/catalogues.py."
    write_po(packed, catalogue, width=100, sort_output=True, include_lineno=False)
    lines = packed.getvalue().decode("utf-8").splitlines()
    dates = ('"POT-Creation-Date', '"PO-Revision-Date', '"Last-Translator', '"Generated-By')
    kept = [line for line in lines if not line.startswith(dates)]
    path.write_text("\n".join(kept).rstrip("\n") + "\n", encoding="utf-8")


def main() -> int:
    """Bring the catalogues up to date, or tell what is missing."""
    wrong = 0
    for path in sorted(LOCALE.glob("*.po")):
        catalogue = updated(path, path.stem)
        faults = missing(catalogue)
        wrong += len(faults)
        if "--check" in sys.argv:
            print("\n".join(faults))
        else:
            save(path, catalogue)
        print(f"{path.name}: {len(catalogue)} texts, {len(faults)} to do")
    return int("--check" in sys.argv and wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
