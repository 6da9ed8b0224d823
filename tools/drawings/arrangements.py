"""How cups sit together: from above where they lie in a surface, aslant where they stand free."""

from __future__ import annotations

import cmath
import math

from cups import calice, hexagons, honeycomb, on_outline
from pen import (
    BODY,
    DEEP,
    FINE,
    HEAVY,
    MIDDLE,
    PALE,
    SHADE,
    Picture,
    Point,
    along,
    draws,
    lattice,
    rays,
    ring,
    smoothed,
)


@draws("corallite_arrangement", "plocoid")
def plocoid(p: Picture) -> None:
    p.field()
    for at in lattice(43):
        calice(p, at + 3 + 8j + p.jitter(2.0), 16, 20)
        p.dots([at], 0)


@draws("corallite_arrangement", "cerioid")
def cerioid(p: Picture) -> None:
    p.field(SHADE)
    honeycomb(p, hexagons(p, 36, 3.0), 16, 3.6, 3.0)


def tube(p: Picture, top: Point, rx: float, foot: Point) -> None:
    """Draw an upright tube with an open cup, seen aslant from above."""
    ry = rx * 0.5
    p.area([top - rx, top + rx, foot + rx * 0.8, foot - rx * 0.8], BODY, MIDDLE, is_smooth=False)
    for k in (-0.55, -0.1, 0.4):
        p.line([top + rx * k + 1j * (ry + 3), foot + rx * k * 0.8])
    p.oval(top, rx, ry, PALE, MIDDLE)
    p.oval(top, rx * 0.78, ry * 0.74, SHADE, FINE)
    for a, b in zip(
        ring(top, rx * 0.25, ry * 0.2, 12), ring(top, rx * 0.78, ry * 0.74, 12), strict=True
    ):
        p.line([a, b])


@draws("corallite_arrangement", "phaceloid")
def phaceloid(p: Picture) -> None:
    p.field(DEEP)
    rows = (
        (22, (22, 60, 98, 138)),
        (45, (4, 42, 80, 118, 156)),
        (70, (24, 62, 100, 138)),
    )
    for y, columns in rows:
        for x in columns:
            top = complex(x, y) + p.jitter(2.5)
            foot = complex(80 + (top.real - 80) * 0.72, 126)
            tube(p, top, 13.5, foot)


@draws("corallite_arrangement", "dendroid")
def dendroid(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = [([80 + 126j, 80 + 92j], 15.0)]
    ends: list[tuple[Point, float]] = []

    def fork(at: Point, tip: Point, width: float) -> None:
        limbs.append(([at, (at + tip) / 2 + 2, tip], width))

    def end(at: Point, tip: Point) -> None:
        fork(at, tip, 10.0)
        ends.append((tip, cmath.phase(tip - at)))

    for at, tip in ((80 + 94j, 48 + 66j), (80 + 94j, 114 + 62j), (80 + 94j, 80 + 56j)):
        fork(at, tip, 12.0)
    end(80 + 94j, 42 + 96j)
    end(80 + 90j, 122 + 94j)
    end(48 + 66j, 16 + 62j)
    end(48 + 66j, 38 + 32j)
    end(80 + 56j, 66 + 22j)
    end(80 + 56j, 98 + 24j)
    end(114 + 62j, 144 + 64j)
    end(114 + 62j, 130 + 30j)
    p.limbs(limbs)
    for tip, angle in ends:
        out = cmath.rect(1.0, angle)
        p.limbs([([tip - out * 3, tip + out * 4], 14.0)], outline=2.2)
        p.oval(tip + out * 7, 4.5, 9.0, PALE, MIDDLE, angle)
        p.oval(tip + out * 7.6, 2.4, 5.6, DEEP, FINE, angle)


def winding(p: Picture, pitch: float) -> list[list[Point]]:
    """Return winding lines about one pitch apart: where a sum of waves of one length is zero."""
    waves = [
        (cmath.rect(math.pi / pitch, 0.95 + 0.95 * k), p.random.uniform(0, 2 * math.pi))
        for k in (-1.0, -0.6, -0.2, 0.2, 0.6, 1.0)
    ]

    def height(z: Point) -> float:
        return sum(math.cos((w.conjugate() * z).real + phase) for w, phase in waves)

    step = 4.0
    pieces: dict[Point, list[Point]] = {}
    for column in range(-3, 43):
        for row in range(-3, 33):
            corners = [
                complex(column + dx, row + dy) * step for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))
            ]
            ends = [
                crossing(a, b, height(a), height(b))
                for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
                if (height(a) > 0) != (height(b) > 0)
            ]
            for a, b in zip(ends[::2], ends[1::2], strict=True):
                pieces.setdefault(a, []).append(b)
                pieces.setdefault(b, []).append(a)
    return joined(pieces)


def crossing(a: Point, b: Point, at_a: float, at_b: float) -> Point:
    """Return where a line between two points meets zero, the same from either end."""
    if (b.real, b.imag) < (a.real, a.imag):
        a, b, at_a, at_b = b, a, at_b, at_a
    z = a + (b - a) * at_a / (at_a - at_b)
    return complex(round(z.real, 3), round(z.imag, 3))


def joined(pieces: dict[Point, list[Point]]) -> list[list[Point]]:
    """Join pieces of lines that share their ends, open lines first."""
    left = {z: list(others) for z, others in pieces.items()}
    lines = []
    for start in sorted(left, key=lambda z: (len(pieces[z]), z.real, z.imag)):
        while left[start]:
            line = [start]
            while left[line[-1]]:
                other = left[line[-1]].pop()
                left[other].remove(line[-1])
                line.append(other)
            lines.append(line)
    return lines


@draws("corallite_arrangement", "meandroid")
def meandroid(p: Picture) -> None:
    p.field(SHADE)
    walls = winding(p, 22.0)
    for wall in walls:
        for k, (at, way) in enumerate(along(wall, 5.9)):
            reach = way * 1j * (10.0 if k % 2 == 0 else 7.0)
            p.line([at - reach, at + reach])
    for wall in walls:
        p.limbs([([*wall[:-1:7], wall[-1]], 3.4)], PALE, 1.6)


def ribbon(p: Picture, spine: list[Point], width: float) -> None:
    """Draw a winding valley with a wall of its own on each side."""
    p.limbs([(spine, width)], PALE, HEAVY)
    p.limbs([(spine, width - 11.0)], SHADE, FINE)
    for k, (at, way) in enumerate(along(smoothed(spine, 10), 4.4)):
        for side in (1j, -1j):
            inner = 2.5 if k % 2 == 0 else 6.0
            p.line([at + way * side * inner, at + way * side * (width / 2 + 1.0)])


@draws("corallite_arrangement", "flabello_meandroid")
def flabello_meandroid(p: Picture) -> None:
    p.field(DEEP)
    ribbon(
        p, [-20 + 26j, 12 + 20j, 44 + 22j, 60 + 40j, 82 + 46j, 100 + 26j, 130 + 18j, 180 + 22j], 26
    )
    ribbon(
        p,
        [
            -20 + 92j,
            10 + 84j,
            30 + 62j,
            48 + 70j,
            60 + 92j,
            86 + 94j,
            108 + 76j,
            124 + 58j,
            150 + 62j,
            180 + 58j,
        ],
        26,
    )
    ribbon(p, [118 + 140j, 124 + 112j, 140 + 98j, 180 + 96j], 26)


@draws("corallite_arrangement", "hydnophoroid")
def hydnophoroid(p: Picture) -> None:
    p.field(SHADE)
    for row in range(5):
        for column in range(-1, 5):
            foot = complex(column * 41 + (20 if row % 2 else 0) + 8, 22 + row * 27) + p.jitter(2.0)
            p.oval(foot + 20.5 - 2j, 3.4, 1.8, DEEP)
            mount(p, foot)


def mount(p: Picture, foot: Point) -> None:
    """Draw one cone, seen aslant, with septa that run down all its sides."""
    side = [foot - 16 + 3j, foot - 8.5 - 8j, foot - 4 - 21j]
    other = [complex(2 * foot.real - z.real, z.imag) for z in reversed(side)]
    p.area([*side, foot - 25j, *other, foot + 9 + 7.5j, foot - 9 + 7.5j], BODY, MIDDLE)
    for k in (-2, -1, 0, 1, 2):
        end = foot + complex(5.6 * k, 6.0 - 0.8 * k * k)
        p.line([foot + complex(1.3 * k, -17 + abs(k)), end])


@draws("corallite_arrangement", "thamnasterioid")
def thamnasterioid(p: Picture) -> None:
    p.field()
    centres = [at + p.jitter(3.0) + 4 for at in lattice(45)]
    for k, a in enumerate(centres):
        for b in centres[k + 1 :]:
            if abs(b - a) < 58:
                for bow in (-0.36, -0.12, 0.12, 0.36):
                    field_line(p, a, b, bow)
    for at in centres:
        p.oval(at, 3.0, fill=DEEP)


def field_line(p: Picture, a: Point, b: Point, bow: float) -> None:
    """Draw a septum that runs on from one centre into the next."""
    way = (b - a) / abs(b - a)
    lean = cmath.rect(1.0, bow * 1.5)
    near = 7.0 if abs(bow) < 0.2 else 9.0
    start, end = a + way * near * lean, b - way * near * lean.conjugate()
    middle = (a + b) / 2 + way * 1j * bow * abs(b - a) * 0.52
    p.bow(start, 2 * middle - (start + end) / 2, end, 1.6)


@draws("corallite_arrangement", "axial_radial")
def axial_radial(p: Picture) -> None:
    branch_tip(p)


def branch_tip(p: Picture) -> None:
    """Draw the end of a branch: one leading cup at the tip, small tubes along the sides."""
    for k in range(5):
        y = 44 + 20 * k
        for side in (-1, 1):
            radial(
                p, complex(80 + side * (9 + 1.9 * k), y + (9 if side > 0 else 0)), side * 1.0, 19
            )
    left = smoothed([67 + 14j, 66 + 34j, 60 + 70j, 55 + 134j])
    p.area([*left, *[complex(160 - z.real, z.imag) for z in reversed(left)]], is_smooth=False)
    for x, y in ((74, 40), (87, 52), (72, 64), (89, 76), (73, 88), (91, 100), (75, 110)):
        p.oval(complex(x, y), 5.4, 6.6, PALE, MIDDLE)
        p.oval(complex(x, y - 1.6), 2.8, 3.2, DEEP, FINE)
    p.oval(80 + 14j, 13, 6, PALE, HEAVY)
    p.oval(80 + 14j, 6.5, 2.8, DEEP, MIDDLE)


def radial(p: Picture, root: Point, lean: float, length: float, width: float = 9.0) -> None:
    """Draw a small tube on a branch's side that opens upwards."""
    way = cmath.rect(1.0, -math.pi / 2 + lean * 0.85)
    tip = root + way * length
    p.limbs([([root, tip], width)], outline=2.0)
    p.oval(tip + way * 3.4, width * 0.34, width * 0.62, PALE, FINE, cmath.phase(way))
    p.oval(tip + way * 3.4, width * 0.18, width * 0.36, DEEP, FINE, cmath.phase(way))


@draws("corallite_arrangement", "scattered_immersed")
def scattered_immersed(p: Picture) -> None:
    p.field()
    centres = [at + p.jitter(7.0) for at in lattice(40)]
    grains = [at + p.jitter(2.4) for at in lattice(9.5)]
    p.dots([g for g in grains if min(abs(g - c) for c in centres) > 8], 0.8, SHADE)
    for at in centres:
        p.oval(at, 4.6, fill=DEEP, width=MIDDLE)
        for stroke in rays(at, 1.6, 4.4, 6):
            p.line(stroke, 1.0, PALE)


@draws("corallite_arrangement", "reticular")
def reticular(p: Picture) -> None:
    p.field(SHADE)
    for row in range(-1, 4):
        for column in range(-1, 5):
            left = column * 46 + (23 if row % 2 else 0)
            is_double = (row + 2 * column) % 3 == 0
            for x in (left + 14, left + 32) if is_double else (left + 23,):
                at = complex(x, (network(x, row) + network(x, row + 1)) / 2)
                for n, stroke in enumerate(rays(at, 5.0, 9.5 if is_double else 13.0, 12)):
                    p.line(stroke if n % 2 else [(stroke[0] + stroke[1]) / 2, stroke[1]])
                p.oval(at, 2.8, fill=DEEP)
    for row in range(-1, 4):
        for x in range(-46 + (23 if row % 2 else 0), 190, 46):
            ends = complex(x, network(x, row)), complex(x, network(x, row + 1))
            p.limbs([([ends[0], sum(ends) / 2 + p.jitter(3), ends[1]], 3.8)], PALE, 1.6)
    for row in range(5):
        p.limbs([([complex(x, network(x, row)) for x in range(-20, 190, 26)], 4.8)], PALE, 1.8)


def network(x: float, row: int) -> float:
    """Return the height of a long ridge of the network."""
    return row * 33.0 + 10 + 5 * math.sin(x / 21 + row * 2.1)


@draws("corallite_arrangement", "organ_pipe")
def organ_pipe(p: Picture) -> None:
    p.field(DEEP)
    for x in range(8, 160, 24):
        top = 20 + p.random.uniform(-4, 4)
        p.area(
            [complex(x - 8, top), complex(x + 8, top), complex(x + 8, 130), complex(x - 8, 130)],
            BODY,
            MIDDLE,
            is_smooth=False,
        )
        p.line([complex(x - 3, top + 9), complex(x - 3, 130)])
        p.oval(complex(x, top), 8, 4, PALE, MIDDLE)
        p.oval(complex(x, top + 0.4), 5, 2.2, DEEP, FINE)
    for y in (50, 82, 112):
        p.area(
            [complex(-5, y - 3), complex(165, y - 3), complex(165, y + 3), complex(-5, y + 3)],
            PALE,
            MIDDLE,
            is_smooth=False,
        )


@draws("corallite_arrangement", "solitary")
def solitary(p: Picture) -> None:
    calice(p, 80 + 60j, 55, 48, wall=0.09, hub=0.2)
    p.oval(80 + 60j, 8, 4, DEEP, MIDDLE)


@draws("wall", "shared")
def wall_shared(p: Picture) -> None:
    p.field(SHADE)
    honeycomb(p, hexagons(p, 76, 4.0), 24, 5.0, 5.0)


@draws("wall", "separate")
def wall_separate(p: Picture) -> None:
    p.field(DEEP)
    for at in lattice(76):
        calice(p, at, 34, 24, wall=0.2, hub=0.2)
        p.oval(at, 5.0, fill=PALE)


@draws("wall", "porous")
def wall_porous(p: Picture) -> None:
    p.field(BODY)
    for centre, corners in hexagons(p, 76, 0.0):
        inner = [centre + (corner - centre) * 0.66 for corner in corners]
        p.area(inner, SHADE, MIDDLE)
        for k in range(12):
            end = on_outline(centre, inner, 0.3 + math.pi * k / 6)
            p.line([centre + (end - centre) * 0.35, end], MIDDLE)
        p.oval(centre, 4.0, fill=PALE)
        for factor, n in ((0.78, 14), (0.93, 18)):
            rim = [centre + (corner - centre) * factor for corner in corners]
            for k in range(n):
                at = on_outline(centre, rim, 2 * math.pi * (k + factor) / n)
                p.dots([at + p.jitter(1.4)], 3.0 + 0.6 * p.random.randrange(-1, 2), DEEP)


@draws("wall", "indistinct")
def wall_indistinct(p: Picture) -> None:
    p.field()
    centres = [at for at in lattice(76)]
    for k, a in enumerate(centres):
        for b in centres[k + 1 :]:
            if abs(b - a) < 90:
                for bow in (-0.4, -0.24, -0.08, 0.08, 0.24, 0.4):
                    field_line(p, a, b, bow)
    for at in centres:
        p.oval(at, 6.0, fill=DEEP)
