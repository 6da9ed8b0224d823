"""Loggers in an archive: an event of its own each, with the mean of every day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from dryslate.app.archive_words import dumps, number
from dryslate.app.checked_rows import checked_row
from dryslate.app.logger_days import LoggerDay, LoggerDeployment, days_of, zone_text
from dryslate.app.site_loggers import site_heat

if TYPE_CHECKING:
    from dryslate.app.archive_events import EventMaker
    from dryslate.app.archive_rows import RowMaker
    from dryslate.app.logger_series import SiteHeat
    from dryslate.app.ports import SurveyStore
    from dryslate.core.health.heat import HeatSeries

DAY_MEAN, CELSIUS = "water temperature, mean of the day", "degrees Celsius"
PROTOCOL = "temperature logger left on the reef: means of days"


def loggers_to_archive(
    store: SurveyStore, withheld: frozenset[str] = frozenset()
) -> Iterator[tuple[LoggerDeployment, HeatSeries]]:
    """
    Yield the kept loggers that can be worked out, with what they show.

    Parameters
    ----------
    store : SurveyStore
    withheld : frozenset of str
        Sites whose names stay in the project: nor do names of their loggers' files leave.
    """
    for site in store.sites():
        for heat in site_heat(store, site.site):
            if heat.found is not None:
                yield _deployment(heat, is_withheld=site.site in withheld), heat.found


def n_broken_loggers(store: SurveyStore) -> int:
    """Count the kept loggers that cannot be worked out."""
    return sum(one.found is None for site in store.sites() for one in site_heat(store, site.site))


def _deployment(heat: SiteHeat, *, is_withheld: bool) -> LoggerDeployment:
    """Say what a logger's heat is worked out with."""
    first, files, found = heat.logger, heat.files, heat.found
    assert found is not None
    lain = [(one.deployed_from, one.deployed_to) for one in files if one.deployed_from]
    is_stated = len(lain) == len(files)
    return LoggerDeployment(
        logger_id=first.sha256,
        site=first.site,
        logger="" if is_withheld else first.logger,
        file_name="" if is_withheld else first.file_name,
        warmest_c=first.warmest_c,
        warmest_source=first.warmest_source,
        deployed_from=min(begin for begin, _ in lain) if is_stated else "",
        deployed_to=max(end for _, end in lain) if is_stated else "",
        offset_c=first.offset_c,
        zone=zone_text(heat.zone),
        n_cut=found.n_out_of_water,
        observer=first.observer,
        stated_at=first.stated_at,
    )


def write_logger(
    maker: RowMaker, events: EventMaker, stated: LoggerDeployment, found: HeatSeries
) -> dict[str, str]:
    """
    Write the measurements of a logger; returns the row of its event.

    Parameters
    ----------
    maker : RowMaker
    events : EventMaker
    stated : LoggerDeployment
    found : HeatSeries
    """
    event = maker.ids.of("logger", f"{stated.site}\t{stated.logger_id}")
    key: tuple[object, ...] = ("logger", stated.site, stated.logger_id)
    who = stated.observer
    method = f"mean of the logger's readings; days begin at midnight, UTC{stated.zone}"
    for day in days_of(stated.logger_id, found):
        if day.temperature_c is not None:
            maker.measure(
                (event, ""),
                (DAY_MEAN, number(day.temperature_c), CELSIUS),
                key=(*key, day.date),
                who=who,
                when=day.date,
                method=method,
                remarks=f"readings: {day.n_readings}",
            )
    at, highest = found.highest()
    more: list[tuple[tuple[str, str, str], str, str]] = [
        (
            ("long-term mean of the warmest month", number(stated.warmest_c), CELSIUS),
            "",
            f"from: {stated.warmest_source}",
        ),
        (
            ("highest degree heating weeks", f"{highest:.4g}", "degree Celsius weeks"),
            str(at),
            "excess over the warmest month of 1 °C or more, summed over 84 days, over 7",
        ),
    ]
    if stated.offset_c is not None:
        told = ("logger minus source of that mean", number(stated.offset_c), CELSIUS)
        more.append((told, "", "taken off before the heat is summed"))
    for said, when, how in more:
        maker.measure((event, ""), said, key=(*key, said[0]), who=who, when=when, method=how)
    words = {k: v for k, v in asdict(stated).items() if k != "site" and v not in (None, "")}
    lain = f"in the water: {stated.deployed_from} to {stated.deployed_to}"
    return {
        **events.of_site(stated.site),
        "eventID": event,
        "eventType": "logger deployment",
        "eventDate": f"{found.days[0]}/{found.days[-1]}",
        "samplingProtocol": PROTOCOL,
        "sampleSizeValue": str(found.n_readings),
        "sampleSizeUnit": "readings",
        "fieldNumber": stated.logger,
        "eventRemarks": lain if stated.deployed_from else "",
        "dynamicProperties": dumps(
            {
                "level": "logger",
                "logger": words,
                "first_day": str(found.days[0]),
                "n_readings": [int(n) for n in found.count],
            }
        ),
    }


def read_deployment(said: Mapping[str, Any], site: str) -> tuple[LoggerDeployment, list[LoggerDay]]:
    """
    Read what an event says of a logger: its days have no means yet.

    Raises
    ------
    ValueError, TypeError, KeyError
        Where it says something that cannot be.
    """
    stated = checked_row(LoggerDeployment, {**said["logger"], "site": site})
    first, counts = date.fromisoformat(said["first_day"]), said["n_readings"]
    if not counts or not all(isinstance(n, int) and n >= 0 for n in counts):
        raise ValueError("n_readings: a whole number for each day")
    return stated, [
        LoggerDay(
            logger_id=stated.logger_id,
            date=str(first + timedelta(days=k)),
            temperature_c=None,
            n_readings=n,
        )
        for k, n in enumerate(counts)
    ]
