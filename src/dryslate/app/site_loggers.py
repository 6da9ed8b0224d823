"""Keeping the loggers of sites, and the heat stress that they show."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from dryslate.app.logger_heat import zone_of
from dryslate.app.logger_records import LoggerFile, SiteLogger
from dryslate.app.logger_series import SiteHeat, by_logger, heat_of_files, heat_or_why
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.base.typed import typed_number

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

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
    logger : str
        Which logger the file is of; files of one are joined by time.
    """

    warmest_c: str
    warmest_source: str
    deployed_from: str = ""
    deployed_to: str = ""
    offset_c: str = ""
    zone: str = ""
    time_column: str = "time"
    temperature_column: str = "temperature_c"
    logger: str = ""


def keep_logger(
    store: SurveyStore,
    given: tuple[str, str, bytes],
    settings: LoggerSettings,
    who: tuple[str, str],
) -> SiteHeat:
    """Keep one file of a logger; see `keep_loggers`."""
    site, name, data = given
    return keep_loggers(store, site, [(name, data)], settings, who)


def keep_loggers(
    store: SurveyStore,
    site: str,
    files: Sequence[tuple[str, bytes]],
    settings: LoggerSettings,
    who: tuple[str, str],
) -> SiteHeat:
    """
    Keep the files of a logger that lay at a site, with what is stated of it.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    site : str
    files : sequence of (str, bytes)
        Name and content of each; several are of one logger, and so are those that were kept under
        the same `LoggerSettings.logger` before.
    settings : LoggerSettings
        The same file again with others: these hold from now on. Mean of the warmest month, its
        source and the offset hold for all files of a logger.
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
        those of reading the table and of `heat_of_files`.
    """
    if site not in {s.site for s in store.sites()}:
        raise InputError(
            "logger-site-unknown",
            f"The project has no site {site!r}.",
            "Give the site as it was given to `dryslate take`.",
        )
    observer, stated = require_observer(store, who[0]), _stated(settings)
    if len(files) > 1 and not stated["logger"]:
        stated["logger"] = files[0][0]
    known = {one.sha256: one for one in store.site_loggers(site)}
    given: dict[str, tuple[SiteLogger, LoggerFile]] = {}
    for name, data in files:
        content, named = _text_of(data, name), _words(name)
        if named is None:
            raise _refused(
                f"The name of the file holds signs that cannot be kept, or is over {LONGEST} signs."
            )
        sha256 = hashlib.sha256(data).hexdigest()
        logger = SiteLogger(
            site=site,
            sha256=sha256,
            file_name=named,
            observer=observer,
            stated_at=who[1],
            **stated,  # type: ignore[arg-type]
        )
        old = known.get(sha256)
        if old is not None and replace(logger, stated_at=old.stated_at) == old:
            logger = old
        given[sha256] = logger, LoggerFile(sha256=sha256, size_bytes=len(data), content=content)
    same = {name: stated[name] for name in ("warmest_c", "warmest_source", "offset_c")}
    before = [
        replace(one, **same)  # type: ignore[arg-type]  # fields of a logger
        for one in known.values()
        if stated["logger"] and one.logger == stated["logger"] and one.sha256 not in given
    ]
    kept = [(one, store.logger_files(one.sha256)[0].content) for one in before]
    kept += [(logger, file.content) for logger, file in given.values()]
    heat = heat_of_files(kept)
    if heat.problems:
        return heat
    with store.write():
        for logger, file in given.values():
            if logger != known.get(logger.sha256):
                store.save_site_logger(logger, file)
        for one in before:
            if one != known[one.sha256]:
                store.save_site_logger(replace(one, observer=observer, stated_at=who[1]))
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

    def work(files: Sequence[SiteLogger]) -> SiteHeat:
        return heat_or_why([(one, store.logger_files(one.sha256)[0].content) for one in files])

    return tuple(
        recall(f"heat {[asdict(one) for one in files]}", lambda files=files: work(files))  # type: ignore[misc]  # default binds the loop's value
        for files in by_logger(store.site_loggers(site))
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
            yield from heat_or_why([(logger, file.content)]).problems


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
    name = _words(settings.logger)
    if name is None:
        raise _refused(
            f"The logger's name holds signs that cannot be kept, or is over {LONGEST} signs."
        )
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
        "logger": name,
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
