"""Languages of the pages: only those without a gap can be chosen."""

from __future__ import annotations

from dryslate.web import languages


def test_catalogue_with_gaps_is_not_offered_and_a_whole_one_is(monkeypatch, tmp_path) -> None:
    (tmp_path / "locale").mkdir()
    head = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'
    catalogue = tmp_path / "locale" / "fr.po"
    monkeypatch.setattr(languages, "files", lambda _: tmp_path)
    catalogue.write_text(head + 'msgid "Cards"\nmsgstr ""\n', encoding="utf-8")
    languages.offered.cache_clear()
    assert list(languages.offered()) == ["en"]
    catalogue.write_text(head + 'msgid "Cards"\nmsgstr "Cartes"\n', encoding="utf-8")
    languages.offered.cache_clear()
    assert list(languages.offered()) == ["en", "fr"]
    catalogue.write_text(head + '#, fuzzy\nmsgid "Cards"\nmsgstr "Cartes"\n', encoding="utf-8")
    languages.offered.cache_clear()
    assert list(languages.offered()) == ["en"]
    monkeypatch.undo()
    languages.offered.cache_clear()
    assert list(languages.offered()) == ["en", "fr"]
