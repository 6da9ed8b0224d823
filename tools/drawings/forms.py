"""Whole colonies, seen from the side: how they stand on the sea floor."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

from pen import (
    BODY,
    DEEP,
    FINE,
    GROUND,
    HEAVY,
    MIDDLE,
    PALE,
    ROCK,
    SHADE,
    Picture,
    Point,
    draws,
    ring,
    smoothed,
)

UP = -1j


def dome(x: float, half: float, high: float, n: int = 9, base: float = GROUND) -> list[Point]:
    """Return the upper outline of a dome on the ground, from left to right."""
    angles = [math.pi * (1.0 - k / (n - 1)) for k in range(n)]
    return [complex(x + half * math.cos(a), base + 2 - high * math.sin(a)) for a in angles]


def arc(n: int) -> list[float]:
    """Return n + 1 angles from 0 to half a turn."""
    return [math.pi * k / n for k in range(n + 1)]


def speckle(p: Picture, outline: list[Point], pitch: float, r: float, centre: float = 0.0) -> None:
    """Set cups over the inside of an outline, with a dot of radius `centre` in each."""
    rise = pitch * 0.85
    for row in range(int(120 / rise)):
        for column in range(int(170 / pitch)):
            at = complex(column * pitch + (row % 2) * pitch / 2, row * rise) + p.jitter(
                pitch * 0.14
            )
            if is_inside(at, outline, r + 4.0):
                at += p.jitter(min(1.1, pitch * 0.14))
                p.oval(at, r, fill=PALE)
                if centre:
                    p.dots([at], centre)


def is_inside(at: Point, outline: list[Point], margin: float = 0.0) -> bool:
    """Say whether a point lies within an outline and not too near to it."""
    turns = 0.0
    near = math.inf
    for a, b in zip(outline, [*outline[1:], outline[0]], strict=True):
        turns += cmath.phase((b - at) / (a - at)) if at not in (a, b) else 0.0
        t = max(0.0, min(1.0, ((at - a) / (b - a)).real)) if b != a else 0.0
        near = min(near, abs(at - (a + t * (b - a))))
    return abs(turns) > math.pi and near >= margin


@draws("growth_form", "branching")
def branching(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = []

    def grow(at: Point, angle: float, length: float, width: float, depth: int) -> None:
        tip = at + cmath.rect(length, angle)
        bend = (at + tip) / 2 + cmath.rect(length * 0.08, angle + math.pi / 2)
        limbs.append(([at, bend, tip], width))
        if depth:
            spread = 0.42 + 0.06 * depth
            for side in (-1, 1):
                turn = side * spread + p.random.uniform(-0.12, 0.12)
                grow(tip, angle + turn, length * 0.78, width * 0.86, depth - 1)

    for angle, length in ((-2.35, 33), (-1.6, 36), (-0.82, 33)):
        grow(complex(80, 106), angle, length, 8.5, 2 if angle == -1.6 else 1)
    p.limbs(limbs)
    p.ground()


@draws("growth_form", "bushy")
def bushy(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = []
    for k in range(12):
        angle = math.pi * (1.03 + 0.94 * k / 11)
        mid = complex(80, 104) + complex(38 * math.cos(angle), 44 * math.sin(angle))
        limbs.append(([complex(80, 106), mid], 3.6))
        for side in (-0.1, 0.03, 0.13):
            turned = angle + side
            reach = 1.0 + p.random.uniform(-0.14, 0.03)
            tip = complex(80, 104) + reach * complex(64 * math.cos(turned), 86 * math.sin(turned))
            limbs.append(([mid, (mid + tip) / 2 + p.jitter(1.5), tip], 3.2))
    p.limbs(limbs, outline=1.6)
    p.ground()


@draws("growth_form", "corymbose")
def corymbose(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = [([80 + 110j, 80 + 96j], 26.0)]
    for k in range(12):
        x = 13 + 12.2 * k
        lean = (x - 80) / 67
        top = 40 + 13 * lean**2 + p.random.uniform(-1.5, 1.5)
        lower = [complex(80 + 6 * lean, 100), complex(80 + 52 * lean, 84 - 8 * lean**2)]
        limbs.append(([*lower, complex(x, top + 16), complex(x, top)], 6.6))
    p.limbs(limbs, outline=2.0)
    p.curve([50 + 82j, 80 + 88j, 110 + 82j], 9.0, BODY)
    p.curve([68 + 93j, 80 + 97j, 92 + 93j], 14.0, BODY)
    p.ground()


@draws("growth_form", "digitate")
def digitate(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = [([26 + 106j, 134 + 106j], 18.0)]
    for k in range(7):
        lean = (k - 3) / 3
        high = 50 - 14 * lean**2 + p.random.uniform(-4, 4)
        root = complex(80 + 50 * lean, 98)
        limbs.append(([root, complex(root.real + 8 * lean, 100 - high)], 13.5))
    p.limbs(limbs, outline=2.2)
    p.ground()


@draws("growth_form", "tabular")
def tabular(p: Picture) -> None:
    foot = smoothed([64 + 112j, 68 + 92j, 60 + 78j, 34 + 66j])
    p.area([*foot, *[complex(160 - z.real, z.imag) for z in reversed(foot)]], is_smooth=False)
    lets = [
        ([complex(x, 60), complex(x + (x - 80) / 40, 47 + p.random.uniform(-1, 1))], 4.0)
        for x in range(12, 152, 8)
    ]
    p.limbs([*lets, ([11 + 62j, 149 + 62j], 8.0)], outline=1.9)
    p.ground()


@draws("growth_form", "bottlebrush")
def bottlebrush(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = []
    for foot, tip in ((66 + 106j, 24 + 34j), (80 + 106j, 82 + 14j), (94 + 106j, 138 + 36j)):
        way = (tip - foot) / abs(tip - foot)
        limbs.append(([foot, tip], 5.0))
        for k in range(3, 14):
            at = foot + (tip - foot) * k / 14
            for side in (-1, 1):
                turn = cmath.rect(1.0, side * 1.0)
                limbs.append(([at, at + way * turn * 10.5], 3.0))
    p.limbs(limbs, outline=1.7)
    p.ground()


@draws("growth_form", "columnar")
def columnar(p: Picture) -> None:
    for x, top, width in ((34, 50, 21), (126, 42, 22), (64, 24, 23), (97, 32, 22)):
        p.limbs([([complex(x, 106), complex(x + 1, (106 + top) / 2), complex(x, top)], width)])
        for y in range(top, 104, 10):
            shift = 5 if (y - top) // 10 % 2 else 0
            p.dots([complex(x - 6 + shift, y), complex(x + 3 + shift, y + 1)], 1.1)
    p.ground()


@draws("growth_form", "massive")
def massive(p: Picture) -> None:
    outline = dome(80, 66, 88)
    p.area([*outline, 140 + 118j, 20 + 118j])
    speckle(p, outline, 14, 3.4)
    p.ground()


@draws("growth_form", "submassive")
def submassive(p: Picture) -> None:
    outline = [14 + 110j, 13 + 88j, 24 + 74j, 36 + 62j, 44 + 40j, 58 + 38j, 66 + 58j, 76 + 54j]
    outline += [80 + 34j, 93 + 27j, 103 + 42j, 104 + 60j, 114 + 56j, 123 + 48j, 135 + 56j]
    outline += [138 + 76j, 147 + 92j, 147 + 110j]
    p.area([*outline, 140 + 118j, 20 + 118j])
    speckle(p, outline, 13, 2.6)
    p.ground()


@draws("growth_form", "encrusting")
def encrusting(p: Picture) -> None:
    top = [4 + 100j, 14 + 84j, 30 + 70j, 46 + 72j, 60 + 58j, 78 + 44j, 96 + 52j, 112 + 74j]
    top += [128 + 72j, 144 + 84j, 156 + 102j]
    p.area([*top, 162 + 130j, -2 + 130j], ROCK, MIDDLE)
    under = [z + 7j for z in top[1:-1]]
    p.area([*[z - 2j for z in top[1:-1]], 141 + 94j, *reversed(under[1:-1]), 17 + 93j])
    p.dots(
        [z + 2.5j for z in top[1:-1]] + [(a + b) / 2 + 1.6j for a, b in pairwise(top[1:-1])],
        1.3,
    )


@draws("growth_form", "laminar")
def laminar(p: Picture) -> None:
    for y, reach in ((92, 112), (64, 150), (36, 128)):
        upper = smoothed([complex(6, y - 2), complex(60, y - 9), complex(reach - 14, y - 8)])
        lower = smoothed([complex(reach - 14, y + 1), complex(60, y + 1), complex(6, y + 14)])
        end = [complex(reach - 4, y - 6.5), complex(reach, y - 3.5), complex(reach - 4, y - 0.5)]
        p.area([*upper, *end, *lower], is_smooth=False)
        p.dots([complex(x, y - 4) for x in range(50, reach - 10, 11)], 1.3)
    p.area([-8 + 140j, -8 - 20j, 22 - 20j, 26 + 20j, 36 + 38j, 30 + 62j, 40 + 84j, 46 + 140j], ROCK)


@draws("growth_form", "foliaceous")
def foliaceous(p: Picture) -> None:
    def leaf(foot: Point, left: Point, right: Point, fill: str) -> None:
        def edge(t: float) -> Point:
            wave = 3.0 * math.sin(19.0 * t) - 10.0 * math.sin(math.pi * t)
            return left + (right - left) * t + 1j * wave

        top = [edge(k / 24) for k in range(25)]
        sides = [(left + foot) / 2 - 3 + 6j, (right + foot) / 2 + 3 + 6j]
        outline = [
            *smoothed([foot - 4, sides[0], left]),
            *top,
            *smoothed([right, sides[1], foot + 4]),
        ]
        p.area(outline, fill, is_smooth=False)
        for t in (0.25, 0.5, 0.75):
            tip = edge(t)
            p.line([foot + (tip - foot) * 0.5, foot + (tip - foot) * 0.86])

    leaf(78 + 106j, 40 + 34j, 84 + 24j, SHADE)
    leaf(84 + 106j, 78 + 26j, 122 + 36j, SHADE)
    leaf(70 + 109j, 8 + 62j, 50 + 40j, BODY)
    leaf(92 + 109j, 110 + 42j, 152 + 62j, BODY)
    leaf(72 + 111j, 34 + 66j, 80 + 54j, BODY)
    leaf(88 + 111j, 80 + 56j, 124 + 66j, BODY)
    p.ground()


def radiating(p: Picture, c: Point, rx: float, ry: float, n: int) -> None:
    """Draw septa from the middle to the rim of a disc that is seen aslant."""
    inner, outer = ring(c, rx * 0.13, ry * 0.13, n), ring(c, rx * 0.93, ry * 0.93, n)
    for k, (a, b) in enumerate(zip(inner, outer, strict=True)):
        p.line([a if k % 2 == 0 else (a + b) / 2, b])


@draws("growth_form", "disc")
def disc(p: Picture) -> None:
    p.ground(84)
    p.oval(80 + 86j, 66, 26, SHADE, HEAVY)
    p.oval(80 + 79j, 66, 26, BODY, HEAVY)
    radiating(p, 80 + 79j, 66, 26, 44)
    p.oval(80 + 79j, 7, 2.2, DEEP)


@draws("growth_form", "free_living_dome")
def free_living_dome(p: Picture) -> None:
    p.ground(94)
    outline = dome(80, 64, 78, 13, base=94)
    hollow = [complex(80 + 50 * math.cos(a), 108 - 14 * math.sin(a)) for a in arc(12)]
    p.area([*outline, 143 + 104j, 136 + 108j, *hollow, 24 + 108j, 17 + 104j])
    p.area(hollow, DEEP, is_smooth=False)
    middle = 80 + 60j
    for at in (middle, 48 + 70j, 112 + 70j, 64 + 42j, 98 + 44j, 82 + 82j, 32 + 88j, 128 + 88j):
        for a, b in zip(ring(at, 3, 2, 10), ring(at, 11, 7.5, 10), strict=True):
            p.line([a, b])


@draws("growth_form", "elongate")
def elongate(p: Picture) -> None:
    p.ground(84)
    p.oval(80 + 87j, 72, 22, SHADE, HEAVY)
    p.oval(80 + 80j, 72, 22, BODY, HEAVY)
    for k in range(-16, 17):
        x, lean = 80 + 4.1 * k, 0.1 * k
        reach = 20.5 * math.sqrt(max(0.0, 1 - ((x - 80) / 70) ** 2))
        p.line([complex(x, 77.5), complex(x + lean, 80 - reach)])
        p.line([complex(x, 82.5), complex(x + lean, 80 + reach)])
    p.line([14 + 80j, 146 + 80j], 4.0)


@draws("growth_form", "cup")
def cup(p: Picture) -> None:
    side = smoothed([25 + 42j, 36 + 66j, 60 + 86j, 66 + 114j])
    p.area([*side, *[complex(160 - z.real, z.imag) for z in reversed(side)]], is_smooth=False)
    for k in range(-3, 4):
        p.curve(
            [
                complex(80 + 12.0 * k, 67 - k * k * 0.7),
                complex(80 + 9.0 * k, 80 - k * k * 0.4),
                complex(80 + 3.2 * k, 98),
            ]
        )
    p.oval(80 + 42j, 55, 19, PALE, HEAVY)
    p.oval(80 + 44j, 45, 14, SHADE, FINE)
    for a, b in zip(ring(80 + 46j, 16, 4.5, 30), ring(80 + 42j, 53, 18, 30), strict=True):
        p.line([a, b])
    p.oval(80 + 46j, 11, 3, DEEP)
    p.ground()


@draws("attachment", "attached")
def attached(p: Picture) -> None:
    rock = [-8 + 94j, 20 + 86j, 44 + 92j, 80 + 84j, 116 + 90j, 140 + 84j, 168 + 94j]
    p.area([*rock, 168 + 140j, -8 + 140j], ROCK, HEAVY)
    outline = [14 + 97j, 24 + 88j, 32 + 62j, 52 + 34j, 80 + 24j, 108 + 34j, 128 + 62j, 136 + 88j]
    outline += [146 + 96j, 118 + 99j, 80 + 95j, 44 + 100j]
    p.area(outline)
    speckle(p, outline, 14, 3.4)
    for x in (12, 40, 68, 96, 124, 150):
        p.line([complex(x, 106), complex(x - 7, 116)])


@draws("attachment", "free_living")
def free_living(p: Picture) -> None:
    p.ground(96)
    p.oval(84 + 106j, 62, 7, DEEP, 0)
    for k in range(9):
        p.oval(complex(12 + 17 * k, 113 + 3 * (k % 2)), 3.2, 2.0, PALE)
    tilt = -0.26
    p.oval(80 + 80j, 62, 27, SHADE, HEAVY, tilt)
    p.oval(78 + 72j, 62, 27, BODY, HEAVY, tilt)
    spin = cmath.rect(1.0, tilt)
    middle = 78 + 72j
    for k, (a, b) in enumerate(zip(ring(0j, 8, 3.5, 40), ring(0j, 57, 24.5, 40), strict=True)):
        p.line([middle + spin * (a if k % 2 == 0 else (a + b) / 2), middle + spin * b])
    p.oval(middle, 7, 2.6, DEEP, FINE, tilt)


@draws("coloniality", "solitary")
def one_polyp(p: Picture) -> None:
    cup(p)


@draws("coloniality", "colonial")
def many_polyps(p: Picture) -> None:
    outline = dome(80, 66, 86)
    p.area([*outline, 140 + 118j, 20 + 118j])
    speckle(p, outline, 19, 6.6, 1.8)
    p.ground()
