"""Branches and plates: where the cups stand on them, and how thick they are."""

from __future__ import annotations

import cmath
import math

from arrangements import branch_tip
from cups import hole
from pen import BODY, DEEP, FINE, HEAVY, INK, MIDDLE, PALE, Picture, Point, draws


def leading_cup(p: Picture, tip: Point, width: float) -> None:
    """Draw the open end of a leading cup."""
    p.oval(tip, width / 2, width / 4.4, PALE, MIDDLE)
    p.oval(tip, width / 4, width / 9, DEEP, FINE)


@draws("axial_corallite", "present")
def axial_present(p: Picture) -> None:
    branch_tip(p)


@draws("axial_corallite", "absent")
def axial_absent(p: Picture) -> None:
    p.limbs([([80 + 130j, 80 + 34j], 48.0)])
    for row in range(7):
        for column in (-1, 0, 1):
            at = complex(80 + column * 16 + (4 if row % 2 else -4), 22 + row * 16)
            if abs(at.real - 80) < 20 and at.imag > 16:
                hole(p, at + p.jitter(1.2), 5.0)


@draws("axial_count", "one")
def axial_one(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = [([80 + 130j, 80 + 92j], 27.0)]
    tips = (28 + 32j, 80 + 20j, 132 + 32j)
    for tip in tips:
        side = (tip.real - 80) / 52
        knee = complex(80 + 40 * side, 74)
        limbs.append(([80 + 100j, knee, complex(80 + 50 * side, 54), tip], 21.0))
    p.limbs(limbs)
    for tip in tips:
        p.oval(tip - 8j, 10.5, 5, PALE, HEAVY)
        p.oval(tip - 8j, 5.5, 2.4, DEEP, FINE)
        for k, step in enumerate((-4 + 12j, 5 + 22j, -4 + 33j)):
            hole(p, tip + step - (tip.real - 80) * 0.04 * k, 3.6)


@draws("axial_count", "several")
def axial_several(p: Picture) -> None:
    p.area(
        [
            34 + 134j,
            30 + 90j,
            22 + 56j,
            36 + 42j,
            80 + 38j,
            124 + 42j,
            138 + 56j,
            130 + 90j,
            126 + 134j,
        ]
    )
    for x, y in ((38, 34), (60, 26), (82, 23), (104, 26), (124, 34)):
        p.limbs([([complex(x, y + 18), complex(x, y)], 15.0)])
        leading_cup(p, complex(x, y - 6), 15)
    for row in range(4):
        for column in range(5):
            at = complex(48 + column * 17 + (row % 2) * 7, 66 + row * 16)
            if at.real < 126:
                hole(p, at + p.jitter(1.5), 3.8)


@draws("cup_rows", "in_rows")
def rows(p: Picture) -> None:
    p.limbs([([80 + 140j, 80 + 34j], 54.0)])
    for x, squeeze in ((60, 0.55), (73.5, 0.9), (87, 0.9), (100.5, 0.55)):
        for k in range(7):
            y = 26 + 15.5 * k + (0 if squeeze > 0.8 else 7)
            p.oval(complex(x, y), 4.8 * squeeze, 4.8, PALE, FINE)
            p.oval(complex(x, y), 2.6 * squeeze, 2.6, DEEP, FINE)
    for x in (66.5, 80, 94):
        p.line([complex(x, 16), complex(x, 124)])


@draws("cup_rows", "scattered")
def scattered(p: Picture) -> None:
    p.limbs([([80 + 140j, 80 + 34j], 54.0)])
    places: list[Point] = []
    for _ in range(900):
        at = complex(p.random.uniform(59, 101), p.random.uniform(18, 122))
        is_on = at.imag > 34 or abs(at - 80 - 34j) < 22
        if is_on and all(abs(at - other) > 12.5 for other in places):
            places.append(at)
    for at in places:
        hole(p, at, 4.8)


def wall_of_branch(p: Picture) -> list[Point]:
    """Draw a part of a branch close up; return where its cups stand."""
    p.area([14 - 10j, 146 - 10j, 146 + 130j, 14 + 130j], BODY, HEAVY, is_smooth=False)
    return [48 + 30j, 112 + 30j, 80 + 64j, 48 + 98j, 112 + 98j]


@draws("cup_hood", "present")
def hood(p: Picture) -> None:
    for at in wall_of_branch(p):
        p.oval(at + 3j, 11, fill=DEEP, width=MIDDLE)
        for k in range(6):
            way = cmath.rect(1.0, math.pi * k / 3 + 0.5)
            p.line([at + 3j + way * 6, at + 3j + way * 10], FINE, PALE)
        p.area(
            [
                at - 15 + 5j,
                at - 12 - 10j,
                at - 19j,
                at + 12 - 10j,
                at + 15 + 5j,
                at + 9 - 2j,
                at - 4j,
                at - 9 - 2j,
            ],
            PALE,
            HEAVY,
        )


@draws("cup_hood", "absent")
def no_hood(p: Picture) -> None:
    for at in wall_of_branch(p):
        p.oval(at, 14, fill=PALE, width=MIDDLE)
        p.oval(at, 11, fill=DEEP, width=MIDDLE)
        for k in range(6):
            way = cmath.rect(1.0, math.pi * k / 3 + 0.5)
            p.line([at + way * 6, at + way * 10], FINE, PALE)


def spiny_cut(p: Picture, tall: float) -> None:
    """Draw a cut through a grainy surface with three cups, one spine beside each."""
    top: list[Point] = [-10 + 78j]
    for x in (32, 84, 136):
        top += [
            complex(x - 26, 78),
            complex(x - 24, 71),
            complex(x - 22, 78),
            complex(x - 19, 78),
            complex(x - 15, 78 - tall),
            complex(x - 11, 78),
            complex(x - 9, 78),
            complex(x - 8, 96),
            complex(x + 8, 96),
            complex(x + 9, 78),
            complex(x + 13, 78),
            complex(x + 15, 71),
            complex(x + 17, 78),
            complex(x + 20, 78),
            complex(x + 22, 71),
            complex(x + 24, 78),
        ]
    p.area([*top, 170 + 78j, 170 + 130j, -10 + 130j], BODY, HEAVY, is_smooth=False)
    for x in (32, 84, 136):
        p.line([complex(x - 3, 95), complex(x - 3, 84)], MIDDLE)
        p.line([complex(x + 3, 95), complex(x + 3, 84)], MIDDLE)


@draws("cup_spine", "present")
def spine(p: Picture) -> None:
    spiny_cut(p, 46)


@draws("cup_spine", "absent")
def no_spine(p: Picture) -> None:
    spiny_cut(p, 7)


def beside_pencil(p: Picture, width: float) -> None:
    """Draw a branch of a width beside a pencil, which is the same in all drawings."""
    limbs: list[tuple[list[Point], float]] = [([64 + 140j, 64 + 84j], width)]
    for aside, y in ((-28, 20), (26, 22)):
        tip = complex(64 + aside * max(1.0, width / 30), y + width * 0.3)
        limbs.append(([64 + 86j, (64 + 74j + tip) / 2 + (tip.real - 64) * 0.22, tip], width * 0.92))
    p.limbs(limbs)
    x = 140
    p.area(
        [
            complex(x - 6, 130),
            complex(x - 6, 34),
            complex(x, 12),
            complex(x + 6, 34),
            complex(x + 6, 130),
        ],
        "#f2c230",
        MIDDLE,
        is_smooth=False,
    )
    p.area([complex(x - 6, 34), complex(x, 12), complex(x + 6, 34)], PALE, FINE, is_smooth=False)
    p.area(
        [complex(x - 2.2, 20), complex(x, 12), complex(x + 2.2, 20)], DEEP, FINE, is_smooth=False
    )
    p.line([complex(x - 2, 36), complex(x - 2, 124)])
    p.line([complex(x + 2, 36), complex(x + 2, 124)])


@draws("branch_thickness", "thin")
def thin_branch(p: Picture) -> None:
    beside_pencil(p, 6.5)


@draws("branch_thickness", "finger")
def finger_branch(p: Picture) -> None:
    beside_pencil(p, 20.0)


@draws("branch_thickness", "thick")
def thick_branch(p: Picture) -> None:
    beside_pencil(p, 40.0)


def leaf(p: Picture, sides: tuple[int, ...]) -> None:
    """Draw an upright leaf in a cut, with cups on its left (-1) or right (1)."""
    spine = [74 + 130j, 76 + 84j, 84 + 44j, 96 + 16j]
    for side in sides:
        for at, way in (
            (75 + 108j, -1j),
            (77 + 84j, 0.12 - 1j),
            (81 + 60j, 0.25 - 1j),
            (87 + 37j, 0.4 - 1j),
        ):
            out = way / abs(way) * 1j * side
            root = at + out * 6
            p.limbs([([root, root + out * 13], 13.0)], outline=2.2)
            p.oval(root + out * 17.5, 3.0, 7.6, PALE, MIDDLE, cmath.phase(out))
            p.oval(root + out * 18, 1.6, 4.4, DEEP, FINE, cmath.phase(out))
    p.limbs([(spine, 16.0)])


@draws("plate_sides", "one_side")
def one_side(p: Picture) -> None:
    leaf(p, (1,))


@draws("plate_sides", "both_sides")
def both_sides(p: Picture) -> None:
    leaf(p, (-1, 1))


BARE = {
    "white": "#ffffff",
    "blue": "#3d78b8",
    "red": "#b8322c",
    "cream": "#f3e2b3",
    "black": "#2a2422",
}


def broken(p: Picture, colour: str) -> None:
    """Draw a broken branch that shows its bare skeleton."""
    p.limbs([([-20 + 118j, 40 + 88j, 92 + 62j], 52.0)], "#8d7b5a")
    p.oval(100 + 57j, 17, 28, colour, HEAVY, -0.47)
    edge = [
        complex(100 + 17 * math.cos(a) * 0.62, 57 + 28 * math.sin(a) * 0.62)
        for a in (2.0, 2.6, 3.2, 3.8, 4.4)
    ]
    p.line([z + p.jitter(2.2) for z in edge], FINE, "#ffffff" if colour == BARE["black"] else INK)
    p.area(
        [128 + 96j, 138 + 84j, 152 + 88j, 154 + 104j, 140 + 110j], colour, HEAVY, is_smooth=False
    )
    for at in (20 + 82j, 44 + 70j, 34 + 96j, 62 + 84j, 8 + 104j):
        p.oval(at, 4.0, fill="#c9b88f")


@draws("skeleton_colour", "white")
def white(p: Picture) -> None:
    broken(p, BARE["white"])


@draws("skeleton_colour", "blue")
def blue(p: Picture) -> None:
    broken(p, BARE["blue"])


@draws("skeleton_colour", "red")
def red(p: Picture) -> None:
    broken(p, BARE["red"])


@draws("skeleton_colour", "cream")
def cream(p: Picture) -> None:
    broken(p, BARE["cream"])


@draws("skeleton_colour", "black")
def black(p: Picture) -> None:
    broken(p, BARE["black"])
