"""
Make the tables ``spectral_prior.csv`` and ``spectral_mismatch.csv`` by simulation.

Run by hand from the root of the checkout, after a change of the colour fit or of the scenes::

    python tools/spectral_mismatch.py

It takes some minutes on one core, is seeded, and writes into ``src/dryslate/data/tables``. Scenes
come from two families, parameterised differently (``spectral_scenes`` and ``spectral_other``). The
errors of things off the card are tabulated across: scenes of one family are fitted with the prior
learnt from the other, in the card's own light, and of the two directions the wider is taken, since
real waters, cameras and corals are of neither family. The prior that is shipped is learnt from
both. Scenes never used for either, in uneven light, are printed as a check.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spectral_learning import card_of, learn_prior, lesson_of, prior_rows, samples_of
from spectral_other import OTHER
from spectral_scenes import FIRST, N_PX, NM, Family, Scene, make_scene

from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourFit, ColourSettings, fit_colour
from dryslate.core.colour.mismatch import MismatchTable, parse_mismatch_table
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.prior import MatrixPrior, parse_matrix_prior
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

TABLES = Path(__file__).resolve().parent.parent / "src" / "dryslate" / "data" / "tables"
SOURCE = "simulation by tools/spectral_mismatch.py, two families, seeds 1 and 2"
FAMILIES = (FIRST, OTHER)
N_LEARN, N_TABULATE, N_CHECK = 400, 400, 150
LEFT_KNOTS = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0)
GREY_LEFT_KNOTS = (0.35, 0.6, 1.0, 2.0)
CHROMA_KNOTS = (0.0, 15.0, 30.0, 50.0)
COVERAGE = 0.95
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


def draw(n: int, seed: int, family: Family = FIRST) -> list[Scene]:
    """Draw scenes."""
    rng = np.random.default_rng(seed)
    waters = read_waters()
    return [
        make_scene(
            waters,
            COLOURS + rng.normal(0, 5, COLOURS.shape),
            GREYS + rng.normal(0, 1),
            rng,
            family,
        )
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
            centre = np.zeros(2) if fit.light is None else np.array(fit.light.centre_px)
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_even_linear[i], scene.card_cov[3], N_PX, fit, centre
                )
                lab = given.lab
                gap = lab - truth
                chroma = float(np.hypot(lab[1], lab[2]))
                cos, sin = lab[1:] / max(chroma, 1e-9)
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
                        float(ciede2000(lab, truth)),
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


def learn(scenes: list[Scene]) -> tuple[MatrixPrior, list[list[str]]]:
    """Learn the matrix prior; with the rows of its table."""
    lessons = [lesson for lesson in map(lesson_of, scenes) if lesson]
    rows: list[list[str]] = []
    for n_terms in (3, 6):
        rows += [[*row, SOURCE] for row in prior_rows(n_terms, *learn_prior(lessons, n_terms))]
    header = ["n_terms", "part", "row", "column", "value", "source"]
    return parse_matrix_prior([dict(zip(header, row, strict=True)) for row in rows]), rows


def make_prior() -> tuple[MatrixPrior, list[MatrixPrior]]:
    """Learn the prior of both families together and write it; and that of each alone."""
    scenes = [draw(N_LEARN, 1, family) for family in FAMILIES]
    alone = [learn(part)[0] for part in scenes]
    both, rows = learn([scene for part in scenes for scene in part])
    write("spectral_prior.csv", ["n_terms", "part", "row", "column", "value", "source"], rows)
    return both, alone


def wider(tables: list[list[list[str]]]) -> list[list[str]]:
    """At each knot the larger value of the directions."""
    rows = []
    for lines in zip(*tables, strict=True):
        values = np.max([[float(v) for v in line[3:7]] for line in lines], axis=0)
        rows.append([*lines[0][:3], *(f"{v:.2f}" for v in values), SOURCE])
    return rows


def make_mismatch(alone: list[MatrixPrior]) -> MismatchTable:
    """Tabulate the mismatch across families and write it."""
    names = {"gain": ["neutral_gain", "gain_veil"], "matrix": ["affine", "root_polynomial_2"]}
    greys = {"gain": [f"greys:{n}" for n in names["gain"]]}
    point = {"gain": ["one_point"]}
    plans = (("card", names, LEFT_KNOTS), ("greys", greys, GREY_LEFT_KNOTS))
    scenes = [draw(N_TABULATE, 2, family) for family in FAMILIES]
    rows: list[list[str]] = []
    for how, called, knots in (*plans, ("one_point", point, (1.0,))):
        across = [
            collect(part, ColourSettings(matrix_prior=prior), how)
            for part, prior in zip(scenes, reversed(alone), strict=True)
        ]
        for kind in called:
            rows += wider([tabulate(found[kind], called[kind], knots) for found in across])
    header = ["fit", "left_out_de00", "chroma", "lightness_u", "along_u", "across_u", "de00_p95"]
    return parse_mismatch_table(write("spectral_mismatch.csv", [*header, "source"], rows))


def check(scenes: list[Scene], settings: ColourSettings, title: str, how: str) -> None:
    """Print differences and coverage on scenes that were used for neither table."""
    inside, below, de00, plain = [], [], [], []
    n_refused = 0
    for scene in scenes:
        for fit, _ in fits_of(scene, settings, how):
            if not fit.usable or fit.off_card_de00_p95 is None:
                n_refused += 1
                continue
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_linear[i], scene.card_cov[3], N_PX, fit, scene.reef_xy[i]
                )
                inside.append((given.lab_lo95 <= truth) & (truth <= given.lab_hi95))
                de00.append(float(ciede2000(given.lab, truth)))
                below.append(de00[-1] <= fit.off_card_de00_p95)
            grey = lab_to_linear_srgb(scene.card_lab[3:4])[0] / scene.card_linear[3]
            plain.extend(ciede2000(linear_srgb_to_lab(scene.reef_linear * grey), scene.reef_lab))
    if not de00:
        print(f"{title}, {how}: all {n_refused} refused")
        return
    (median, p95), (grey_median, grey_p95) = (np.quantile(v, [0.5, 0.95]) for v in (de00, plain))
    shares = np.mean(inside, axis=0)
    print(
        f"{title}, {how}: {len(scenes) - n_refused} of {len(scenes)} usable, CIEDE2000 median "
        f"{median:.2f}, 95th {p95:.2f} ({median / grey_median:.2f} and {p95 / grey_p95:.2f} of the "
        f"mid-grey gain's); 95 % intervals hold L* {shares[0]:.3f} a* {shares[1]:.3f} b* "
        f"{shares[2]:.3f}; below the stated 95th {np.mean(below):.3f}"
    )


def check_strata(
    prior: MatrixPrior, table: MismatchTable, family: Family, title: str, seed: int = 3
) -> None:
    """Print the check of one family, whole and by kind of light and depth."""
    settings = ColourSettings(matrix_prior=prior, mismatch_table=table)
    scenes = draw(N_CHECK, seed, family)
    for how in ("card", "greys"):
        check(scenes, settings, title, how)
    shallow = [s for s in scenes if s.light == "flash" or s.depth_m <= 6.0]
    deep = [s for s in scenes if not (s.light == "flash" or s.depth_m <= 6.0)]
    check([s for s in scenes if s.light == "flash"], settings, f"{title}, flash", "card")
    check(shallow, settings, f"{title}, flash or to 6 m", "card")
    check(deep, settings, f"{title}, natural deeper", "card")


def main() -> None:
    """Make both tables and print the checks: as shipped, and with the other family's prior."""
    both, alone = make_prior()
    table = make_mismatch(alone)
    for family, other in zip(FAMILIES, reversed(alone), strict=True):
        check_strata(both, table, family, f"{family.name} family")
        check_strata(other, table, family, f"{family.name} family, other's prior")


if __name__ == "__main__":
    main()
