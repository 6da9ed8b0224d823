"""The made-up trip as a plan: sites, visits, stations, shots, and the team's own card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryslate.demo.corals import Colony, Health
from dryslate.demo.ground import Station
from dryslate.demo.surfaces import (
    Tissue,
)
from dryslate.demo.tagged import (
    ROUND_DATES,
    SURVEY_ROUNDS,
    TAGGED_STATIONS,
    health_of,
    tagged_at,
)
from dryslate.demo.trip_cameras import ONE, TWO, TripCamera
from dryslate.demo.trip_shots import Shot, colony_shots, station_shots, with_frames
from dryslate.demo.water import Water

TRIP_VERSION = "4"
PICTURE_PX = (2048, 1536)
SMALLER_PX = (1600, 1200)
"""Of the rounds on which only the tagged colonies are looked at."""
FOCAL_35MM = 27
PORT_FACTOR = 1.325
BAR_MM = 100.0
GREY_CHIP_LAB = (53.0, 0.0, 0.0)
GREY_CHIP_LAB_U = 0.5
"""What an instrument of the middling sort leaves open in each of L*, a*, b*."""

GREY_CHIP = "grey chip"
"""Name of the control object and of the thing in the scene."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationVisit:
    """A station as it was on one visit: its colonies' health then, the water, and the shots."""

    station: Station
    water: Water
    card_turn_deg: float
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TripVisit:
    """One site on one date; on some only the tagged colonies are looked at."""

    site: str
    date: str
    start: str
    utc_offset: str
    observer: str
    latitude_deg: float
    longitude_deg: float
    camera: TripCamera
    stations: tuple[StationVisit, ...]
    first_number: int = 1
    size_px: tuple[int, int] = PICTURE_PX
    is_survey: bool = True


_BROWN = Tissue(algae=1.0)
_LOOKS: dict[str, tuple[str, float, float, Tissue, Tissue]] = {
    # genus: form, corallite mm, rise mm, tissue, calice
    "Dipsastraea": ("plocoid", 9.0, 17.0, _BROWN, Tissue(algae=0.8, green_glow=0.14)),
    "Favites": ("cerioid", 9.5, 15.0, Tissue(algae=0.9, yellow=0.3), Tissue(algae=1.5)),
    "Goniastrea": ("cerioid", 5.5, 16.0, Tissue(algae=0.8, purple=0.2), Tissue(algae=1.3)),
    "Platygyra": ("meandroid", 5.0, 17.0, _BROWN, Tissue(algae=1.1, green_glow=0.12)),
    "Acropora": (
        "branching",
        9.0,
        30.0,
        Tissue(algae=0.7, purple=0.35),
        Tissue(algae=1.1, purple=0.4),
    ),
    "Montipora": ("plating", 7.0, 20.0, Tissue(algae=1.0, blue=0.3), Tissue(algae=0.9)),
    "Cyphastrea": ("plocoid", 3.2, 12.0, Tissue(algae=1.2), Tissue(algae=0.7, green_glow=0.05)),
    "Diploastrea": (
        "plocoid",
        10.5,
        16.0,
        Tissue(algae=0.7, yellow=0.2),
        Tissue(algae=1.2, green_glow=0.08),
    ),
}

_SPOTS = ((-142.0, -66.0), (138.0, -74.0), (-128.0, 92.0), (132.0, 84.0))

_GENERA = (
    ("Dipsastraea", "Acropora", "Platygyra", "Favites"),
    ("Goniastrea", "Montipora", "Cyphastrea", "Platygyra"),
    ("Favites", "Diploastrea", "Acropora", "Goniastrea"),
    ("Platygyra", "Favites", "Montipora", "Dipsastraea"),
    ("Diploastrea", "Goniastrea", "Dipsastraea", "Cyphastrea"),
    ("Acropora", "Platygyra", "Goniastrea", "Montipora"),
)


def _health(colony: int, visit: int, rng: np.random.Generator) -> Health:
    """Most corals are well on the first visit; on the second some have paled or bleached."""
    if visit == 0:
        return Health(normal=0.9, pale=0.1) if colony % 3 == 1 else Health()
    if colony % 4 == 0:
        bleached = float(rng.uniform(0.3, 0.55))
        return Health(normal=0.75 - bleached, pale=0.25, bleached=bleached)
    if colony % 4 == 1:
        return Health(normal=0.62, pale=0.22, bleached=0.08, recently_dead=0.05, old_dead=0.03)
    return Health(normal=0.85, pale=0.15) if colony % 4 == 2 else Health(normal=0.95, old_dead=0.05)


def _station(index: int, round_: int, seed: int) -> Station:
    """One of the six stations as it was on a round; its shapes are the same on all."""
    rng = np.random.default_rng([seed, 100 + index])
    colonies = []
    for k, genus in enumerate(_GENERA[index]):
        form, corallite, rise, tissue, calice = _LOOKS[genus]
        spot = np.array(_SPOTS[k]) + rng.normal(0.0, 5.0, 2)
        tagged = tagged_at(index, k)
        health = (
            _health(index + k, round_, np.random.default_rng([seed, 300 + 10 * index + k]))
            if tagged is None
            else health_of(tagged, round_, seed)
        )
        colony = Colony(
            name=f"{'LQ'[index // 3]}{index % 3 + 1}-{k + 1}",
            genus=genus,
            form=form,  # type: ignore[arg-type]  # one of Form's words, see the table above
            centre_mm=(float(spot[0]), float(spot[1])),
            radius_mm=float(rng.uniform(44.0, 56.0)),
            aspect=float(rng.uniform(1.08, 1.35)),
            turn_deg=float(rng.uniform(0.0, 180.0)),
            corallite_mm=corallite * float(rng.uniform(0.93, 1.07)),
            rise_mm=rise * float(rng.uniform(0.85, 1.1)),
            tissue=tissue,
            calice=calice,
            health=health or Health(),
            seed=seed * 1000 + 10 * index + k,
        )
        if health is not None:
            colonies.append(colony)
    sandy = (0.30, 0.18, 0.42)[index % 3]
    return Station(
        name=f"{'LQ'[index // 3]}{index % 3 + 1}",
        seed=seed * 100 + index,
        colonies=tuple(colonies),
        size_mm=(540.0, 420.0),
        px_per_mm=4.5,
        sandy_frac=sandy,
        rubble_frac=0.35,
    )


def _waters(site: int, round_: int) -> tuple[Water, Water, Water]:
    """Water at the three depths of a site on a round."""
    if site == 0:
        kind, scatter = "IB", 0.10 + 0.02 * round_
        depths = (3.5, 8.0, 15.0)
    else:
        kind, scatter = "II", 0.14 + 0.025 * round_
        depths = (4.0, 9.5, 24.0)
    shallow, middle, deep = (
        Water(jerlov=kind, scatter_per_m=scatter, depth_m=depth, veil_gain=1.2)  # type: ignore[arg-type]  # one of the table's types
        for depth in depths
    )
    return shallow, middle, deep


def plan_trip(seed: int) -> tuple[TripVisit, ...]:
    """
    Plan the whole trip: two sites, three depths, and two rounds more for the tagged colonies.

    Parameters
    ----------
    seed : int

    Returns
    -------
    tuple of TripVisit
        In the order of their dates; file numbers run on over the trip.
    """
    visits = []
    number = 1
    for round_ in range(len(ROUND_DATES)):
        for site in (0, 1):
            visit = replace(_visit(site, round_, seed), first_number=number)
            visits.append(visit)
            number += sum(len(s.shots) for s in visit.stations)
    return tuple(visits)


def only_colonies(trip: Sequence[TripVisit]) -> tuple[TripVisit, ...]:
    """Leave of a trip what shows the tagged colonies; file numbers stay as they are."""
    found = []
    for visit in trip:
        stations, number = [], visit.first_number
        for station in visit.stations:
            shots = tuple(shot for shot in station.shots if shot.shows != "station")
            if shots:
                first = number
                stations.append(replace(station, shots=shots))
            number += len(station.shots)
        found.append(replace(visit, stations=tuple(stations), first_number=first))
    return tuple(found)


def _visit(site: int, round_: int, seed: int) -> TripVisit:
    """One site on one round: all its stations, or only that of its tagged colonies."""
    is_survey = round_ in SURVEY_ROUNDS
    waters = _waters(site, round_)
    stations = []
    for k in range(3):
        index = 3 * site + k
        if not is_survey and index not in TAGGED_STATIONS:
            continue
        station = _station(index, round_, seed)
        turn = float(np.random.default_rng([seed, 700 + index, round_]).uniform(-16, 16))
        shots = (
            station_shots(index, SURVEY_ROUNDS.index(round_), seed, station)
            if is_survey
            else colony_shots(index, round_, seed)
        )
        if is_survey and index in TAGGED_STATIONS:
            shots = with_frames(shots, index, round_, seed)
        stations.append(
            StationVisit(station=station, water=waters[k], card_turn_deg=turn, shots=shots)
        )
    return TripVisit(
        site=("Lantern Steps", "Quiet Ledge")[site],
        date=ROUND_DATES[round_][site],
        start=("09:12:00", "08:47:00")[site],
        utc_offset="+05:00",
        observer=("Ines Varro", "Tomo Halle")[site],
        latitude_deg=(-13.418, -13.441)[site],
        longitude_deg=(71.226, 71.259)[site],
        camera=(ONE, TWO)[site],
        stations=tuple(stations),
        size_px=PICTURE_PX if is_survey else SMALLER_PX,
        is_survey=is_survey,
    )


BAR_PLACE = (4.0, 112.0, 4.0)
"""Centre x, y and turn of the bar of known length."""

CHIP_PLACE = (4.0, -92.0)
"""Centre of the loose grey chip."""

Box = tuple[float, float, float, float, float]


def boxes_of(shot: Shot, card_turn_deg: float) -> tuple[Box, ...]:
    """Where the seabed is kept low for what lies on it: x, y, half sides and turn."""
    boxes: list[Box] = []
    if shot.has_card:
        boxes.append((0.0, 0.0, 75.0, 50.0, card_turn_deg))
    if shot.has_bar:
        boxes.append((BAR_PLACE[0], BAR_PLACE[1], BAR_MM / 2 + 6.0, 6.0, BAR_PLACE[2]))
        boxes.append((CHIP_PLACE[0], CHIP_PLACE[1], 12.5, 12.5, 0.0))
    return tuple(boxes)


def count_photos(trip: Sequence[TripVisit]) -> int:
    """Count the photos of a trip."""
    return sum(len(s.shots) for v in trip for s in v.stations)
