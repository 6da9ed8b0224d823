"""
The pages' texts in other languages: collects what is to be translated, tells what is missing.

    python3 tools/catalogues.py            bring the catalogues up to date
    python3 tools/catalogues.py --check    tell what is missing; exit 1 where anything is

Texts stand in the templates and, marked with ``N_``, in the code of the pages; questions, states
and regions stand in the genus data. A catalogue is a ``.po`` file in ``src/dryslate/web/locale``;
fill in what is empty and run this again.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parents[1]
WEB = ROOT / "src" / "dryslate" / "web"
LOCALE = WEB / "locale"
METHODS = [("**.html", "jinja2.ext.babel_extract"), ("**.py", "python")]
OPTIONS = {"**.html": {"newstyle_gettext": "true", "trimmed": "false", "silent": "false"}}
KEYWORDS: dict[str, object] = {"_": None, "gettext": None, "ngettext": (1, 2), "N_": None}


def texts() -> Iterator[tuple[str | tuple[str, str], str]]:
    """Yield each text (a pair where it has a plural) with where it stands."""
    found = extract_from_dir(
        str(WEB), method_map=METHODS, options_map=OPTIONS, keywords=KEYWORDS, comment_tags=()
    )
    for path, _line, text, _comments, _context in found:
        if text:
            yield text, f"web/{Path(path).as_posix()}"
    yield from ((text, "data/taxa") for text in _data_texts())


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


def template() -> Catalog:
    """Return every text, untranslated."""
    made = Catalog(project="dryslate", charset="utf-8")
    places: dict[str | tuple[str, str], set[str]] = {}
    for text, place in texts():
        places.setdefault(text, set()).add(place)
    for text in sorted(places, key=lambda t: t if isinstance(t, str) else t[0]):
        made.add(text, locations=[(place, None) for place in sorted(places[text])])  # type: ignore[list-item]
    return made


def updated(path: Path, language: str) -> Catalog:
    """Return a catalogue with every text of today; what is no longer used is dropped."""
    made = Catalog(locale=language, project="dryslate", charset="utf-8")
    if path.exists():
        made = read_po(io.BytesIO(path.read_bytes()), locale=language)
    made.update(template(), no_fuzzy_matching=True)
    made.obsolete.clear()
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
        elif [*message.check(catalogue)]:
            found.append(f"fields differ: {message.id!r}")
    return found


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
