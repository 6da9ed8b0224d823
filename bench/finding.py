"""
Finding cards: `python -m bench.finding [--scenes N] [--grounds N] [--workers N] [--no-timing]`.

Made scenes of 6 and 12 megapixels with one to three cards, and photos without a card that are
strewn with quads and framed random bit grids (bench/finding_scenes.py). A marker is clear when
its shortest projected side is at least 24 px and 24 times the blur's sigma, the contrast of white
on black at least 25 % and the tilt at most 50 degrees. Times are CPU times on one core.
"""

from __future__ import annotations

import argparse
import json
import pickle
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import simplejpeg
from bench.finding_scenes import (
    RENDERER_VERSION,
    CardTruth,
    FindScene,
    Look,
    decode,
    make_ground_photo,
    make_scene,
    scene_rng,
)
from numpy.typing import NDArray

from dryslate.core.arrays.homography import apply_homography
from dryslate.core.card.definition import CardDefinition, Marker
from dryslate.core.card.finding import find_cards
from dryslate.core.card.found import FoundCard
from dryslate.core.card.markers import marker_corners_mm
from dryslate.files.reference_tables import FileReferenceTables

CACHE = Path("build") / "bench-cache"
SHAPES = ((2250, 3000), (3000, 4000))
MIXES = (
    ("field",),
    ("large",),
    ("stick",),
    ("field", "stick"),
    ("large", "field", "field"),
)
SIDE_RANGE_PX = (18.0, 320.0)


def built_in_cards() -> dict[str, CardDefinition]:
    """The three cards of our own."""
    cards = {card.name: card for card in FileReferenceTables(None).cards()}
    return {name: cards[name] for name in ("field", "large", "stick")}


def cached_scene(k: int, name: str = "bench") -> FindScene:
    """One numbered scene, made once."""
    path = CACHE / f"find-{name}-{RENDERER_VERSION}-{k:04d}.pickle"
    if path.exists():
        scene = pickle.loads(path.read_bytes())
        assert isinstance(scene, FindScene)
        return scene
    rng = scene_rng(name, k)
    cards = built_in_cards()
    mix = MIXES[k % len(MIXES)]
    shape = SHAPES[(k // len(MIXES)) % 2]
    scene = make_scene([cards[c] for c in mix], rng, shape=shape, side_range_px=SIDE_RANGE_PX)
    CACHE.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps(scene))
    return scene


def cached_ground(k: int, name: str = "bench") -> bytes:
    """One numbered photo without a card, made once."""
    path = CACHE / f"ground-{name}-{RENDERER_VERSION}-{k:04d}.jpg"
    if not path.exists():
        CACHE.mkdir(parents=True, exist_ok=True)
        path.write_bytes(make_ground_photo((1500, 2000), scene_rng(f"{name}-ground", k)))
    return path.read_bytes()


def matches(found: FoundCard, truth: CardTruth) -> bool:
    """Tell whether a found card is that card, there."""
    diagonal = float(np.hypot(*(truth.corners_px[0] - truth.corners_px[2])))
    away = float(np.hypot(*(found.corners_px - truth.corners_px).T).mean())
    return found.card.name == truth.card.name and away < 0.2 * diagonal


def score_scene(k: int) -> dict[str, Any]:
    """Search one scene and compare with its truth."""
    cv2.setNumThreads(1)
    scene = cached_scene(k)
    cards = built_in_cards()
    img = scene.img_srgb
    begun = time.process_time()
    left = list(find_cards(img, list(cards.values())).cards)
    spent = time.process_time() - begun
    rows = []
    for truth in scene.cards:
        hits = [f for f in left if matches(f, truth)]
        row: dict[str, Any] = {
            "card": truth.card.name,
            "n_clear": truth.n_clear,
            "found": bool(hits),
            "side_px": min(truth.side_px.values()),
            "n_cards": len(scene.cards),
            "good": scene.blur_px <= 1.0 and scene.contrast_frac >= 0.5,
            "marker_px": [],
            "marker_z": [],
            "outer_px": [],
        }
        if hits:
            left.remove(hits[0])
            markers = {m.marker_id: m for m in truth.card.markers}
            for seen in hits[0].markers:
                if truth.clear[seen.marker_id]:
                    true = apply_homography(
                        truth.card_to_px, marker_corners_mm(markers[seen.marker_id])
                    )
                    away = seen.corners_px - true
                    row["marker_px"] += np.hypot(*away.T).tolist()
                    row["marker_z"] += (away / seen.corner_u_px).ravel().tolist()
            if truth.n_clear >= 2:
                row["outer_px"] = np.hypot(*(hits[0].corners_px - truth.corners_px).T).tolist()
        rows.append(row)
    return {"scene": k, "rows": rows, "n_false": len(left), "cpu_s": spent}


def weak_card() -> CardDefinition:
    """A card of a person's own with markers of a dense dictionary and no patches."""
    places = ((0, 0.0, 0.0), (1, 160.0, 0.0), (2, 160.0, 100.0), (3, 0.0, 100.0))
    return CardDefinition(
        name="own",
        title="four dense markers",
        width_mm=200.0,
        height_mm=140.0,
        ground_lab_d65=(90.0, 0.0, 0.0),
        markers=tuple(
            Marker(dictionary="4X4_50", marker_id=i, x_mm=x + 5, y_mm=y + 5, side_mm=30.0)
            for i, x, y in places
        ),
        patches=(),
    )


def score_ground(k: int) -> dict[str, Any]:
    """Search one photo without a card."""
    cv2.setNumThreads(1)
    img = decode(cached_ground(k))
    begun = time.process_time()
    search = find_cards(img, list(built_in_cards().values()))
    spent = time.process_time() - begun
    dense = find_cards(img, [weak_card()])
    return {
        "n_false": len(search.cards),
        "n_others": len(search.other_markers),
        "n_false_dense": len(dense.cards),
        "n_others_dense": len(dense.other_markers),
        "cpu_s": spent,
    }


def median_cpu(work: Any, n: int = 7) -> float:
    """Median CPU time of a call, in seconds, after one to warm up."""
    work()
    spent = []
    for _ in range(n):
        begun = time.process_time()
        work()
        spent.append(time.process_time() - begun)
    return float(np.median(spent))


def time_24_mp() -> dict[str, float]:
    """Time of finding against the time of decoding, at 24 megapixels."""
    cv2.setNumThreads(1)
    cards = built_in_cards()
    look = Look(quality=93, blur_px=0.8)
    shape = (4000, 6000)
    rng = scene_rng("timing", 0)
    out: dict[str, float] = {}
    for name, side in (("card, marker 200 px", 200.0), ("card, marker 60 px", 60.0)):
        scene = make_scene(
            [cards["field"]],
            rng,
            shape=shape,
            side_range_px=(side, side * 1.01),
            max_tilt_deg=25,
            look=look,
            p_hidden=0.0,
        )
        out |= _times(name, scene.jpeg, list(cards.values()), n_cards=1)
    ground = make_scene([], rng, shape=shape, side_range_px=(24, 25), look=look)
    return out | _times("no card", ground.jpeg, list(cards.values()), n_cards=0)


def _times(name: str, jpeg: bytes, cards: list[CardDefinition], n_cards: int) -> dict[str, float]:
    """Decode and search one photo, timed."""
    img: NDArray[np.uint8] = simplejpeg.decode_jpeg(jpeg)
    assert len(find_cards(img, cards).cards) == n_cards, name
    decode_s = median_cpu(lambda: simplejpeg.decode_jpeg(jpeg))
    find_s = median_cpu(lambda: find_cards(img, cards))
    return {
        f"{name}: decode ms": 1e3 * decode_s,
        f"{name}: find ms": 1e3 * find_s,
        f"{name}: find / decode": find_s / decode_s,
    }


def summarise(scenes: list[dict[str, Any]], grounds: list[dict[str, Any]]) -> dict[str, Any]:
    """Figures of all scenes and grounds."""
    rows = [row for s in scenes for row in s["rows"]]
    clear = [r for r in rows if r["n_clear"] >= 2]
    missed = [r for r in clear if not r["found"]]
    marker = np.array([v for r in clear for v in r["marker_px"]])
    good = np.array([v for r in clear if r["good"] for v in r["marker_px"]])
    z = np.array([v for r in clear for v in r["marker_z"]])
    outer = np.array([v for r in clear for v in r["outer_px"]])
    outer_good = np.array([v for r in clear if r["good"] for v in r["outer_px"]])
    unclear = [r for r in rows if r["n_clear"] < 2]
    return {
        "scenes": len(scenes),
        "cards with 2 clear markers": len(clear),
        "found of these": len(clear) - len(missed),
        "recall": 1 - len(missed) / max(len(clear), 1),
        "recall, one card in the photo": _recall([r for r in clear if r["n_cards"] == 1]),
        "recall, several cards": _recall([r for r in clear if r["n_cards"] > 1]),
        "missed, by side px": Counter(f"{r['side_px'] // 10 * 10:.0f}+" for r in missed),
        "cards less clear, found": f"{sum(r['found'] for r in unclear)} of {len(unclear)}",
        "false finds in scenes": sum(s["n_false"] for s in scenes),
        "marker corners px, median (blur <= 1, contrast >= 50 %)": _median(good),
        "marker corners px, median": _median(marker),
        "marker corners px, 95th": _p95(marker),
        "card's outer corners px, median (blur <= 1, contrast >= 50 %)": _median(outer_good),
        "card's outer corners px, 95th": _p95(outer),
        "corner error / stated u, root mean square": float(np.sqrt(np.mean(z**2))),
        "corner coordinates within 1.96 u": float(np.mean(np.abs(z) <= 1.96)),
        "card-free photos": len(grounds),
        "false finds there": sum(g["n_false"] for g in grounds),
        "markers named there": sum(g["n_others"] for g in grounds),
        "false finds there, dense dictionary": sum(g["n_false_dense"] for g in grounds),
        "markers named there, dense dictionary": sum(g["n_others_dense"] for g in grounds),
    }


def _recall(rows: list[dict[str, Any]]) -> str:
    """Found of all, in words."""
    return f"{sum(r['found'] for r in rows)} of {len(rows)}"


def _median(values: NDArray[np.float64]) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _p95(values: NDArray[np.float64]) -> float:
    return float(np.percentile(values, 95)) if len(values) else float("nan")


def main(argv: list[str] | None = None) -> int:
    """Run, print the figures, write them as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=200)
    parser.add_argument("--grounds", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--no-timing", action="store_true")
    args = parser.parse_args(argv)
    with ProcessPoolExecutor(args.workers) as pool:
        scenes = list(pool.map(partial(score_scene), range(args.scenes)))
        grounds = list(pool.map(partial(score_ground), range(args.grounds)))
    figures = summarise(scenes, grounds)
    if not args.no_timing:
        figures |= time_24_mp()
    for name, value in figures.items():
        shown = f"{value:.3f}" if isinstance(value, float) else str(value)
        print(f"{name:<66} {shown}")
    CACHE.mkdir(parents=True, exist_ok=True)
    (CACHE / "finding.json").write_text(json.dumps(figures, indent=1, default=str))
    for s in scenes:
        for row in s["rows"]:
            if row["n_clear"] >= 2 and not row["found"]:
                print(f"missed: scene {s['scene']}, {row['card']}, side {row['side_px']:.0f} px")
    return 0


if __name__ == "__main__":
    sys.exit(main())
