"""Tagged colonies of the made-up trip: which corals bear a tag, and what becomes of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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


def _tagged(
    label: str,
    of: tuple[int, int],
    why: Why,
    place: tuple[float, str],
    beside: tuple[tuple[str, float, float], ...],
    story: str,
    **more: Any,
) -> Tagged:
    """Return a tagged coral, 20 cm from its stake: bearing and place, neighbours, its story."""
    neighbours = (Neighbour(what=w, bearing_deg=b, distance_m=d) for w, b, d in beside)
    return Tagged(
        label=label,
        station=of[0],
        number=of[1],
        why=why,
        health=tuple(_health(told) for told in story.split("|")),
        place=place[1],
        neighbours=tuple(neighbours),
        bearing_deg=place[0],
        distance_m=0.2,
        **more,
    )


def _health(told: str) -> Health | None:
    """Return the fractions on a round from per cent in the order of `Health`; a dash: gone."""
    if told.strip() == "-":
        return None
    names = Health.__dataclass_fields__
    return Health(**{name: int(n) / 100 for name, n in zip(names, told.split(), strict=True)})


TAGGED: tuple[Tagged, ...] = (
    _tagged(
        "11", (0, 0), "random",
        (310.0, "left of the card's place, seaward"),
        (("12", 95.0, 0.3), ("valley coral", 180.0, 0.2)),
        "100 0 0 0 0 | 20 35 45 0 0 | 40 50 10 0 0 | 90 10 0 0 0",
    ),
    _tagged(
        "12", (0, 1), "place",
        (55.0, "branching, nearest to the stake"),
        (("11", 275.0, 0.3),),
        "90 10 0 0 0 | 0 30 70 0 0 | 0 20 30 40 10 | 30 10 0 0 60",
        lesions=("", "", "white bare branches in the middle", "turf on the dead branches"),
    ),
    _tagged(
        "13", (0, 2), "random",
        (235.0, "landward, below a ledge"),
        (("11", 0.0, 0.2), ("14", 90.0, 0.3)),
        "95 0 0 0 5 | 95 0 0 0 5 | 95 0 0 0 5 | 95 0 0 0 5",
    ),
    _tagged(
        "14", (0, 3), "stressed",
        (125.0, "landward, right of 13"),
        (("13", 270.0, 0.3),),
        "90 10 0 0 0 | 0 40 60 0 0 | 20 60 20 0 0 | 70 20 0 0 10",
        first_round=1,
        lesions=("", "", "", "a patch of turf at the edge"),
    ),
    _tagged(
        "21", (3, 0), "random",
        (300.0, "on the sand's edge"),
        (("22", 90.0, 0.3), ("plates, 23", 170.0, 0.2)),
        "100 0 0 0 0 | 60 40 0 0 0 | 40 60 0 0 0 | 90 10 0 0 0",
    ),
    _tagged(
        "22", (3, 1), "place",
        (60.0, "nearest to the stake"),
        (("21", 270.0, 0.3), ("24", 175.0, 0.2)),
        "95 0 0 0 5 | 30 35 30 0 5 | 30 25 15 25 5 | 60 10 0 0 30",
        lesions=("", "", "bare white skeleton on the crown", "turf where it was bare"),
    ),
    _tagged(
        "23", (3, 2), "stressed",
        (240.0, "plates, over the drop"),
        (("21", 350.0, 0.2),),
        "90 10 0 0 0 | 0 20 80 0 0 | 0 30 50 20 0 | 40 30 0 0 30",
        first_round=1,
        lesions=("", "", "rim of the lowest plate bare", "turf on the lowest plate"),
        tag_lost_on=(3,),
    ),
    _tagged(
        "24", (3, 3), "random",
        (130.0, "on loose rubble, below 22"),
        (("22", 355.0, 0.2), ("plates, 23", 265.0, 0.3)),
        "100 0 0 0 0 | 50 50 0 0 0 | - | -",
    ),
)  # fmt: skip
"""Fractions are normal, pale, bleached, recently dead and old dead, in per cent, on each round."""


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
