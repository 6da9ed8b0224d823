"""The written coral cases keep their form: known words, agreed shares, slips that are slips."""

from __future__ import annotations

import csv
import math
import re
from collections import Counter
from pathlib import Path

import pytest

HERE = Path(__file__).parent
COLUMNS = ["case", "species", "genus", "region"]
COLUMNS += ["seen", "not_seen", "sizes_mm", "slip", "source"]
ATLANTIC = {"atlantic", "western_atlantic", "eastern_atlantic"}
PACIFIC = {"indo_pacific", "indian_ocean", "western_central_pacific", "eastern_pacific"}
MEASURES = {"corallite_diameter", "valley_width", "colony_diameter"}
STATES = {
    name: set(states.split())
    for name, states in {
        "attachment": "attached free_living",
        "coloniality": "solitary colonial",
        "growth_form": "branching bushy corymbose digitate tabular bottlebrush columnar massive "
        "submassive encrusting laminar foliaceous disc free_living_dome elongate cup",
        "corallite_arrangement": "plocoid cerioid phaceloid dendroid meandroid flabello_meandroid "
        "hydnophoroid thamnasterioid axial_radial scattered_immersed reticular organ_pipe solitary",
        "axial_corallite": "present absent",
        "corallite_relief": "immersed flush raised tubular",
        "corallite_orientation": "upright inclined_to_margin",
        "wall": "shared separate porous indistinct",
        "coenosteum": "none narrow_groove smooth granular_spiny costate blistered reticulate",
        "elevations": "none verrucae papillae monticules ridges",
        "columella": "absent styliform spongy papillose lamellar",
        "paliform_lobes": "present absent",
        "septal_margin": "smooth fine_teeth large_lobed_teeth granular",
        "septa_count": "up_to_12 about_24 over_24",
        "septa_confluent": "yes no",
        "septa_exsert": "not_exsert slightly strongly",
        "mouth_arrangement": "single_axial_furrow central_corallite none",
        "tissue": "thin fleshy",
        "polyps_by_day": "retracted extended",
        "tentacle_form": "short long_tubular vesicles bulb_tipped anchor_tipped knob_branched "
        "pinnate_eight dactylozooids not_seen",
        "tentacles_per_polyp": "eight twelve twenty_four more",
        "skeleton_colour": "white blue red cream black",
        "budding": "beside splitting",
        "cup_rows": "in_rows scattered",
        "cup_hood": "present absent",
        "cup_spine": "present absent",
        "disc_teeth": "fine_grains fine_points coarse_points large_lobes",
        "disc_lobes": "present absent",
        "disc_underside": "fine_grains low_blunt tall_pointed branched_spines",
        "mouth_spacing": "far_apart close",
        "ridge_top": "deep_groove fine_line plain",
        "axial_count": "one several",
        "septa_join": "joining separate",
        "branch_thickness": "thin finger thick",
        "algae": "with_algae without_algae",
        "plate_sides": "one_side both_sides",
    }.items()
}
SKELETON_OTHER_THAN_STONY = {"Millepora", "Distichopora", "Stylaster", "Heliopora", "Tubipora"}
Row = dict[str, str]


def read_cases(name: str) -> list[Row]:
    """All rows of one list, with its columns as agreed."""
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file, strict=True)
        rows = list(reader)
    assert reader.fieldnames == COLUMNS
    assert all(None not in row and None not in row.values() for row in rows)
    return rows


def read_states(text: str) -> dict[str, set[str]]:
    """`character=state|state;...` as sets of states, no character named twice."""
    parts = [part.split("=") for part in text.split(";") if part]
    assert len({part[0] for part in parts}) == len(parts), text
    return {character: set(states.split("|")) for character, states in parts}


def is_known(states: dict[str, set[str]]) -> bool:
    """Whether each character and each of its states is an agreed id."""
    return all(found and found <= STATES.get(name, set()) for name, found in states.items())


LISTS = ("evaluation", "development", "fitting", "fitting2")
SHORT = "fitting3"  # written blind to the others, so a species may stand there too
SECOND = "; second colony"


def kept_back(row: Row) -> bool:
    """Whether a case of fitting2 is for judging: the odd ids."""
    return int(row["case"][1:]) % 2 == 1


@pytest.fixture(params=(*LISTS, SHORT))
def cases(request: pytest.FixtureRequest) -> list[Row]:
    return read_cases(request.param)


def test_characters_states_and_regions_are_known_ids(cases: list[Row]) -> None:
    for row in cases:
        for column in ("seen", "not_seen", "slip"):
            assert is_known(read_states(row[column])), (row["case"], column)
        assert row["region"] in ATLANTIC | PACIFIC, row["case"]


def test_each_case_has_an_agreed_number_of_characters_and_contradicts_itself_nowhere(
    cases: list[Row],
) -> None:
    most = 16 if cases[0]["case"].startswith("G") else 9
    for row in cases:
        seen = read_states(row["seen"])
        assert 5 <= len(seen) <= most, row["case"]
        for character, states in read_states(row["not_seen"]).items():
            told = seen.get(character, set()) | read_states(row["slip"]).get(character, set())
            assert not states & told, row["case"]


def test_a_slip_is_one_recorded_state_that_differs_from_the_truth(cases: list[Row]) -> None:
    for row in cases:
        slip = read_states(row["slip"])
        assert len(slip) <= 1, row["case"]
        for character, truth in slip.items():
            assert len(truth) == 1, row["case"]
            assert not truth & read_states(row["seen"])[character], row["case"]


def test_exactly_fifteen_percent_rounded_up_hold_a_slip(cases: list[Row]) -> None:
    assert sum(bool(row["slip"]) for row in cases) == math.ceil(len(cases) * 15 / 100)


def test_sizes_are_known_measures_with_a_smaller_uncertainty(cases: list[Row]) -> None:
    for row in cases:
        for part in filter(None, row["sizes_mm"].split(";")):
            found = re.fullmatch(r"(\w+)=(\d+(?:\.\d+)?)±(\d+(?:\.\d+)?)", part)
            assert found is not None, row["case"]
            assert found[1] in MEASURES, row["case"]
            assert 0.0 < float(found[3]) < 0.5 * float(found[2]), row["case"]


def test_each_species_stands_once_under_its_genus_with_a_source(cases: list[Row]) -> None:
    """A second colony of a species, in fitting2 and fitting3 only, says so."""
    assert len({row["case"] for row in cases}) == len(cases)
    firsts = [row["species"] for row in cases if not row["source"].endswith(SECOND)]
    assert len(set(firsts)) == len(firsts)
    for row in cases:
        assert re.fullmatch(r"[A-Z][a-z]+ [a-z]+", row["species"]), row["case"]
        assert row["species"].startswith(row["genus"] + " "), row["case"]
        source = row["source"]
        if row["case"][0] in "GH":
            source = source.removesuffix(SECOND)
        assert re.fullmatch(r"(cf\. [^;]+ \d{4}; )+memory", source), row["case"]


def test_evaluation_is_wide_enough_to_measure_with() -> None:
    rows = read_cases("evaluation")
    genera = Counter(row["genus"] for row in rows)
    assert len(rows) >= 132
    assert len(genera) >= 70
    assert sum(row["region"] in ATLANTIC for row in rows) >= 25
    assert sum(genera[genus] for genus in SKELETON_OTHER_THAN_STONY) >= 8
    assert 0.4 <= sum(bool(row["sizes_mm"]) for row in rows) / len(rows) <= 0.6


def test_fitting_is_wide_enough_to_learn_several_looks_of_a_genus() -> None:
    rows = read_cases("fitting")
    genera = Counter(row["genus"] for row in rows)
    assert len(rows) == 150
    assert len(genera) >= 94
    assert sum(count > 1 for count in genera.values()) >= 30
    assert {row["region"] for row in rows} >= (ATLANTIC | PACIFIC) - {"atlantic"}
    assert 0.4 <= sum(bool(row["sizes_mm"]) for row in rows) / len(rows) <= 0.6


def test_fitting2_is_wide_enough_in_each_half() -> None:
    rows = read_cases("fitting2")
    assert [row["case"] for row in rows] == [f"G{n:03d}" for n in range(1, len(rows) + 1)]
    assert len(rows) == 502
    assert len({row["genus"] for row in rows}) == 92
    for half in (rows[::2], rows[1::2]):
        slips = sum(bool(row["slip"]) for row in half) / len(half)
        assert len({row["genus"] for row in half}) >= 65
        assert 0.12 <= slips <= 0.18
        assert 0.4 <= sum(bool(row["sizes_mm"]) for row in half) / len(half) <= 0.6


def test_fitting3_holds_short_records_in_each_half() -> None:
    rows = read_cases("fitting3")
    assert [row["case"] for row in rows] == [f"H{n:03d}" for n in range(1, len(rows) + 1)]
    assert len(rows) == 175
    assert len({row["genus"] for row in rows}) >= 90
    assert sum(row["region"] in ATLANTIC for row in rows) >= 40
    for half in (rows[::2], rows[1::2]):
        slips = sum(bool(row["slip"]) for row in half) / len(half)
        n_seen = [len(read_states(row["seen"])) for row in half]
        assert 0.12 <= slips <= 0.18
        assert max(n_seen) <= 7
        assert 5.5 <= sum(n_seen) / len(half) <= 6.2


def test_no_species_stands_in_two_lists() -> None:
    """Second colonies aside: those stand with the first, never in a list kept back."""
    assert len(read_cases("development")) == 20
    lists = [
        {row["species"] for row in read_cases(name) if not row["source"].endswith(SECOND)}
        for name in LISTS
    ]
    assert sum(map(len, lists)) == len(set().union(*lists))


def test_no_species_of_fitting2_is_both_for_fitting_and_kept_back() -> None:
    fitting = {row["species"] for row in read_cases("fitting")}
    rows = read_cases("fitting2")
    judged = {row["species"] for row in rows if kept_back(row)}
    shown = {row["species"] for row in rows if not kept_back(row)}
    assert not judged & (shown | fitting)
    firsts = {row["species"] for row in rows if not row["source"].endswith(SECOND)}
    for row in rows:
        if row["source"].endswith(SECOND):
            assert row["species"] in firsts | fitting, row["case"]
    counts = Counter(row["species"] for row in rows)
    assert max(counts.values()) == 2
    assert not {name for name in fitting if counts[name] > 1}
