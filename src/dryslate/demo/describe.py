"""What the made-up project says of itself: where its sites lie, whose it is, how it was done."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from dryslate import wiring
from dryslate.app.project_words import set_facts, set_person
from dryslate.app.publication_records import ProjectPerson
from dryslate.app.site_positions import PlaceWords, set_site_place
from dryslate.app.visit_conditions import state_conditions
from dryslate.app.visits import visit_id_of
from dryslate.demo.trip_plan import TripVisit

FACTS = {
    "title": "A made-up trip to two reefs that do not exist",
    "summary": "Computed photos and drawn records with known truth; no record of a living reef.",
    "licence": "CC0-1.0",
    "rights_holder": "nobody",
    "methods": "Made up by a program: all seven ways of sampling a unit, at two sites, twice each; "
    "tagged colonies followed over four visits to each.",
    "language": "en",
    "permit": "none needed: no reef was visited",
}
CONDITIONS = (
    {"tide": "rising", "visibility_m": "14", "water_c": "28.4", "weather": "clear", "sea": "calm"},
    {"tide": "slack, high", "visibility_m": "11", "water_c": "30.4", "weather": "haze"},
    {"tide": "falling", "visibility_m": "16", "water_c": "29.1", "sea": "low swell"},
    {"visibility_m": "9", "water_c": "26.6", "weather": "overcast", "sea": "chop"},
)
"""Of the first to fourth visit to a site, as written down; gaps are left as they are."""


def describe_trip(project: Path, trip: Sequence[TripVisit]) -> None:
    """
    State positions, conditions of the dives, licence and people, as is done before publishing.

    Parameters
    ----------
    project : Path
    trip : sequence of TripVisit
    """
    with wiring.survey_store(project, write=True, who=trip[0].observer) as store:
        set_facts(store, dict(FACTS))
        people = list(dict.fromkeys(visit.observer for visit in trip))
        said = [(people[0], role) for role in ("creator", "contact", "metadataProvider")]
        for person, role in (*said, *((who, "surveyor") for who in people)):
            set_person(store, ProjectPerson(person=person, role=role))
        stated = {place.site for place in store.site_places()}
        for visit in trip:
            if visit.site in stated:
                continue
            place = PlaceWords(
                position=f"{visit.latitude_deg}, {visit.longitude_deg}",
                uncertainty_m=50.0,
                water_body="open sea",
                locality="a reef that does not exist",
            )
            set_site_place(store, visit.site, place, visit.observer, wiring.clock())
            stated.add(visit.site)
        visits = {visit.visit_id: visit for visit in store.visits()}
        dived: dict[str, int] = {}
        for visit in trip:
            n = dived[visit.site] = dived.get(visit.site, -1) + 1
            if n < len(CONDITIONS):
                known = visits[visit_id_of(visit.site, visit.date)]
                state_conditions(store, known, CONDITIONS[n], visit.observer, wiring.clock())
