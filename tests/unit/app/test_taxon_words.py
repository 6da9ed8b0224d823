"""Genus names, and only they, are set in italics."""

from __future__ import annotations

import pytest

from dryslate.app.taxon_words import genus_names, italic_html
from dryslate.files.reference_tables import FileReferenceTables


@pytest.fixture(scope="module")
def names() -> frozenset[str]:
    return genus_names(FileReferenceTables(None).taxa()[0])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Acropora", "<i>Acropora</i>"),
        ("Favites or Goniastrea", "<i>Favites</i> or <i>Goniastrea</i>"),
        ("Favia", "<i>Favia</i>"),  # a name of earlier years is one too
        ("cf. Favites", "cf. <i>Favites</i>"),
        ("Merulinidae, genus not told", "Merulinidae, genus not told"),
        ("stony coral, genus not told", "stony coral, genus not told"),
        ("Scleractinia", "Scleractinia"),
        ("cannot tell", "cannot tell"),
        ("wall: <shared>, usual in Favites", "wall: &lt;shared&gt;, usual in <i>Favites</i>"),
    ],
)
def test_only_genera_are_in_italics(names, text, expected) -> None:
    assert italic_html(text, names) == expected


def test_epithet_goes_with_its_genus_in_a_name_only(names) -> None:
    assert italic_html("Favites abdita", names, is_name=True) == "<i>Favites abdita</i>"
    assert italic_html("Favites sp.", names, is_name=True) == "<i>Favites</i> sp."
    assert italic_html("Favites has walls", names) == "<i>Favites</i> has walls"


def test_answers_that_are_no_genus_are_none(names) -> None:
    taxa, _ = FileReferenceTables(None).taxa()
    groups = {g.genus for g in taxa.genera.values() if g.group in ("not_coral", "juvenile")}
    assert groups
    assert not groups & names
    assert not {g.family for g in taxa.genera.values()} & names
