"""
The built-in 24-patch targets carry the published means of both editions, brought to D65.

Source: COL-05, ``checks/col_target24_lab_d50.csv``: data sets of the colour-science library,
computed with its version 0.4.6 (xyY and Lab for D50, 2 degrees; editions of 2005 and of late
2014 on).
"""

from __future__ import annotations

import csv
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from dryslate.core.colour.spaces import lab_d50_to_d65
from dryslate.formats.card_toml import parse_card

CHECK = Path(__file__).parent / "checks" / "col_target24_lab_d50.csv"
ROWS = list(csv.DictReader(CHECK.read_text("utf-8").splitlines()))
EDITIONS = {"target24-2014": "cca2014", "target24-2005": "cc2005"}


@pytest.mark.parametrize("name", EDITIONS)
def test_patches_are_the_published_means_in_d65(name: str) -> None:
    folder = resources.files("dryslate").joinpath("data", "cards")
    card = parse_card(folder.joinpath(f"{name}.toml").read_text("utf-8"), name)
    published = {
        r["name"]: [float(r[k]) for k in "Lab"] for r in ROWS if r["dataset"] == EDITIONS[name]
    }
    assert {p.patch_id for p in card.patches} == set(published)
    for patch in card.patches:
        expected = lab_d50_to_d65(published[patch.patch_id])
        # 0.005 is half of the last digit in the file; white points differ in the fifth digit
        # between sources, which moves strong colours by another 0.01
        np.testing.assert_allclose(patch.lab_d65, expected, atol=0.02, err_msg=patch.patch_id)


@pytest.mark.parametrize("name", EDITIONS)
def test_greys_are_row_four_from_white_to_black(name: str) -> None:
    folder = resources.files("dryslate").joinpath("data", "cards")
    card = parse_card(folder.joinpath(f"{name}.toml").read_text("utf-8"), name)
    assert [p.patch_id for p in card.neutrals] == [f"r4c{k}" for k in range(1, 7)]
    # adaptation keeps greys grey: chroma stays under 4 in both editions
    assert max(np.hypot(*p.lab_d65[1:]) for p in card.neutrals) < 4.0
