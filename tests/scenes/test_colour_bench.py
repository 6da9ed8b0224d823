"""The colour benchmark's own scenes: right where the answer is known, and nothing dropped."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from dryslate.demo.spectra import observer

WIDTH_PX = 1200


@pytest.fixture
def bench(repo_root: Path, monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """The benchmark's modules, which are no part of the installed package."""
    monkeypatch.syspath_prepend(repo_root)
    from bench import colour, scenes, spectra

    return SimpleNamespace(colour=colour, scenes=scenes, spectra=spectra)


def test_camera_that_sees_as_the_observer_does_leaves_little(
    bench: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In air and daylight such a camera's values are colours: what is left is noise and style."""
    sensitivities = observer() / observer().max()
    camera = bench.spectra.Camera(
        sensitivities=sensitivities, matrix=bench.spectra._maker_matrix(sensitivities)
    )
    drawn = bench.scenes.draw_setting

    def in_air(rng: np.random.Generator, width_px: int) -> object:
        setting = drawn(rng, width_px)
        none = np.zeros_like(setting.sea.kd)
        air = dataclasses.replace(
            setting.sea, depth_m=0.0, kd=none, beam=none + 1e-6, scattering=none
        )
        return dataclasses.replace(
            setting,
            sea=air,
            camera=camera,
            lamp=None,
            surface=bench.spectra.daylight(),
            gradient=np.zeros(2),
            caustics=0.0,
        )

    monkeypatch.setattr(bench.scenes, "draw_setting", in_air)
    outcomes = [bench.colour.try_scene(seed, WIDTH_PX, None) for seed in (0, 2, 6)]
    assert [o.outcome for o in outcomes] == ["corrected"] * 3
    assert max(t.de00 for o in outcomes for t in o.things) < 1.5
    assert np.median([t.de00 for o in outcomes for t in o.things]) < 0.8


def test_every_scene_is_counted_and_the_fit_beats_the_grey_gain(bench: SimpleNamespace) -> None:
    result = bench.colour.run(5, width_px=WIDTH_PX, n_workers=1, cache=None)
    n_refused = sum(n for reasons in result["refused"].values() for n in reasons.values())
    assert result["n_corrected"] + n_refused == result["n_scenes"] == 5
    every = result["groups"]["all"]
    assert every["n"] > 25
    assert every["median_de00"] < every["grey_gain_median_de00"]
    assert "things off the card" in bench.colour.table_of(result)


def test_scene_is_the_same_each_time_and_from_the_cache(
    bench: SimpleNamespace, tmp_path: Path
) -> None:
    from dryslate.files.reference_tables import FileReferenceTables

    design = FileReferenceTables(None).card("field")
    made = bench.scenes.colour_scene(3, design, 800, tmp_path)
    kept = bench.scenes.colour_scene(3, design, 800, tmp_path)
    again = bench.scenes.make_scene(3, design, 800)
    assert made.jpeg == kept.jpeg == again.jpeg
    assert made.things == kept.things
    assert made.notes == kept.notes
    assert len(list(tmp_path.iterdir())) == 1


def test_reef_spectra_need_more_than_three_shapes(bench: SimpleNamespace) -> None:
    """Three basis functions leave several per cent of their variation: by singular values."""
    rng = np.random.default_rng(1)
    spectra = np.stack([bench.spectra.reef_spectrum(rng) for _ in range(400)])
    centred = spectra / spectra.mean(axis=1, keepdims=True)
    power = np.linalg.svd(centred - centred.mean(axis=0), compute_uv=False) ** 2
    assert power[3:].sum() / power.sum() > 0.03
