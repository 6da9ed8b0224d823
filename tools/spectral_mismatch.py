"""
Make the tables ``spectral_prior.csv`` and ``spectral_mismatch*.csv`` by simulation.

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
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from spectral_learning import card_of, learn_prior, lesson_of, prior_rows, samples_of
from spectral_other import OTHER
from spectral_scenes import D65, FIRST, N_PX, NM, Family, Lit, Scene, make_scene

from dryslate.base.problems import has_error
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
SHORT_SOURCE = "tools/spectral_mismatch.py"
FAMILIES = (FIRST, OTHER)
N_LEARN, N_TABULATE, N_CHECK = 400, 400, 150
LEFT_KNOTS = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0)
GREY_LEFT_KNOTS = (0.35, 0.6, 1.0, 2.0)
CHROMA_KNOTS = (0.0, 15.0, 30.0, 50.0)
HUE_KNOTS = (0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0)
FULL_HUE_CHROMA = 15.0
"""From this chroma the doubt depends on hue in full; at no chroma there is no hue."""
FACTORS: FloatArray = np.geomspace(0.5, 2.2, 60)
N_FLAT = 200
N_AIR = 250
AIR_LEFT_KNOTS = (0.6, 0.9, 1.3, 2.0, 3.0)
WAVES: FloatArray = np.stack([np.sin((NM - 400.0) / 300.0 * np.pi * k) for k in (1, 2, 3)])
COVERAGE = 0.95
_LEFT_WIDTH, _CHROMA_WIDTH, _HUE_WIDTH = 0.25, 10.0, 25.0
HEADER = [
    "fit", "left_out_de00", "chroma", "hue_deg", "lightness_u", "a_u", "b_u", "de00_p95", "source",
]  # fmt: skip

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
    lab: FloatArray
    gap: FloatArray
    known: FloatArray
    de00: FloatArray

    @property
    def chroma(self) -> FloatArray:
        """Corrected chroma."""
        return np.hypot(self.lab[:, 1], self.lab[:, 2])

    @property
    def hue_deg(self) -> FloatArray:
        """Corrected hue."""
        return np.rad2deg(np.arctan2(self.lab[:, 2], self.lab[:, 1])) % 360.0


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


def light_in_air(waters: dict[str, FloatArray], rng: np.random.Generator) -> Lit:
    """Daylight on land, from the yellow of a low sun to the blue of open shade; no veil."""
    slope = rng.normal(0.0, 0.25)
    light = D65 * np.exp(-slope * (NM - 550.0) / 150.0) * (1.0 + rng.normal(0, 0.03, (3,)) @ WAVES)
    return "natural", "none", 0.0, light, np.zeros_like(light)


def in_air(family: Family, other: Family) -> Family:
    """Scenes on land: a known target of one family, beside it a card of the other's colourants."""

    def paints(n: int, rng: np.random.Generator) -> FloatArray:
        targets = COLOURS[rng.integers(len(COLOURS), size=n)] + rng.normal(0, 8, (n, 3))
        spectra, is_grey = other.card(targets, rng.uniform(15, 95, n // 3), rng)
        return np.asarray(spectra[: int(is_grey.sum()) + n - n // 3])

    return replace(family, reef=paints, light=light_in_air)


def is_told(fit: ColourFit) -> bool:
    """Whether a fit is usable but for its expected difference, which these tables decide."""
    return not has_error([p for p in fit.problems if p.slug != "colour-too-uncertain"])


def collect(scenes: list[Scene], settings: ColourSettings, how: str) -> dict[str, Errors]:
    """Errors of the usable fits by kind of fit: gains, matrices, or one point."""
    rows: dict[str, list[list[float]]] = {}
    for scene in scenes:
        for fit, left_out in fits_of(scene, settings, how):
            if not is_told(fit):
                continue
            kind = "matrix" if fit.fit in ("affine", "root_polynomial_2") else "gain"
            centre = np.zeros(2) if fit.light is None else np.array(fit.light.centre_px)
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_even_linear[i], scene.card_cov[3], N_PX, fit, centre
                )
                known = np.hypot(given.parts["fit"], given.parts["noise"])
                de00 = float(ciede2000(given.lab, truth))
                row = [left_out, *given.lab, *(given.lab - truth), *known, de00]
                rows.setdefault(kind, []).append([float(v) for v in row])
    found = {kind: np.array(values) for kind, values in rows.items()}
    return {
        kind: Errors(v[:, 0], v[:, 1:4], v[:, 4:7], v[:, 7:10], v[:, 10])
        for kind, v in found.items()
    }


def weighted_quantile(values: FloatArray, weights: FloatArray, q: float) -> float:
    """Quantile of weighted values."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, q * total[-1])])


def by_chroma(
    errors: Errors, left_knots: tuple[float, ...], chroma_knots: tuple[float, ...]
) -> tuple[FloatArray, FloatArray]:
    """
    At each knot the spread whose 1.96-fold holds the wanted share of errors; and the 95th of all.

    What the fit and the noise already state is taken off in squares, down to a third. With one
    knot of chroma all chromas count.
    """
    u = np.zeros((len(left_knots), len(chroma_knots), 3))
    p95 = np.zeros(len(left_knots))
    by_left = np.log(errors.left_out)
    for i, left in enumerate(left_knots):
        near_left = np.exp(-0.5 * ((by_left - np.log(left)) / _LEFT_WIDTH) ** 2) + 1e-6
        p95[i] = weighted_quantile(errors.de00, near_left, COVERAGE)
        for j, chroma in enumerate(chroma_knots):
            near = near_left
            if len(chroma_knots) > 1:
                away = (errors.chroma - chroma) / _CHROMA_WIDTH
                near = near_left * (np.exp(-0.5 * away**2) + 1e-4)
            for axis in range(3):
                whole = weighted_quantile(np.abs(errors.gap[:, axis]), near, COVERAGE) / 1.96
                known = np.average(errors.known[:, axis] ** 2, weights=near)
                u[i, j, axis] = np.sqrt(max(whole**2 - known, whole**2 / 9.0))
    return u, np.maximum.accumulate(p95)


def by_hue(errors: Errors, left_knots: tuple[float, ...], u: FloatArray) -> FloatArray:
    """Factor on the spreads at each knot of hue: the least that holds the wanted share."""
    left = np.clip(errors.left_out, left_knots[0], left_knots[-1])
    row = np.interp(np.log(left), np.log(left_knots), np.arange(len(left_knots)))
    column = np.interp(errors.chroma, CHROMA_KNOTS, np.arange(len(CHROMA_KNOTS)))
    here = np.stack(
        [
            map_coordinates(u[..., axis], [row, column], order=1, mode="nearest")
            for axis in range(3)
        ],
        axis=1,
    )
    full = np.minimum(errors.chroma / FULL_HUE_CHROMA, 1.0)
    factors = np.ones((len(HUE_KNOTS), 3))
    for i, hue in enumerate(HUE_KNOTS):
        away = (errors.hue_deg - hue + 180.0) % 360.0 - 180.0
        near = np.exp(-0.5 * (away / _HUE_WIDTH) ** 2) * full
        for axis in range(3):
            gap, known = np.abs(errors.gap[:, axis]), errors.known[:, axis]
            held = np.array(
                [
                    near @ (gap <= 1.96 * np.hypot(f * here[:, axis], known)) / near.sum()
                    for f in FACTORS
                ]
            )
            factors[i, axis] = FACTORS[np.argmax(held >= COVERAGE)] if held[-1] >= COVERAGE else 2.2
    return factors


def tabulate(found: list[Errors], name: str, left_knots: tuple[float, ...]) -> list[list[str]]:
    """Rows of the table of one kind of fit: at each knot the larger value of the directions."""
    each = [by_chroma(errors, left_knots, CHROMA_KNOTS) for errors in found]
    u = np.max([one[0] for one in each], axis=0)
    p95 = np.max([one[1] for one in each], axis=0)
    factors = np.max([by_hue(errors, left_knots, u) for errors in found], axis=0)
    rows = []
    for i, left in enumerate(left_knots):
        for j, chroma in enumerate(CHROMA_KNOTS):
            for k, hue in enumerate(HUE_KNOTS):
                share = min(chroma / FULL_HUE_CHROMA, 1.0)
                values = u[i, j] * (1.0 + share * (factors[k] - 1.0))
                rows.append(_row(name, (left, chroma, hue), values, float(p95[i])))
    return rows


def tabulate_flat(found: list[Errors], name: str, left_knots: tuple[float, ...]) -> list[list[str]]:
    """Rows for things known to be flat greys."""
    each = [by_chroma(errors, left_knots, (0.0,)) for errors in found]
    u = np.max([one[0] for one in each], axis=0)[:, 0]
    p95 = np.max([one[1] for one in each], axis=0)
    return [
        _row(f"flat:{name}", (left, 0.0, 0.0), u[i], float(p95[i]))
        for i, left in enumerate(left_knots)
    ]


def _row(name: str, knots: tuple[float, float, float], values: FloatArray, p95: float) -> list[str]:
    """One line of the table."""
    numbers = (*(f"{v:g}" for v in knots), *(f"{v:.2f}" for v in values), f"{p95:.2f}")
    return [name, *numbers, SHORT_SOURCE]


def flat_greys(n: int, rng: np.random.Generator) -> FloatArray:
    """Reflectances of grey chips from near black to white, as flat as good greys are."""
    y = ((rng.uniform(15.0, 95.0, n) + 16.0) / 116.0) ** 3
    slope = 1.0 + rng.normal(0, 0.02, (n, 1)) * (NM - 550.0) / 150.0
    centre, width = rng.uniform(420, 680, (n, 1)), rng.uniform(20, 60, (n, 1))
    bump = 1.0 + rng.normal(0, 0.012, (n, 1)) * np.exp(-0.5 * ((NM - centre) / width) ** 2)
    return np.asarray(np.clip(y[:, None] * slope * bump, 0.004, 0.95))


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


def make_mismatch(alone: list[MatrixPrior]) -> MismatchTable:
    """Tabulate the mismatch across families, of unknown things and of flat greys; write it."""
    scenes = [draw(N_TABULATE, 2, family) for family in FAMILIES]
    flat = [draw(N_FLAT, 7, replace(family, reef=flat_greys)) for family in FAMILIES]
    rows: list[list[str]] = []

    def across(drawn: list[list[Scene]], how: str) -> list[dict[str, Errors]]:
        return [
            collect(part, ColourSettings(matrix_prior=prior), how)
            for part, prior in zip(drawn, reversed(alone), strict=True)
        ]

    plans = (("card", "", LEFT_KNOTS), ("greys", "greys:", GREY_LEFT_KNOTS))
    for how, before, knots in plans:
        found, greys = across(scenes, how), across(flat, how)
        for kind in ("gain", "matrix") if how == "card" else ("gain",):
            rows += tabulate([f[kind] for f in found], f"{before}{kind}", knots)
            there = [f[kind] for f in greys if kind in f and len(f[kind].de00) > 200]
            rows += tabulate_flat(there, f"{before}{kind}", knots)
    found = across(scenes, "one_point")
    rows += tabulate([f["gain"] for f in found], "one_point", (1.0,))
    return parse_mismatch_table(write("spectral_mismatch.csv", HEADER, rows))


def make_mismatch_air() -> MismatchTable:
    """
    Tabulate the mismatch of paints and prints on land, without a prior; write it.

    Each photo already goes across: target and card are of different families.
    """
    pairs = list(zip(FAMILIES, reversed(FAMILIES), strict=True))
    scenes = [draw(N_AIR, 8, in_air(one, two)) for one, two in pairs]
    found = [collect(part, ColourSettings(), "card") for part in scenes]
    rows: list[list[str]] = []
    for kind in ("gain", "matrix"):
        there = [f[kind] for f in found if kind in f]
        both = [np.concatenate([getattr(e, f.name) for e in there]) for f in fields(Errors)]
        rows += tabulate([Errors(*both)], kind, AIR_LEFT_KNOTS)
    return parse_mismatch_table(write("spectral_mismatch_air.csv", HEADER, rows))


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
    make_mismatch_air()
    for family, other in zip(FAMILIES, reversed(alone), strict=True):
        check_strata(both, table, family, f"{family.name} family")
        check_strata(other, table, family, f"{family.name} family, other's prior")


if __name__ == "__main__":
    main()
