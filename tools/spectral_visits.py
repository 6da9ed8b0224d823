"""
How much of the spectral mismatch falls out between two photos of one coral, card and camera.

Run by hand from the root of the checkout::

    python tools/spectral_visits.py

Seeded; some minutes on one core. A coral's error by mismatch is largely the same on two visits:
tissue, card and camera are. Each pair of photos here shares the card, the corals as
``spectral_paling`` makes them (with all their pigment on the first visit, with all or a share of it
on the second) and either the camera or not; light, water, depth, distance, white balance and
picture style are drawn anew for each visit, which is harsher than going back to one site. Scenes of
one family are fitted with the prior learnt from the others. Printed is the variance of the
difference over the sum of both variances, along lightness, chroma and across chroma: 1 where
nothing falls out, near 0 where all does; by how far apart the two corrected colours are.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from spectral_learning import lesson_of
from spectral_mismatch import (
    COLOURS,
    FAMILIES,
    GREYS,
    draw,
    fits_of,
    is_told,
    learn,
    read_waters,
)
from spectral_paling import MODELS
from spectral_scenes import N_PX, N_REEF, Family, Scene, make_scene

from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourSettings

FloatArray = NDArray[np.float64]
N_LEARN, N_PAIRS = 200, 250
SHARES = (1.0, 1.0, 0.5, 0.2, 0.05)
"""Pigment left: on the first visit, then on the second in one coral after the other."""
APART = (0.0, 5.0, 10.0, 20.0, 30.0, 80.0)


def two_visits(
    family: Family, waters: dict[str, FloatArray], rng: np.random.Generator, *, same_camera: bool
) -> tuple[Scene, Scene]:
    """Draw two photos of the same card and corals."""
    n_each = N_REEF // (len(SHARES) - 1)
    model = MODELS[family.name]
    corals = [model(SHARES, rng) for _ in range(n_each)]
    first = np.array([c[0] for c in corals for _ in SHARES[1:]])
    later = np.array([s for c in corals for s in c[1:]])
    spare = family.reef(N_REEF, rng)
    targets = COLOURS + rng.normal(0, 5, COLOURS.shape)
    greys = GREYS + rng.normal(0, 1)
    card = family.card(targets, greys, rng)
    cameras = [family.camera(rng)] * 2 if same_camera else [family.camera(rng) for _ in range(2)]

    def visit(corals: FloatArray, k: int) -> Scene:
        things = np.clip(np.vstack([corals, spare])[:N_REEF], 0.004, 0.97)
        now = replace(
            family,
            camera=lambda _: cameras[k],
            card=lambda *_: card,
            reef=lambda *_: things,
        )
        return make_scene(waters, targets, greys, rng, now)

    return visit(first, 0), visit(later, 1)


def errors_of(scene: Scene, settings: ColourSettings) -> tuple[FloatArray, FloatArray] | None:
    """Corrected colours and their errors in the card's own light; None where it is refused."""
    ((fit, _),) = fits_of(scene, settings, "card")
    if not is_told(fit) or fit.fit not in ("affine", "root_polynomial_2"):
        return None
    even = replace(fit, correction=replace(fit.correction, field=None))
    centre = np.zeros(2) if fit.light is None else np.array(fit.light.centre_px)
    n = N_REEF // (len(SHARES) - 1) * (len(SHARES) - 1)
    labs = np.array(
        [
            lab_with_doubt(value, scene.card_cov[3], N_PX, even, centre).lab
            for value in scene.reef_even_linear[:n]
        ]
    )
    return labs, labs - scene.reef_lab[:n]


def along(errors: FloatArray, labs: FloatArray) -> FloatArray:
    """Errors of lightness, along chroma and across it."""
    turn = np.arctan2(labs[:, 2], labs[:, 1])
    cos, sin = np.cos(turn), np.sin(turn)
    a, b = errors[:, 1], errors[:, 2]
    return np.column_stack([errors[:, 0], a * cos + b * sin, b * cos - a * sin])


def main() -> None:
    """Print what does not fall out, by family."""
    waters = read_waters()
    lessons = [[x for x in map(lesson_of, draw(N_LEARN, 41, f)) if x] for f in FAMILIES]
    for same_camera in (True, False):
        print("same camera" if same_camera else "another camera")
        everything: list[FloatArray] = []
        for i, family in enumerate(FAMILIES):
            taught = [one for j, part in enumerate(lessons) if j != i for one in part]
            settings = ColourSettings(matrix_prior=learn(taught)[0])
            rng = np.random.default_rng([43, i, same_camera])
            rows: list[FloatArray] = []
            for _ in range(N_PAIRS):
                pair = two_visits(family, waters, rng, same_camera=same_camera)
                seen = [errors_of(scene, settings) for scene in pair]
                if seen[0] is None or seen[1] is None:
                    continue
                (lab1, e1), (lab2, e2) = seen[0], seen[1]
                apart = np.linalg.norm(lab2 - lab1, axis=1)
                rows.append(np.column_stack([apart, along(e1, lab2), along(e2, lab2)]))
            found = np.vstack(rows)
            everything.append(found)
            print(f"  {family.name}: {len(rows)} pairs of {N_PAIRS}")
            show(found)
        print("  all")
        show(np.vstack(everything))


def show(found: FloatArray) -> None:
    """Print one family's shares by distance."""
    for low, high in pairwise(APART):
        some = found[(found[:, 0] >= low) & (found[:, 0] < high)]
        if len(some) < 30:
            continue
        e1, e2 = some[:, 1:4], some[:, 4:7]
        left = ((e2 - e1) ** 2).mean(axis=0) / ((e1**2).mean(axis=0) + (e2**2).mean(axis=0))
        q = np.quantile(np.abs(e2 - e1), 0.95, axis=0) ** 2
        q /= np.quantile(np.abs(e1), 0.95, axis=0) ** 2 + np.quantile(np.abs(e2), 0.95, axis=0) ** 2
        print(
            f"    {low:3.0f} to {high:3.0f} apart, {len(some):5d}: left of the variance L* "
            f"{left[0]:.2f}, chroma {left[1]:.2f}, across {left[2]:.2f}; by 95th percentiles "
            f"{q[0]:.2f} {q[1]:.2f} {q[2]:.2f}"
        )


if __name__ == "__main__":
    main()
