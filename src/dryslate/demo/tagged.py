"""Tagged colonies of the made-up trip: which corals bear a tag, and what becomes of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryslate.app.colony_records import Neighbour, State, Why
from dryslate.demo.corals import Health

ROUND_DATES = (
    ("2024-03-09", "2024-03-10"),
    ("2024-04-06", "2024-04-07"),
    ("2024-05-18", "2024-05-19"),
    ("2024-09-14", "2024-09-15"),
)
"""Of each round, at the first and the second site; units are sampled on `SURVEY_ROUNDS`."""
SURVEY_ROUNDS = (0, 2)
ONSET = "2024-03-16"
ONSET_REASON = "first white colonies seen by the boat's crew"
TAGGED_STATIONS = (0, 3)
"""Numbers of the stations whose corals bear tags, one at each site."""
_AMOUNT_SD = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Tagged:
    """
    A tagged coral, and what becomes of it.

    Parameters
    ----------
    label : str
        What the tag says.
    station, number : int
        Which station, and which of its corals.
    why : {"random", "place", "stressed"}
    first_round : int
        On which it was tagged; the coral is there before.
    health : tuple of Health or None
        On each round; None: it is gone, and nobody knows where.
    lesions : tuple of str
        On each round, in plain words.
    tag_lost_on : tuple of int
        Rounds on which it was found by its place.
    place, neighbours : str, tuple of Neighbour
        How to find it again.
    bearing_deg, distance_m : float
        From the stake of its station.
    """

    label: str
    station: int
    number: int
    why: Why
    health: tuple[Health | None, ...]
    place: str
    neighbours: tuple[Neighbour, ...]
    bearing_deg: float
    distance_m: float
    first_round: int = 0
    lesions: tuple[str, ...] = ("", "", "", "")
    tag_lost_on: tuple[int, ...] = ()

    def state_on(self, round_: int) -> State:
        """Say what a diver notes of it on a round."""
        if self.health[round_] is None:
            return "not_found"
        return "tag_lost" if round_ in self.tag_lost_on else "seen"


def _beside(what: str, bearing_deg: float, distance_m: float) -> Neighbour:
    return Neighbour(what=what, bearing_deg=bearing_deg, distance_m=distance_m)


_WELL = Health()
TAGGED: tuple[Tagged, ...] = (
    Tagged(
        label="11",
        station=0,
        number=0,
        why="random",
        health=(
            _WELL,
            Health(normal=0.2, pale=0.35, bleached=0.45),
            Health(normal=0.4, pale=0.5, bleached=0.1),
            Health(normal=0.9, pale=0.1),
        ),
        place="left of the card's place, seaward",
        neighbours=(_beside("12", 95.0, 0.3), _beside("valley coral", 180.0, 0.2)),
        bearing_deg=310.0,
        distance_m=0.2,
    ),
    Tagged(
        label="12",
        station=0,
        number=1,
        why="place",
        health=(
            Health(normal=0.9, pale=0.1),
            Health(pale=0.3, bleached=0.7, normal=0.0),
            Health(normal=0.0, pale=0.2, bleached=0.3, recently_dead=0.4, old_dead=0.1),
            Health(normal=0.3, pale=0.1, old_dead=0.6),
        ),
        lesions=("", "", "white bare branches in the middle", "turf on the dead branches"),
        place="branching, nearest to the stake",
        neighbours=(_beside("11", 275.0, 0.3),),
        bearing_deg=55.0,
        distance_m=0.2,
    ),
    Tagged(
        label="13",
        station=0,
        number=2,
        why="random",
        health=(Health(normal=0.95, old_dead=0.05),) * 4,
        place="landward, below a ledge",
        neighbours=(_beside("11", 0.0, 0.2), _beside("14", 90.0, 0.3)),
        bearing_deg=235.0,
        distance_m=0.2,
    ),
    Tagged(
        label="14",
        station=0,
        number=3,
        why="stressed",
        first_round=1,
        health=(
            Health(normal=0.9, pale=0.1),
            Health(normal=0.0, pale=0.4, bleached=0.6),
            Health(normal=0.2, pale=0.6, bleached=0.2),
            Health(normal=0.7, pale=0.2, old_dead=0.1),
        ),
        lesions=("", "", "", "a patch of turf at the edge"),
        place="landward, right of 13",
        neighbours=(_beside("13", 270.0, 0.3),),
        bearing_deg=125.0,
        distance_m=0.2,
    ),
    Tagged(
        label="21",
        station=3,
        number=0,
        why="random",
        health=(
            _WELL,
            Health(normal=0.6, pale=0.4),
            Health(normal=0.4, pale=0.6),
            Health(normal=0.9, pale=0.1),
        ),
        place="on the sand's edge",
        neighbours=(_beside("22", 90.0, 0.3), _beside("plates, 23", 170.0, 0.2)),
        bearing_deg=300.0,
        distance_m=0.2,
    ),
    Tagged(
        label="22",
        station=3,
        number=1,
        why="place",
        health=(
            Health(normal=0.95, old_dead=0.05),
            Health(normal=0.3, pale=0.35, bleached=0.3, old_dead=0.05),
            Health(normal=0.3, pale=0.25, bleached=0.15, recently_dead=0.25, old_dead=0.05),
            Health(normal=0.6, pale=0.1, old_dead=0.3),
        ),
        lesions=("", "", "bare white skeleton on the crown", "turf where it was bare"),
        place="nearest to the stake",
        neighbours=(_beside("21", 270.0, 0.3), _beside("24", 175.0, 0.2)),
        bearing_deg=60.0,
        distance_m=0.2,
    ),
    Tagged(
        label="23",
        station=3,
        number=2,
        why="stressed",
        first_round=1,
        health=(
            Health(normal=0.9, pale=0.1),
            Health(normal=0.0, pale=0.2, bleached=0.8),
            Health(normal=0.0, pale=0.3, bleached=0.5, recently_dead=0.2),
            Health(normal=0.4, pale=0.3, old_dead=0.3),
        ),
        lesions=("", "", "rim of the lowest plate bare", "turf on the lowest plate"),
        tag_lost_on=(3,),
        place="plates, over the drop",
        neighbours=(_beside("21", 350.0, 0.2),),
        bearing_deg=240.0,
        distance_m=0.2,
    ),
    Tagged(
        label="24",
        station=3,
        number=3,
        why="random",
        health=(_WELL, Health(normal=0.5, pale=0.5), None, None),
        place="on loose rubble, below 22",
        neighbours=(_beside("22", 355.0, 0.2), _beside("plates, 23", 265.0, 0.3)),
        bearing_deg=130.0,
        distance_m=0.2,
    ),
)


def tagged_at(station: int, number: int) -> Tagged | None:
    """Return the tagged coral that is one of a station's; None: it bears no tag."""
    return next((t for t in TAGGED if (t.station, t.number) == (station, number)), None)


def health_of(tagged: Tagged, round_: int, seed: int) -> Health | None:
    """Return the true fractions on a round: about the story, a little other on each trip."""
    told = tagged.health[round_]
    if told is None or tagged.health.count(told) == len(tagged.health):
        return told
    rng = np.random.default_rng([seed, 73_000 + 10 * int(tagged.label) + round_])
    names = tuple(told.__dataclass_fields__)
    shares = np.array([getattr(told, name) for name in names])
    shaken = np.where(shares > 0, np.maximum(shares + rng.normal(0.0, _AMOUNT_SD, 5), 0.01), 0.0)
    return Health(**{n: float(v) for n, v in zip(names, shaken / shaken.sum(), strict=True)})
