"""The doubt of the light beyond the card, in simulated light that its table was not made from."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from dryslate.core.colour.light import HOLD_BRIGHT, HOLD_DIM, log_light_u


@pytest.fixture(scope="module")
def tool(repo_root: Path) -> ModuleType:
    """The simulation: it is no part of the installed program."""
    spec = importlib.util.spec_from_file_location(
        "light_beyond_card", repo_root / "tools" / "light_beyond_card.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def photos(tool: ModuleType) -> list:
    rng = np.random.default_rng(21)
    return [tool.take_photo(rng) for _ in range(500)]


@pytest.mark.parametrize("kind", ["flash", "daylight"])
def test_stated_doubt_holds_the_light_to_four_half_diagonals(
    tool: ModuleType, photos: list, kind: str
) -> None:
    inside = []
    for photo in photos:
        apart = np.linalg.norm(photo.place, axis=1)
        slope = float(np.linalg.norm(photo.slope))
        u = log_light_u(apart, slope, photo.ripple, photo.curvature)
        near = (apart < 4.0) & (apart > 0.5)
        if photo.kind == kind:
            inside.append((np.abs(tool.errors_of(photo, (HOLD_BRIGHT, HOLD_DIM))) < 1.96 * u)[near])
    assert 0.90 <= np.concatenate(inside).mean() <= 0.985


def spread(tool: ModuleType, photos: list, rule: tuple[float, float], kinds: str) -> float:
    """95th percentile of the error of light, to four half diagonals."""
    error = np.concatenate(
        [tool.errors_of(p, rule)[np.linalg.norm(p.place, axis=1) < 4] for p in photos
         if p.kind in kinds]
    )  # fmt: skip
    return float(np.quantile(np.abs(error), 0.95))


HELD = (HOLD_BRIGHT, HOLD_DIM)
BOTH = "flash daylight"


def test_held_field_errs_less_than_none_and_less_than_one_carried_on(
    tool: ModuleType, photos: list
) -> None:
    held = spread(tool, photos, HELD, BOTH)
    assert held < 0.9 * spread(tool, photos, (0.0, 0.0), BOTH)
    assert held < 0.9 * spread(tool, photos, (99.0, 99.0), BOTH)
    assert held < spread(tool, photos, (1.0, 1.0), BOTH)
    for kind in ("flash", "daylight"):
        assert spread(tool, photos, HELD, kind) < spread(tool, photos, (0.0, 0.0), kind) * 1.15


def test_bend_of_the_ground_helps_under_lamps_and_does_no_harm_in_daylight(
    tool: ModuleType, photos: list
) -> None:
    straight = [replace(photo, bend=0.0) for photo in photos]
    assert spread(tool, photos, HELD, "flash") < 0.9 * spread(tool, straight, HELD, "flash")
    assert spread(tool, photos, HELD, "daylight") < 1.05 * spread(tool, straight, HELD, "daylight")
