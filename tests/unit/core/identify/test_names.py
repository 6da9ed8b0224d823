"""Names as recorded and as they are today, by region; slips, first letters and ranks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import dryslate
from dryslate.core.identify.names import find_names
from dryslate.core.identify.taxa import Genus, TaxaData

WEST, EAST = "west", "east"


def genus(name: str, family: str, regions: str, former: str = "", group: str = "stony") -> Genus:
    return Genus(
        genus=name,
        family=family,
        authority="",
        group=group,  # type: ignore[arg-type]
        regions=frozenset(regions.split()),
        former_names=tuple(former.split()),
    )


ROWS = (
    genus("Favia", "Faviidae", "west"),
    genus("Mussismilia", "Faviidae", "west", "Favia"),
    genus("Dipsastraea", "Merulinidae", "east", "Favia"),
    genus("Goniastrea", "Merulinidae", "east", "Favia"),
    genus("Coelastrea", "Merulinidae", "east", "Goniastrea"),
    genus("Favites", "Merulinidae", "east"),
    genus("Diploria", "Faviidae", "west"),
    genus("Fungia", "Fungiidae", "east"),
    genus("Pleuractis", "Fungiidae", "east", "Fungia Wellsofungia"),
    genus("Porites", "Poritidae", "west east", "Synaraea"),
    genus("Millepora", "Milleporidae", "west east", group="hydrocoral"),
    genus("sponge", "", "west east", group="not_coral"),
)
TAXA = TaxaData(
    version="made up",
    characters={},
    genera={g.genus: g for g in ROWS},
    profiles=(),
    lookalikes=(),
    regions={
        "west": frozenset({"west"}),
        "east": frozenset({"east"}),
        "both": frozenset({"west", "east"}),
    },
)


def slugs(match) -> list[str]:
    return [p.slug for p in match.problems]


def test_current_name_stands_for_itself_whatever_its_capitals() -> None:
    for text in ("Porites", " porites ", "PORITES", "Porites sp.", "porites spp"):
        match = find_names(text, TAXA, EAST)
        assert (match.kind, match.name, match.genera, match.rank) == (
            "exact",
            "Porites",
            ("Porites",),
            "genus",
        )
        assert match.is_usable
        assert match.question == ""


def test_same_old_name_is_another_genus_in_another_ocean() -> None:
    west, east = find_names("Favia", TAXA, WEST), find_names("Favia", TAXA, EAST)
    assert (west.kind, west.name) == ("exact", "Favia")
    assert (east.kind, east.text) == ("former", "Favia")
    assert east.genera == ("Dipsastraea", "Goniastrea")
    assert east.rank == "family"
    assert east.question == "Favia in east is today Dipsastraea or Goniastrea: which?"
    assert slugs(east) == ["name-former"]


def test_old_name_with_one_successor_maps_and_says_so() -> None:
    match = find_names("Wellsofungia", TAXA, EAST)
    assert (match.text, match.name, match.question) == ("Wellsofungia", "Pleuractis", "")
    assert slugs(match) == ["name-former"]
    assert match.problems[0].severity == "note"


def test_name_that_lost_species_asks_for_its_sense_and_is_never_widened_silently() -> None:
    today = find_names("Goniastrea", TAXA, EAST)
    assert (today.kind, today.genera) == ("exact", ("Goniastrea",))
    assert "Coelastrea" in today.question
    assert slugs(today) == ["name-sense"]
    old = find_names("Goniastrea", TAXA, EAST, is_old_sense=True)
    assert (old.kind, old.genera) == ("former", ("Goniastrea", "Coelastrea"))
    assert old.question.endswith("which?")


def test_old_name_with_no_region_stated_keeps_every_ocean_open() -> None:
    assert find_names("Favia", TAXA, None, is_old_sense=True).genera == (
        "Favia",
        "Mussismilia",
        "Dipsastraea",
        "Goniastrea",
    )
    assert "Dipsastraea" in find_names("Favia", TAXA, "both").question


def test_first_letters_complete_within_the_region_only() -> None:
    west = find_names("fav", TAXA, WEST)
    assert (west.kind, west.text, west.name) == ("prefix", "Favia", "Favia")
    assert west.is_usable
    dip = find_names("dip", TAXA, EAST)
    assert (dip.text, dip.genera) == ("Dipsastraea", ("Dipsastraea",))


def test_first_letters_of_a_current_and_an_old_name_are_asked_about() -> None:
    east = find_names("fav", TAXA, EAST)
    assert (east.kind, east.name, east.is_usable) == ("prefix", "", False)
    assert east.question == "Which is meant: Favia or Favites?"
    assert set(east.genera) == {"Dipsastraea", "Goniastrea", "Favites"}


def test_no_first_letters_are_left_in_what_is_recorded() -> None:
    for letters in ("por", "PO", "wel"):
        match = find_names(letters, TAXA, EAST)
        assert match.text in {"Porites", "Wellsofungia"}


def test_one_letter_is_too_few() -> None:
    assert find_names("p", TAXA, EAST).kind == "unknown"


@pytest.mark.parametrize("slip", ["Porties", "Poritse", "Porrites", "Pories", "Poretes"])
def test_slip_of_spelling_is_suggested_and_not_taken(slip: str) -> None:
    match = find_names(slip, TAXA, EAST)
    assert (match.kind, match.genera, match.is_usable) == ("suggestion", ("Porites",), False)
    assert match.question == "Is Porites meant?"
    assert slugs(match) == ["name-unknown"]


def test_slip_in_a_family_name_is_suggested() -> None:
    assert find_names("Fungidae", TAXA, EAST).question.startswith("Is Fungiidae ")


def test_name_like_no_other_is_unknown() -> None:
    match = find_names("Xenoturbella", TAXA, EAST)
    assert (match.kind, match.genera) == ("unknown", ())
    assert slugs(match) == ["name-unknown"]


def test_nothing_is_no_name_and_a_region_must_be_known() -> None:
    assert slugs(find_names("  ", TAXA, EAST)) == ["name-empty"]
    assert slugs(find_names("?", TAXA, EAST)) == ["name-empty"]
    assert slugs(find_names("Porites", TAXA, "north")) == ["name-region-unknown"]


def test_ranks_above_genus_are_names_too() -> None:
    family = find_names("Fungiidae", TAXA, EAST)
    assert (family.kind, family.rank, family.genera) == (
        "rank",
        "family",
        ("Fungia", "Pleuractis"),
    )
    for text in ("stony coral, not known", "Stony coral", "hard coral", "Scleractinia indet."):
        order = find_names(text, TAXA, WEST)
        assert (order.name, order.rank, order.text) == ("Scleractinia", "order", text)
        assert "Millepora" not in order.genera
    assert find_names("hydrocoral", TAXA, WEST).genera == ("Millepora",)
    assert find_names("cannot tell", TAXA, WEST).rank == "none"


def test_answers_that_are_no_genus_keep_their_rank() -> None:
    assert find_names("sponge", TAXA, EAST).rank == "informal group"


def test_family_and_genus_of_another_ocean_are_warned_about() -> None:
    for text in ("Diploria", "Faviidae", "Mussismilia"):
        match = find_names(text, TAXA, EAST)
        assert match.is_usable
        assert "name-not-in-region" in slugs(match)


def test_genus_of_another_ocean_that_is_an_old_name_too_is_not_taken_as_it_stands() -> None:
    # the checklist of a bay in the east that names neither Dipsastraea nor Goniastrea
    bay = replace(TAXA, regions={**TAXA.regions, "bay": frozenset({"bay"})})
    match = find_names("Favia", bay, "bay")
    assert match.genera == ("Favia", "Mussismilia", "Dipsastraea", "Goniastrea")
    assert match.question == "Favia is today Favia, Mussismilia, Dipsastraea or Goniastrea: which?"
    assert slugs(match) == ["name-not-in-region", "name-former"]
    assert all(" in bay it is" not in p.message for p in match.problems)


def test_qualifier_stands_apart_from_the_name() -> None:
    for text, qualifier in (
        ("cf. Porites", "cf."),
        ("aff Porites", "aff."),
        ("Porites?", "cf."),
        ("Porites", ""),
    ):
        match = find_names(text, TAXA, EAST)
        assert (match.name, match.qualifier) == ("Porites", qualifier)


def test_species_epithet_is_kept_as_written_and_said_to_be_unchecked() -> None:
    match = find_names("Favia pallida", TAXA, EAST)
    assert match.text == "Favia pallida"
    assert match.genera == ("Dipsastraea", "Goniastrea")
    assert slugs(match) == ["name-former", "name-species-kept"]


def test_two_genera_joined_by_or() -> None:
    match = find_names("favites or goniastrea", TAXA, EAST)
    assert (match.genera, match.rank) == (("Favites", "Goniastrea"), "family")
    assert find_names("Porites / Fungia", TAXA, EAST).rank == "order"
    assert not find_names("Porites or Fungai", TAXA, EAST).is_usable


def test_built_in_names_map_as_the_tables_say() -> None:
    """Old names of the shipped table (former_names): sets by ocean, never one by chance."""
    from dryslate.formats.taxa_csv import parse_taxa

    folder = Path(dryslate.__file__).parent / "data" / "taxa"
    tables = {p.name: p.read_text("utf-8") for p in folder.glob("*.csv")}
    tables.pop("error_rates.csv", None)
    taxa, _ = parse_taxa(tables)
    east = find_names("Montastrea", taxa, "indo_pacific")
    assert {"Astrea", "Favites", "Paramontastraea"} <= set(east.genera)
    assert "Orbicella" not in east.genera
    west = find_names("Montastrea", taxa, "western_atlantic")
    assert set(west.genera) == {"Orbicella", "Montastraea"}
    assert west.question
    for row in taxa.genera.values():
        for old in row.former_names:
            match = find_names(old, taxa, None, is_old_sense=True)
            assert row.genus in match.genera, old
            assert len(match.genera) == 1 or match.question, old
