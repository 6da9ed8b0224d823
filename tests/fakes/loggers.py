"""Loggers of sites in memory."""

from __future__ import annotations

from typing import Any

from dryslate.app.logger_records import LoggerFile, SiteLogger

NAMES = ("logger_files", "site_loggers")


class MemoryLoggers:
    """Implements `dryslate.app.logger_records.LoggerStore`; the store mixes it in."""

    _tables: dict[str, Any]

    def logger_files(self, sha256: str | None = None) -> tuple[LoggerFile, ...]:
        return tuple(f for f in self._sorted("logger_files") if sha256 in (None, f.sha256))

    def site_loggers(
        self, site: str | None = None, *, with_taken_back: bool = False
    ) -> tuple[SiteLogger, ...]:
        rows = self._tables["site_loggers"].values()
        found = (one for one in rows if site in (None, one.site))
        return tuple(one for one in found if with_taken_back or not one.is_taken_back)

    def save_site_logger(self, logger: SiteLogger, file: LoggerFile | None = None) -> None:
        self._need("sites", (logger.site,), "site")
        with self.write():
            self._see(logger.observer)
            if file is not None:
                self._put("logger_files", (file.sha256,), file, keep=True)
            self._need("logger_files", (logger.sha256,), "file")
            self._put("site_loggers", (logger.site, logger.sha256), logger)
