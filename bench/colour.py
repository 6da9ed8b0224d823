"""
Colour of things that are not on the card: `python -m bench.colour [--scenes N] [--width PX]`.

Made scenes (bench/scenes.py) go through the program's own finder, sampler and fit. Off the card
lie chips and mottled areas in its plane; their corrected colour is compared with their true one
and with what a plain gain from the mid grey makes of them in the same photo. Scenes that are
refused are counted with their reason and never dropped silently.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from bench.scenes import ColourScene, colour_scene
from numpy.typing import NDArray

from dryslate.app.correct import CorrectSettings, colour_settings
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.finding import find_cards
from dryslate.core.card.found import CardSamples, FoundCard
from dryslate.core.card.patches import sample_card
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.colour.fit import ColourFit, fit_colour
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab, srgb_to_linear
from dryslate.files.reference_tables import FileReferenceTables

FloatArray = NDArray[np.float64]
CACHE = Path("build") / "bench-cache"
SCENES, WIDTH_PX = 240, 2000
NEAR_MM = 75.0  # about half the card's long side: beyond, its light is no longer known
CLIPPED_MOST = 0.02  # as for a point picked by hand: such an area states no colour
TARGETS = {
    "median_de00": 3.0,
    "p95_de00": 9.0,
    "median_to_grey_gain": 0.65,
    "p95_to_grey_gain": 0.75,
}


@dataclass(frozen=True, kw_only=True)
class Thing:
    """One area off the card: its differences and whether the stated doubts held."""

    kind: str
    from_card_mm: float
    de00: float
    de00_grey: float
    inside: tuple[bool, bool, bool]
    half_widths: tuple[float, float, float]
    off: tuple[float, float, float]
    below_p95: bool


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one scene."""

    seed: int
    stratum: str
    outcome: str  # "corrected", "card not found", or the slug of the refusal
    fit: str = ""
    things: tuple[Thing, ...] = ()
    n_clipped: int = 0
    off_card_de00_p95: float = float("nan")
    notes: dict[str, Any] = field(default_factory=dict)


def area_of(
    img: NDArray[np.uint8], corners_px: FloatArray, lut: FloatArray
) -> tuple[FloatArray, FloatArray, int] | None:
    """Mean in linear light, covariance of a pixel, number; None where it is clipped."""
    low = np.floor(corners_px.min(axis=0)).astype(int)
    high = np.ceil(corners_px.max(axis=0)).astype(int) + 1
    cell = img[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(cell.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners_px - low).astype(np.int32), 1)
    codes = cell[mask > 0]
    if len(codes) < 16 or ((codes == 0) | (codes == 255)).any(axis=1).mean() > CLIPPED_MOST:
        return None
    linear = lut[codes]
    return linear.mean(axis=0), np.cov(linear.T), len(codes)


def grey_gain(samples: CardSamples, card: CardDefinition) -> FloatArray | None:
    """Gain per channel from the used neutral nearest to mid grey (all its copies)."""
    neutral = {p.patch_id: p for p in card.neutrals}
    used = [s for s in samples.used if s.patch_id in neutral]
    if not used:
        return None
    nearest = min(abs(neutral[s.patch_id].lab_d65[0] - 50.0) for s in used)
    chosen = [s for s in used if abs(neutral[s.patch_id].lab_d65[0] - 50.0) < nearest + 1.5]
    gains = [
        lab_to_linear_srgb(neutral[s.patch_id].lab_d65) / np.maximum(s.mean_linear, 1e-6)
        for s in chosen
    ]
    return np.asarray(np.mean(gains, axis=0))


def try_scene(seed: int, width_px: int, cache: Path | None) -> Outcome:
    """Make (or load) a scene and put it through the program."""
    cv2.setNumThreads(1)
    tables = FileReferenceTables(None)
    design = tables.card("field")
    scene = colour_scene(seed, design, width_px, cache)
    card = scene.card(design)
    img = cv2.imdecode(np.frombuffer(scene.jpeg, np.uint8), cv2.IMREAD_COLOR_RGB)
    lut = srgb_to_linear(np.arange(256) / 255.0)[:, None]
    lut3 = np.repeat(lut, 3, axis=1).astype(np.float32)
    told = {"seed": seed, "stratum": scene.stratum, "notes": scene.notes}
    others = [c for c in tables.cards() if c.markers and c.name != card.name]
    found = [f for f in find_cards(img, [card, *others]).cards if f.card.name == card.name]
    if not found:
        return Outcome(outcome="card not found", **told)
    samples = sample_card(img, found[0], lut3)
    fit = fit_colour(samples, card, colour_settings(tables, CorrectSettings()), np.eye(3))
    if not fit.usable:
        slug = next(p.slug for p in fit.problems if p.severity == "error")
        return Outcome(outcome=slug, fit=fit.fit, **told)
    things, n_clipped = _things(scene, img, (found[0], fit, grey_gain(samples, card)))
    return Outcome(
        outcome="corrected",
        fit=fit.fit,
        things=tuple(things),
        n_clipped=n_clipped,
        off_card_de00_p95=float(fit.off_card_de00_p95 or np.nan),
        **told,
    )


def _from_card_mm(found: FoundCard, xy_px: FloatArray) -> float:
    """How far beyond the card's edge a point of its plane lies."""
    there = np.linalg.solve(found.card_to_px, np.append(xy_px, 1.0))
    half = np.array([found.card.width_mm, found.card.height_mm]) / 2.0
    return float(np.linalg.norm(np.maximum(np.abs(there[:2] / there[2] - half) - half, 0.0)))


def _things(
    scene: ColourScene,
    img: NDArray[np.uint8],
    fits: tuple[FoundCard, ColourFit, FloatArray | None],
) -> tuple[list[Thing], int]:
    """Compare each thing off the card with the truth."""
    found, fit, gain = fits
    lut = srgb_to_linear(np.arange(256) / 255.0)
    things, n_clipped = [], 0
    for thing in scene.things:
        corners = np.array(thing["corners_px"])
        area = area_of(img, corners, lut)
        if area is None:
            n_clipped += 1
            continue
        mean, cov, n = area
        true = np.array(thing["lab"])
        seen = lab_with_doubt(mean, cov, n, fit, corners.mean(axis=0))
        grey = linear_srgb_to_lab(mean * gain) if gain is not None else np.full(3, np.nan)
        off = seen.lab - true
        inside = (seen.lab_lo95 <= true) & (true <= seen.lab_hi95)
        de00 = float(ciede2000(seen.lab, true))
        things.append(
            Thing(
                kind=thing["kind"],
                from_card_mm=_from_card_mm(found, corners.mean(axis=0)),
                de00=de00,
                de00_grey=float(ciede2000(grey, true)),
                inside=(bool(inside[0]), bool(inside[1]), bool(inside[2])),
                half_widths=tuple(float(u) for u in 1.96 * seen.lab_u),
                off=tuple(float(v) for v in off),
                below_p95=de00 <= fit.off_card_de00_p95,
            )
        )
    return things, n_clipped


def figures(things: list[Thing]) -> dict[str, float]:
    """Figures of a group of things."""
    if not things:
        return {"n": 0}
    ours = np.array([t.de00 for t in things])
    grey = np.array([t.de00_grey for t in things])
    inside = np.array([t.inside for t in things]).mean(axis=0)
    widths = np.median([t.half_widths for t in things], axis=0)
    median, p95 = float(np.median(ours)), float(np.quantile(ours, 0.95))
    grey_median, grey_p95 = float(np.nanmedian(grey)), float(np.nanquantile(grey, 0.95))
    return {
        "n": len(things),
        "median_de00": median,
        "p95_de00": p95,
        "grey_gain_median_de00": grey_median,
        "grey_gain_p95_de00": grey_p95,
        "median_to_grey_gain": median / grey_median,
        "p95_to_grey_gain": p95 / grey_p95,
        **{f"inside_95_{a}": float(v) for a, v in zip("Lab", inside, strict=True)},
        **{f"half_width_{a}": float(v) for a, v in zip("Lab", widths, strict=True)},
        "below_off_card_p95": float(np.mean([t.below_p95 for t in things])),
    }


def summarise(outcomes: list[Outcome]) -> dict[str, Any]:
    """All figures: together, by stratum, by kind of thing, by fit; what was refused and why."""
    corrected = [o for o in outcomes if o.outcome == "corrected"]
    strata = sorted({o.stratum for o in outcomes})
    groups: dict[str, list[Thing]] = {"all": [t for o in corrected for t in o.things]}
    for stratum in strata:
        groups[stratum] = [t for o in corrected if o.stratum == stratum for t in o.things]
    groups["flash"] = [t for o in corrected if o.notes["flash"] for t in o.things]
    for kind in ("chip", "texture"):
        groups[kind] = [t for t in groups["all"] if t.kind == kind]
    groups[f"up to {NEAR_MM:g} mm away"] = [t for t in groups["all"] if t.from_card_mm <= NEAR_MM]
    groups["farther"] = [t for t in groups["all"] if t.from_card_mm > NEAR_MM]
    for fit in sorted({o.fit for o in corrected}):
        groups[f"fit {fit}"] = [t for o in corrected if o.fit == fit for t in o.things]
    refused = {
        stratum: dict(
            Counter(
                o.outcome for o in outcomes if o.stratum == stratum and o.outcome != "corrected"
            )
        )
        for stratum in strata
    }
    return {
        "n_scenes": len(outcomes),
        "n_scenes_by_stratum": dict(Counter(o.stratum for o in outcomes)),
        "n_corrected": len(corrected),
        "refused": refused,
        "n_things_clipped": sum(o.n_clipped for o in corrected),
        "fits": dict(Counter(o.fit for o in corrected)),
        "groups": {name: figures(things) for name, things in groups.items()},
    }


def run(
    n_scenes: int = SCENES,
    *,
    width_px: int = WIDTH_PX,
    n_workers: int | None = None,
    cache: Path | None = CACHE,
    first_seed: int = 0,
) -> dict[str, Any]:
    """
    Put scenes through the program and return every figure.

    A worker is a process; two scenes of one seed are the same on every machine.
    """
    seeds = range(first_seed, first_seed + n_scenes)
    job = partial(try_scene, width_px=width_px, cache=cache)
    workers = n_workers or min(os.cpu_count() or 1, 4)
    if workers == 1:
        return summarise([job(seed) for seed in seeds])
    with ProcessPoolExecutor(workers) as pool:
        return summarise(list(pool.map(job, seeds, chunksize=4)))


def table_of(result: dict[str, Any]) -> str:
    """The figures as text."""
    lines = [
        f"scenes {result['n_scenes']} {result['n_scenes_by_stratum']}, corrected "
        f"{result['n_corrected']}, fits {result['fits']}",
        f"refused: {result['refused']}",
        f"things with clipped pixels, which state no colour: {result['n_things_clipped']}",
        "",
        f"{'things off the card':<24}{'n':>6}{'median':>8}{'95th':>7}{'grey med':>10}{'95th':>7}"
        f"{'ratio':>7}{'95th':>6}{'L* in':>8}{'a* in':>7}{'b* in':>7}{'< p95':>7}   half-widths",
    ]
    for name, f in result["groups"].items():
        if not f["n"]:
            lines.append(f"{name:<24}{0:>6}")
            continue
        lines.append(
            f"{name:<24}{f['n']:>6}{f['median_de00']:>8.2f}{f['p95_de00']:>7.2f}"
            f"{f['grey_gain_median_de00']:>10.2f}{f['grey_gain_p95_de00']:>7.2f}"
            f"{f['median_to_grey_gain']:>7.2f}{f['p95_to_grey_gain']:>6.2f}"
            f"{f['inside_95_L']:>8.1%}{f['inside_95_a']:>7.1%}{f['inside_95_b']:>7.1%}"
            f"{f['below_off_card_p95']:>7.1%}   "
            f"{f['half_width_L']:.1f} {f['half_width_a']:.1f} {f['half_width_b']:.1f}"
        )
    every = result["groups"]["all"]
    if every["n"]:
        lines.append("")
        lines += [
            f"{name:<22} {every[name]:.2f} (wanted <= {most}) "
            + ("reached" if every[name] <= most else "NOT reached")
            for name, most in TARGETS.items()
        ]
        for name in ("inside_95_L", "inside_95_a", "inside_95_b", "below_off_card_p95"):
            holds = 0.90 <= every[name] <= 0.98
            lines.append(
                f"{name:<22} {every[name]:.1%} (wanted 90 to 98 %) "
                + ("reached" if holds else "NOT reached")
            )
    return "\n".join(lines)


def main(argv: list[str] | None = None) -> int:
    """Print the table, or one JSON document."""
    parser = argparse.ArgumentParser(prog="bench.colour", description=__doc__)
    parser.add_argument("--scenes", type=int, default=SCENES)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--width", type=int, default=WIDTH_PX, help="pixels; 12 MP is 4000")
    parser.add_argument("--workers", type=int)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args(argv)
    result = run(
        given.scenes,
        width_px=given.width,
        n_workers=given.workers,
        first_seed=given.first_seed,
    )
    print(json.dumps(result) if given.json else table_of(result))
    return 0


if __name__ == "__main__":
    sys.exit(main())
