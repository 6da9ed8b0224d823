"""
How well the same models could do if they knew the reef's own colours: a floor of the error.

Run by hand from the root of the checkout::

    python tools/spectral_floor.py

In scenes of each family (seed 77) the shipped fit sees the card, as always. Beside it the affine
and the root-polynomial model are fitted to the card's greys and every other reef thing, with their
true colours, and judged on the rest, then the other way round. No card and no prior can make these
models do better than about that; what is left is that three values do not say a spectrum.
"""

from __future__ import annotations

import csv

import numpy as np
from numpy.typing import NDArray
from spectral_learning import Lesson, card_of, lesson_of, samples_of
from spectral_mismatch import FAMILIES, TABLES, draw, strata
from spectral_scenes import N_PX, N_REEF, Scene

from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.estimate import Observations, fit_parameters, predict
from dryslate.core.colour.fit import ColourSettings, fit_colour
from dryslate.core.colour.mismatch import parse_mismatch_table
from dryslate.core.colour.prior import MatrixPrior, matrix_belief, parse_matrix_prior
from dryslate.core.colour.spaces import linear_srgb_to_lab

FloatArray = NDArray[np.float64]

N_SCENES = 150


def read(name: str) -> list[dict[str, str]]:
    """Rows of a shipped table."""
    with (TABLES / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def only(seen: Observations, rows: NDArray[np.intp]) -> Observations:
    """Keep some observations."""
    return Observations(
        encoded=seen.encoded[rows],
        place=seen.place[rows],
        reference=seen.reference[rows],
        whitener=seen.whitener[rows],
        gain=seen.gain,
    )


def knowing(scene: Scene, lesson: Lesson, prior: MatrixPrior, n_terms: int) -> FloatArray:
    """Lab of reef things by a model that knows the true colours of the other half of them."""
    belief = matrix_belief(n_terms, lesson.greys, np.eye(3), prior, has_tone=True)
    first = len(lesson.seen.encoded) - N_REEF
    used = [sample.role for sample in samples_of(scene).patches if not sample.dropped]
    greys = np.arange(used.count("neutral"))
    things = np.arange(N_REEF)
    lab = np.zeros((N_REEF, 3))
    for half in (0, 1):
        known, asked = things[things % 2 != half], things[things % 2 == half]
        seen = only(lesson.seen, np.concatenate([greys, first + known]))
        theta, _ = fit_parameters(seen, belief, np.ones((1, len(seen.encoded))))
        linear, _ = predict(theta, only(lesson.seen, first + asked), n_terms)
        lab[asked] = linear_srgb_to_lab(linear[0])
    return lab


def errors_of(scenes: list[Scene], settings: ColourSettings) -> dict[str, list[FloatArray]]:
    """Differences of the shipped fit, and of the two models that know, in usable photos."""
    found: dict[str, list[FloatArray]] = {"shipped": [], "affine": [], "root polynomial": []}
    for scene in scenes:
        fit = fit_colour(samples_of(scene), card_of(scene), settings, np.eye(3))
        lesson = lesson_of(scene)
        if not fit.usable or lesson is None or settings.matrix_prior is None:
            continue
        centre = np.zeros(2) if fit.light is None else np.array(fit.light.centre_px)
        ours = [
            lab_with_doubt(value, scene.card_cov[3], N_PX, fit, centre).lab
            for value in scene.reef_even_linear
        ]
        found["shipped"].append(ciede2000(np.array(ours), scene.reef_lab))
        for name, n_terms in (("affine", 3), ("root polynomial", 6)):
            lab = knowing(scene, lesson, settings.matrix_prior, n_terms)
            found[name].append(ciede2000(lab, scene.reef_lab))
    return found


def main() -> None:
    """Print median and 95th percentile of CIEDE2000 by family and kind of light."""
    settings = ColourSettings(
        matrix_prior=parse_matrix_prior(read("spectral_prior.csv")),
        mismatch_table=parse_mismatch_table(read("spectral_mismatch.csv")),
    )
    for family in FAMILIES:
        for title, scenes in strata(draw(N_SCENES, 77, family)):
            for name, found in errors_of(scenes, settings).items():
                if found:
                    median, p95 = np.quantile(np.concatenate(found), [0.5, 0.95])
                    print(f"{family.name}, {title}, {name}: {len(found)} of {len(scenes)} usable, "
                          f"median {median:.2f}, 95th {p95:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
