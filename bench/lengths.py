"""
Lengths in the card's plane against the truth, through the renderer, the finder and the measure.

Groups of lenses: calibrated (from noisy views of a made board, by the program's own
calibration), drawn from the stated prior (focal length in the file, flat port), elsewhere
(no focal length in the file, a distortion that no prior was asked about), and cropped (focal
length in the file, but the photo was cut off centre). The printed size of
each card is off by a draw from its stated print scale. Seeds are fixed; pictures are kept in
``build/bench-cache`` by seed and renderer version.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from dryslate.app.geometry import plane_of
from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.finding import find_cards
from dryslate.core.measure.lengths import MeasureSettings, measure_length
from dryslate.core.measure.off_plane import OffPlane
from dryslate.core.scale.calibration import BoardView, fit_lens
from dryslate.core.scale.lens import FILM_DIAGONAL_MM, Lens, LensPrior, lens_prior
from dryslate.core.scale.plane import Plane
from dryslate.demo.cameras import Imaging
from dryslate.demo.flats import Place, PlacedCard
from dryslate.demo.pinhole import SceneLens, View, project, turn_about
from dryslate.demo.scene import RENDERER_VERSION, Scene, render_scene
from dryslate.demo.seabed import plain_seabed
from dryslate.demo.truth import CardTruth
from dryslate.demo.water import Water
from dryslate.formats.card_toml import parse_card

ROOT = Path(__file__).resolve().parents[1]
CACHE = ROOT / "build" / "bench-cache" / "lengths"
SIZE = (1600, 1200)
HALF = float(np.hypot(*SIZE)) / 2.0
GROUPS = ("calibrated", "prior", "elsewhere")
CROPPED_FROM = 240  # seeds from here on: photos cropped off centre, which no prior expects
N_LENGTHS = 8


@dataclass(frozen=True, kw_only=True)
class Case:
    """One scene: its lens as it is, and as the program knows it."""

    seed: int
    group: str
    true_lens: SceneLens
    known: Lens | LensPrior
    scene: Scene
    card: CardDefinition
    print_scale: float


def card_named(name: str) -> CardDefinition:
    path = ROOT / "src" / "dryslate" / "data" / "cards" / f"{name}.toml"
    return parse_card(path.read_text("utf-8"), name)


def brown_of(params: np.ndarray) -> SceneLens:
    """The prior's radial model as the renderer's: terms per half diagonal to terms per radian."""
    focal = float(np.exp(params[0]))
    k = (focal / HALF) ** 2
    return SceneLens(
        focal_px=focal,
        centre_px=(float(params[1]), float(params[2])),
        k1=float(params[3] * k),
        k2=float(params[4] * k * k),
    )


def calibrated(true: SceneLens, rng: np.random.Generator) -> Lens:
    """What the program's calibration makes of noisy views of a board through that lens."""
    grid = np.array([(x, y, 0.0) for y in range(7) for x in range(10)]) * 25.0
    middle = grid.mean(axis=0)
    views: list[BoardView] = []
    while len(views) < 14:
        turn = turn_about(
            [np.cos(a := rng.uniform(0, 2 * np.pi)), np.sin(a), 0.0], rng.uniform(10, 40)
        )
        distance = true.focal_px / 1600 * rng.uniform(330, 650)
        aim = rng.uniform(-0.35, 0.35, 2) * np.array(SIZE) / true.focal_px * distance
        xyz = (grid - middle) @ turn.T + [*aim, distance]
        seen = true.distort(xyz[:, :2] / xyz[:, 2:])
        px = seen * true.focal_px + np.array(true.centre_px or (np.array(SIZE) - 1) / 2)
        if (px < 0).any() or (px > np.array(SIZE) - 1).any():
            continue
        noisy = px + rng.normal(0.0, 0.12, px.shape)
        views.append(BoardView(name=str(len(views)), points_mm=grid[:, :2], points_px=noisy))
    return fit_lens(views, SIZE, "normal", "bench").lens


def lens_pair(group: str, rng: np.random.Generator) -> tuple[SceneLens, Lens | LensPrior]:
    """A true lens and what is known of it."""
    centre = tuple((np.array(SIZE) - 1) / 2 + rng.normal(0.0, 0.01 * HALF, 2))
    if group == "prior":
        known = lens_prior(float(rng.uniform(24, 60)), SIZE, True, "flat")
        return brown_of(rng.multivariate_normal(known.params, known.covariance)), known
    focal = 2 * HALF * rng.uniform(22, 60) / FILM_DIAGONAL_MM
    shift = rng.uniform(-0.06, 0.06)
    true = SceneLens(focal_px=focal, centre_px=centre, k1=float(shift * (focal / HALF) ** 2))
    if group == "cropped":
        cut = rng.uniform(0.15, 0.4, 2) * rng.choice([-1.0, 1.0], 2) * HALF
        known = lens_prior(float(focal * FILM_DIAGONAL_MM / 2 / HALF / 1.3), SIZE, True, "unknown")
        return replace(true, centre_px=tuple(np.array(centre) + cut)), known
    if group == "elsewhere":
        return true, lens_prior(None, SIZE, True, "unknown")
    true = replace(true, p1=float(rng.normal(0, 5e-4)), p2=float(rng.normal(0, 5e-4)))
    return true, calibrated(true, rng)


def case_of(seed: int) -> Case:
    """Draw one scene."""
    rng = np.random.default_rng([20260, seed])
    group = "cropped" if seed >= CROPPED_FROM else GROUPS[seed % len(GROUPS)]
    card = card_named(("field", "large")[int(rng.integers(2))])
    true, known = lens_pair(group, rng)
    across = rng.uniform(0.22, 0.5) * SIZE[0]
    distance = true.focal_px * card.width_mm / across
    offset = rng.uniform(-0.22, 0.22, 2) * np.array(SIZE) / true.focal_px * distance
    scene = Scene(
        size_px=SIZE,
        lens=true,
        seabed=plain_seabed(rng, ("sand", "rock")[int(rng.integers(2))]),
        view=View(
            distance_mm=distance,
            tilt_deg=float(rng.uniform(0, 42)),
            azimuth_deg=float(rng.uniform(0, 360)),
            roll_deg=float(rng.uniform(0, 360)),
        ),
        water=Water(depth_m=float(rng.uniform(2, 12))),
        imaging=Imaging(
            blur_px=float(rng.uniform(0.5, 1.1)),
            electrons_white=float(rng.uniform(3000, 12000)),
            contrast=float(rng.uniform(0, 0.4)),
            jpeg_quality=None,
        ),
        cards=(PlacedCard(card=card, place=Place(centre_mm=tuple(offset), height_mm=6.0)),),
    )
    return Case(
        seed=seed,
        group=group,
        true_lens=true,
        known=known,
        scene=scene,
        card=card,
        print_scale=float(rng.normal(0.0, card.print_scale_u_frac)),
    )


def picture_and_truth(case: Case) -> tuple[np.ndarray, CardTruth]:
    """The picture, kept as JPEG, and where the card lies in it."""
    from dryslate.demo.truth import Sight, scene_truth

    path = CACHE / f"r{RENDERER_VERSION}-s{case.seed}.jpg"
    scene = case.scene
    if not path.is_file():
        img = render_scene(scene, np.random.default_rng([7, case.seed])).img_srgb
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part.jpg")
        cv2.imwrite(str(part), img[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 93])
        part.replace(path)
    img = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    sight = Sight(pose=scene.view.pose(), lens=scene.lens, size_px=SIZE)
    truth = scene_truth(sight, scene.cards, (), {}, (np.ones(3), 1.0))
    return np.ascontiguousarray(img[..., ::-1]), truth.cards[0]


def pairs_of(case: Case, truth: CardTruth, rng: np.random.Generator) -> list[tuple[Any, float]]:
    """Pairs of points in the card's plane, inside the frame, with their true distance."""
    width, height = case.card.width_mm, case.card.height_mm
    pairs: list[tuple[Any, float]] = []
    for _ in range(400):
        mm = rng.uniform((-width, -height), (2 * width, 2 * height), (2, 2))
        length = float(np.hypot(*(mm[1] - mm[0])))
        if not 40.0 <= length <= 200.0:
            continue
        world = truth.pose.apply(np.column_stack([mm, np.zeros(2)]))
        px = project(world, case.scene.view.pose(), case.scene.lens, SIZE)
        if (px < 4).any() or (px > np.array(SIZE) - 5).any() or not np.isfinite(px).all():
            continue
        pairs.append((px, length * (1.0 + case.print_scale)))
        if len(pairs) == N_LENGTHS:
            break
    return pairs


def measured(plane: Plane, px: Any, point_u_px: float) -> tuple[float, float, float]:
    settings = MeasureSettings(point_u_px=point_u_px, off_plane=OffPlane(kind="in_plane"))
    values = measure_length(plane, px, settings).values
    return values["length_mm"], values["length_mm_lo95"], values["length_mm_hi95"]


def lengths_of(case: Case) -> list[dict[str, float]]:
    """Every length of one scene, exact and jittered; none where the card was not found."""
    img, truth = picture_and_truth(case)
    search = find_cards(img, [case.card])
    if not search.cards:
        return []
    plane = plane_of(search.cards[0], SIZE, case.known)
    rng = np.random.default_rng([99, case.seed])
    rows = []
    for px, true in pairs_of(case, truth, rng):
        jittered = np.clip(px + rng.normal(0.0, 1.0, px.shape), 0, np.array(SIZE) - 1)
        try:
            exact, e_lo, e_hi = measured(plane, px, 0.0)
            value, lo, hi = measured(plane, jittered, 1.0)
        except InputError:
            continue
        nominal = true / (1.0 + case.print_scale)
        rows.append(
            {
                "exact_error": abs(exact / nominal - 1.0),
                "jitter_error": abs(value / nominal - 1.0),
                "exact_held": float(e_lo <= true <= e_hi),
                "held": float(lo <= true <= hi),
                "half_width": (hi - lo) / 2.0 / value,
                "tilt_miss": plane.tilt_deg - truth.tilt_deg,
                "tilt_u": plane.tilt_deg_u,
                "chi2": plane.reduced_chi2,
            }
        )
    return rows


def summary(scenes: list[list[dict[str, float]]]) -> dict[str, float]:
    """Figures over scenes; the standard error of a share treats each scene as one draw."""
    rows = [row for scene in scenes for row in scene]
    column = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    shares = np.array([np.mean([row["held"] for row in scene]) for scene in scenes if scene])
    sizes = np.array([len(scene) for scene in scenes if scene])
    held = float(column["held"].mean())
    spread = np.sqrt(np.sum((sizes * (shares - held)) ** 2) * len(sizes) / (len(sizes) - 1))
    return {
        "n_scenes": len(sizes),
        "n_lengths": len(rows),
        "exact_median": float(np.median(column["exact_error"])),
        "exact_p95": float(np.percentile(column["exact_error"], 95)),
        "exact_held": float(column["exact_held"].mean()),
        "jitter_median": float(np.median(column["jitter_error"])),
        "jitter_p95": float(np.percentile(column["jitter_error"], 95)),
        "held": held,
        "held_se": float(spread / sizes.sum()),
        "half_width_median": float(np.median(column["half_width"])),
        "chi2_median": float(np.median(column["chi2"])),
        "tilt_held": float(np.mean(np.abs(column["tilt_miss"]) <= 1.96 * column["tilt_u"])),
        "tilt_error_median": float(np.median(np.abs(column["tilt_miss"]))),
    }


def run(n_scenes: int = 280) -> dict[str, Any]:
    """Render, find, measure; figures by group, and over all."""
    by_group: dict[str, list[list[dict[str, float]]]] = {name: [] for name in (*GROUPS, "cropped")}
    missed = 0
    for seed in range(n_scenes):
        case = case_of(seed)
        rows = lengths_of(case)
        missed += not rows
        by_group[case.group].append(rows)
    stated = [*by_group["calibrated"], *by_group["prior"]]
    return {
        "missed_scenes": missed,
        "stated": summary(stated),
        "uncropped": summary([scene for name in GROUPS for scene in by_group[name]]),
        **{name: summary(scenes) for name, scenes in by_group.items() if any(scenes)},
    }


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Lengths in the card's plane against the truth.")
    parser.add_argument("--scenes", type=int, default=280)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args(argv)
    done = run(options.scenes)
    if options.json:
        print(json.dumps(done))
        return 0
    print("Lengths in the card's plane (errors in per cent; wanted in brackets)")
    head = "group        scenes  n     exact med [0.3]  p95 [1]   1 px med [1]  p95 [3]   "
    print(head + "held 95 % ± se   half-width  tilt held")
    for name, s in done.items():
        if name == "missed_scenes":
            continue
        print(
            f"{name:<12} {s['n_scenes']:>6}  {s['n_lengths']:>4}  "
            f"{100 * s['exact_median']:>14.2f}  {100 * s['exact_p95']:>7.2f}  "
            f"{100 * s['jitter_median']:>13.2f}  {100 * s['jitter_p95']:>7.2f}   "
            f"{100 * s['held']:>6.1f} ± {100 * s['held_se']:.1f}    "
            f"{100 * s['half_width_median']:>8.2f}  {100 * s['tilt_held']:>8.1f}"
        )
    print(f"scenes without a card found: {done['missed_scenes']}")
    print("'stated' is calibrated and prior together: wanted 93 to 98; elsewhere at least 93.")
    print("'cropped' is a trial beyond that: such photos are warned of, and hold less often.")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
