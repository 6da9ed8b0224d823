"""The genus tables become one record; each fault in them has its file, line and column."""

from __future__ import annotations

import pytest

from dryslate.formats.taxa_csv import parse_taxa

HEADS = {
    "version.csv": "version,what\n1,first\n",
    "regions.csv": (
        "region,made_of,words\neast,,the east\nwest,,the west\nworld,east|west,all of it\n"
    ),
    "characters.csv": (
        "character,question,seen_with,is_hard\n"
        "growth_form,What shape?,eye,yes\nwall,What wall?,lens,no\n"
    ),
    "character_states.csv": (
        "character,state,words\ngrowth_form,massive,a dome\ngrowth_form,branching,branches\n"
        "wall,shared,one wall\nwall,separate,two walls\n"
    ),
    "genera.csv": (
        "genus,family,authority,group,region,former_names,caution,remark\n"
        "Aa,Fam,,stony,world,Old|Older,,\nBb,Fam,,stony,east,,stings,\n"
    ),
    "states.csv": (
        "genus,region,profile,character,state,frequency,source\n"
        "Aa,world,,growth_form,massive,usual,memory; cf. X 1999\n"
        "Aa,world,,growth_form,branching,sometimes,memory\n"
        "Aa,world,,wall,shared,usual,Y 2001\n"
        "Aa,world,brain,wall,separate,usual,Y 2001\n"
        "Bb,east,,growth_form,branching,sometimes,memory\n"
    ),
    "profiles.csv": (
        "genus,profile,region,share,kinds,words,source\n"
        "Aa,honeycomb,world,3,*,cups,memory\nAa,brain,world,1,alba,valleys,memory\n"
    ),
    "measures.csv": (
        "genus,region,profile,measure,low,usual_low,usual_high,high,unit,source\n"
        "Aa,world,,corallite_diameter,2,3,5,9,mm,Y 2001\n"
    ),
    "species.csv": (
        "# a note\nspecies,genus,region,corallite_width_min_mm,corallite_width_max_mm,"
        "growth_form,source\nAa alba,Aa,east,3,4,massive,Z\nAa nigra,Aa,world,,6,branching,Z\n"
        "Cc una,Cc,east,1,2,massive,Z\n"
    ),
    "lookalikes.csv": (
        "genus_a,genus_b,how_to_tell,characters,source\nAa,Bb,Look at it.,wall,memory\n"
    ),
}


def test_rows_of_a_profile_take_the_place_of_the_genus_rows_for_that_character() -> None:
    data, problems = parse_taxa(HEADS)
    assert problems == []
    looks = {p.profile: p for p in data.profiles if p.genus == "Aa"}
    assert set(looks["honeycomb"].states["wall"]) == {"shared"}
    assert set(looks["brain"].states["wall"]) == {"separate"}
    assert set(looks["brain"].states["growth_form"]) == {"massive", "branching"}
    assert looks["honeycomb"].share == 3
    assert data.genera["Aa"].former_names == ("Old", "Older")
    assert data.genera["Aa"].regions == {"east", "west"}
    assert data.regions["world"] == {"east", "west"}


def test_species_become_kinds_of_the_profile_that_lists_them() -> None:
    data, _ = parse_taxa(HEADS)
    looks = {p.profile: p for p in data.profiles if p.genus == "Aa"}
    assert [k.name for k in looks["brain"].kinds] == ["Aa alba"]
    nigra = looks["honeycomb"].kinds[0]
    assert (nigra.name, dict(nigra.growth_forms)) == ("Aa nigra", {"branching": "usual"})
    size = looks["brain"].kinds[0].sizes["corallite_diameter"]
    assert (size.usual_low_mm, size.usual_high_mm) == (3, 4)
    assert size.low_mm < 3
    assert size.high_mm > 4
    assert looks["brain"].kinds[0].regions == {"east"}


def test_a_form_that_the_genus_is_not_scored_to_show_is_left_out_of_its_species() -> None:
    more = HEADS["species.csv"] + "Bb una,Bb,east,,2,massive,Z\n"
    data, _ = parse_taxa({**HEADS, "species.csv": more})
    kind = next(k for p in data.profiles for k in p.kinds if k.name == "Bb una")
    assert dict(kind.growth_forms) == {}


def test_only_rows_from_memory_count_as_memory() -> None:
    data, _ = parse_taxa(HEADS)
    look = next(p for p in data.profiles if p.profile == "honeycomb")
    assert look.states["growth_form"]["massive"].is_memory
    assert not look.states["wall"]["shared"].is_memory


def test_a_later_table_takes_the_place_of_what_an_earlier_one_says() -> None:
    own = HEADS["states.csv"].splitlines()[0] + "\nAa,west,,growth_form,branching,rare,own note\n"
    data, problems = parse_taxa({**HEADS, "taxa/states.csv": own})
    assert problems == []
    forms = {
        next(iter(p.regions)): dict(p.states["growth_form"])
        for p in data.profiles
        if (p.genus, p.profile) == ("Aa", "honeycomb")
    }
    assert set(forms["east"]) == {"massive", "branching"}
    assert set(forms["west"]) == {"branching"}
    assert data.version.startswith("1+")


def test_a_region_with_a_checklist_holds_the_genera_of_the_list() -> None:
    more = {
        "taxa/regions.csv": "region,made_of,words\nbay,east,our bay\n",
        "taxa/checklist.csv": "region,genus,source\nbay,Aa,own list\n",
        "taxa/frequencies.csv": "region,genus,frequency,source\nbay,Aa,12,counts\n",
    }
    data, problems = parse_taxa({**HEADS, **more})
    assert problems == []
    assert data.regions["bay"] == {"bay"}
    assert [n for n, g in data.genera.items() if g.regions & data.regions["bay"]] == ["Aa"]
    assert {p.profile for p in data.profiles if "bay" in p.regions} == {"honeycomb", "brain"}
    assert data.frequencies == {"bay": {"Aa": 12.0}}
    kinds = [k.name for p in data.profiles for k in p.kinds if "bay" in k.regions]
    assert sorted(kinds) == ["Aa alba", "Aa nigra"]


def test_how_often_genera_are_met_goes_for_a_checklists_region_as_for_where_it_lies() -> None:
    more = {
        "met.csv": "genus,region,met,source\nAa,world,often,Z\nBb,east,seldom,Z\n",
        "taxa/regions.csv": "region,made_of,words\nbay,east,our bay\n",
        "taxa/checklist.csv": "region,genus,source\nbay,Aa,own list\nbay,Bb,own list\n",
        "taxa/met.csv": "genus,region,met,source\nBb,bay,often,own counts\n",
    }
    data, problems = parse_taxa({**HEADS, **more})
    assert problems == []
    assert data.met["west"] == {"Aa": "often"}
    assert data.met["east"] == {"Aa": "often", "Bb": "seldom"}
    assert data.met["bay"] == {"Aa": "often", "Bb": "often"}


def test_a_word_for_how_often_that_is_not_known_is_told() -> None:
    _, problems = parse_taxa({**HEADS, "met.csv": "genus,region,met,source\nAa,east,daily,Z\n"})
    assert [(p.slug, p.place) for p in problems] == [
        ("taxa-word-unknown", "met.csv, line 2, column met")
    ]


def test_a_checklist_of_a_finest_region_strikes_the_other_genera_from_it() -> None:
    own = {"taxa/checklist.csv": "region,genus,source\neast,Aa,own list\n"}
    data, problems = parse_taxa({**HEADS, **own})
    assert problems == []
    assert data.regions["east"] == {"east"}
    assert data.genera["Aa"].regions == {"east", "west"}
    assert data.genera["Bb"].regions == frozenset()
    assert {p.genus for p in data.profiles if "east" in p.regions} == {"Aa"}


def test_a_region_off_the_map_takes_every_look_of_its_genera() -> None:
    more = {
        "taxa/regions.csv": "region,made_of,words\ntank,,the aquarium\n",
        "taxa/checklist.csv": "region,genus,source\ntank,Bb,own list\n",
    }
    data, problems = parse_taxa({**HEADS, **more})
    assert problems == []
    assert [p.genus for p in data.profiles if "tank" in p.regions] == ["Bb"]


BROKEN = [
    ("states.csv", "Aa,world,,wall,sharde,usual,memory", "taxa-state-unknown", "column state"),
    ("states.csv", "Aa,world,,wal,shared,usual,memory", "taxa-character-unknown", "character"),
    ("states.csv", "Ab,world,,wall,shared,usual,memory", "taxa-genus-unknown", "column genus"),
    ("states.csv", "Aa,north,,wall,separate,rare,memory", "taxa-region-unknown", "region"),
    ("states.csv", "Aa,world,,wall,separate,often,memory", "taxa-word-unknown", "frequency"),
    ("states.csv", "Aa,world,,wall,separate,rare", "taxa-row-broken", "line 7"),
    ("states.csv", "Aa,world,,wall,separate,rare,", "taxa-cell-empty", "column source"),
    ("states.csv", "Aa,world,maze,wall,separate,rare,memory", "taxa-profile-unknown", "profile"),
    ("states.csv", "Aa,world,,wall,shared,rare,memory", "taxa-row-twice", "column state"),
    ("genera.csv", "Aa,Fam,,stony,east,,,", "taxa-genus-twice", "line 4"),
    (
        "measures.csv",
        "Bb,east,,corallite_diameter,2,5,3,9,mm,Y",
        "taxa-range-unordered",
        "column low",
    ),
    ("measures.csv", "Bb,east,,valley_width,2,x,3,9,mm,Y", "taxa-number-broken", "usual_low"),
    ("measures.csv", "Bb,east,,septum_width,2,3,4,9,mm,Y", "taxa-measure-unknown", "measure"),
    ("measures.csv", "Bb,east,,valley_width,2,3,4,9,cm,Y", "taxa-unit-unknown", "unit"),
    ("profiles.csv", "Aa,flat,world,1,rubra,,memory", "taxa-species-unknown", "kinds"),
]


@pytest.mark.parametrize(("table", "row", "slug", "place"), BROKEN)
def test_a_broken_row_is_told_with_its_line_and_column(
    table: str, row: str, slug: str, place: str
) -> None:
    data, problems = parse_taxa({**HEADS, table: HEADS[table] + row + "\n"})
    told = [p for p in problems if p.slug == slug]
    assert told, problems
    assert table in told[0].place
    assert place in told[0].place
    assert {"Aa", "Bb"} <= set(data.genera)


def test_a_table_without_its_columns_is_told() -> None:
    _, problems = parse_taxa({**HEADS, "taxa/genera.csv": "genus,family\nCc,Fam\n"})
    assert [p.slug for p in problems] == ["taxa-columns-missing"]
    assert "taxa/genera.csv" in problems[0].place


def test_a_table_of_another_name_is_told() -> None:
    _, problems = parse_taxa({**HEADS, "taxa/notes.csv": "a,b\n1,2\n"})
    assert [p.slug for p in problems] == ["taxa-table-unknown"]


def test_a_quoted_cell_over_two_lines_keeps_the_line_numbers() -> None:
    text = HEADS["lookalikes.csv"] + '\n# note\nBb,Aa,"one\ntwo",wall,memory\nBb,Xx,x,wall,memory\n'
    _, problems = parse_taxa({**HEADS, "lookalikes.csv": text})
    assert {(p.slug, p.place) for p in problems} == {
        ("taxa-row-twice", "lookalikes.csv, line 5, column genus_b"),
        ("taxa-genus-unknown", "lookalikes.csv, line 7, column genus_b"),
    }


def test_a_width_of_something_else_is_left_out_of_a_species() -> None:
    more = HEADS["species.csv"] + "Aa parva,Aa,east,0.1,0.2,massive,Z\nAa sola,Aa,east,,5,,Z\n"
    data, problems = parse_taxa({**HEADS, "species.csv": more})
    kinds = {k.name: k for p in data.profiles for k in p.kinds}
    assert problems == []
    assert dict(kinds["Aa parva"].sizes) == {}
    assert kinds["Aa sola"].sizes["corallite_diameter"].usual_low_mm == pytest.approx(3.0)


def test_a_character_may_be_of_some_corals_only() -> None:
    head, growth, wall = HEADS["characters.csv"].splitlines()
    marked = f"{head},for_some\n{growth},no\n{wall},yes\n"
    data, problems = parse_taxa(HEADS | {"characters.csv": marked})
    assert problems == []
    assert {n: c.is_for_some for n, c in data.characters.items()} == {
        "growth_form": False,
        "wall": True,
    }
    plain, _ = parse_taxa(HEADS)
    assert not any(c.is_for_some for c in plain.characters.values())
    _, problems = parse_taxa(HEADS | {"characters.csv": marked.replace("yes\n", "often\n")})
    assert [p.slug for p in problems][:1] == ["taxa-word-unknown"]


def test_a_character_that_is_not_marked_as_hard_is_not() -> None:
    heads = {**HEADS, "characters.csv": HEADS["characters.csv"].replace("lens,no", "lens,")}
    data, problems = parse_taxa(heads)
    assert problems == []
    assert not data.characters["wall"].is_hard
