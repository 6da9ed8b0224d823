"""Do the intervals of a characterised card hold the truth? Simulated photos on land, measured."""

from __future__ import annotations

import importlib
import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from dryslate import wiring
from dryslate.app.card_photos import settings_in_air
from dryslate.core.colour.characterise import PatchValue, join_photos, join_readings
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourSettings, fit_colour

N_TRIALS, N_PHOTOS, STATED_U = 22, 2, 0.3


@pytest.fixture(scope="module")
def tool(repo_root: Path) -> Iterator[ModuleType]:
    """The simulation: it is no part of the installed program."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(repo_root / "tools"))
        yield importlib.import_module("spectral_mismatch")


def characterised(
    tool: ModuleType, pair: tuple, rng: np.random.Generator, settings: ColourSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Errors and uncertainties of a card of one family beside a target of the other."""
    family = tool.in_air(*pair)
    camera, paints = family.camera(rng), family.reef(40, rng)
    print_ = family.card(tool.COLOURS + rng.normal(0, 5, tool.COLOURS.shape), tool.GREYS, rng)
    same = replace(family, camera=lambda _: camera, reef=lambda *_: paints, card=lambda *_: print_)
    photos, stated = [], None
    for _ in range(N_PHOTOS):
        scene = tool.make_scene({"none": np.zeros(1)}, tool.COLOURS, tool.GREYS, rng, same)
        if stated is None:
            stated = scene.card_lab + rng.normal(0, STATED_U, scene.card_lab.shape)
        card = tool.card_of(scene)
        known = tuple(
            replace(p, lab_d65=tuple(lab), lab_u=(STATED_U,) * 3)
            for p, lab in zip(card.patches, stated, strict=True)
        )
        card = replace(card, medium="air", patches=known)
        fit = fit_colour(tool.samples_of(scene), card, settings, np.eye(3))
        values = []
        for i in range(len(scene.reef_lab)):
            told = lab_with_doubt(
                scene.reef_linear[i], scene.card_cov[3], tool.N_PX, fit, scene.reef_xy[i]
            )
            own = tuple(np.hypot(told.parts["light"], told.parts["noise"]))
            value = PatchValue(
                patch_id=str(i), lab_d65=tuple(told.lab), lab_u=tuple(told.lab_u), n=1, own_u=own
            )
            values.append(value)
        photos.append(values)
    joined = join_photos(photos)
    gap = np.array([v.lab_d65 for v in joined]) - scene.reef_lab
    return np.abs(gap), np.array([v.lab_u for v in joined])


def test_values_from_photos_hold_the_truth_as_often_as_stated(tool) -> None:
    """Two cameras' families, colourants of target and card never of one kind; seed of its own."""
    settings = settings_in_air(wiring.reference_tables())
    rng = np.random.default_rng(41)

    def held(pairs: list[tuple], n: int) -> np.ndarray:
        shares = []
        for pair in pairs:
            for _ in range(n):
                gap, u = characterised(tool, pair, rng, settings)
                shares.append((gap <= 1.96 * u).mean(axis=0))
        return np.mean(shares, axis=0)

    shares = held([(tool.FIRST, tool.OTHER), (tool.OTHER, tool.FIRST)], N_TRIALS)
    assert 0.93 <= shares.mean() <= 0.985
    assert shares.min() >= 0.92
    rest = [p for p in itertools.permutations(tool.FAMILIES, 2) if tool.THIRD in p]
    assert held(rest, 4).min() >= 0.92


def test_values_from_readings_hold_the_truth_as_often_as_stated() -> None:
    """Each reading: one shared error of the instrument a patch, and its own of repeating."""
    rng = np.random.default_rng(5)
    held = []
    for _ in range(400):
        truth = rng.uniform([20, -40, -40], [90, 40, 40], (12, 3))
        instrument = rng.normal(0, 0.4, truth.shape)
        each = {
            str(i): [tuple(t + e + rng.normal(0, 0.25, 3)) for _ in range(3)]
            for i, (t, e) in enumerate(zip(truth, instrument, strict=True))
        }
        found = join_readings(each, {k: [None] * 3 for k in each}, {})
        gap = np.array([v.lab_d65 for v in found]) - truth
        held.append((np.abs(gap) <= 1.96 * np.array([v.lab_u for v in found])).mean())
    assert 0.93 <= np.mean(held) <= 0.97
