"""Keeping the loggers of sites, and the heat stress that they show."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.logger_heat import logger_heat, read_logger, zone_of
from dryslate.app.logger_records import LoggerFile, SiteLogger
from dryslate.app.visits import require_observer
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.base.typed import typed_number
from dryslate.formats.table_csv import read_table_csv

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.core.health.heat import HeatSeries

LARGEST_BYTES = 20 << 20
"""Three years of readings a minute apart fill it twice over: our own choice."""
LONGEST = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerSettings:
    """
    What is stated of a logger, as typed; empty: not stated.

    Parameters
    ----------
    warmest_c, warmest_source : str
    deployed_from, deployed_to : str
    offset_c : str
    zone : str
    time_column, temperature_column : str
    """

    warmest_c: str
    warmest_source: str
    deployed_from: str = ""
    deployed_to: str = ""
    offset_c: str = ""
    zone: str = ""
    time_column: str = "time"
    temperature_column: str = "temperature_c"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHeat:
    """
    What a kept logger shows.

    Parameters
    ----------
    logger : SiteLogger
    found : HeatSeries or None
        None where the file cannot be worked out any more.
    problems : tuple of Problem
    """

    logger: SiteLogger
    found: HeatSeries | None
    problems: tuple[Problem, ...] = ()


def keep_logger(
    store: SurveyStore,
    given: tuple[str, str, bytes],
    settings: LoggerSettings,
    who: tuple[str, str],
) -> SiteHeat:
    """
    Keep the file of a logger that lay at a site, with what is stated of it.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    given : (str, str, bytes)
        Site, name of the file, and the file.
    settings : LoggerSettings
        The same file again with others: these hold from now on.
    who : (str, str)
        Observer and time.

    Returns
    -------
    SiteHeat
        With problems, nothing is kept: cells that cannot be read, each with its place.

    Raises
    ------
    InputError
        ``logger-site-unknown``, ``logger-not-csv``, ``table-too-large``, ``logger-setting-odd``;
        those of reading the table, of `read_logger` and of `logger_heat`.
    """
    site, name, data = given
    if site not in {s.site for s in store.sites()}:
        raise InputError(
            "logger-site-unknown",
            f"The project has no site {site!r}.",
            "Give the site as it was given to `dryslate take`.",
        )
    content, named = _text_of(data, name), _words(name)
    if named is None:
        raise _refused(
            f"The name of the file holds signs that cannot be kept, or is over {LONGEST} signs."
        )
    logger = SiteLogger(
        site=site,
        sha256=hashlib.sha256(data).hexdigest(),
        file_name=named,
        observer=require_observer(store, who[0]),
        stated_at=who[1],
        **_stated(settings),  # type: ignore[arg-type]
    )
    heat = _heat(logger, content)
    if heat.problems:
        return heat
    known = {one.sha256: one for one in store.site_loggers(site)}.get(logger.sha256)
    if known is not None and replace(logger, stated_at=known.stated_at) == known:
        return replace(heat, logger=known)
    file = LoggerFile(sha256=logger.sha256, size_bytes=len(data), content=content)
    store.save_site_logger(logger, file)
    return heat


def take_logger_back(store: SurveyStore, site: str, sha256: str, who: tuple[str, str]) -> None:
    """
    Take a logger back; its file stays on record.

    Raises
    ------
    InputError
        ``logger-unknown``.
    """
    found = next((one for one in store.site_loggers(site) if one.sha256 == sha256), None)
    if found is None:
        raise InputError(
            "logger-unknown",
            f"No such logger is kept for {site}, or it was taken back.",
            "Look at the list of loggers again.",
        )
    observer = require_observer(store, who[0])
    store.save_site_logger(replace(found, is_taken_back=True, observer=observer, stated_at=who[1]))


Recall = Callable[[str, Callable[[], SiteHeat]], SiteHeat]


def _anew(_name: str, make: Callable[[], SiteHeat]) -> SiteHeat:
    return make()


def site_heat(store: SurveyStore, site: str, recall: Recall = _anew) -> tuple[SiteHeat, ...]:
    """
    Return the heat stress that the kept loggers of a site show, each for itself.

    Parameters
    ----------
    store : SurveyStore
    site : str
    recall : callable
        Returns what was worked out before under the same name.
    """

    def work(logger: SiteLogger) -> SiteHeat:
        (file,) = store.logger_files(logger.sha256)
        return _guarded(logger, file.content)

    return tuple(
        recall(f"heat {asdict(one)}", lambda one=one: work(one))  # type: ignore[misc]  # default binds the loop's value
        for one in store.site_loggers(site)
    )


def check_loggers(store: SurveyStore) -> Iterator[Problem]:
    """
    Prove that the files of loggers are what they were when they were kept; nothing is changed.

    Parameters
    ----------
    store : SurveyStore

    Yields
    ------
    Problem
        ``logger-file-changed``, and what keeps a file from being worked out.
    """
    files = {file.sha256: file for file in store.logger_files()}
    for logger in store.site_loggers(with_taken_back=True):
        file = files[logger.sha256]
        if hashlib.sha256(file.content.encode("utf-8")).hexdigest() != file.sha256:
            yield Problem(
                slug="logger-file-changed",
                severity="error",
                place=f"{logger.site}, {logger.file_name}",
                message="this logger's file is not what it was when it was kept",
                fix="Compare the database with a copy or a backup, and take the sound one.",
            )
        elif not logger.is_taken_back:
            yield from _guarded(logger, file.content).problems


def _guarded(logger: SiteLogger, content: str) -> SiteHeat:
    """Work a kept file out; what was sound when it was kept may not be to a later program."""
    try:
        return _heat(logger, content)
    except DryslateError as error:
        problem = problem_of(error, f"{logger.site}, {logger.file_name}")
        return SiteHeat(logger=logger, found=None, problems=(problem,))


def _heat(logger: SiteLogger, content: str) -> SiteHeat:
    """Work a logger's heat stress out."""
    zone = zone_of(logger.zone) if logger.zone else None
    table = read_table_csv(content.encode("utf-8"), logger.file_name)
    read = read_logger(table, (logger.time_column, logger.temperature_column), zone)
    if read.problems:
        return SiteHeat(logger=logger, found=None, problems=read.problems)
    lain = (logger.deployed_from, logger.deployed_to) if logger.deployed_from else None
    stated = (logger.warmest_c, logger.warmest_source)
    return SiteHeat(logger=logger, found=logger_heat(read, stated, lain, logger.offset_c))


def _text_of(data: bytes, name: str) -> str:
    """Return a file's text, if it is a table of text of a size that can be kept."""
    if len(data) > LARGEST_BYTES:
        told = f"{name}: more than {LARGEST_BYTES >> 20} MB."
        raise InputError("table-too-large", told, "Divide it.")
    if b"\0" in data or data[:2] == b"PK" or data.lstrip(b"\xef\xbb\xbf \r\n\t")[:1] == b"<":
        raise InputError(
            "logger-not-csv",
            f"{name} is no table of text.",
            "Save the logger's readings as CSV UTF-8, and give that file.",
        )
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            "table-not-utf8", f"{name}, row {line}: not UTF-8.", "Save the file as CSV UTF-8."
        ) from error


def _stated(settings: LoggerSettings) -> dict[str, object]:
    """Return the settings as they are kept."""
    lain = (settings.deployed_from.strip(), settings.deployed_to.strip())
    if bool(lain[0]) != bool(lain[1]):
        raise _refused("Of the times that the logger was put out and taken in, one is missing.")
    try:
        warmest = typed_number(settings.warmest_c)
    except ValueError as error:
        raise _refused(
            f"The mean of the warmest month is no number: {settings.warmest_c}"
        ) from error
    if warmest is None:
        raise _refused("The mean of the warmest month is not stated.")
    try:
        offset = typed_number(settings.offset_c)
    except ValueError as error:
        raise _refused(
            f"The difference of logger and source is no number: {settings.offset_c}"
        ) from error
    source = _words(settings.warmest_source)
    if source is None:
        raise _refused(f"The source holds signs that cannot be kept, or is over {LONGEST} signs.")
    zone = settings.zone.strip()
    if zone:
        zone_of(zone)
    return {
        "warmest_c": warmest,
        "warmest_source": source,
        "deployed_from": lain[0],
        "deployed_to": lain[1],
        "offset_c": offset,
        "zone": zone,
        "time_column": settings.time_column.strip() or "time",
        "temperature_column": settings.temperature_column.strip() or "temperature_c",
    }


def _words(text: str) -> str | None:
    """Return words as they are kept; None for such as cannot be."""
    kept = " ".join(text.split())
    return None if len(kept) > LONGEST or any(ord(sign) < 32 for sign in kept) else kept


def _refused(message: str) -> InputError:
    """Refuse what is stated of a logger."""
    return InputError(
        "logger-setting-odd",
        message,
        "Give the mean of the warmest month with its source, and either both times of the "
        "deployment or none.",
    )
