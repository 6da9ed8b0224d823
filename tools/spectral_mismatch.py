"""
Make the tables ``spectral_prior.csv`` and ``spectral_mismatch*.csv`` by simulation.

Run by hand from the root of the checkout, after a change of the colour fit or of the scenes::

    python tools/spectral_mismatch.py

It takes some minutes on one core, is seeded, and writes into ``src/dryslate/data/tables``. Scenes
come from four families, parameterised differently (``spectral_scenes``, ``_other``, ``_third``,
``_fourth``). The errors of things off the card are tabulated across: scenes of one family are
fitted with the prior learnt from the others, in the card's own light, and the table states what
one more family is expected to stay within (``spectral_tables``), since real waters, cameras and
corals are of none of them. The prior that is shipped is learnt from all. As a check, scenes never
used for either, in uneven light, are judged with the prior and the table of the other families.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from spectral_fourth import FOURTH
from spectral_learning import Lesson, card_of, learn_prior, lesson_of, prior_rows, samples_of
from spectral_other import OTHER
from spectral_scenes import D65, FIRST, N_PX, NM, Family, Lit, Scene, make_scene
from spectral_tables import (
    FAMILIES_HELD,
    GREY_LEFT_KNOTS,
    HEADER,
    LEFT_KNOTS,
    STRAIN_KNOTS,
    STRAINED_HELD,
    Errors,
    Spreads,
    expect_another,
    flat_spreads_of,
    joined,
    rows_of,
    spreads_of,
)
from spectral_third import THIRD

from dryslate.base.problems import has_error
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourFit, ColourSettings, fit_colour
from dryslate.core.colour.mismatch import (
    MismatchTable,
    measure_red_strain,
    parse_mismatch_table,
)
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.prior import MatrixPrior, parse_matrix_prior
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

TABLES = Path(__file__).resolve().parent.parent / "src" / "dryslate" / "data" / "tables"
SOURCE = "simulation by tools/spectral_mismatch.py, four families, seeds 1 and 2"
FAMILIES = (FIRST, OTHER, THIRD, FOURTH)
N_LEARN, N_TABULATE, N_CHECK = 400, 500, 250
N_FLAT, N_AIR = 150, 250
STRATA = ("flash", "natural to 6 m", "natural deeper")
AIR_LEFT_KNOTS = (0.6, 0.9, 1.3, 2.0, 3.0)
WAVES: FloatArray = np.stack([np.sin((NM - 400.0) / 300.0 * np.pi * k) for k in (1, 2, 3)])

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
        found: list[FloatArray] = []
        while sum(map(len, found)) < n:
            targets = COLOURS[rng.integers(len(COLOURS), size=n)] + rng.normal(0, 8, (n, 3))
            spectra, is_grey = other.card(targets, rng.uniform(15, 95, n // 3), rng)
            greys, colours = spectra[is_grey], spectra[~is_grey]
            found += [colours[: n - n // 3], greys] if not found else [colours]
        return np.vstack(found)[:n]

    return replace(family, reef=paints, light=light_in_air)


def stratum_of(scene: Scene) -> int:
    """Place of a scene's light and depth in `STRATA`."""
    if scene.light == "flash":
        return 0
    return 1 if scene.depth_m <= 6.0 else 2


def is_told(fit: ColourFit) -> bool:
    """Whether a fit is usable but for its expected difference, which these tables decide."""
    by_these = {"colour-looking-only", "colour-too-uncertain"}
    return not has_error([p for p in fit.problems if p.slug not in by_these])


def collect(scenes: list[Scene], settings: ColourSettings, how: str) -> dict[str, Errors]:
    """Errors of the usable fits by kind of fit: gains, matrices, or one point."""
    rows: dict[str, list[list[float]]] = {}
    for scene in scenes:
        for fit, left_out in fits_of(scene, settings, how):
            if not is_told(fit):
                continue
            kind = "matrix" if fit.fit in ("affine", "root_polynomial_2") else "gain"
            in_even = replace(fit, correction=replace(fit.correction, field=None))
            strain = measure_red_strain(fit.correction.matrix, fit.gain, np.eye(3))
            centre = np.zeros(2) if fit.light is None else np.array(fit.light.centre_px)
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_even_linear[i], scene.card_cov[3], N_PX, in_even, centre
                )
                known = np.hypot(given.parts["fit"], given.parts["noise"])
                de00 = float(ciede2000(given.lab, truth))
                gap = given.lab - truth
                row = [left_out, strain, *given.lab, *gap, *known, de00, stratum_of(scene)]
                rows.setdefault(kind, []).append([float(v) for v in row])
    found = {kind: np.array(values) for kind, values in rows.items()}
    return {
        kind: Errors(v[:, 0], v[:, 1], v[:, 2:5], v[:, 5:8], v[:, 8:11], v[:, 11], v[:, 12])
        for kind, v in found.items()
    }


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


def learn(lessons: list[Lesson]) -> tuple[MatrixPrior, list[list[str]]]:
    """Learn the matrix prior; with the rows of its table."""
    rows: list[list[str]] = []
    for n_terms in (3, 6):
        rows += [[*row, SOURCE] for row in prior_rows(n_terms, *learn_prior(lessons, n_terms))]
    header = ["n_terms", "part", "row", "column", "value", "source"]
    return parse_matrix_prior([dict(zip(header, row, strict=True)) for row in rows]), rows


def make_prior() -> list[MatrixPrior]:
    """Learn the prior of all families together and write it; and that without each of them."""
    lessons = [
        [one for one in map(lesson_of, draw(N_LEARN, 1, family)) if one] for family in FAMILIES
    ]
    without = [
        learn([one for j, part in enumerate(lessons) if j != i for one in part])[0]
        for i in range(len(FAMILIES))
    ]
    _, rows = learn([one for part in lessons for one in part])
    write("spectral_prior.csv", ["n_terms", "part", "row", "column", "value", "source"], rows)
    return without


Found = dict[str, tuple[tuple[float, ...], list[Spreads]]]
"""By name of a grid its knots of left-out difference, and the spreads of each family."""


def find_spreads(without: list[MatrixPrior]) -> Found:
    """Spreads of all kinds of fit in each family, with the prior learnt from the others."""
    scenes = [draw(N_TABULATE, 2, family) for family in FAMILIES]
    flat = [draw(N_FLAT, 7, replace(family, reef=flat_greys)) for family in FAMILIES]
    found: Found = {}

    def across(drawn: list[list[Scene]], how: str) -> list[dict[str, Errors]]:
        return [
            collect(part, ColourSettings(matrix_prior=prior), how)
            for part, prior in zip(drawn, without, strict=True)
        ]

    for how, knots in (("card", LEFT_KNOTS), ("greys", GREY_LEFT_KNOTS)):
        things, greys = across(scenes, how), across(flat, how)
        if how == "card":
            each = [f["matrix"] for f in things]
            for name, strain in zip(("", "strained:"), STRAIN_KNOTS, strict=True):
                found[f"{name}matrix"] = knots, [spreads_of(e, knots, strain) for e in each]
            flats = [f["matrix"] for f in greys]
            found["flat:matrix"] = knots, [flat_spreads_of(e, knots) for e in flats]
            # Beside colours gains are chosen too rarely to tell families, or greys, apart.
            rare = joined([f["gain"] for f in things if "gain" in f])
            found["gain"] = knots, [spreads_of(rare, knots)]
            found["flat:gain"] = found["flat:matrix"]
        else:
            found["greys:gain"] = knots, [spreads_of(f["gain"], knots) for f in things]
            flats = [f["gain"] for f in greys]
            found["flat:greys:gain"] = knots, [flat_spreads_of(e, knots) for e in flats]
    one = [f["gain"] for f in across(scenes, "one_point")]
    found["one_point"] = (1.0,), [spreads_of(e, (1.0,)) for e in one]
    return found


def table_rows(found: Found, left_out: int | None = None) -> list[list[str]]:
    """Rows of the table, from all families or from all but one (rare kinds always from all)."""
    rows: list[list[str]] = []
    for name, (knots, spreads) in found.items():
        kept = [s for i, s in enumerate(spreads) if i != left_out or len(spreads) == 1]
        like = found["matrix"][1] if len(spreads) == 1 else None
        held = STRAINED_HELD if name.startswith("strained:") else FAMILIES_HELD
        rows += rows_of(name, knots, expect_another(kept, like, held))
    return rows


def make_mismatch_air() -> MismatchTable:
    """
    Tabulate the mismatch of paints and prints on land, without a prior; write it.

    Each photo already goes across: target and card are of different families.
    """
    pairs = [(one, FAMILIES[i - 1]) for i, one in enumerate(FAMILIES)]
    scenes = [draw(N_AIR, 8, in_air(one, two)) for one, two in pairs]
    errors = [collect(part, ColourSettings(), "card") for part in scenes]
    rows: list[list[str]] = []
    for kind in ("gain", "matrix"):
        both = joined([f[kind] for f in errors if kind in f])
        rows += rows_of(kind, AIR_LEFT_KNOTS, spreads_of(both, AIR_LEFT_KNOTS))
    return parse_mismatch_table(write("spectral_mismatch_air.csv", HEADER, rows))


def check(
    scenes: list[Scene],
    settings: ColourSettings,
    title: str,
    how: str,
    *,
    is_flat_grey: bool = False,
) -> None:
    """Print differences and coverage on scenes that were used for neither table."""
    inside, below, de00, plain, widths = [], [], [], [], []
    n_refused = 0
    for scene in scenes:
        for fit, _ in fits_of(scene, settings, how):
            if not fit.usable or fit.off_card_de00_p95 is None:
                n_refused += 1
                continue
            for i, truth in enumerate(scene.reef_lab):
                given = lab_with_doubt(
                    scene.reef_linear[i],
                    scene.card_cov[3],
                    N_PX,
                    fit,
                    scene.reef_xy[i],
                    is_flat_grey=is_flat_grey,
                )
                widths.append(1.96 * given.lab_u[1:])
                inside.append((given.lab_lo95 <= truth) & (truth <= given.lab_hi95))
                de00.append(float(ciede2000(given.lab, truth)))
                below.append(de00[-1] <= fit.off_card_de00_p95)
            grey = lab_to_linear_srgb(scene.card_lab[3:4])[0] / scene.card_linear[3]
            plain.extend(ciede2000(linear_srgb_to_lab(scene.reef_linear * grey), scene.reef_lab))
    if not de00:
        print(f"{title}, {how}: all {n_refused} refused")
        return
    (median, p95), (grey_median, grey_p95) = (np.quantile(v, [0.5, 0.95]) for v in (de00, plain))
    shares, wide = np.mean(inside, axis=0), np.median(widths, axis=0)
    print(
        f"{title}, {how}: {len(scenes) - n_refused} of {len(scenes)} usable, CIEDE2000 median "
        f"{median:.2f}, 95th {p95:.2f} ({median / grey_median:.2f} and {p95 / grey_p95:.2f} of the "
        f"mid-grey gain's); 95 % intervals hold L* {shares[0]:.3f} a* {shares[1]:.3f} b* "
        f"{shares[2]:.3f}, half widths a* {wide[0]:.1f} b* {wide[1]:.1f}; below the stated 95th "
        f"{np.mean(below):.3f}"
    )


def strata(scenes: list[Scene]) -> Iterator[tuple[str, list[Scene]]]:
    """Scenes by kind of light and depth."""
    for i, name in enumerate(STRATA):
        yield name, [s for s in scenes if stratum_of(s) == i]


def main() -> None:
    """Make all tables and print the check: each family with what the others taught."""
    without = make_prior()
    found = find_spreads(without)
    write("spectral_mismatch.csv", HEADER, table_rows(found))
    make_mismatch_air()
    for i, family in enumerate(FAMILIES):
        rows = [dict(zip(HEADER, row, strict=True)) for row in table_rows(found, i)]
        table = parse_mismatch_table(rows)
        settings = ColourSettings(matrix_prior=without[i], mismatch_table=table)
        scenes = draw(N_CHECK, 21, family)
        for name, some in strata(scenes):
            check(some, settings, f"{family.name} family, {name}", "card")
        check(scenes, settings, f"{family.name} family", "greys")
        greys = draw(60, 22, replace(family, reef=flat_greys))
        check(greys, settings, f"{family.name} family, flat greys", "card", is_flat_grey=True)


if __name__ == "__main__":
    main()
