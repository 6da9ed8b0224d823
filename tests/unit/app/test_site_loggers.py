"""Loggers kept for a site: what is stored, what is refused, and the heat that comes of it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dryslate.app.logger_days import LoggerDeployment, days_of, kept_of
from dryslate.app.logger_records import LoggerFile
from dryslate.app.logger_series import heat_of_files
from dryslate.app.site_loggers import (
    LARGEST_BYTES,
    LoggerSettings,
    check_loggers,
    keep_logger,
    site_heat,
    take_logger_back,
)
from dryslate.base.errors import DryslateError, InputError

WHO = ("Ines Varro", "2024-05-19T12:00:00Z")
STATED = LoggerSettings(warmest_c="29,0", warmest_source="made up for this test", offset_c="0")
ROWS = [f"2024-02-{day:02d}T{hour:02d}:00+10:00,30" for day in range(1, 8) for hour in range(24)]
FILE = ("\r\n".join(["time,temperature_c", *ROWS]) + "\r\n").encode()


@pytest.fixture
def store(memory_store, dive) -> Any:
    """A project with one site."""
    dive.add_visit(memory_store)
    return memory_store


def test_file_comes_back_to_the_byte_with_the_heat_of_the_rule(store, dive) -> None:
    for data in (FILE, b"\xef\xbb\xbf" + FILE):  # a mark of byte order stays
        kept = keep_logger(store, (dive.SITE, "reef.csv", data), STATED, WHO)
        (file,) = store.logger_files(hashlib.sha256(data).hexdigest())
        assert file.content.encode("utf-8") == data
        assert kept.logger.warmest_c == 29.0
    first, second = site_heat(store, dive.SITE)
    # 7 days of 1 degree over the mean, over 7 (Liu et al. 2003)
    assert first.found.highest()[1] == pytest.approx(1.0)
    assert second.found.highest()[1] == pytest.approx(1.0)
    assert list(check_loggers(store)) == []
    assert site_heat(store, "elsewhere") == ()


def test_same_file_again_changes_nothing_and_with_other_settings_these_hold(store, dive) -> None:
    given = (dive.SITE, "reef.csv", FILE)
    keep_logger(store, given, STATED, WHO)
    n = len(store.changes("site_loggers"))
    assert keep_logger(store, given, STATED, (WHO[0], "later")).logger.stated_at == WHO[1]
    assert len(store.changes("site_loggers")) == n
    lain = replace(
        STATED, deployed_from="2024-02-01T00:00", deployed_to="2024-02-03", zone="+10:00"
    )
    keep_logger(store, given, lain, WHO)
    (heat,) = site_heat(store, dive.SITE)
    assert heat.found.highest()[1] == pytest.approx(3 / 7)
    assert heat.found.n_out_of_water == 4 * 24
    assert len(store.changes("logger_files")) == 1


def test_what_cannot_be_read_is_named_with_its_place_and_nothing_is_kept(store, dive) -> None:
    wrong = FILE.replace(b"T05:00+10:00,30", b"T05:00+10:00,warm")
    kept = keep_logger(store, (dive.SITE, "reef.csv", wrong), STATED, WHO)
    assert {p.slug for p in kept.problems} == {"logger-cell-unreadable"}
    assert kept.problems[0].place == "reef.csv, row 7, temperature_c"
    assert store.site_loggers() == store.logger_files() == ()


@pytest.mark.parametrize(
    ("data", "settings", "slug"),
    [
        (b"PK\x03\x04rest", STATED, "logger-not-csv"),
        (b'\n<?xml version="1.0"?><a/>', STATED, "logger-not-csv"),
        (b"time,temperature_c\n\0", STATED, "logger-not-csv"),
        (b"time,temperature_c\n2024-01-01,\xe9\n", STATED, "table-not-utf8"),
        (b"x" * (LARGEST_BYTES + 1), STATED, "table-too-large"),
        (FILE, replace(STATED, warmest_c=""), "logger-setting-odd"),
        (FILE, replace(STATED, warmest_c="warm"), "logger-setting-odd"),
        (FILE, replace(STATED, warmest_c="nan"), "logger-setting-odd"),
        (FILE, replace(STATED, deployed_from="2024-02-01"), "logger-setting-odd"),
        (FILE, replace(STATED, warmest_source="x" * 301), "logger-setting-odd"),
        (FILE, replace(STATED, warmest_source=" "), "heat-mean-unusable"),
        (FILE, replace(STATED, zone="local"), "logger-zone-wrong"),
        (FILE, replace(STATED, time_column="when"), "logger-column-missing"),
        (FILE.replace(b"+10:00", b""), STATED, None),
    ],
)
def test_what_is_refused(store, dive, data, settings, slug) -> None:
    if slug is None:  # as the command: a fault of each row
        kept = keep_logger(store, (dive.SITE, "reef.csv", data), settings, WHO)
        assert {p.slug for p in kept.problems} == {"logger-time-no-zone"}
    else:
        with pytest.raises(DryslateError) as caught:
            keep_logger(store, (dive.SITE, "reef.csv", data), settings, WHO)
        assert caught.value.slug == slug
    assert store.site_loggers() == ()


def test_unknown_site_and_logger_are_refused_and_a_file_taken_back_stays(store, dive) -> None:
    with pytest.raises(InputError, match="logger-site-unknown"):
        keep_logger(store, ("elsewhere", "reef.csv", FILE), STATED, WHO)
    kept = keep_logger(store, (dive.SITE, "reef.csv", FILE), STATED, WHO)
    take_logger_back(store, dive.SITE, kept.logger.sha256, WHO)
    assert site_heat(store, dive.SITE) == ()
    assert len(store.logger_files()) == 1
    with pytest.raises(InputError, match="logger-unknown"):
        take_logger_back(store, dive.SITE, kept.logger.sha256, WHO)
    keep_logger(store, (dive.SITE, "reef.csv", FILE), STATED, WHO)
    assert len(site_heat(store, dive.SITE)) == 1


def test_check_names_a_file_that_is_not_what_it_was(store, dive) -> None:
    kept = keep_logger(store, (dive.SITE, "reef.csv", FILE), STATED, WHO)
    key = (kept.logger.sha256,)
    changed = LoggerFile(sha256=key[0], size_bytes=len(FILE), content=FILE.decode() + "x")
    store._tables["logger_files"][key] = changed
    assert [p.slug for p in check_loggers(store)] == ["logger-file-changed"]


def test_file_that_a_later_program_cannot_work_out_is_told_and_breaks_nothing(store, dive) -> None:
    kept = keep_logger(store, (dive.SITE, "reef.csv", FILE), STATED, WHO)
    store.save_site_logger(replace(kept.logger, time_column="gone"))
    (heat,) = site_heat(store, dive.SITE)
    assert heat.found is None
    assert [p.slug for p in heat.problems] == ["logger-column-missing"]
    assert [p.slug for p in check_loggers(store)] == ["logger-column-missing"]


def test_file_of_days_stands_alone_and_says_the_same_heat(store, dive) -> None:
    heat = keep_logger(store, (dive.SITE, "reef.csv", FILE), STATED, WHO)
    assert heat.found is not None
    stated = LoggerDeployment(
        logger_id="x", site=dive.SITE, warmest_c=heat.logger.warmest_c, warmest_source="s",
        observer=WHO[0], stated_at=WHO[1], zone="+00:00", n_cut=heat.found.n_out_of_water,
        offset_c=heat.logger.offset_c, deployed_from=heat.logger.deployed_from,
        deployed_to=heat.logger.deployed_to,
    )  # fmt: skip
    logger, file = kept_of(stated, list(days_of("x", heat.found)))
    alone = heat_of_files([(logger, file.content)])
    assert alone.found is not None
    for name in ("days", "mean_c", "count", "dhw", "days_read"):
        np.testing.assert_array_equal(getattr(alone.found, name), getattr(heat.found, name))
    assert alone.found.gaps == heat.found.gaps
    assert alone.found.flags == heat.found.flags
    with pytest.raises(InputError, match="logger-files-kinds"):
        heat_of_files([(logger, file.content), (heat.logger, FILE.decode())])
    with pytest.raises(InputError, match="logger-cell-unreadable"):
        heat_of_files([(logger, file.content.replace("\n20", "\nday 20"))])
