"""Thin, contradictory and inseparable genera are found."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.core.identify.taxa import (
    Character,
    Frequency,
    Genus,
    Kind,
    Lookalike,
    Profile,
    SizeRange,
    StateRow,
    TaxaData,
)
from dryslate.core.identify.taxa_checks import (
    check_taxa,
    find_close_pairs,
    measure_memory_share,
)

NAMES = [f"c{i}" for i in range(8)]


def rows(**states: Frequency) -> dict[str, StateRow]:
    return {s: StateRow(frequency=f, source="memory; cf. X 1999") for s, f in states.items()}


def look(genus: str, **special: dict[str, StateRow]) -> Profile:
    states = {n: rows(yes="usual", no="rare") for n in NAMES}
    return Profile(
        genus=genus,
        profile="",
        regions=frozenset({"east"}),
        share=1.0,
        states={**states, **special},
        sizes={},
    )


def data_of(*looks: Profile, lookalikes: tuple[Lookalike, ...] = ()) -> TaxaData:
    return TaxaData(
        version="1",
        characters={
            n: Character(
                character=n,
                question="Is it?",
                seen_with="broken" if n == "c7" else "eye",
                is_hard=False,
                states={"yes": "it is", "no": "it is not"},
            )
            for n in NAMES
        },
        genera={
            p.genus: Genus(
                genus=p.genus, family="F", authority="", group="stony", regions=p.regions
            )
            for p in looks
        },
        profiles=looks,
        lookalikes=lookalikes,
        regions={"east": frozenset({"east"})},
    )


def pair(*characters: str) -> Lookalike:
    return Lookalike(
        genus_a="Aa", genus_b="Bb", how_to_tell="Look.", characters=characters, source="memory"
    )


def size(low: float, high: float) -> SizeRange:
    return SizeRange(
        low_mm=low, usual_low_mm=low, usual_high_mm=high, high_mm=high, source="Y 2001"
    )


@pytest.mark.parametrize(
    ("named", "slug"),
    [
        (("c0",), "taxa-lookalike-same"),
        (("c0", "c1"), "taxa-lookalike-part-same"),
        ((), "taxa-lookalike-same"),
    ],
)
def test_a_pair_that_names_what_does_not_differ_is_told(named: tuple[str, ...], slug: str) -> None:
    data = data_of(look("Aa"), look("Bb", c1=rows(no="usual")), lookalikes=(pair(*named),))
    assert [p.slug for p in check_taxa(data)] == [slug]


def test_a_pair_that_truly_differs_is_well() -> None:
    data = data_of(look("Aa"), look("Bb", c1=rows(no="usual")), lookalikes=(pair("c1"),))
    assert check_taxa(data) == []


def test_a_genus_with_few_characters_is_told() -> None:
    thin = replace(look("Aa"), states={"c0": rows(yes="usual")})
    told = check_taxa(data_of(thin))
    assert [(p.slug, p.place) for p in told] == [("taxa-genus-thin", "Aa")]


def test_a_character_without_a_usual_state_is_told_unless_two_share_it() -> None:
    alone = check_taxa(data_of(look("Aa", c0=rows(yes="sometimes", no="rare"))))
    shared = check_taxa(data_of(look("Aa", c0=rows(yes="sometimes", no="sometimes"))))
    assert [p.slug for p in alone] == ["taxa-usual-missing"]
    assert shared == []


def test_a_character_without_states_is_told() -> None:
    data = data_of(look("Aa"))
    bare = replace(data.characters["c0"], states={})
    told = check_taxa(replace(data, characters={**data.characters, "c0": bare}))
    assert [p.slug for p in told] == ["taxa-character-no-states"]


def test_a_species_beyond_the_range_of_its_look_is_told() -> None:
    inside, beyond = (
        Kind(
            name=f"Aa {name}",
            regions=frozenset(),
            growth_forms={},
            sizes={"valley_width": size(low, high)},
            share=1.0,
            source="Z",
        )
        for name, low, high in (("alba", 2, 3), ("magna", 3, 9))
    )
    whole = {"valley_width": size(2, 5)}
    told = check_taxa(data_of(replace(look("Aa"), sizes=whole, kinds=(inside, beyond))))
    assert [(p.slug, p.severity) for p in told] == [("taxa-species-outside", "note")]
    assert "Aa magna" in told[0].message


def test_pairs_that_nothing_separates_are_found() -> None:
    data = data_of(look("Aa"), look("Bb"), look("Cc", c2=rows(no="usual")))
    assert [(p.genus_a, p.genus_b) for p in find_close_pairs(data)] == [("Aa", "Bb")]
    by_one = [p for p in find_close_pairs(data, 1) if p.separators]
    assert [(p.genus_a, p.genus_b, p.separators) for p in by_one] == [
        ("Aa", "Cc", ("c2",)),
        ("Bb", "Cc", ("c2",)),
    ]


def test_what_only_a_broken_coral_shows_does_not_separate() -> None:
    data = data_of(look("Aa"), look("Bb", c7=rows(no="usual")))
    assert len(find_close_pairs(data)) == 1


def test_sizes_that_do_not_touch_separate() -> None:
    small = replace(look("Aa"), sizes={"valley_width": size(2, 3)})
    large = replace(look("Bb"), sizes={"valley_width": size(4, 9)})
    found = find_close_pairs(data_of(small, large), 1)
    assert [p.separators for p in found] == [("valley_width",)]


def test_genera_of_different_regions_are_no_pair() -> None:
    west = replace(look("Bb"), regions=frozenset({"west"}))
    assert find_close_pairs(data_of(look("Aa"), west)) == []


def test_the_share_from_memory_is_counted() -> None:
    one = replace(look("Aa"), states={"c0": rows(yes="usual")}, sizes={"valley_width": size(1, 2)})
    read = {"c0": {"no": StateRow(frequency="usual", source="Y 2001")}}
    other = replace(look("Bb"), states=read)
    share = measure_memory_share(data_of(one, other, lookalikes=(pair("c0"),)))
    assert (share.n_states, share.n_states_memory, share.states_frac) == (2, 1, 0.5)
    assert (share.n_sizes, share.n_sizes_memory, share.n_lookalikes_memory) == (1, 0, 1)


def test_a_genus_that_lives_nowhere_is_not_thin() -> None:
    data = data_of(look("Aa"))
    struck = replace(data.genera["Aa"], genus="Zz", regions=frozenset())
    assert check_taxa(replace(data, genera={**data.genera, "Zz": struck})) == []
