"""BLE-01: bleaching index of seven classes (McClanahan et al. 2007, Coral Reefs 26:695-701)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryslate.core.health.bleaching import SEVEN_CLASSES, index_of_counts, site_index

PATH = Path(__file__).parent / "checks" / "ble_bleaching_index.json"
CASES = json.loads(PATH.read_text("utf-8"))["cases"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_index(case: dict) -> None:
    out = case["out"]
    if "taxa" in case["in"]:
        taxa = case["in"]["taxa"]
        for name, counts in taxa.items():
            assert index_of_counts(counts, SEVEN_CLASSES).value == pytest.approx(out[f"BI_{name}"])
        assert site_index(taxa, SEVEN_CLASSES) == pytest.approx(out["BI_site"], abs=1e-9)
        return
    found = index_of_counts(case["in"]["counts_c0_to_c6"], SEVEN_CLASSES)
    assert found.class_pct == pytest.approx(out["percent"], abs=1e-9)
    assert found.value == pytest.approx(out["BI"], abs=1e-9)
    assert found.affected_pct == pytest.approx(out["percent_affected"], abs=1e-9)
