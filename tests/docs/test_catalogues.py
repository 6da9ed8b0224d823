"""The catalogue of each language that is offered is whole: every text of today, with its fields."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

from dryslate.web.languages import LANGUAGES, SAID, offered, texts_of

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    """The tool that gathers the texts."""
    sys.path.insert(0, str(ROOT / "tools"))
    spec = importlib.util.spec_from_file_location("catalogues", ROOT / "tools" / "catalogues.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    sys.path.remove(str(ROOT / "tools"))
    gathered = list(module.texts())  # seconds each time; the sources stay as they are meanwhile
    module.texts = lambda: iter(gathered)
    return module


def test_every_language_is_offered() -> None:
    assert list(offered()) == list(LANGUAGES)


def test_no_text_of_today_lacks_its_french(tool) -> None:
    # python3 tools/catalogues.py adds what is new; fill in its French, as docs/french.md says
    path = tool.LOCALE / "fr.po"
    assert tool.missing(tool.updated(path, "fr")) == []


def test_catalogue_is_as_the_tool_writes_it(tool, tmp_path) -> None:
    path = tool.LOCALE / "fr.po"
    tool.save(tmp_path / "fr.po", tool.updated(path, "fr"))
    assert (tmp_path / "fr.po").read_text("utf-8") == path.read_text("utf-8")


def test_gap_or_other_field_is_noticed(tool) -> None:
    def missing(text: str, given: str, context: str | None = None) -> list[str]:
        made = tool.Catalog(locale="fr")
        made.add(text, given, locations=[("web/templates/a.html", None)], context=context)
        return tool.missing(made)

    assert missing("Card", "") == ["missing: 'Card'"]
    assert missing("Card %(name)s", "Mire %(nom)s") != []
    assert missing("Per cent", "En %") != []
    assert missing("Per cent", "En %%") == []
    assert missing("{n} of {of}", "{n} sur", SAID) != []
    assert missing("{n} of {of}", "{of} dont {n}", SAID) == []


def test_french_has_its_own_typography() -> None:
    texts = texts_of("fr")
    assert texts is not None
    given = [
        text
        for message in texts
        if message.id
        for text in (message.string if isinstance(message.string, tuple) else (message.string,))
    ]
    plain = [re.sub(r"`[^`]*`", "", text) for text in given]
    assert [text for text in plain if re.search(r" [:;?!»](\s|$)|« |\w'\w", text)] == []
    assert [text for text in plain if '"' in text] == []


def test_sentences_are_gathered_with_their_variants(tool) -> None:
    texts = {text: place for text, place, context in tool.texts() if context == SAID}
    assert texts["the shares make {total} %, not 100 %"] == "app/coral_health.py"
    assert "no part of {region} has both of them" in texts  # both ways of a choice
    assert "no region has both of them" in texts
    assert "patch {patch_id}" in texts  # places that are named in words
    assert "project and second folder lie on one drive ({shared})" in texts
    assert not any(place.startswith(("cli/", "demo/")) for place in texts.values())
