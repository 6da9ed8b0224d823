"""The photos of the made-up trip: of stations, of tagged colonies, and what goes wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from dryslate.demo.ground import Station
from dryslate.demo.scene import Flash
from dryslate.demo.water import Water

N_FRAMES = 3
"""Photos of the tagged colonies on a round, some seconds apart: the sun flickers."""

Shows = Literal["station", "both", "colonies"]


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
    shows : {"station", "both", "colonies"}
        Whether it was taken of the station, of its tagged colonies, or does for both.
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
    shows: Shows = "station"


def station_shots(index: int, visit: int, seed: int, station: Station) -> tuple[Shot, ...]:
    """The shots of a station: one of all, one close, and the special ones."""
    rng = np.random.default_rng([seed, 500 + 10 * index + visit])
    names = [c.name for c in station.colonies]
    close = (index + visit) % len(names)
    if station.colonies[close].form in ("branching", "plating"):
        close = next(
            k for k, c in enumerate(station.colonies) if c.form not in ("branching", "plating")
        )
    others = [names[(close + 1) % len(names)], names[(close + 2) % len(names)]]
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


def with_frames(shots: tuple[Shot, ...], index: int, round_: int, seed: int) -> tuple[Shot, ...]:
    """Take the wide shot of a station for its tagged colonies too, and two more beside it."""
    first, *rest = shots
    more = _frames(first, index, round_, seed)[1:]
    return (replace(first, shows="both"), *more, *rest)


def colony_shots(index: int, round_: int, seed: int) -> tuple[Shot, ...]:
    """Photos of the tagged colonies of a station on a round of their own, without bar and chip."""
    rng = np.random.default_rng([seed, 560 + 10 * index + round_])
    middle = Shot(
        distance_mm=float(rng.uniform(535, 560)),
        tilt_deg=float(rng.uniform(6, 20)),
        azimuth_deg=float(rng.uniform(-15, 15)),
        roll_deg=float(rng.uniform(-6, 6)),
        aim_mm=(float(rng.normal(0, 6)), float(rng.normal(6, 6))),
        minute=6.0,
        shows="colonies",
    )
    return _frames(middle, index, round_, seed)


def _frames(first: Shot, index: int, round_: int, seed: int) -> tuple[Shot, ...]:
    """The same again from a little elsewhere, some seconds later."""
    rng = np.random.default_rng([seed, 580 + 10 * index + round_])
    found = [first]
    for k in range(1, N_FRAMES):
        found.append(
            replace(
                first,
                distance_mm=float(rng.uniform(535, 560)),
                tilt_deg=float(max(first.tilt_deg + rng.normal(0.0, 4.0), 2.0)),
                azimuth_deg=first.azimuth_deg + float(rng.normal(0.0, 8.0)),
                roll_deg=first.roll_deg + float(rng.normal(0.0, 3.0)),
                aim_mm=(float(rng.normal(0, 6)), float(rng.normal(6, 6))),
                minute=first.minute + 0.15 * k,
                measured=(),
                shows="colonies",
            )
        )
    return tuple(found)
