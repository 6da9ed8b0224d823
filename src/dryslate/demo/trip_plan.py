"""The made-up trip as a plan: sites, visits, stations, shots, and the team's own card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryslate.demo.corals import Colony, Health
from dryslate.demo.ground import Station
from dryslate.demo.scene import Flash
from dryslate.demo.surfaces import (
    Tissue,
)
from dryslate.demo.trip_cameras import ONE, TWO, TripCamera
from dryslate.demo.water import Water

TRIP_VERSION = "3"
PICTURE_PX = (2048, 1536)
FOCAL_35MM = 27
PORT_FACTOR = 1.325
BAR_MM = 100.0
GREY_CHIP_LAB = (53.0, 0.0, 0.0)
GREY_CHIP_LAB_U = 0.5
"""What an instrument of the middling sort leaves open in each of L*, a*, b*."""

GREY_CHIP = "grey chip"
"""Name of the control object and of the thing in the scene."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """
    One photo of a station.

    Parameters
    ----------
    distance_mm, tilt_deg, azimuth_deg, roll_deg : float
        Where the diver held the camera.
    aim_mm : tuple of float
        The point looked at.
    minute : float
        After the visit's start.
    flash : Flash or None
    water : Water or None
        Replaces the station's, for a cloud of green water.
    has_card, has_bar : bool
    cover : {"", "finger", "weed"}
        What lies over a corner of the card.
    orientation : int
        How the file is turned (EXIF).
    measured : tuple of (colony, kind)
        What a person would measure in it.
    note : str
        What is special about it; empty for most.
    """

    distance_mm: float
    tilt_deg: float
    azimuth_deg: float
    roll_deg: float
    aim_mm: tuple[float, float]
    minute: float
    flash: Flash | None = None
    water: Water | None = None
    has_card: bool = True
    has_bar: bool = False
    cover: str = ""
    orientation: int = 1
    measured: tuple[tuple[str, str], ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationVisit:
    """A station as it was on one visit: its colonies' health then, the water, and the shots."""

    station: Station
    water: Water
    card_turn_deg: float
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TripVisit:
    """One site on one date."""

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


def _station(index: int, visit: int, seed: int) -> Station:
    """One of the six stations as it was on a visit; its shapes are the same on both."""
    rng = np.random.default_rng([seed, 100 + index])
    colonies = []
    for k, genus in enumerate(_GENERA[index]):
        form, corallite, rise, tissue, calice = _LOOKS[genus]
        spot = np.array(_SPOTS[k]) + rng.normal(0.0, 5.0, 2)
        colonies.append(
            Colony(
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
                health=_health(
                    index + k, visit, np.random.default_rng([seed, 300 + 10 * index + k])
                ),
                seed=seed * 1000 + 10 * index + k,
            )
        )
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


def _waters(site: int, visit: int) -> tuple[Water, Water, Water]:
    """Water at the three depths of a site on a visit."""
    if site == 0:
        kind, scatter = "IB", 0.10 + 0.04 * visit
        depths = (3.5, 8.0, 15.0)
    else:
        kind, scatter = "II", 0.14 + 0.05 * visit
        depths = (4.0, 9.5, 24.0)
    shallow, middle, deep = (
        Water(jerlov=kind, scatter_per_m=scatter, depth_m=depth, veil_gain=1.2)  # type: ignore[arg-type]  # one of the table's types
        for depth in depths
    )
    return shallow, middle, deep


def _shots(index: int, visit: int, seed: int, station: Station) -> tuple[Shot, ...]:
    """The shots of a station: one of all, one close, and the special ones."""
    rng = np.random.default_rng([seed, 500 + 10 * index + visit])
    names = [c.name for c in station.colonies]
    close = (index + visit) % 4
    if station.colonies[close].form in ("branching", "plating"):
        close = next(
            k for k, c in enumerate(station.colonies) if c.form not in ("branching", "plating")
        )
    others = [names[(close + 1) % 4], names[(close + 2) % 4]]
    minute = 6.0 + 14.0 * (index % 3)
    strobe = Flash(strength=0.30) if index // 3 == 1 and index % 3 > 0 else None
    if index == 2:
        strobe = Flash(strength=0.07, aim=(0.05, -0.1))
    wide = Shot(
        distance_mm=float(rng.uniform(490, 530)),
        tilt_deg=float(rng.uniform(8, 26)),
        azimuth_deg=float(rng.uniform(-40, 40)),
        roll_deg=float(rng.uniform(-9, 9)),
        aim_mm=(float(rng.normal(0, 8)), float(rng.normal(6, 8))),
        minute=minute,
        flash=strobe,
        has_bar=index % 3 != 2,
        measured=((others[0], "outline"), (others[0], "length"), (others[1], "outline")),
    )
    spot = np.array(station.colonies[close].centre_mm)
    near = Shot(
        distance_mm=float(rng.uniform(345, 375)),
        tilt_deg=float(rng.uniform(5, 20)),
        azimuth_deg=float(rng.uniform(-30, 30)),
        roll_deg=float(rng.uniform(-12, 12)),
        aim_mm=(float(0.52 * spot[0]), float(0.52 * spot[1])),
        minute=minute + 1.5,
        flash=strobe,
        has_bar=wide.has_bar,
        measured=((names[close], "corallites"), (names[close], "length")),
    )
    return (wide, near, *_special_shots(index, visit, wide))


def _special_shots(index: int, visit: int, wide: Shot) -> tuple[Shot, ...]:
    """What does not go as one would like."""
    if (index, visit) == (0, 0):
        forgot = replace(
            wide,
            minute=wide.minute + 2.5,
            has_card=False,
            has_bar=False,
            measured=(),
            note="no card in the frame",
            azimuth_deg=wide.azimuth_deg + 15.0,
        )
        return (forgot,)
    if (index, visit) == (1, 0):
        return (
            replace(
                wide,
                minute=wide.minute + 3.0,
                cover="finger",
                note="a finger over one marker",
                measured=wide.measured[:1],
                orientation=6,
            ),
        )
    if (index, visit) == (5, 0):
        return (
            replace(
                wide,
                minute=wide.minute + 3.0,
                flash=None,
                note="no red signal: natural light at 24 m",
                measured=(),
            ),
        )
    if (index, visit) == (4, 1):
        green = Water(
            jerlov="1C",
            blend="3C",
            blend_frac=0.7,
            scatter_per_m=0.45,
            depth_m=5.5,
            veil_gain=1.4,
        )
        return (
            replace(
                wide,
                minute=wide.minute + 3.0,
                flash=None,
                water=green,
                note="flooded with green water",
                measured=wide.measured[1:2],
            ),
        )
    if (index, visit) == (3, 1):
        return (
            replace(
                wide,
                minute=wide.minute + 3.0,
                cover="weed",
                note="weed over one marker",
                measured=wide.measured[:1],
            ),
        )
    return ()


def plan_trip(seed: int) -> tuple[TripVisit, ...]:
    """
    Plan the whole trip: two sites, two visits each, three depths, 29 photos.

    Parameters
    ----------
    seed : int

    Returns
    -------
    tuple of TripVisit
        In the order of their dates; file numbers run on over the trip.
    """
    sites = ("Lantern Steps", "Quiet Ledge")
    dates = (("2024-03-09", "2024-03-10"), ("2024-05-18", "2024-05-19"))
    observers = ("Ines Varro", "Tomo Halle")
    visits = []
    number = 1
    for visit in (0, 1):
        for site in (0, 1):
            waters = _waters(site, visit)
            stations = []
            for k in range(3):
                index = 3 * site + k
                station = _station(index, visit, seed)
                turn = float(np.random.default_rng([seed, 700 + index, visit]).uniform(-16, 16))
                shots = _shots(index, visit, seed, station)
                stations.append(
                    StationVisit(
                        station=station,
                        water=waters[k],
                        card_turn_deg=turn,
                        shots=shots,
                    )
                )
            visits.append(
                TripVisit(
                    site=sites[site],
                    date=dates[visit][site],
                    start=("09:12:00", "08:47:00")[site],
                    utc_offset="+05:00",
                    observer=observers[site],
                    latitude_deg=(-13.418, -13.441)[site],
                    longitude_deg=(71.226, 71.259)[site],
                    camera=(ONE, TWO)[site],
                    stations=tuple(stations),
                    first_number=number,
                )
            )
            number += sum(len(s.shots) for s in stations)
    return tuple(visits)


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
