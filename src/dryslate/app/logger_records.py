"""Loggers of sites as they are stored: the file, and what is stated of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerFile:
    """
    A logger's file, word for word.

    Parameters
    ----------
    sha256 : str
    size_bytes : int
    content : str
        In UTF-8 it is the file to the byte.
    """

    sha256: str
    size_bytes: int
    content: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLogger:
    """
    A logger that lay at a site.

    Parameters
    ----------
    site, sha256, file_name : str
    warmest_c : float
        Long-term mean of the warmest month.
    warmest_source : str
    deployed_from, deployed_to : str
        As stated; empty: not stated.
    offset_c : float or None
        Logger minus source.
    zone : str
        Of times that carry none; empty: not stated.
    time_column, temperature_column : str
    logger : str
        Which logger the file is of, in the team's words: files of one are joined by time. Empty:
        the file stands alone.
    count_column : str
        Of a file of days: how many readings each mean is of; empty: a row is one reading.
    n_cut : int
        Of a file of days: readings out of the water, cut before the means were made.
    is_taken_back : bool
        It counts no longer.
    observer, stated_at : str
    """

    site: str
    sha256: str
    file_name: str
    warmest_c: float
    warmest_source: str
    observer: str
    stated_at: str
    deployed_from: str = ""
    deployed_to: str = ""
    offset_c: float | None = None
    zone: str = ""
    time_column: str = "time"
    temperature_column: str = "temperature_c"
    logger: str = ""
    count_column: str = ""
    n_cut: int = 0
    is_taken_back: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


class LoggerStore(Protocol):
    """Loggers of sites."""

    def logger_files(self, sha256: str | None = None) -> tuple[LoggerFile, ...]:
        """Return one file, or all; with their words."""

    def site_loggers(
        self, site: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[SiteLogger, ...]:
        """Return the loggers of one site, or of all, in the order kept."""

    def save_site_logger(self, logger: SiteLogger, file: LoggerFile | None = None) -> None:
        """Store a logger with its file, or its changed settings; a file never changes."""
