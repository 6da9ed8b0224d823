"""BLE-02 and BLE-03: degree heating weeks (Liu et al. 2003; Skirving et al. 2020)."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.health.heat import (
    COUNTED_FROM_C,
    PUBLISHED_THRESHOLDS,
    WINDOW_DAYS,
    WarmestMonth,
    heat_series,
    heating_weeks,
    warmest_month,
)

CHECKS = Path(__file__).parent / "checks"
FILE = json.loads((CHECKS / "ble_dhw_cases.json").read_text("utf-8"))
SERIES_MEAN_C = 29.0


def test_daily_series() -> None:
    with (CHECKS / "ble_dhw_daily_series.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    read = [float(row["temperature_degC"]) for row in rows]
    days = np.datetime64("2021-01-01", "D") + np.arange(len(rows))
    found = heat_series(days, read, WarmestMonth(mean_c=SERIES_MEAN_C, source="the check"))
    assert found.excess_c == pytest.approx([float(r["excess_degC"]) for r in rows], abs=1e-9)
    assert found.dhw == pytest.approx([float(r["dhw"]) for r in rows], abs=0.5e-6)
    assert not found.gaps
    assert found.days_read.tolist() == [min(k + 1, 84) for k in range(len(rows))]


@pytest.mark.parametrize("case", FILE["cases"], ids=lambda case: case["name"])
def test_small_cases(case: dict) -> None:
    given, out = case["in"], case["out"]
    if "monthly_means" in given:
        found, month = warmest_month(given["monthly_means"], "the check", 28)
        assert (found.mean_c, month) == (out["mmm"], out["month"])
        return
    dhw = heating_weeks(given["sst"], given["mmm"])
    days = {"dhw": -1, "dhw_day84": 83, "dhw_day85": 84}
    for key, value in out.items():
        assert dhw[days[key]] == pytest.approx(value, abs=1e-9), key


def test_rule_and_thresholds() -> None:
    said = FILE["thresholds"]
    assert (said["window_days"], said["excess_min_degC"]) == (WINDOW_DAYS, COUNTED_FROM_C)
    assert (said["significant_bleaching_DHW"], said["mortality_DHW"]) == PUBLISHED_THRESHOLDS
