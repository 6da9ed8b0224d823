"""
How the light goes on beyond the card: the rule for the field there, and the doubt it leaves.

Run by hand from the root of the checkout::

    python tools/light_beyond_card.py

Seeded; some seconds. It lights a flat, matt reef square to the camera with one or two lamps beside
the lens (inverse square, cosine, a beam of some width, water's attenuation along both ways, on top
of a share of daylight) or with daylight alone (a broad gradient, soft shade, caustics), lays a card
of one of three sizes somewhere into the frame, fits a log-linear field to 36 points of it as
`fit_greys` does and a bend and a curvature to 16 of them as `measure_bend` does, and looks at the
logarithm of the light elsewhere. Printed: the error left by each rule of carrying the field on, by
distance in half diagonals of the card, and the constants of the doubt that
`dryslate.core.colour.light` states. Nothing is measured here on real reefs: ranges of
beam, distance and share of daylight are judgements about how people take such photos.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from dryslate.core.colour.light import RIPPLE_FACTOR, measure_bend, measure_ripple

FloatArray = NDArray[np.float64]

N_PHOTOS, N_PLAY = 6000, 750
SLOPE_SPREAD, NOISE = 0.25, 0.03
GROUND_NOISE, N_GROUND = 0.01, 16
NEAREST = 1.5
HALF_DIAGONALS_M = (0.129, 0.090, 0.031)
RULES = (
    (0.0, 0.0), (1.0, 1.0), (1.15, 1.15), (1.0, 1.5), (1.0, 2.0), (1.0, 3.0), (1.5, 1.5),
    (3.0, 3.0), (99.0, 99.0),
)  # fmt: skip
"""How many times its span on the card the field may rise above, and fall below, its centre."""
RULE = (1.0, 2.0)
N_ROUNDS = 6
SLOPES = (0.02, 0.06, 0.12, 0.25)
CURVATURES = (0.015, 0.03, 0.06, 0.12)
DISTANCES = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0)


@dataclass(frozen=True)
class Photo:
    """Fitted and true logarithm of light at points of one photo, relative to the card."""

    kind: str
    slope: FloatArray
    place: FloatArray
    truth: FloatArray
    on_card: FloatArray
    bend: float = 0.0
    curvature: float = 0.0
    ripple: float = 0.0

    def field(self, place: FloatArray) -> FloatArray:
        """Fitted logarithm of light at places, zero in the mean over the card."""
        square = (place * place).sum(axis=1)
        level = float((self.on_card * self.on_card).sum(axis=1).mean())
        return np.asarray(place @ self.slope + self.bend * (square - level))

    def held(self, rule: tuple[float, float]) -> FloatArray:
        """Fitted logarithm of light at the photo's points, held by a rule."""
        bright, dim = rule
        on_card = self.field(self.on_card)
        low, high = dim * float(on_card.min()), bright * float(on_card.max())
        return np.clip(self.field(self.place), low, high)


def _lamps(xy: FloatArray, stand_off: float, rng: np.random.Generator) -> FloatArray:
    """Light of one or two lamps on points of the reef plane, in metres about the axis."""
    total = np.zeros(len(xy))
    arm = rng.uniform(0.08, 0.45)
    angle = rng.uniform(0.0, 2.0 * np.pi)
    n = int(rng.integers(1, 3))
    for i in range(n):
        side = np.array([np.cos(angle + np.pi * i), np.sin(angle + np.pi * i)])
        lamp = np.append(arm * side * rng.uniform(0.8, 1.2), rng.uniform(-0.1, 0.15) * stand_off)
        aim = np.append(rng.normal(0, 0.15, 2) * stand_off, stand_off) - lamp
        ray = np.column_stack([xy, np.full(len(xy), stand_off)]) - lamp
        way = np.linalg.norm(ray, axis=1)
        off_axis = np.arccos(np.clip(ray @ aim / (way * np.linalg.norm(aim)), -1.0, 1.0))
        beam = np.deg2rad(rng.uniform(30.0, 60.0))  # half width at half power
        shape = np.exp(-np.log(2.0) * (off_axis / beam) ** 2)
        power = rng.uniform(0.5, 1.0) if n == 2 else 1.0
        total += power * shape * ray[:, 2] / way**3 * np.exp(-rng.uniform(0.05, 0.4) * way)
    return np.asarray(total)


def _daylight(xy: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Daylight: a broad gradient, one edge of soft shade, and waves of caustics."""
    log_light = xy @ (rng.normal(0, 0.25, 2))  # per metre: slope and turn of the reef
    if rng.random() < 0.35:
        way = rng.uniform(0, 2 * np.pi)
        across = xy @ [np.cos(way), np.sin(way)] - rng.uniform(-0.6, 0.6)
        log_light = log_light + np.log(
            1.0 - rng.uniform(0.2, 0.7) / (1.0 + np.exp(-across / rng.uniform(0.05, 0.3)))
        )
    strength = rng.choice([0.0, 0.0, 0.05, 0.12])
    for _ in range(4):
        wave = rng.normal(0, 1, 2)
        wave *= 2 * np.pi / rng.uniform(0.15, 0.8) / np.linalg.norm(wave)
        log_light = log_light + strength * 0.7 * np.sin(xy @ wave + rng.uniform(0, 2 * np.pi))
    return np.asarray(np.exp(log_light))


def reef_light(xy: FloatArray, stand_off: float, kind: str, rng: np.random.Generator) -> FloatArray:
    """Light on points of the reef plane, in metres about the camera's axis."""
    light = _daylight(xy, rng)
    if kind == "flash":
        lamps = _lamps(xy, stand_off, rng)
        share = float(rng.choice([0.0, 0.05, 0.2, 0.5]))
        light = lamps / lamps.max() + share * light / light.max()
    return light


def play_of_light(xy: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Bright wandering lines that waves throw on a shallow bottom: skewed, narrower than a card."""
    length = rng.uniform(0.06, 0.4)
    fields = []
    for scale in (1.0, 0.5):
        wave = rng.normal(0, 1, (20, 2))
        wave *= (2 * np.pi / (scale * length * rng.uniform(0.7, 1.4, 20)))[:, None] / (
            np.linalg.norm(wave, axis=1)[:, None]
        )
        fields.append(np.sin(xy @ wave.T + rng.uniform(0, 2 * np.pi, 20)).sum(axis=1) / 3.16)
    lines = np.exp(-rng.uniform(1.0, 3.0) * (np.abs(fields[0]) + 0.4 * np.abs(fields[1])))
    strength = rng.uniform(0.1, 1.2)
    return np.asarray(1.0 + strength * lines)


def take_photo(rng: np.random.Generator, *, has_play: bool = False) -> Photo:
    """Light a reef, lay a card into it and fit the field on the card."""
    half = HALF_DIAGONALS_M[int(rng.choice(3, p=[0.3, 0.55, 0.15]))]
    stand_off = float(rng.uniform(0.3, 1.5)) * (0.5 if half < 0.05 else 1.0)
    width, height = 1.1 * stand_off, 0.8 * stand_off  # about 28 mm by 35 mm film, in water
    room = np.array([max(width / 2 - half, 0.02), max(height / 2 - 0.7 * half, 0.02)])
    centre = rng.uniform(-room, room)
    turn = rng.uniform(0, np.pi)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    grid = np.stack(np.meshgrid(np.linspace(-0.78, 0.78, 9), np.linspace(-0.5, 0.5, 4)), -1)
    on_card = grid.reshape(-1, 2) @ axes * half + centre
    elsewhere = rng.uniform([-width / 2, -height / 2], [width / 2, height / 2], size=(60, 2))
    xy = np.vstack([on_card, elsewhere])
    kind = "flash" if rng.random() < 0.5 else "daylight"
    if has_play:
        kind = "daylight"
    log_light = np.log(reef_light(xy, stand_off, kind, rng))
    if has_play:
        log_light = log_light + np.log(play_of_light(xy, rng))
    place = (xy - centre) / half
    n = len(on_card)
    seen = log_light[:n] + rng.normal(0, NOISE, n)
    design = np.column_stack([place[:n], np.ones(n)])
    precision = design.T @ design / NOISE**2 + np.diag([SLOPE_SPREAD**-2.0] * 2 + [1e-6])
    found = np.linalg.solve(precision, design.T @ seen / NOISE**2)
    ground = np.linspace(0, n - 1, N_GROUND).round().astype(int)
    seen_there = log_light[ground] + rng.normal(0, GROUND_NOISE, N_GROUND)
    bend, curvature = measure_bend(place[ground], seen_there)
    square = (place[ground] ** 2).sum(axis=1)
    ripple = measure_ripple(place[ground], seen_there - bend * square)
    return Photo(
        kind=kind,
        slope=found[:2],
        place=place[n:],
        truth=log_light[n:] - found[2],
        on_card=place[:n],
        bend=bend,
        curvature=curvature,
        ripple=ripple,
    )


def errors_of(photo: Photo, rule: tuple[float, float]) -> FloatArray:
    """Error of the logarithm of light where the field is held by a rule."""
    return np.asarray(photo.held(rule) - photo.truth)


def _far(photos: list[Photo]) -> FloatArray:
    """Distances of the points, in half diagonals."""
    return np.concatenate([np.linalg.norm(p.place, axis=1) for p in photos])


def _print_rules(photos: list[Photo]) -> None:
    """Spread of the error by rule and distance: the 95th percentile over 1.96, and the median."""
    far = _far(photos)
    straight = [replace(p, bend=0.0) for p in photos]
    for kind in ("flash", "daylight"):
        mine = np.concatenate([np.full(len(p.truth), p.kind == kind) for p in photos])
        print(f"{kind}: |error|, 95th over 1.96 and median, at {DISTANCES} half diagonals")
        for name, some, rules in (("bent", photos, RULES), ("straight", straight, (RULE,))):
            for rule in rules:
                error = np.abs(np.concatenate([errors_of(p, rule) for p in some]))
                at = [error[mine & (np.abs(np.log(far / d)) < 0.15)] for d in DISTANCES]
                print(
                    f"  {name}, held at {rule[0]:5.2f} and {rule[1]:5.2f} times:",
                    " ".join(f"{np.quantile(e, 0.95) / 1.96:.3f}" for e in at),
                    "|",
                    " ".join(f"{np.median(e):.3f}" for e in at),
                )


def tabulate(photos: list[Photo], rule: tuple[float, float]) -> FloatArray:
    """
    Doubt of the logarithm of light by slope, curvature and distance, on top of the ripple.

    At each knot the table is the factor on its own last round that holds the wanted share of the
    errors near there: points between knots are judged by what the table says of them, not by a
    knot that is too wide or too narrow for them. The fitted slope's own error is in it.
    """
    far = _far(photos)
    slope = _each(photos, [float(np.linalg.norm(p.slope)) for p in photos])
    curvature = _each(photos, [p.curvature for p in photos])
    ripple = _each(photos, [RIPPLE_FACTOR * p.ripple for p in photos])
    error = np.concatenate([errors_of(p, rule) for p in photos])
    wanted = np.sqrt(np.maximum((error / 1.96) ** 2 - ripple**2, 0.0))
    shape = (len(SLOPES), len(CURVATURES), len(DISTANCES))
    table = np.broadcast_to(0.03 * np.array(DISTANCES), shape)
    for _ in range(N_ROUNDS):
        ratio = wanted / np.concatenate([steady_at(p, table) for p in photos])
        order = np.argsort(ratio)
        factor = np.ones(shape)
        for i, j, k in np.ndindex(*shape):
            weight = (
                _near(slope, SLOPES[i], 0.4, SLOPES)
                * _near(curvature, CURVATURES[j], 0.4, CURVATURES)
                * np.exp(-0.5 * (np.log(far / DISTANCES[k]) / 0.15) ** 2)
            )
            total = np.cumsum(weight[order])
            factor[i, j, k] = ratio[order][np.searchsorted(total, 0.95 * total[-1])]
        table = np.maximum.accumulate(np.maximum(table * factor, 0.002), axis=2)
    return np.asarray(table)


def _each(photos: list[Photo], values: list[float]) -> FloatArray:
    """One value a photo, repeated for each of its points."""
    return np.repeat(values, [len(p.truth) for p in photos])


def _near(values: FloatArray, knot: float, width: float, knots: tuple[float, ...]) -> FloatArray:
    """Weight by how near values are to a knot; what lies beyond the ends counts as near them."""
    held = np.clip(values, 0.75 * knots[0], 1.4 * knots[-1])
    return np.asarray(np.exp(-0.5 * (np.log(held / knot) / width) ** 2))


def steady_at(photo: Photo, table: FloatArray) -> FloatArray:
    """What the table states at a photo's points."""
    by_slope = [np.interp(float(np.linalg.norm(photo.slope)), SLOPES, r) for r in np.eye(4)]
    by_curvature = [np.interp(photo.curvature, CURVATURES, r) for r in np.eye(4)]
    row = np.einsum("i,j,ijk->k", by_slope, by_curvature, table)
    far = np.linalg.norm(photo.place, axis=1)
    return np.interp(far, (0.0, *DISTANCES), np.concatenate([[0.0], row]))


def doubt_at(photo: Photo, table: FloatArray, factor: float) -> FloatArray:
    """Stated doubt at a photo's points, with some factor of the ripple."""
    return np.asarray(np.hypot(steady_at(photo, table), factor * photo.ripple))


def _print_coverage(photos: list[Photo], table: FloatArray, rule: tuple[float, float]) -> None:
    """Share of points inside 1.96 times the doubt, on photos not used for the table."""
    edges = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 4.0)
    for name in ("flash", "daylight", "both"):
        mine = [p for p in photos if name in (p.kind, "both")]
        inside = np.concatenate(
            [np.abs(errors_of(p, rule)) < 1.96 * doubt_at(p, table, RIPPLE_FACTOR) for p in mine]
        )
        far = _far(mine)
        shares = [inside[(far >= a) & (far < b)].mean() for a, b in pairwise(edges)]
        print(
            f"{name}: {inside[far < 2.5].mean():.3f} within 1.96 u up to 2.5 half diagonals; "
            f"between {edges}:",
            " ".join(f"{share:.3f}" for share in shares),
        )


def held_by(
    photos: list[Photo], table: FloatArray, factor: float, reach: float = 4.0
) -> FloatArray:
    """Share of points up to some half diagonals inside 1.96 times the doubt, photo by photo."""
    shares = []
    for photo in photos:
        near = np.linalg.norm(photo.place, axis=1) < reach
        if near.any():
            inside = np.abs(errors_of(photo, RULE)) < 1.96 * doubt_at(photo, table, factor)
            shares.append(float(inside[near].mean()))
    return np.array(shares)


def _print_ripple(rng: np.random.Generator, table: FloatArray) -> None:
    """Find the factor of the ripple on one half of the photos; print what it holds of others."""
    one, two = ([take_photo(rng, has_play=True) for _ in range(N_PLAY)] for _ in range(2))
    factors = np.arange(0.0, 3.01, 0.05)
    held = np.array([held_by(one, table, f, NEAREST).mean() for f in factors])
    factor = float(factors[np.argmax(held >= 0.95)])
    print(
        f"play of light: factor of the ripple {factor:.2f} (held up to {NEAREST} half diagonals); "
        "on photos not used for it:"
    )
    ripple = np.array([p.ripple for p in two])
    edges = np.quantile(ripple, [0.0, 0.25, 0.5, 0.75, 1.0])
    for low, high in pairwise(edges):
        part = [p for p in two if low <= p.ripple <= high]
        print(
            f"  ripple {low:.3f} to {high:.3f}: {held_by(part, table, 0.0).mean():.3f} held "
            f"without it, {held_by(part, table, factor).mean():.3f} with it; nearest "
            f"{held_by(part, table, 0.0, NEAREST).mean():.3f} and "
            f"{held_by(part, table, factor, NEAREST).mean():.3f}"
        )


def main() -> None:
    """Print the rules, the table and what it holds of other photos."""
    rng = np.random.default_rng(5)
    photos = [take_photo(rng) for _ in range(N_PHOTOS)]
    _print_rules(photos)
    table = tabulate(photos, RULE)
    print(
        f"doubt by slope {SLOPES}, curvature {CURVATURES} (rows) and distance {DISTANCES}, "
        f"field held at {RULE}:"
    )
    for part in table:
        print("        (")
        for row in part:
            print("            (" + ", ".join(f"{v:.3f}" for v in row) + "),")
        print("        ),")
    _print_coverage([take_photo(rng) for _ in range(N_PHOTOS)], table, RULE)
    _print_ripple(np.random.default_rng(6), table)


if __name__ == "__main__":
    main()
