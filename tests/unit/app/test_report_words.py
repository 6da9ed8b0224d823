"""Nothing reaches the report without plain words."""

from __future__ import annotations

import pytest

from dryslate.app.measure import VALUE_NAMES
from dryslate.app.project_records import PatchResidual
from dryslate.app.records import CorrectionRow
from dryslate.app.report_measured import measured_values, patches_over_trip
from dryslate.app.report_words import CAUSES, FITS, FITS_SHORT, FLAGS, KINDS, OUTCOMES, VALUES
from dryslate.app.survey_words import SURVEY_FLAGS
from dryslate.base.quality import Flag
from dryslate.core.colour.correction import FIT_NAMES
from dryslate.core.measure.budget import Parts


def test_every_flag_fit_outcome_and_value_has_words() -> None:
    assert set(FLAGS) | set(SURVEY_FLAGS) == set(Flag)
    assert not set(FLAGS) & set(SURVEY_FLAGS)
    assert set(FITS) == set(FITS_SHORT) == set(FIT_NAMES)
    assert set(KINDS) >= set(VALUE_NAMES)
    plain = {name for names in VALUE_NAMES.values() for name in names} - {"lab"}
    assert plain <= set(VALUES)
    assert set(CAUSES) == set(Parts.__dataclass_fields__)
    assert {"corrected", "borrowed", "refused", "no_card", "unreadable"} < set(OUTCOMES)


def test_shares_of_the_variance_sum_to_one_and_come_from_the_budget() -> None:
    (value,) = measured_values(
        {
            "length_mm": 100.0,
            "length_mm_u": 5.0,
            "length_mm_lo95": 90.0,
            "length_mm_hi95": 110.0,
            "budget": {"pointing_mm_u": 3.0, "off_plane_mm_u": 4.0, "lens_mm_u": 0.0},
            "flags": [],
        }
    )
    assert value.shares == {"pointing": 9 / 25, "lens": 0.0, "off_plane": 16 / 25}
    assert (value.name, value.unit) == ("length", "mm")


def test_each_value_of_an_outline_takes_its_own_budget() -> None:
    fields = {}
    for name, u in (("area_cm2", 2.0), ("diameter_max_mm", 1.0)):
        fields |= {name: 50.0, f"{name}_u": u, f"{name}_lo95": 46.0, f"{name}_hi95": 54.0}
    fields["budget"] = {
        "area_cm2": {"plane_cm2_u": 2.0},
        "diameter_max_mm": {"pointing_mm_u": 1.0},
    }
    diameter, area = measured_values(fields)
    assert (diameter.name, diameter.shares) == ("longest diameter", {"pointing": 1.0})
    assert (area.name, area.shares) == ("area", {"plane": 1.0})


def test_value_that_could_not_be_given_is_left_out_not_zero() -> None:
    empty = dict.fromkeys(f"length_mm{e}" for e in ("", "_u", "_lo95", "_hi95"))
    assert measured_values(empty | {"budget": {}}) == ()


def test_measured_colour_is_told_as_three_values_with_intervals() -> None:
    told = measured_values({"lab": [53.0, 1.0, -2.0], "lab_u": [1.0, 2.0, 0.5], "budget": {}})
    assert [(v.name, v.value) for v in told] == [("L*", 53.0), ("a*", 1.0), ("b*", -2.0)]
    assert (told[1].lo95, told[1].hi95) == (1.0 - 3.92, 1.0 + 3.92)


def test_doubt_of_a_measured_colour_is_shared_out_to_its_causes() -> None:
    budget = {"fit": [3.0, 0.0, 1.0], "mismatch": [4.0, 2.0, 0.0]}
    light, red, _ = measured_values({"lab": [53, 1, -2], "lab_u": [5, 2, 1], "budget": budget})
    assert light.shares == pytest.approx({"fit": 0.36, "mismatch": 0.64})
    assert red.shares == {"fit": 0.0, "mismatch": 1.0}


def row(photo: str, key: str) -> CorrectionRow:
    return CorrectionRow(
        photo_id=photo, key=key, outcome="corrected", result={}, geometry={}, colour={}
    )


def residual(photo: str, key: str, patch: str, de00: float | None) -> PatchResidual:
    return PatchResidual(
        photo_id=photo,
        correction_key=key,
        card="field",
        card_key="k",
        patch_id=patch,
        residual_de00=de00,
        residual_lab=None if de00 is None else (de00, 0.0, 0.0),
        dropped="" if de00 is not None else "clipped",
    )


def test_only_the_latest_correction_of_a_photo_counts_over_the_trip() -> None:
    rows = {"a": row("a", "new"), "b": row("b", "only")}
    found = patches_over_trip(
        [
            residual("a", "old", "rose", 50.0),
            residual("a", "new", "rose", 2.0),
            residual("b", "only", "rose", 4.0),
            residual("b", "only", "moss", None),
            residual("gone", "x", "rose", 9.0),
        ],
        rows,
    )
    (rose,) = found
    assert (rose.n, rose.median_de00, rose.mean_lab[0]) == (2, 3.0, 3.0)
