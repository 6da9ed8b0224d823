"""Heat stress from loggers: gaps, deck, days, offset, and means that are refused."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.health.heat import (
    WarmestMonth,
    heat_series,
    heating_weeks,
    logger_offset,
    warmest_month,
)

MEAN = WarmestMonth(mean_c=29.0, source="made up for this test")
START = np.datetime64("2021-01-01T00:00:00", "s")
HOUR, DAY = np.timedelta64(3600, "s"), np.timedelta64(86400, "s")


def hourly(n_days: int, temperature: float = 30.0) -> tuple[np.ndarray, np.ndarray]:
    times = START + np.arange(24 * n_days) * HOUR
    return times, np.full(times.size, temperature)


def test_a_full_degree_counts_though_its_difference_is_not_exact() -> None:
    assert 32.01 - 31.01 < 1.0
    assert heating_weeks([32.01] * 7, 31.01)[-1] == pytest.approx(1.0)


def test_logger_of_a_week_at_one_degree() -> None:
    found = heat_series(*hourly(7), MEAN)
    assert found.dhw[-1] == pytest.approx(1.0)
    assert found.highest() == (np.datetime64("2021-01-07"), pytest.approx(1.0))
    assert found.first_reached(0.5) == np.datetime64("2021-01-04")
    assert found.first_reached(4.0) is None
    assert set(found.flags) == {
        Flag.HEAT_WINDOW_SHORT,
        Flag.HEAT_OFFSET_NOT_STATED,
        Flag.DEPLOYMENT_NOT_STATED,
    }


def test_gaps_add_nothing_and_are_named() -> None:
    times, read = hourly(10)
    kept = np.ones(times.size, bool)
    kept[24 * 3 : 24 * 5] = False  # two days without readings
    kept[24 * 7 + 5 : 24 * 8] = False  # a day of five readings
    read[24 * 9 + 2] = np.nan  # one reading lost: the day stands
    found = heat_series(times[kept], read[kept], MEAN)
    assert [(str(g.first), str(g.last), g.n_days, g.n_readings) for g in found.gaps] == [
        ("2021-01-04", "2021-01-05", 2, 0),
        ("2021-01-08", "2021-01-08", 1, 5),
    ]
    assert np.isnan(found.mean_c).sum() == 3
    assert found.days_read[-1] == 7
    assert found.dhw[-1] == pytest.approx(7 / 7)
    assert Flag.HEAT_GAPS in found.flags


def test_readings_on_deck_are_cut() -> None:
    times, read = hourly(9)
    read[:24], read[-24:] = 55.0, 48.0
    with pytest.raises(InputError, match="heat-readings-unusable"):
        heat_series(times, read, MEAN)
    found = heat_series(times, read, MEAN, deployed=[(times[24], times[-25])])
    assert (found.n_out_of_water, found.n_readings) == (48, 24 * 7)
    assert found.dhw[-1] == pytest.approx(1.0)
    assert Flag.DEPLOYMENT_NOT_STATED not in found.flags


def test_stated_offset_is_taken_off() -> None:
    found = heat_series(*hourly(7, 29.6), MEAN, offset_c=-0.4)
    assert found.mean_c[0] == pytest.approx(29.6)
    assert found.excess_c[0] == pytest.approx(1.0)
    assert found.dhw[-1] == pytest.approx(1.0)
    assert Flag.HEAT_OFFSET_NOT_STATED not in found.flags


def test_days_are_parted_at_the_midnight_of_the_place() -> None:
    times, read = hourly(3)
    assert len(heat_series(times - 10 * HOUR, read, MEAN, utc_offset_h=10).days) == 3
    cut = heat_series(times - 10 * HOUR, read, MEAN)
    assert [g.n_readings for g in cut.gaps] == [10, 14]


def test_offset_over_the_days_both_have() -> None:
    days = START.astype("datetime64[D]") + np.arange(5)
    found = logger_offset((days, [28.0, 28.5, np.nan, 29.0, 29.0]), (days[1:], [29.0] * 4))
    assert found.mean_c == pytest.approx((-0.5 + 0 + 0) / 3)
    assert found.sd_c == pytest.approx(np.std([-0.5, 0, 0], ddof=1))
    assert found.n_days == 3
    assert logger_offset((days[:1], [28.0]), (days[:1], [29.0])).sd_c is None
    with pytest.raises(InputError, match="heat-readings-unusable"):
        logger_offset((days[:1], [28.0]), (days[1:2], [29.0]))


@pytest.mark.parametrize(("mean", "source"), [(29.0, " "), (84.0, "°F"), (np.nan, "x")])
def test_mean_without_source_or_no_sea(mean: float, source: str) -> None:
    with pytest.raises(InputError, match="heat-mean-unusable"):
        WarmestMonth(mean_c=mean, source=source)


@pytest.mark.parametrize(("means", "years"), [([28.0] * 11, 30), ([28.0] * 12, 1)])
def test_mean_of_a_short_record(means: list[float], years: int) -> None:
    with pytest.raises(InputError, match="heat-mean-unusable"):
        warmest_month(means, "the logger itself", years)


def test_times_that_do_not_rise() -> None:
    times, read = hourly(2)
    times[30:] -= HOUR
    with pytest.raises(InputError, match="Reading 31, 2021-01-02T05:00:00 UTC"):
        heat_series(times, read, MEAN)


def test_series_that_cannot_be_daily() -> None:
    for times, read in (
        (START + np.arange(5) * 7 * DAY, np.full(5, 30.0)),
        (START + np.arange(5) * DAY, np.full(4, 30.0)),
        (np.array([], "datetime64[s]"), np.array([])),
    ):
        with pytest.raises(InputError, match="heat-readings-unusable"):
            heat_series(times, read, MEAN)


def test_deployment_backwards_or_elsewhere() -> None:
    times, read = hourly(2)
    for deployed in ((times[5], times[1]), (times[-1] + DAY, times[-1] + 2 * DAY)):
        with pytest.raises(InputError, match="heat-deployment-unusable"):
            heat_series(times, read, MEAN, deployed=[deployed])
