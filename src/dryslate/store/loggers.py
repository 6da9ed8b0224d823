"""Loggers of sites in SQLite."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from dryslate.store.rows import StoreRoom

if TYPE_CHECKING:  # else where they are used: the first page shows none, and is there sooner
    from dryslate.app.logger_records import LoggerFile, SiteLogger


class SqliteLoggerRoom(StoreRoom):
    """Implements `dryslate.app.logger_records.LoggerStore`."""

    def logger_files(self, sha256: str | None = None) -> tuple[LoggerFile, ...]:
        """Return one file, or all; with their words."""
        from dryslate.app.logger_records import LoggerFile

        rows = self._rows(
            "SELECT * FROM logger_files WHERE ?1 IS NULL OR sha256 = ?1 ORDER BY sha256", [sha256]
        )
        return tuple(LoggerFile(**dict(row)) for row in rows)

    def site_loggers(
        self, site: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[SiteLogger, ...]:
        """Return the loggers of one site, or of all, in the order kept."""
        from dryslate.app.logger_records import SiteLogger

        rows = self._rows(
            "SELECT * FROM site_loggers WHERE ?1 IS NULL OR site = ?1 ORDER BY rowid", [site]
        )
        found = (
            SiteLogger(**dict(row) | {"is_taken_back": bool(row["is_taken_back"])}) for row in rows
        )
        return tuple(one for one in found if with_taken_back or not one.is_taken_back)

    def save_site_logger(self, logger: SiteLogger, file: LoggerFile | None = None) -> None:
        """Store a logger with its file, or its changed settings; a file never changes."""
        row = asdict(logger) | {"is_taken_back": int(logger.is_taken_back)}
        with self.write():
            self._keep("observers", {"observer": logger.observer})
            if file is not None:
                self._keep("logger_files", asdict(file))
            self._put("site_loggers", row, ["site", "sha256"])
