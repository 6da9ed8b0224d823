"""Temperature loggers of the made-up trip, their heat stress, and the colonies' timelines."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryslate import wiring
from dryslate.app.colony_timeline import colony_timeline
from dryslate.app.logger_heat import first_days
from dryslate.app.site_loggers import LoggerSettings, keep_logger, site_heat
from dryslate.core.health.heat import HeatSeries
from dryslate.demo.spectra import FloatArray

WARMEST = (29.0, "made-up climatology of the open sea, 30 invented years")
OFFSET_C = 0.2
"""Logger minus that source, from days that both have: invented like them."""
START = datetime.datetime.fromisoformat("2023-12-05T08:00:00+05:00")
"""When the loggers were started, on deck."""
DEPLOYED = ("2023-12-07T10:00+05:00", "2024-09-13T16:00+05:00")
END = datetime.datetime.fromisoformat("2024-09-14T20:00:00+05:00")
GAP = ("2024-06-03T00:00:00+05:00", "2024-06-12T00:00:00+05:00")
"""The battery was changed late."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHeat:
    """
    Heat stress at one site.

    Parameters
    ----------
    site : str
    logger : Path
    found : HeatSeries
    """

    site: str
    logger: Path
    found: HeatSeries

    def row(self) -> tuple[str, str]:
        """Return it as a row of a table."""
        day, highest = self.found.highest()
        reached = "; ".join(
            f"{limit} {'not reached' if at is None else f'reached on {at}'}"
            for limit, at in first_days(self.found).items()
        )
        gaps = "; ".join(
            f"no reading from {g.first} to {g.last}" for g in self.found.gaps if not g.n_readings
        )
        words = (
            f"highest {highest:.1f} °C-weeks, on {day}; {reached}; {gaps}; "
            f"{self.found.n_out_of_water} readings out of the water cut"
        )
        return f"{self.site}, logger", words


def log_heat(
    folder: Path, project: Path, sites: Mapping[str, str], seed: int
) -> tuple[SiteHeat, ...]:
    """
    Make a logger's table for each site, and keep it in the project as ``dryslate heat`` does.

    Parameters
    ----------
    folder : Path
        Of the demo: the tables go to ``loggers``.
    project : Path
    sites : mapping
        Each site with who took its logger in.
    seed : int

    Returns
    -------
    tuple of SiteHeat
    """
    settings = LoggerSettings(
        warmest_c=repr(WARMEST[0]),
        warmest_source=WARMEST[1],
        deployed_from=DEPLOYED[0],
        deployed_to=DEPLOYED[1],
        offset_c=repr(OFFSET_C),
    )
    done = []
    with wiring.survey_store(project, write=True) as store:
        for number, (site, observer) in enumerate(sites.items()):
            path = folder / "loggers" / f"{site.lower().replace(' ', '-')}.csv"
            data = logger_table(np.random.default_rng([seed, 76_000 + number]))
            wiring.save_file(path, data)
            who = (observer, wiring.clock().now_utc())
            kept = keep_logger(store, (site, path.name, data), settings, who)
            assert kept.found is not None  # written above
            done.append(SiteHeat(site=site, logger=path, found=kept.found))
    return tuple(done)


def logger_table(rng: np.random.Generator) -> bytes:
    """Hourly readings as a logger's CSV: a hot season, a gap, and hours on deck at both ends."""
    n_hours = int((END - START).total_seconds() // 3600) + 1
    times = [START + datetime.timedelta(hours=h) for h in range(n_hours)]
    water = _sea(np.arange(n_hours) / 24.0, rng)
    clock = np.array([(t.hour + 0.5) % 24 for t in times])
    deck = 28.0 + 7.0 * np.maximum(np.cos((clock - 13.0) * np.pi / 12.0), 0.0)
    deployed = [datetime.datetime.fromisoformat(text) for text in DEPLOYED]
    gap = [datetime.datetime.fromisoformat(text) for text in GAP]
    lines = ["time,temperature_c"]
    for time, wet, dry in zip(times, water, deck, strict=True):
        if gap[0] <= time < gap[1]:
            continue
        reading = wet if deployed[0] <= time <= deployed[1] else dry
        lines.append(f"{time.isoformat()},{reading:.2f}")
    return ("\n".join(lines) + "\n").encode("utf-8")


def _sea(days: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The sea at the logger: season, a hot spell, weeks of weather, day and night, and noise."""
    since_new_year = days + (START.date() - datetime.date(2024, 1, 1)).days
    season = 27.3 + 1.7 * np.cos(2.0 * np.pi * (since_new_year - 75.0) / 365.0)
    spell = 1.9 * np.exp(-(((since_new_year - 82.0) / 30.0) ** 2))
    nodes = np.arange(0.0, days[-1] + 8.0, 7.0)
    weather = np.interp(days, nodes, rng.normal(0.0, 0.25, len(nodes)))
    by_day = 0.25 * np.cos(2.0 * np.pi * (days + START.hour / 24.0 - 15.0 / 24.0))
    noise = rng.normal(0.0, 0.05, len(days))
    return np.asarray(season + spell + weather + by_day + noise + OFFSET_C)


def draw_timelines(project: Path) -> Path:
    """
    Draw each tagged colony's timeline with the heat at its site, as ``dryslate colonies plot``.

    Parameters
    ----------
    project : Path

    Returns
    -------
    Path
        The folder of the pictures, one a colony.
    """
    folder = project / "reports" / "colonies"
    with wiring.survey_store(project, write=False) as store:
        for colony in store.colonies():
            heat = [one.found for one in site_heat(store, colony.site) if one.found]
            timeline = colony_timeline(store, colony, heat)
            picture = wiring.document_writer().colony_timeline(timeline)
            wiring.save_file(folder / f"{colony.label}.svg", picture.encode("utf-8"))
    return folder
