"""A site from its zones: weights stated, Satterthwaite's degrees of freedom, gaps said."""

from __future__ import annotations

import math

import pytest

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.cover import estimate_point_cover
from dryslate.core.survey.density import estimate_density
from dryslate.core.survey.methods import Method
from dryslate.core.survey.statement import SurveySettings
from dryslate.core.survey.zones import estimate_site

AREA = SurveySettings()
CREST = estimate_point_cover([40, 50, 35], [100] * 3, AREA)
SLOPE = estimate_point_cover([20, 15, 30, 25], [100] * 4, AREA)
BARE = estimate_point_cover([0, 0, 0], [100] * 3, AREA)
SINGLE = estimate_point_cover([12], [100], AREA)


def site(zones, weights):
    return estimate_site(zones, weights, is_fraction=True, what="cover_frac")


def test_weights_are_stated_and_sum_to_one() -> None:
    found = site({"crest": CREST, "slope": SLOPE}, {"crest": 1200, "slope": 3600})
    assert found.weights == (("crest", 0.25), ("slope", 0.75))
    assert found.estimate == pytest.approx(0.25 * CREST.estimate + 0.75 * SLOPE.estimate)
    parts = (0.25 * CREST.u) ** 2, (0.75 * SLOPE.u) ** 2
    assert found.u == pytest.approx(math.sqrt(sum(parts)))
    assert found.df == pytest.approx(sum(parts) ** 2 / (parts[0] ** 2 / 2 + parts[1] ** 2 / 3))
    assert found.method is Method.ZONES_T_LOGIT
    assert found.n_units == 7


def test_one_zone_alone_gives_its_own_interval() -> None:
    found = site({"slope": SLOPE}, {"slope": 1.0})
    assert (found.lo95, found.hi95) == pytest.approx((SLOPE.lo95, SLOPE.hi95))


def test_zone_of_one_unit_leaves_the_site_without_interval() -> None:
    found = site({"crest": CREST, "flat": SINGLE}, {"crest": 1, "flat": 1})
    assert found.estimate == pytest.approx((CREST.estimate + 0.12) / 2)
    assert (found.lo95, found.method) == (None, Method.NONE)
    assert Flag.ONE_UNIT in found.flags


def test_zone_without_anything_is_flagged_and_adds_no_doubt() -> None:
    found = site({"crest": CREST, "sand": BARE}, {"crest": 1, "sand": 1})
    assert found.u == pytest.approx(CREST.u / 2)
    assert Flag.ZONE_WITHOUT_SPREAD in found.flags
    assert Flag.UPPER_LIMIT_ONLY not in found.flags


def test_nothing_in_any_zone_is_the_weighted_limit() -> None:
    found = site({"a": BARE, "b": BARE}, {"a": 1, "b": 3})
    assert (found.estimate, found.lo95, found.hi95) == (0.0, None, pytest.approx(BARE.hi95))
    assert found.method is Method.LIMIT_FRACTION
    full = estimate_point_cover([9, 9], [9, 9], AREA)
    assert site({"a": full}, {"a": 1}).lo95 == pytest.approx(full.lo95)


def test_density_of_a_site_is_stated_on_the_logarithm() -> None:
    zones = {
        z: estimate_density(c, [10] * 4, AREA, edge_rule="any_touching")
        for z, c in {"crest": [3, 9, 5, 1], "slope": [12, 20, 8, 15]}.items()
    }
    found = estimate_site(zones, {"crest": 1, "slope": 2}, is_fraction=False, what="density_per_m2")
    assert found.method is Method.ZONES_T_LOG
    assert found.lo95 < found.estimate < found.hi95
    assert found.flags == (Flag.EDGE_READS_HIGH,)


def test_zone_of_no_weight_says_nothing() -> None:
    found = site({"crest": CREST, "flat": SINGLE}, {"crest": 1, "flat": 0})
    assert found.lo95 == pytest.approx(CREST.lo95)


@pytest.mark.parametrize(
    "weights", [{"crest": 1}, {"crest": 1, "slope": -1}, {"crest": 0, "slope": 0}]
)
def test_weights_that_cannot_be_used_are_refused(weights) -> None:
    with pytest.raises(InputError) as caught:
        site({"crest": CREST, "slope": SLOPE}, weights)
    assert caught.value.slug == "survey-weights-impossible"
