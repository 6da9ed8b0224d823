"""
The tables keep to what family and genus diagnoses say.

Each line is a statement of the named revision, written down from memory; the works were not opened
for this test. It catches slips of the table, not errors of that memory.
"""

from __future__ import annotations

import pytest

from dryslate.core.identify.taxa import Profile
from dryslate.files.reference_tables import FileReferenceTables

DATA, _ = FileReferenceTables().taxa()

FAMILIES = [
    # family, character, state that every look must show, source
    ("Acroporidae", "wall", "porous", "Wallace 1999; Kitano et al. 2014 (Alveopora)"),
    ("Poritidae", "wall", "porous", "Kitano et al. 2014"),
    ("Dendrophylliidae", "wall", "porous", "Cairns 2001"),
    ("Agariciidae", "septa_confluent", "yes", "Terraneo et al. 2017"),
    ("Psammocoridae", "septa_confluent", "yes", "Benzoni et al. 2010"),
    ("Meandrinidae", "septal_margin", "smooth", "Budd et al. 2012"),
    ("Euphylliidae", "septal_margin", "smooth", "Luzon et al. 2017"),
    ("Plerogyridae", "corallite_relief", "tubular", "Benzoni et al. 2014"),
    ("Lobophylliidae", "septal_margin", "large_lobed_teeth", "Budd & Stolarski 2009"),
    ("Merulinidae", "septal_margin", "fine_teeth", "Huang et al. 2014"),
    ("Pocilloporidae", "septa_count", "up_to_12", "Schmidt-Roach et al. 2014"),
    ("Fungiidae", "paliform_lobes", "absent", "Hoeksema 1989"),
    ("Fungiidae", "septa_count", "over_24", "Hoeksema 1989"),
]
OTHERWISE = {
    # genus: why the line of its family does not hold
    ("Catalaphyllia", "septal_margin"): "smooth septa; its place in Merulinidae is recent",
    ("Australophyllia", "septal_margin"): "its teeth are finer (Arrigoni et al. 2016)",
}
LOOKS_OTHERWISE = {
    # genus, look, character: why the line of its genus does not hold
    (
        "Acropora",
        "crusts",
        "axial_corallite",
    ): "A. palmerae has few branches (Veron & Wallace 1984)",
    ("Heliopora", "white", "skeleton_colour"): "H. hiberniana is white (Richards et al. 2018)",
}
GENERA = [
    ("Goniopora", "tentacles_per_polyp", {"twenty_four"}, "Kitano et al. 2014"),
    ("Alveopora", "tentacles_per_polyp", {"twelve"}, "Kitano et al. 2014"),
    ("Heliopora", "tentacles_per_polyp", {"eight"}, "octocorals have eight tentacles"),
    ("Tubipora", "tentacles_per_polyp", {"eight"}, "octocorals have eight tentacles"),
    ("Heliopora", "skeleton_colour", {"blue"}, "Bouillon & Houvenaghel-Crevecoeur 1970"),
    ("Tubipora", "skeleton_colour", {"red"}, "Linnaeus 1758"),
    ("Acropora", "axial_corallite", {"present"}, "Wallace 1999"),
    ("Pocillopora", "elevations", {"verrucae"}, "Schmidt-Roach et al. 2014"),
    ("Hydnophora", "elevations", {"monticules"}, "Huang et al. 2014"),
    ("Leptoria", "columella", {"lamellar"}, "Huang et al. 2014"),
    ("Goniastrea", "paliform_lobes", {"present"}, "Huang et al. 2014"),
    ("Diploria", "ridge_top", {"deep_groove"}, "Budd et al. 2012"),
    ("Plerogyra", "tentacle_form", {"vesicles"}, "Benzoni et al. 2014"),
    ("Galaxea", "septa_exsert", {"strongly"}, "Matthai 1914"),
    ("Stephanocoenia", "septa_count", {"about_24"}, "Budd et al. 2012"),
    ("Dendrogyra", "polyps_by_day", {"extended"}, "Budd et al. 2012"),
    ("Siderastrea", "septa_exsert", {"not_exsert"}, "Foster 1980"),
    ("Ctenactis", "growth_form", {"elongate"}, "Hoeksema 1989"),
    ("Heliofungia", "tentacle_form", {"long_tubular", "bulb_tipped"}, "Hoeksema 1989"),
]


def looks(genera: set[str]) -> list[Profile]:
    return [p for p in DATA.profiles if p.genus in genera]


def usual(look: Profile, character: str) -> set[str]:
    return {s for s, r in look.states.get(character, {}).items() if r.frequency == "usual"}


@pytest.mark.parametrize(("family", "character", "state", "source"), FAMILIES)
def test_every_genus_of_a_family_shows_what_its_diagnosis_says(
    family: str, character: str, state: str, source: str
) -> None:
    members = {g.genus for g in DATA.genera.values() if g.family == family}
    assert members, family
    wrong = {
        look.genus
        for look in looks(members)
        if character in look.states and state not in usual(look, character)
    }
    assert {g for g in wrong if (g, character) not in OTHERWISE} == set(), source


@pytest.mark.parametrize(("genus", "character", "states", "source"), GENERA)
def test_a_genus_shows_what_sets_it_apart(
    genus: str, character: str, states: set[str], source: str
) -> None:
    for look in looks({genus}):
        if (genus, look.profile, character) in LOOKS_OTHERWISE:
            assert not usual(look, character) <= states, look.profile
            continue
        assert usual(look, character) <= states, (look.profile, source)
        assert usual(look, character), (look.profile, source)


def test_every_exception_is_one() -> None:
    needed = {
        (look.genus, character)
        for family, character, state, _ in FAMILIES
        for look in looks({g.genus for g in DATA.genera.values() if g.family == family})
        if character in look.states and state not in usual(look, character)
    }
    assert needed == set(OTHERWISE)
