"""Scale bars and millimetre grids of a plane whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.app.card_grid import grid_lines, parse_box
from dryslate.app.crop import fit_scale_bar, largest_round
from dryslate.base.errors import InputError
from dryslate.core.scale.lens import lens_prior
from dryslate.core.scale.plane import ViewSettings, fit_plane, project_plane

SIZE = (1200, 800)
CARD = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)]


@pytest.fixture(scope="module")
def flat():
    """A card face on: 4 px/mm everywhere."""
    seen = [(400.0 + 4.0 * x, 280.0 + 4.0 * y) for x, y in CARD]
    view = ViewSettings(image_size_px=SIZE, lens=lens_prior(28.0, SIZE, under_water=False))
    return fit_plane(CARD, seen, 0.2, view)


def test_bar_of_a_flat_view_is_its_length_times_the_scale(flat):
    bar = fit_scale_bar(flat, (399.5, 279.5, 799.5, 519.5))
    assert bar.length_mm == 20.0  # 30 % of 400 px are 30 mm
    assert bar.length_px == pytest.approx(80.0, rel=0.01)
    assert 0.0 < bar.length_mm_u < 1.0
    assert bar.scale_range_frac < 0.05


def test_bar_of_a_tilted_view_tells_how_much_the_scale_differs():
    seen = [(400.0, 300.0), (800.0, 260.0), (800.0, 560.0), (400.0, 500.0)]
    view = ViewSettings(image_size_px=SIZE, lens=lens_prior(28.0, SIZE, under_water=False))
    plane = fit_plane(CARD, seen, 0.2, view)
    bar = fit_scale_bar(plane, (399.5, 279.5, 799.5, 519.5))
    assert bar.scale_range_frac > 0.1
    half = bar.length_px / 2.0
    ends = np.array([[599.5 - half, 399.5], [599.5 + half, 399.5]])
    from dryslate.core.scale.plane import apply_plane

    mm = apply_plane(plane, ends).xy_mm
    assert np.hypot(*(mm[1] - mm[0])) == pytest.approx(bar.length_mm, rel=1e-6)


@pytest.mark.parametrize(
    ("most", "found"), [(1.0, 1.0), (1.99, 1.0), (2.0, 2.0), (7.0, 5.0), (99.0, 50.0), (0.07, 0.05)]
)
def test_largest_round_length(most, found):
    assert largest_round(most) == pytest.approx(found)


def test_grid_lies_on_whole_millimetres_and_near_the_card_only(flat):
    told = grid_lines(flat, (0.0, 0.0, 1199.0, 799.0), 30.0)
    assert told["step_mm"] == 10.0  # 30 px are 7.5 mm
    for line in told["lines"]:
        mm = np.empty((len(line["points_px"]), 2))
        mm[:, line["axis"]] = line["mm"]
        ends = project_plane(flat, [[0.0, 0.0], [100.0, 60.0]])
        assert line["mm"] % 10.0 == 0.0
        across = np.array(line["points_px"])[:, line["axis"]]
        per_mm = (ends[1] - ends[0])[line["axis"]] / (100.0, 60.0)[line["axis"]]
        assert across.mean() == pytest.approx(
            ends[0][line["axis"]] + per_mm * line["mm"], abs=0.02 * 1200
        )
    reach = 2.0 * np.hypot(100.0, 60.0)
    assert max(abs(line["mm"] - 50.0) for line in told["lines"]) <= reach
    fine = grid_lines(flat, (400.0, 280.0, 440.0, 300.0), 3.0)
    assert fine["step_mm"] == 1.0
    assert len(fine["lines"]) in range(12, 20)


@pytest.mark.parametrize("text", ["", "1,2,3", "a,b,c,d", "5,5,1,9", "0,0,nan,4", "0,0,1e9,4"])
def test_a_part_that_is_none_is_refused(text):
    with pytest.raises(InputError, match="picture-box-unclear"):
        parse_box(text)
