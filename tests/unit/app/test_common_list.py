"""Names taken together so that visits with finer and coarser names can be compared."""

from __future__ import annotations

from dryslate.app.common_list import at_common_list, common_list
from dryslate.app.result_tallies import ALL, UNNAMED, NotedName, SampledAlike, TalliedUnit
from dryslate.app.unit_records import Unit
from dryslate.core.survey.designs import SurveyRow, UnitDesign
from dryslate.core.survey.tally import tally_unit

BELT = UnitDesign(design="belt", length_m=10.0, width_m=1.0, edge_rule="centre_inside")
MERULINIDAE = ("Favites", "Goniastrea", "Platygyra")
NAMES = {
    **{f"name\t{g}": NotedName(rank="genus", genera=(g,)) for g in (*MERULINIDAE, "Porites")},
    "name\tMerulinidae": NotedName(rank="family", genera=MERULINIDAE),
    "name\tFavites or Porites": NotedName(rank="family", genera=("Favites", "Porites")),
    "name\tScleractinia": NotedName(rank="order", genera=(*MERULINIDAE, "Porites")),
    "name\tZzyzora": NotedName(rank="none", genera=(), is_listed=False),
    UNNAMED: NotedName(rank="none", genera=()),
}


def visit(date: str, **counts: int) -> SampledAlike:
    rows = [
        (SurveyRow(kind="count", name=name, n=n), (ALL, f"name\t{name.replace('_', ' ')}"))
        for name, n in counts.items()
    ]
    unit = TalliedUnit(
        unit=Unit(unit_id=date, visit_id=date, observer="Ines Varro"), tally=tally_unit(BELT, rows)
    )
    return SampledAlike(
        visit_id=date,
        site="Ledge",
        date=date,
        zone="",
        design="belt",
        is_permanent=False,
        units=(unit,),
    )


def test_a_family_at_one_visit_joins_its_genera_at_the_other() -> None:
    visits = (
        visit("2024-05-19", Merulinidae=5, Porites=2),
        visit("2025-05-20", Favites=3, Goniastrea=4, Porites=1),
    )
    first, second = (one.tallies[0].counts for one in at_common_list(visits, NAMES))
    assert dict(first) == {ALL: 7, "name\tMerulinidae": 5, "name\tPorites": 2}
    assert dict(second) == {ALL: 8, "name\tMerulinidae": 7, "name\tPorites": 1}


def test_an_either_or_joins_what_it_may_be_and_is_called_by_all_of_them() -> None:
    visits = (visit("2024-05-19", Merulinidae=5, Favites_or_Porites=1, Porites=2),)
    word = "name\tFavites or Porites + Merulinidae + Porites"
    assert set(common_list(visits, NAMES).values()) == {word}
    (only,) = at_common_list(visits, NAMES)
    assert only.tallies[0].counts[word] == 8


def test_names_that_may_be_any_coral_join_nothing() -> None:
    visits = (visit("2024-05-19", Favites=5, Porites=2, Scleractinia=3, Zzyzora=1),)
    joined = common_list(visits, NAMES)
    assert all(thing == word for thing, word in joined.items())
    assert len(joined) == 4


def test_names_that_were_not_found_join_nothing() -> None:
    visits = (visit("2024-05-19", Favites=5, Goniastrea=2, Merulinidae=0),)
    assert common_list(visits, NAMES) == {
        "name\tFavites": "name\tFavites",
        "name\tGoniastrea": "name\tGoniastrea",
    }
