"""The surface between the cups and how far they stand out of it."""

from __future__ import annotations

import cmath
import math

from arrangements import mount
from cups import calice, hexagons, hole, honeycomb, section
from pen import (
    BODY,
    DEEP,
    FINE,
    MIDDLE,
    PALE,
    SHADE,
    Picture,
    Point,
    draws,
    lattice,
    rays,
)

LEVEL = 62.0
"""Height of the surface in cuts."""


def cut(p: Picture, cup: list[Point]) -> None:
    """Draw a cut through a surface with three cups, of which half an outline is given."""
    top: list[Point] = [complex(-10, LEVEL)]
    for x in (28, 80, 132):
        half = [complex(-z.real, z.imag) for z in reversed(cup)]
        top += [complex(x, LEVEL) + z for z in [*cup, *half]]
        floor = LEVEL + cup[-1].imag
        wall = abs(cup[-1].real)
        for k in (-0.6, 0.0, 0.6):
            high = 9 if k else 5
            p.area(
                [
                    complex(x + k * wall - 1.6, floor + 2),
                    complex(x + k * wall - 1.6, floor - high),
                    complex(x + k * wall + 1.6, floor - high),
                    complex(x + k * wall + 1.6, floor + 2),
                ],
                PALE,
                FINE,
                is_smooth=False,
            )
    section(p, [*top, complex(170, LEVEL)])


@draws("corallite_relief", "immersed")
def immersed(p: Picture) -> None:
    cut(p, [-21 + 0j, -15 + 6j, -11 + 18j, -9 + 36j])


@draws("corallite_relief", "flush")
def flush(p: Picture) -> None:
    cut(p, [-12 + 0j, -10 + 17j])


@draws("corallite_relief", "raised")
def raised(p: Picture) -> None:
    cut(p, [-24 + 0j, -16 - 16j, -10 - 17j, -8 + 2j])


@draws("corallite_relief", "tubular")
def tubular(p: Picture) -> None:
    cut(p, [-15 + 0j, -12 - 6j, -11.5 - 48j, -7.5 - 49j, -7.5 - 26j])


@draws("corallite_orientation", "upright")
def upright(p: Picture) -> None:
    plate(p, 0.0)


@draws("corallite_orientation", "inclined_to_margin")
def inclined(p: Picture) -> None:
    plate(p, 1.05)


def plate(p: Picture, lean: float) -> None:
    """Draw the edge of a plate in a cut, with cups that lean towards it so far."""
    way = cmath.rect(1.0, lean - math.pi / 2)
    for x in (18, 50, 82, 114):
        root = complex(x, 84 - x * 0.06)
        p.limbs([([root, root + way * 26], 17.0)])
        p.oval(root + way * 31, 3.6, 9.4, PALE, MIDDLE, cmath.phase(way))
        p.oval(root + way * 32, 1.9, 5.6, DEEP, FINE, cmath.phase(way))
    p.area(
        [
            -12 + 78j,
            60 + 75j,
            120 + 74j,
            148 + 78j,
            151 + 84j,
            142 + 89j,
            100 + 93j,
            50 + 99j,
            -12 + 103j,
        ]
    )


SEVEN = (80 + 60j, -4 + 60j, 164 + 60j, 38 - 13j, 122 - 13j, 38 + 133j, 122 + 133j)
"""Centres of cups with much surface between them."""


def seven(p: Picture, r: float = 25) -> None:
    """Draw the cups of a surface."""
    for at in SEVEN:
        calice(p, at, r, 20, wall=0.22)
        p.dots([at], 2.6)


def between(points: list[Point], r: float = 27) -> list[Point]:
    """Return the points that lie between the cups."""
    return [z for z in points if min(abs(z - at) for at in SEVEN) > r]


@draws("coenosteum", "none")
def coenosteum_none(p: Picture) -> None:
    p.field(SHADE)
    honeycomb(p, hexagons(p, 56, 3.0), 22, 4.2, 3.6)


@draws("coenosteum", "narrow_groove")
def coenosteum_groove(p: Picture) -> None:
    p.field(DEEP)
    cells = hexagons(p, 56, 3.0)
    inner = []
    for centre, corners in cells:
        p.area([centre + (z - centre) * 0.96 for z in corners], PALE, MIDDLE, is_smooth=False)
        inner.append((centre, [centre + (z - centre) * 0.76 for z in corners]))
    for _, corners in inner:
        p.area(corners, SHADE, FINE, is_smooth=False)
    honeycomb(p, inner, 20, FINE, 3.6)


@draws("coenosteum", "smooth")
def coenosteum_smooth(p: Picture) -> None:
    p.field()
    seven(p)


@draws("coenosteum", "granular_spiny")
def coenosteum_spiny(p: Picture) -> None:
    p.field()
    for z in between([g + p.jitter(1.6) for g in lattice(11.5)], 29):
        p.line([z + 2 - 2.6 + 3j, z - 3.4j, z + 2.6 + 3j], 1.5)
    seven(p)


@draws("coenosteum", "costate")
def coenosteum_costate(p: Picture) -> None:
    p.field()
    for at in SEVEN:
        for k, (start, end) in enumerate(rays(at, 25, 46, 32)):
            rib = [start + (end - start) * t / 12 for t in range(13)]
            own = [
                z
                for z in rib
                if all(abs(z - at) < abs(z - other) - 1 for other in SEVEN if other != at)
            ]
            p.line([own[0], own[-1]] if k % 2 else [own[0], own[len(own) * 2 // 3]], 2.0)
    seven(p)


@draws("coenosteum", "blistered")
def coenosteum_blistered(p: Picture) -> None:
    p.field()
    blisters: list[Point] = []
    for z in between(lattice(13), 26):
        blisters.append(z + p.jitter(0.8))
    p.discs(blisters, 5.7)
    seven(p)


@draws("coenosteum", "reticulate")
def coenosteum_reticulate(p: Picture) -> None:
    p.field()
    for z in between([g + p.jitter(1.0) for g in lattice(10.5)], 28):
        p.dots([z], 3.6 + 0.5 * p.random.randrange(-1, 2), DEEP)
    seven(p)


def slanted(p: Picture, pitch: float = 24) -> list[Point]:
    """Return places over a surface seen aslant, back to front."""
    rows = int(130 / (pitch * 0.6))
    return [
        complex(column * pitch + (row % 2) * pitch / 2 - 4, row * pitch * 0.6) + p.jitter(1.5)
        for row in range(rows + 1)
        for column in range(-1, int(170 / pitch) + 2)
    ]


@draws("elevations", "none")
def elevations_none(p: Picture) -> None:
    p.field()
    for at in slanted(p):
        hole(p, at, 4.4)


def wart(p: Picture, foot: Point, rx: float, high: float) -> None:
    """Draw a rounded bump on a surface seen aslant."""
    p.area(
        [
            foot - rx,
            foot - rx * 0.8 - 1j * high * 0.7,
            foot - 1j * high,
            foot + rx * 0.8 - 1j * high * 0.7,
            foot + rx,
            foot + rx * 0.55 + 1j * rx * 0.36,
            foot + 1j * rx * 0.45,
            foot - rx * 0.55 + 1j * rx * 0.36,
        ],
        BODY,
        MIDDLE,
    )


@draws("elevations", "verrucae")
def verrucae(p: Picture) -> None:
    p.field(SHADE)
    for row in range(4):
        feet = [
            complex(column * 46 + (row % 2) * 23 + 6, 32 + row * 31) + p.jitter(3)
            for column in range(-1, 5)
        ]
        for foot in feet:
            wart(p, foot, 16, 25)
        cups = (-8 - 6j, 1 - 2j, 8 - 9j, -2 - 13j, -7 - 18j, 5 - 19j)
        places = [foot + step for foot in feet for step in cups]
        p.discs(places, 3.2)
        p.dots(places, 2.0)


@draws("elevations", "papillae")
def papillae(p: Picture) -> None:
    p.field()
    for row in range(12):
        for column in range(-1, 14):
            foot = complex(column * 13 + (row % 2) * 6.5, 6 + row * 10.5)
            if row % 3 == 1 and (column + row // 3) % 4 == 0:
                hole(p, foot - 3j, 5.4)
            else:
                foot += p.jitter(1.2)
                bump = [foot - 3.2, foot - 2.4 - 5j, foot - 7.5j, foot + 2.4 - 5j, foot + 3.2]
                p.area(bump, PALE, 1.5, is_smooth=False)


@draws("elevations", "monticules")
def monticules(p: Picture) -> None:
    p.field(SHADE)
    for row in range(4):
        for column in range(-1, 5):
            foot = complex(column * 46 + (row % 2) * 23 + 8, 34 + row * 31) + p.jitter(3)
            hole(p, foot + 23 - 6j, 4.2)
            mount(p, foot)


@draws("elevations", "ridges")
def ridges(p: Picture) -> None:
    p.field(SHADE)
    for y in (14, 44, 74, 104, 134):
        crest = [complex(x, y - 12 + 3 * math.sin(x / 19 + y)) for x in range(-10, 180, 10)]
        foot = [z + 17j for z in crest]
        p.area([*crest, *reversed(foot)], BODY, MIDDLE)
        for z in crest[::1]:
            p.line([z + 5 + 4j, z + 5 + 13j])
        for x in range(4 + y % 3 * 6, 165, 27):
            hole(p, complex(x, y + 11 + 3 * math.sin(x / 19 + y)), 4.4)


def ridge_block(p: Picture, top: list[Point], edges: list[float]) -> None:
    """Draw a ridge between two valleys: its cut in front, its back running away from us."""
    p.field(SHADE)
    left, right = 80 + top[0].real, 80 + top[-1].real
    p.area(
        [
            complex(left - 10, 0),
            complex(right + 10, 0),
            complex(right + 10, 90),
            complex(left - 10, 90),
        ],
        BODY,
        0,
        is_smooth=False,
    )
    for y in range(-4, 80, 7):
        for side, x in ((-1, left), (1, right)):
            p.line([complex(x - side * 2, y), complex(x + side * (26 if y % 2 else 18), y)], 1.5)
    for x in edges:
        p.line([80 + x + 0j, 80 + x + 70j], MIDDLE)
    for x in (6, 154):
        for y in range(4, 80, 14):
            p.dots([complex(x, y)], 1.8)
    line = [
        -10 + 106j,
        8 + 106j,
        complex(left - 14, 98),
        *[80 + 72j + z for z in top],
        complex(right + 14, 98),
        152 + 106j,
        170 + 106j,
    ]
    section(p, line)


@draws("ridge_top", "deep_groove")
def ridge_groove(p: Picture) -> None:
    ridge_block(
        p,
        [
            -32 + 8j,
            -29 - 8j,
            -23 - 12j,
            -15 - 10j,
            -11 + 14j,
            0 + 20j,
            11 + 14j,
            15 - 10j,
            23 - 12j,
            29 - 8j,
            32 + 8j,
        ],
        [-29, -14, 14, 29],
    )
    for x in (69, 91):
        p.line([complex(x, 0), complex(x, 58)], FINE)


@draws("ridge_top", "fine_line")
def ridge_line(p: Picture) -> None:
    ridge_block(
        p,
        [-22 + 8j, -18 - 8j, -10 - 13j, -2.5 - 13j, 0 - 6j, 2.5 - 13j, 10 - 13j, 18 - 8j, 22 + 8j],
        [0],
    )


@draws("ridge_top", "plain")
def ridge_plain(p: Picture) -> None:
    ridge_block(p, [-22 + 8j, -18 - 6j, -10 - 12j, 0 - 14j, 10 - 12j, 18 - 6j, 22 + 8j], [])
