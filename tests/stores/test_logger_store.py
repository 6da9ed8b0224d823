"""Loggers of sites in the stores."""

from __future__ import annotations

import contextlib
import sqlite3

import pytest

from dryslate.base.errors import StoreError


def test_loggers_come_back_and_settings_change_in_place(store, rows) -> None:
    rows.fill(store)
    assert store.logger_files() == (rows._more["LOGGER_FILE"],)
    assert store.logger_files("0" * 64) == ()
    assert store.site_loggers(rows.SITE) == (rows.site_logger(),)
    assert store.site_loggers("nowhere") == ()
    store.save_site_logger(rows.site_logger(is_taken_back=True))
    assert store.site_loggers() == ()
    assert store.site_loggers(with_taken_back=True) == (rows.site_logger(is_taken_back=True),)
    assert [c.what for c in store.changes("site_loggers")] == ["insert", "update"]
    assert [c.what for c in store.changes("logger_files")] == ["insert"]


def test_logger_without_site_or_file_is_refused(store, rows) -> None:
    rows.fill(store)
    for wrong in ({"site": "nowhere"}, {"sha256": "0" * 64}):
        with pytest.raises(StoreError, match="store-refused"):
            store.save_site_logger(rows.site_logger(**wrong))


def test_sqlite_refuses_half_a_deployment_and_another_file(rows, tmp_path) -> None:
    from dryslate.store.sqlite import SqliteSurveyStore

    with SqliteSurveyStore.create(tmp_path) as store:
        rows.fill(store)
        for wrong in ({"deployed_to": ""}, {"warmest_source": ""}):
            with pytest.raises(StoreError):
                store.save_site_logger(rows.site_logger(**wrong))
        for sql in ("UPDATE logger_files SET content = 'x'", "DELETE FROM logger_files"):
            with contextlib.suppress(sqlite3.Error):
                store._db.execute(sql)
        assert store.logger_files() == (rows._more["LOGGER_FILE"],)
