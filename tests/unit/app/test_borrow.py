"""Photos without a card borrow colours by the rule, and by nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from dryslate.app.borrow import (
    Lender,
    Shot,
    exposure_ratio,
    find_lender,
    make_loan,
    settings_differ,
)
from dryslate.app.records import PhotoMetadata
from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.mismatch import mismatch_of
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.measure.colour_area import require_measurable

NOON = datetime(2031, 5, 4, 12, 0, 0)
CAMERA = PhotoMetadata(
    camera_model="Reef 5",
    lens_model="Reef 8-24",
    focal_mm=8.0,
    flash_fired=False,
    white_balance_fixed=True,
    exposure_s=0.01,
    f_number=4.0,
    iso=200.0,
)


def fit(matrix: np.ndarray | None = None, off_card: float | None = 8.0) -> ColourFit:
    matrix = np.diag([2.0, 1.0, 1.2]) if matrix is None else matrix
    n = matrix.size + 5
    return ColourFit(
        usable=True,
        fit="affine" if matrix.shape[1] == 3 else "root_polynomial_2",
        correction=Correction(
            fit="affine", tone=(0.0, 0.0), veil=np.array([0.01, 0.02, 0.03]), matrix=matrix
        ),
        gain=np.array([2.0, 1.0, 1.2]),
        noise_after_gain=np.full(3, 0.01),
        veil=np.array([0.01, 0.02, 0.03]),
        left_out_de00_median=2.0,
        left_out_de00_p95=5.0,
        off_card_de00_p95=off_card,
        n_patches=18,
        covariance=np.eye(n) * 1e-6,
        mismatch=mismatch_of("affine", 2.0, None, greys_only=False),
        common_u=np.zeros(3),
    )


def shot(name: str, seconds: float = 0.0, depth_m: float | None = None, **changes: Any) -> Shot:
    raw = changes.pop("is_raw", False)
    group = changes.pop("group", "north 1")
    taken = changes.pop("taken", NOON + timedelta(seconds=seconds))
    return Shot(
        sha256=name,
        name=f"{name}.jpg",
        metadata=replace(CAMERA, **changes),
        is_raw=raw,
        taken=taken,
        depth_m=depth_m,
        group=group,
    )


def lender(name: str, seconds: float, depth_m: float | None = None, **changes: Any) -> Lender:
    return Lender(shot=shot(name, seconds, depth_m, **changes), fit=fit(), key=f"key {name}")


@pytest.mark.parametrize(
    ("seconds", "my_depth", "its_depth", "lends"),
    [
        (300.0, 5.0, 6.0, True),
        (301.0, 5.0, 6.0, False),
        (-300.0, 6.0, 5.0, True),
        (60.0, 5.0, 6.01, False),
        (120.0, None, 6.0, True),
        (121.0, None, 6.0, False),
        (121.0, 5.0, None, False),
        (120.0, None, None, True),
    ],
)
def test_time_and_depth_decide_by_five_minutes_and_a_metre_or_two_minutes(
    seconds: float, my_depth: float | None, its_depth: float | None, lends: bool
) -> None:
    found = find_lender(shot("a", 0.0, my_depth), [lender("b", seconds, its_depth)])
    assert (found is not None) is lends


def test_nearest_in_time_lends_and_depth_breaks_a_tie() -> None:
    lenders = [lender("far", 200, 5.0), lender("near", -20, 5.9), lender("nearer", 20, 5.1)]
    found = find_lender(shot("a", 0, 5.0), lenders)
    assert found is not None
    assert found.shot.sha256 == "nearer"


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"white_balance_fixed": False}, "white balance"),
        ({"white_balance_fixed": None}, "white balance"),
        ({"flash_fired": True}, "flash"),
        ({"flash_fired": None}, "flash is not stated"),
        ({"lens_model": "Reef 60"}, "lens"),
        ({"lens_model": None}, "lens"),
        ({"focal_mm": 12.0}, "zoom"),
        ({"focal_mm": None}, "focal length"),
        ({"zoom_ratio": 2.0}, "digital zoom"),
        ({"camera_model": "Reef 6"}, "different cameras"),
        ({"camera_serial": "77"}, "different cameras"),
    ],
)
def test_what_is_not_stated_or_differs_keeps_photos_apart(
    changes: dict[str, Any], reason: str
) -> None:
    other = replace(CAMERA, **changes)
    assert reason in (settings_differ(CAMERA, other, both_raw=False) or "")
    assert reason in (settings_differ(other, CAMERA, both_raw=False) or "")
    assert find_lender(shot("a", **changes), [lender("b", 10)]) is None


def test_a_built_in_lens_is_that_of_its_camera() -> None:
    compact = replace(CAMERA, lens_model=None)
    assert settings_differ(compact, compact, both_raw=False) is None
    nameless = replace(compact, camera_model=None)
    assert "camera is not stated" in (settings_differ(nameless, nameless, both_raw=False) or "")


def test_raw_files_need_no_fixed_white_balance_but_lend_only_to_raw_files() -> None:
    auto = {"white_balance_fixed": False}
    assert find_lender(shot("a", is_raw=True, **auto), [lender("b", 9, is_raw=True, **auto)])
    assert find_lender(shot("a", is_raw=True), [lender("b", 9)]) is None


@pytest.mark.parametrize("changes", [{"taken": None}, {"group": "south 1"}])
def test_unknown_time_or_another_visit_borrows_nothing(changes: dict[str, Any]) -> None:
    assert find_lender(shot("a", **changes), [lender("b", 0)]) is None


def test_a_photo_does_not_lend_to_itself() -> None:
    assert find_lender(shot("a"), [lender("a", 0)]) is None


@pytest.mark.parametrize(
    ("own", "depth", "slugs", "usable", "shown"),
    [
        (8.0, 5.0, [], True, True),
        (11.6, 5.6, ["colour-looking-only"], False, True),
        (8.0, None, ["colour-looking-only"], False, True),
        (23.0, None, ["colour-too-uncertain"], False, False),
    ],
)
def test_borrowed_colours_are_held_to_the_limits_of_a_photos_own(
    own, depth, slugs, usable, shown
) -> None:
    giver = Lender(shot=lender("b", 30, 5.0).shot, fit=fit(off_card=own), key="k")
    loan = make_loan(shot("a", 0, depth), giver)
    assert loan.fit.off_card_de00_p95 > own
    assert [p.slug for p in loan.fit.problems] == slugs
    assert not any("scale still holds" in p.fix.lower() for p in loan.fit.problems)
    assert ("are borrowed from" in loan.problems[0].message) == shown
    assert ("not used" in loan.problems[0].message) != shown
    assert (loan.fit.usable, loan.fit.can_be_shown) == (usable, shown)
    if not usable:
        with pytest.raises(InputError, match="measure-colour-no-fit"):
            require_measurable(loan.fit)


def test_loan_states_where_it_comes_from_and_a_wider_doubt() -> None:
    giver = lender("b", 30, 5.6)
    loan = make_loan(shot("a", 0, 5.0), giver)
    assert loan.from_sha256 == "b"
    assert loan.about["seconds"] == 30.0
    assert loan.about["depth_difference_m"] == pytest.approx(0.6)
    assert loan.fit.off_card_de00_p95 > giver.fit.off_card_de00_p95
    assert Flag.BORROWED in loan.fit.flags
    assert [p.slug for p in loan.problems] == ["correct-borrowed"]
    assert "b.jpg" in loan.problems[0].message
    assert "no scale" in loan.problems[0].message


def test_doubt_grows_with_depth_and_most_where_depth_is_unknown() -> None:
    doubts = [
        make_loan(shot("a", 0, mine), lender("b", 30, its)).fit.off_card_de00_p95
        for mine, its in [(5.0, 5.0), (5.0, 5.5), (5.0, 6.0), (None, 5.0)]
    ]
    assert doubts == sorted(doubts)
    assert doubts[-1] > 1.2 * doubts[0]


def test_exposure_is_made_up_for_where_both_state_it() -> None:
    twice = replace(CAMERA, exposure_s=0.02)
    assert exposure_ratio(twice, CAMERA) == (2.0, 0.0)
    loan = make_loan(shot("a", exposure_s=0.02), lender("b", 10))
    light = np.array([[0.1, 0.2, 0.3]])
    here = np.zeros((1, 2))
    mine = correct_linear(2.0 * light, here, loan.fit.correction)
    theirs = correct_linear(light, here, fit().correction)
    assert np.allclose(mine, theirs)


@pytest.mark.parametrize("changes", [{"iso": None}, {"flash_fired": True}])
def test_unknown_light_is_doubt_not_a_guess(changes: dict[str, Any]) -> None:
    photo = replace(CAMERA, **changes)
    ratio, doubt = exposure_ratio(photo, photo)
    assert ratio == 1.0
    assert doubt > 0.3
