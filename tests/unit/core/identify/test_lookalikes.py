"""Two genera side by side: what differs stands first, and a photo's scale decides what it shows."""

from __future__ import annotations

import math

import pytest

from dryslate.base.errors import InputError
from dryslate.core.identify.lookalikes import compare_genera, find_lookalikes
from dryslate.core.identify.taxa import TaxaData
from dryslate.formats.taxa_csv import parse_taxa

TABLES = {
    "version.csv": "version,what\n1,first\n",
    "regions.csv": "region,made_of,words\neast,,the east\nwest,,the west\n",
    "characters.csv": (
        "character,question,seen_with,is_hard\ngrowth_form,What shape?,eye,yes\n"
        "columella,What stands in the middle?,lens,yes\nwall,What wall?,lens,no\n"
        "skeleton_colour,What colour?,broken,no\n"
    ),
    "character_states.csv": (
        "character,state,words\ngrowth_form,massive,a dome\ngrowth_form,branching,branches\n"
        "columella,absent,nothing\ncolumella,spongy,a tangle\n"
        "wall,shared,one wall\nwall,separate,two walls\n"
        "skeleton_colour,blue,blue\nskeleton_colour,white,white\n"
    ),
    "genera.csv": (
        "genus,family,authority,group,region,former_names,caution,remark\n"
        "Aa,F,,stony,east,Old,,\nBb,F,,hydrocoral,east|west,Old,stings,\nCc,F,,stony,west,,,\n"
    ),
    "states.csv": (
        "genus,region,profile,character,state,frequency,source\n"
        "Aa,east,,growth_form,massive,usual,memory\n"
        "Aa,east,,columella,absent,usual,memory\n"
        "Aa,east,,wall,shared,usual,memory\nAa,east,,wall,separate,sometimes,memory\n"
        "Aa,east,,skeleton_colour,white,usual,memory\n"
        "Bb,east|west,,growth_form,massive,usual,memory\n"
        "Bb,east|west,,columella,spongy,usual,Y 2001\n"
        "Bb,east|west,,wall,shared,usual,memory\n"
        "Bb,east|west,,skeleton_colour,blue,usual,memory\n"
        "Cc,west,,growth_form,massive,usual,memory\nCc,west,,wall,shared,usual,memory\n"
    ),
    "measures.csv": (
        "genus,region,profile,measure,low,usual_low,usual_high,high,unit,source\n"
        "Aa,east,,corallite_diameter,1,2,4,9,mm,Y\nBb,east,,corallite_diameter,1,3,6,9,mm,Y\n"
    ),
    "lookalikes.csv": (
        "genus_a,genus_b,how_to_tell,characters,source\nBb,Aa,Look inside.,columella,memory\n"
    ),
}


@pytest.fixture(scope="module")
def taxa() -> TaxaData:
    data, problems = parse_taxa(TABLES)
    assert problems == []
    return data


def test_what_differs_most_stands_first_and_lens_before_broken(taxa: TaxaData) -> None:
    found = compare_genera(taxa, "aa", "bb")
    assert [c.character for c in found.characters] == [
        "columella", "skeleton_colour", "wall", "growth_form",
    ]  # fmt: skip
    assert found.characters[0].difference == 1
    assert found.characters[0].is_named
    assert found.how_to_tell == "Look inside."
    assert found.cautions == ("Bb stings",)


def test_the_difference_of_a_character_is_the_total_variation(taxa: TaxaData) -> None:
    wall = next(c for c in compare_genera(taxa, "Aa", "Bb").characters if c.character == "wall")
    assert wall.difference == pytest.approx(0.3 / 1.3)
    assert [(s.words, s.frequency) for s in wall.states_a] == [
        ("one wall", "usual"),
        ("two walls", "sometimes"),
    ]


def test_a_finer_photo_shows_more(taxa: TaxaData) -> None:
    coarse = {c.character: c for c in compare_genera(taxa, "Aa", "Bb", 10.0).characters}
    fine = {c.character: c for c in compare_genera(taxa, "Aa", "Bb", 16.0).characters}
    # 3 px over a tenth of the smallest usual calice, 2 mm: 15 px/mm
    assert coarse["columella"].needs_px_per_mm == pytest.approx(15.0)
    assert (coarse["columella"].in_photo, fine["columella"].in_photo) == ("no", "yes")
    assert coarse["growth_form"].in_photo == "yes"
    assert fine["skeleton_colour"].in_photo == "never"


def test_sizes_share_the_part_that_both_have(taxa: TaxaData) -> None:
    size = compare_genera(taxa, "Aa", "Bb").sizes[0]
    assert size.difference == pytest.approx(1 - math.log(4 / 3) / math.log(6 / 2))


def test_what_a_genus_is_taken_for_names_the_pair_and_what_nothing_separates(
    taxa: TaxaData,
) -> None:
    found = find_lookalikes(taxa, "Bb")
    assert [(one.genus, one.is_unseparated) for one in found] == [("Cc", True), ("Aa", False)]
    assert found[1].tells[0] == "columella"
    assert "skeleton_colour" not in found[1].tells  # nobody should break a coral to see it


@pytest.mark.parametrize(
    ("genera", "scale", "region", "slug", "words"),
    [
        (("Aq", "Bb"), None, None, "lookalikes-genus-unknown", "Aa"),
        (("Old", "Bb"), None, None, "lookalikes-genus-former", "Aa or Bb"),
        (("Aa", "aa"), None, None, "lookalikes-same-genus", "Aa"),
        (("Aa", "Bb"), 0.0, None, "lookalikes-scale-not-positive", "0"),
        (("Aa", "Bb"), None, "north", "lookalikes-region-unknown", "east"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    taxa: TaxaData,
    genera: tuple[str, str],
    scale: float | None,
    region: str | None,
    slug: str,
    words: str,
) -> None:
    with pytest.raises(InputError) as raised:
        compare_genera(taxa, *genera, scale, region)
    assert raised.value.slug == slug
    assert words in str(raised.value)


def test_septa_of_a_disc_need_the_same_scale_whatever_its_width() -> None:
    column = "genus,region,profile,measure,low,usual_low,usual_high,high,unit,source\n"
    discs = (
        "Aa,east,,colony_diameter,20,90,200,300,mm,Y\nBb,east,,colony_diameter,20,50,80,99,mm,Y\n"
    )
    data, problems = parse_taxa({**TABLES, "measures.csv": column + discs})
    assert problems == []
    mushroom = {c.character: c for c in compare_genera(data, "Aa", "Bb", 5.0).characters}
    assert mushroom["columella"].needs_px_per_mm == pytest.approx(3 / 0.5)
    assert mushroom["columella"].in_photo == "no"
