"""``dryslate heat``: degree heating weeks from a logger or a daily series."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dryslate import wiring
from dryslate.cli.render import ERROR, print_json, print_problem, print_text, words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dryslate.base.problems import Problem
    from dryslate.core.health.heat import HeatSeries

MOST_FAULTS = 20
TABLES = (".csv", ".txt", ".xlsx")

Warmest = Annotated[
    tuple[float, str],
    typer.Option(
        "--warmest-month", help="Long-term mean of the warmest month in °C, and its source."
    ),
]
Deployed = Annotated[
    tuple[str, str] | None,
    typer.Option("--deployed", help="When the logger was put out and taken in."),
]
Offset = Annotated[
    float | None, typer.Option("--offset", help="Logger minus source in °C; it is taken off.")
]
Zone = Annotated[
    str | None, typer.Option("--zone", help="Of times that carry none, for example +10:00.")
]
Columns = Annotated[
    tuple[str, str], typer.Option("--columns", help="Columns of time and temperature in °C.")
]
Keep = Annotated[
    Path | None,
    typer.Option("--keep", metavar="PROJECT", help="Keep file and settings for a site."),
]
Known = tuple[tuple[float, str], tuple[str, str] | None, float | None]
How = tuple[str | None, tuple[str, str]]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("heat")(heat)


def heat(  # noqa: PLR0913, PLR0917  one option each for what is known of a logger
    logger: Annotated[
        list[Path],
        typer.Argument(
            help="CSV or XLSX of one logger, or of daily means: a file, several, or a folder."
        ),
    ],
    warmest_month: Warmest,
    deployed: Deployed = None,
    offset: Offset = None,
    zone: Zone = None,
    columns: Columns = ("time", "temperature_c"),
    keep: Keep = None,
    site: Annotated[str | None, typer.Option("--site", help="Where it lay, with --keep.")] = None,
    name: Annotated[
        str, typer.Option("--logger-name", help="With --keep: joins files kept under this name.")
    ] = "",
    observer: Annotated[str | None, typer.Option("--observer", help="Who keeps it.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """
    Degree heating weeks by the published rule, with gaps named and readings on deck cut. The mean
    of the warmest month comes with its source, never from the logger (docs/heat.md). With --keep
    the file and what is stated of it are kept in a project: its colonies show the heat. Several
    files of one logger, or a folder of them, are joined by time; where they overlap is told.
    """
    from dryslate.app.logger_heat import heat_as_dict

    known, how = (warmest_month, deployed, offset), (zone, columns)
    files = _files_in(logger)
    if keep is None:
        found = heat_of(files, known, how)
    else:
        found = _keep(files, (keep, site, observer, name), known, how)
    if as_json:
        print_json(heat_as_dict(found))
    else:
        _show(found)


def _files_in(given: Sequence[Path]) -> list[Path]:
    """Return the files that are given, those of a folder by name."""
    found = []
    for path in given:
        if path.is_dir():
            inside = [one for one in path.iterdir() if one.suffix.lower() in TABLES]
            found += sorted(inside)
            if not inside:
                raise typer.BadParameter(f"{path} holds no CSV or XLSX")
        else:
            found.append(path)
    return list(dict.fromkeys(found))


def heat_of(
    files: Sequence[Path],
    known: tuple[tuple[float, str] | None, tuple[str, str] | None, float | None],
    how: How,
) -> HeatSeries:
    """Read a logger's heat stress for a picture; the mean of the warmest month has to be given."""
    from dryslate.app.logger_files import LoggerPart, join_parts
    from dryslate.app.logger_heat import logger_heat, read_logger, zone_of

    warmest, deployed, offset = known
    if warmest is None:
        raise typer.BadParameter("give --warmest-month with its source beside --logger")
    stated = None if how[0] is None else zone_of(how[0])
    parts = []
    for path in files:
        read = read_logger(wiring.read_table(path), how[1], stated)
        _stop_at(read.problems)
        parts.append(LoggerPart(name=path.name, read=read))
    joined, notes = join_parts(parts)
    for note in notes:
        print_problem(note)
    return logger_heat(joined, warmest, deployed, offset)


def _keep(
    files: Sequence[Path],
    where: tuple[Path, str | None, str | None, str],
    known: Known,
    how: How,
) -> HeatSeries:
    """Keep a logger's files and its settings for a site of a project."""
    from dryslate.app.site_loggers import LARGEST_BYTES, LoggerSettings, keep_loggers

    folder, site, observer, name = where
    if site is None or observer is None:
        raise typer.BadParameter("give --site and --observer beside --keep")
    warmest, deployed, offset = known
    lain = deployed or ("", "")
    settings = LoggerSettings(
        warmest_c=repr(warmest[0]),
        warmest_source=warmest[1],
        deployed_from=lain[0],
        deployed_to=lain[1],
        offset_c="" if offset is None else repr(offset),
        zone=how[0] or "",
        time_column=how[1][0],
        temperature_column=how[1][1],
        logger=name,
    )
    given = [(path.name, wiring.read_file(path, LARGEST_BYTES)) for path in files]
    who = (observer, wiring.clock().now_utc())
    with wiring.survey_store(folder, write=True, who=observer) as store:
        kept = keep_loggers(store, site, given, settings, who)
    _stop_at(kept.problems)
    for note in kept.notes:
        print_problem(note)
    assert kept.found is not None  # it has no problems
    return kept.found


def _stop_at(problems: Sequence[Problem]) -> None:
    """End where a cell cannot be read; a fault of every row is not said a thousand times."""
    for problem in problems[:MOST_FAULTS]:
        print_problem(problem)
    if len(problems) > MOST_FAULTS:
        words().print(f"… and {len(problems) - MOST_FAULTS} more faults")
    if problems:
        raise typer.Exit(ERROR)


def _show(found: HeatSeries) -> None:
    """Print the figures for people."""
    from dryslate.app.logger_heat import first_days
    from dryslate.app.survey_words import SURVEY_FLAGS

    mean = found.warmest_month
    print_text(f"Mean of the warmest month: {mean.mean_c:g} °C ({mean.source})")
    offset = "not stated" if found.offset_c is None else f"{found.offset_c:+g} °C, taken off"
    print_text(f"Logger minus source: {offset}")
    print_text(f"Readings: {found.n_readings}; out of the water, cut: {found.n_out_of_water}")
    for gap in found.gaps:
        why = "no reading" if gap.n_readings == 0 else "too few readings"
        print_text(f"Gap: {gap.first} to {gap.last}, days: {gap.n_days}, {why}")
    day, highest = found.highest()
    print_text(f"Highest: {highest:.1f} °C-weeks on {day}")
    print_text(
        f"Last day, {found.days[-1]}: {found.dhw[-1]:.1f} °C-weeks, "
        f"{found.days_read[-1]} of 84 days read"
    )
    for limit, at in first_days(found).items():
        print_text(f"{limit} °C-weeks: {'not reached' if at is None else f'reached on {at}'}")
    if found.flags:
        said = "; ".join(SURVEY_FLAGS.get(flag, flag) for flag in found.flags)
        print_text(f"Reservations: {said}")
