"""What a board does in the water, beyond the published cases."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.core.measure.buoyancy import (
    Part,
    measure_buoyancy,
    measure_lift,
    measure_seawater_density,
)

BOARD = Part(volume_cm3=126, volume_cm3_u=6, density_g_cm3=0.905, density_g_cm3_u=0.0045)


def test_weight_makes_the_board_hang_between_five_and_twenty_grams() -> None:
    found = measure_buoyancy((BOARD,), 7.95, 0.03, 1024)
    assert found.weight_lo_g < found.weight_g < found.weight_hi_g
    assert 5 <= found.net_down_g <= 20


def test_doubt_in_lift_matches_a_simulation() -> None:
    rng = np.random.default_rng(5)
    volume = rng.normal(126, 6, 200_000)
    density = rng.normal(0.905, 0.0045, 200_000)
    lift = volume * (1.024 - density)
    assert measure_lift(BOARD, 1.024)[1] == pytest.approx(lift.std(), rel=0.02)


def test_wider_doubt_asks_for_more_weight_but_never_beyond_the_range() -> None:
    vague = Part(volume_cm3=126, volume_cm3_u=60, density_g_cm3=0.905, density_g_cm3_u=0.05)
    sure, unsure = (measure_buoyancy((b,), 7.95, 0.03, 1024) for b in (BOARD, vague))
    assert unsure.weight_g > sure.weight_g
    assert unsure.net_down_g <= 20 + 1e-9


def test_board_that_sinks_by_itself_gets_no_steel() -> None:
    heavy = Part(volume_cm3=126, volume_cm3_u=6, density_g_cm3=1.40, density_g_cm3_u=0.03)
    with pytest.raises(InputError) as caught:
        measure_buoyancy((heavy,), 7.95, 0.03, 1024)
    assert caught.value.slug == "board-sinks-already"


def test_board_that_hangs_right_already_needs_nothing() -> None:
    part = Part(volume_cm3=100, volume_cm3_u=0, density_g_cm3=1.174, density_g_cm3_u=0)
    found = measure_buoyancy((part,), 7.95, 0.03, 1024)
    assert found.weight_g == 0
    assert found.net_down_g == pytest.approx(15.0)


@pytest.mark.parametrize("values", [(-1, 20, 0), (35, 99, 0), (35, 20, -3), (float("nan"), 20, 0)])
def test_water_outside_the_formula_is_refused(values) -> None:
    with pytest.raises(InputError) as caught:
        measure_seawater_density(*values)
    assert caught.value.slug == "seawater-out-of-range"
