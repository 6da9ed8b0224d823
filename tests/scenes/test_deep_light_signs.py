"""Does a photo's own strain tell natural light that has lost its red? Simulated photos."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from dryslate import wiring
from dryslate.app.correct import colour_settings
from dryslate.app.correction_records import CorrectSettings
from dryslate.core.colour.fit import fit_colour
from dryslate.core.colour.mismatch import STRAIN_CALM, STRAIN_FULL, measure_red_strain


@pytest.fixture(scope="module")
def tool(repo_root: Path) -> Iterator[ModuleType]:
    """The simulation: it is no part of the installed program."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(repo_root / "tools"))
        yield importlib.import_module("spectral_mismatch")


def test_strain_tells_deep_natural_light_from_flash_and_shallow_water(tool: ModuleType) -> None:
    """Seed of its own; white balance is fixed, partly or wholly automatic, or set by hand."""
    settings = colour_settings(wiring.reference_tables(), CorrectSettings())
    for family in tool.FAMILIES:
        deep, other = [], []
        for scene in tool.draw(45, 55, family):
            fit = fit_colour(tool.samples_of(scene), tool.card_of(scene), settings, np.eye(3))
            if not tool.is_told(fit) or fit.fit not in ("affine", "root_polynomial_2"):
                continue
            strain = measure_red_strain(fit.correction.matrix, fit.gain, np.eye(3))
            (deep if tool.stratum_of(scene) == 2 else other).append(strain)
        told = np.array(deep)[:, None] > np.array(other)[None, :]
        assert min(len(deep), len(other)) >= 6, family.name
        assert told.mean() > 0.85, family.name  # 0.5 is no sign at all
        assert np.median(other) < np.mean([STRAIN_CALM, STRAIN_FULL]) < np.median(deep)
