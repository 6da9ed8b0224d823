"""
Make the tables ``spectral_prior.csv`` and ``spectral_mismatch.csv`` by simulation.

Run by hand from the root of the checkout, after a change of the colour fit or of the scenes::

    python tools/spectral_mismatch.py

It takes some minutes on one core, is seeded, and writes into ``src/dryslate/data/tables``. First
the prior of the matrix is learnt from one set of scenes; then other scenes are fitted with it and
the errors of things off the card are tabulated against the card's own left-out difference and the
corrected chroma; a third set, never used for either, is printed as a check.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spectral_learning import card_of, learn_prior, lesson_of, prior_rows, samples_of
from spectral_scenes import N_PX, NM, Scene, make_scene

from dryslate.core.colour.correction import correct_linear
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourFit, ColourSettings, fit_colour
from dryslate.core.colour.mismatch import MismatchTable, parse_mismatch_table
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.prior import MatrixPrior, parse_matrix_prior
from dryslate.core.colour.spaces import linear_srgb_to_lab

FloatArray = NDArray[np.float64]

TABLES = Path(__file__).resolve().parent.parent / "src" / "dryslate" / "data" / "tables"
SOURCE = "simulation by tools/spectral_mismatch.py, seeds 1 to 3"
N_LEARN, N_TABULATE, N_CHECK = 700, 800, 200
LEFT_KNOTS = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0)
GREY_LEFT_KNOTS = (0.35, 0.6, 1.0, 2.0)
CHROMA_KNOTS = (0.0, 15.0, 30.0, 50.0)
COVERAGE = 0.955
_LEFT_WIDTH, _CHROMA_WIDTH = 0.25, 10.0

# Colours that reefs show and greys from black to white, as Lab D65; moved a little in each scene.
COLOURS: FloatArray = np.array(
    [
        [45, 15, 20], [62, 20, 35], [70, 5, 50], [50, -20, 25], [40, -15, 5], [60, -25, -5],
        [50, -5, -25], [40, 15, -30], [50, 35, 10], [45, 45, 30], [60, 30, -10], [75, 15, 25],
        [30, 10, 10], [65, -5, 15], [35, 20, -15], [80, -10, 30],
    ],
    dtype=np.float64,
)  # fmt: skip
GREYS: FloatArray = np.array([95, 80, 66, 50, 50, 35, 20, 95, 20], dtype=np.float64)


def read_waters() -> dict[str, FloatArray]:
    """Attenuation of each of Jerlov's waters at the wavelengths of the scenes, per metre."""
    text = (TABLES / "water_jerlov_kd.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    nm = [float(row["wavelength_nm"]) for row in rows]
    return {
        name: np.exp(np.interp(NM, nm, np.log([float(row[name]) for row in rows])))
        for name in rows[0]
        if name.startswith("kd_")
    }


def draw(n: int, seed: int) -> list[Scene]:
    """Draw scenes."""
    rng = np.random.default_rng(seed)
    waters = read_waters()
    return [
        make_scene(waters, COLOURS + rng.normal(0, 5, COLOURS.shape), GREYS + rng.normal(0, 1), rng)
        for _ in range(n)
    ]


@dataclass(frozen=True)
class Errors:
    """Errors of things off the card, one row each."""

    left_out: FloatArray
    chroma: FloatArray
    along: FloatArray
    known: FloatArray
    de00: FloatArray


def fits_of(scene: Scene, settings: ColourSettings, how: str) -> list[tuple[ColourFit, float]]:
    """Fits of one scene with their left-out difference."""
    if how == "one_point":
        fits = [
            fit_one_point(scene.card_linear[i], what, scene.card_cov[i], N_PX, np.eye(3))
            for i, what in ((0, "white"), (3, "grey"))
        ]
        return [(fit, 1.0) for fit in fits]
    status = "nominal" if how == "greys" else "measured"
    fit = fit_colour(samples_of(scene), card_of(scene, status), settings, np.eye(3))
    return [(fit, fit.candidates[fit.fit][0] if fit.candidates else 1.0)]


def collect(scenes: list[Scene], settings: ColourSettings, how: str) -> dict[str, Errors]:
    """Errors of the usable fits by kind of fit: gains, matrices, or one point."""
    rows: dict[str, list[list[float]]] = {}
    for scene in scenes:
        for fit, left_out in fits_of(scene, settings, how):
            if not fit.usable:
                continue
            kind = "matrix" if fit.fit in ("affine", "root_polynomial_2") else "gain"
            linear = correct_linear(scene.reef_linear, scene.reef_xy, fit.correction)
            lab = linear_srgb_to_lab(linear)
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_linear[i], scene.card_cov[3], N_PX, fit, scene.reef_xy[i]
                )
                gap = lab[i] - truth
                chroma = float(np.hypot(lab[i, 1], lab[i, 2]))
                cos, sin = lab[i, 1:] / max(chroma, 1e-9)
                turned = [gap[0], cos * gap[1] + sin * gap[2], cos * gap[2] - sin * gap[1]]
                known = np.hypot(given.parts["fit"], given.parts["noise"])
                ab = float(np.hypot(known[1], known[2])) / np.sqrt(2.0)
                rows.setdefault(kind, []).append(
                    [
                        left_out,
                        chroma,
                        *turned,
                        float(known[0]),
                        ab,
                        ab,
                        float(ciede2000(lab[i], truth)),
                    ]
                )
    found = {kind: np.array(values) for kind, values in rows.items()}
    return {
        kind: Errors(v[:, 0], v[:, 1], v[:, 2:5], v[:, 5:8], v[:, 8]) for kind, v in found.items()
    }


def weighted_quantile(values: FloatArray, weights: FloatArray, q: float) -> float:
    """Quantile of weighted values."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, q * total[-1])])


def tabulate(errors: Errors, names: list[str], left_knots: tuple[float, ...]) -> list[list[str]]:
    """
    Rows of the table: at each knot the spread whose 1.96-fold holds the wanted share of errors.

    What the fit and the noise already state is taken off in squares, down to a third.
    """
    rows = []
    by_left = np.log(errors.left_out)
    p95_before = 0.0
    for left in left_knots:
        near_left = np.exp(-0.5 * ((by_left - np.log(left)) / _LEFT_WIDTH) ** 2) + 1e-6
        p95 = max(weighted_quantile(errors.de00, near_left, COVERAGE), p95_before)
        p95_before = p95
        for chroma in CHROMA_KNOTS:
            near = near_left * (
                np.exp(-0.5 * ((errors.chroma - chroma) / _CHROMA_WIDTH) ** 2) + 1e-4
            )
            u = []
            for axis in range(3):
                whole = weighted_quantile(np.abs(errors.along[:, axis]), near, COVERAGE) / 1.96
                known = np.average(errors.known[:, axis] ** 2, weights=near)
                u.append(np.sqrt(max(whole**2 - known, whole**2 / 9.0)))
            rows += [
                [name, f"{left:g}", f"{chroma:g}", *(f"{v:.2f}" for v in u), f"{p95:.2f}", SOURCE]
                for name in names
            ]
    return rows


def write(name: str, header: list[str], rows: list[list[str]]) -> list[dict[str, str]]:
    """Write a table and return its rows as they will be read."""
    with (TABLES / name).open("w", encoding="utf-8", newline="") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(header)
        table.writerows(rows)
    return [dict(zip(header, row, strict=True)) for row in rows]


def make_prior() -> MatrixPrior:
    """Learn the matrix prior and write it."""
    lessons = [lesson for lesson in map(lesson_of, draw(N_LEARN, 1)) if lesson]
    rows: list[list[str]] = []
    for n_terms in (3, 6):
        rows += [[*row, SOURCE] for row in prior_rows(n_terms, *learn_prior(lessons, n_terms))]
    header = ["n_terms", "part", "row", "column", "value", "source"]
    return parse_matrix_prior(write("spectral_prior.csv", header, rows))


def make_mismatch(prior: MatrixPrior) -> MismatchTable:
    """Tabulate the mismatch and write it."""
    scenes = draw(N_TABULATE, 2)
    settings = ColourSettings(matrix_prior=prior)
    rows: list[list[str]] = []
    names = {"gain": ["neutral_gain", "gain_veil"], "matrix": ["affine", "root_polynomial_2"]}
    for kind, errors in collect(scenes, settings, "card").items():
        rows += tabulate(errors, names[kind], LEFT_KNOTS)
    for errors in collect(scenes, settings, "greys").values():
        rows += tabulate(errors, [f"greys:{n}" for n in names["gain"]], GREY_LEFT_KNOTS)
    for errors in collect(scenes, settings, "one_point").values():
        rows += tabulate(errors, ["one_point"], (1.0,))
    header = ["fit", "left_out_de00", "chroma", "lightness_u", "along_u", "across_u", "de00_p95"]
    return parse_mismatch_table(write("spectral_mismatch.csv", [*header, "source"], rows))


def check(scenes: list[Scene], settings: ColourSettings, how: str) -> None:
    """Print differences and coverage on scenes that were used for neither table."""
    inside, below, de00 = [], [], []
    for scene in scenes:
        for fit, _ in fits_of(scene, settings, how):
            if not fit.usable or fit.off_card_de00_p95 is None:
                continue
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_linear[i], scene.card_cov[3], N_PX, fit, scene.reef_xy[i]
                )
                inside.append((given.lab_lo95 <= truth) & (truth <= given.lab_hi95))
                de00.append(float(ciede2000(given.lab, truth)))
                below.append(de00[-1] <= fit.off_card_de00_p95)
    median, p95 = np.quantile(de00, [0.5, 0.95])
    shares = np.mean(inside, axis=0)
    print(
        f"{how}: {len(de00)} things, CIEDE2000 median {median:.2f}, 95th {p95:.2f}; 95 % intervals "
        f"hold L* {shares[0]:.3f} a* {shares[1]:.3f} b* {shares[2]:.3f}; below the stated 95th "
        f"{np.mean(below):.3f}"
    )


def main() -> None:
    """Make both tables and print the check."""
    prior = make_prior()
    settings = ColourSettings(matrix_prior=prior, mismatch_table=make_mismatch(prior))
    scenes = draw(N_CHECK, 3)
    for how in ("card", "greys"):
        check(scenes, settings, how)


if __name__ == "__main__":
    main()
