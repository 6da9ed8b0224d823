"""A sensitive site lies in one square, whatever is written: two would tell the edge it lies on."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from dryslate.app.coarse_position import shared_position
from dryslate.app.publication_records import SitePlace
from dryslate.app.survey_report import _places


@pytest.mark.parametrize("lat", [-13.4, -8.3, 0.0, 5.7, -0.05])
@pytest.mark.parametrize("lon", [71.3, 115.6, -179.9, 180.0, 0.3])
@pytest.mark.parametrize("grid", [0.1, 0.01, 1.0])
def test_the_map_has_the_square_of_the_archive(lat: float, lon: float, grid: float) -> None:
    place = SitePlace(
        site="Ledge", latitude_deg=lat, longitude_deg=lon, grid_deg=grid, uncertainty_m=20.0,
        observer="Mara", stated_at="2026-03-14T19:00:00Z",
    )  # fmt: skip
    (shown,) = _places(SimpleNamespace(site_places=lambda: (place,)))
    shared = shared_position(place)
    assert (shown.latitude_deg, shown.longitude_deg) == (shared.latitude_deg, shared.longitude_deg)
    assert (shown.grid_deg, shown.uncertainty_m) == (grid, None)
    assert abs(shown.latitude_deg - lat) <= grid / 2 + 1e-9
    assert abs(shown.longitude_deg - lon) <= grid / 2 + 1e-9
