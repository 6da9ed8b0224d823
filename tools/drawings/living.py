"""The living coral: flesh, polyps and their tentacles."""

from __future__ import annotations

import cmath
import math

from cups import calice, section
from pen import (
    DEEP,
    FLESH,
    HEAVY,
    MIDDLE,
    PALE,
    SHADE,
    Picture,
    Point,
    draws,
    lattice,
    rays,
)

BONE = [
    -10 + 84j,
    6 + 84j,
    12 + 64j,
    18 + 84j,
    30 + 84j,
    36 + 60j,
    42 + 84j,
    54 + 96j,
    66 + 104j,
    94 + 104j,
    106 + 96j,
    118 + 84j,
    124 + 60j,
    130 + 84j,
    142 + 84j,
    148 + 64j,
    154 + 84j,
    170 + 84j,
]
"""The skeleton of one cup in a cut: septa that stand up, a hollow middle."""


@draws("tissue", "thin")
def thin(p: Picture) -> None:
    p.line([z - 1.5j for z in BONE], 13.0)
    p.line([z - 1.5j for z in BONE], 9.0, FLESH)
    section(p, BONE)


@draws("tissue", "fleshy")
def fleshy(p: Picture) -> None:
    top = [
        -14 + 46j,
        12 + 38j,
        30 + 30j,
        50 + 36j,
        66 + 66j,
        80 + 74j,
        94 + 66j,
        110 + 36j,
        130 + 30j,
        148 + 38j,
        174 + 46j,
    ]
    p.area([*top, 190 + 130j, -30 + 130j], FLESH, HEAVY)
    p.curve([22 + 44j, 32 + 40j, 42 + 45j])
    p.curve([118 + 45j, 128 + 40j, 138 + 44j])
    section(p, BONE)


def cups_in_cut(p: Picture) -> list[Point]:
    """Draw a surface with three cups in a cut; return the middles of their openings."""
    top: list[Point] = [-10 + 84j]
    for x in (28, 80, 132):
        top += [
            complex(x - 18, 84),
            complex(x - 14, 74),
            complex(x - 10, 74),
            complex(x - 8, 94),
            complex(x + 8, 94),
            complex(x + 10, 74),
            complex(x + 14, 74),
            complex(x + 18, 84),
        ]
    section(p, [*top, 170 + 84j])
    return [complex(x, 76) for x in (28, 80, 132)]


@draws("polyps_by_day", "retracted")
def retracted(p: Picture) -> None:
    for at in cups_in_cut(p):
        p.area(
            [
                at - 8 + 16j,
                at - 7 + 8j,
                at - 2 + 6j,
                at + 7j,
                at + 2 + 6j,
                at + 7 + 8j,
                at + 8 + 16j,
            ],
            FLESH,
            MIDDLE,
        )


@draws("polyps_by_day", "extended")
def extended(p: Picture) -> None:
    for at in cups_in_cut(p):
        limbs: list[tuple[list[Point], float]] = []
        for k in range(7):
            a = -math.pi / 2 + (k - 3) * 0.42
            root = at - 22j + cmath.rect(6, a)
            limbs.append(
                ([root, root + cmath.rect(12, a), root + cmath.rect(24, a * 0.94 - 0.09)], 3.0)
            )
        p.limbs([([at + 10j, at - 20j], 15.0), *limbs], FLESH, 1.8)
        p.oval(at - 24j, 3.6, 1.8, DEEP)


def crown(p: Picture) -> list[tuple[Point, Point]]:
    """Draw the upper end of a polyp from the side; return roots of tentacles and their ways."""
    found = []
    for k in range(9):
        a = -math.pi / 2 + (k - 4) * 0.36
        found.append((complex(80 + 34 * math.cos(a), 98 + 20 * math.sin(a)), cmath.rect(1.0, a)))
    return found


def body(p: Picture) -> None:
    """Draw the body of the polyp in front of the roots."""
    p.area([46 + 130j, 44 + 104j, 54 + 88j, 80 + 80j, 106 + 88j, 116 + 104j, 114 + 130j], FLESH)
    p.oval(80 + 90j, 10, 4, DEEP, MIDDLE)


@draws("tentacle_form", "short")
def short(p: Picture) -> None:
    p.limbs([([root, root + way * 17], 7.0) for root, way in crown(p)], FLESH, 2.0)
    body(p)


@draws("tentacle_form", "long_tubular")
def long_tubular(p: Picture) -> None:
    roots = crown(p)
    for k in (0, 8, 2, 6, 4, 1, 7, 3, 5):
        root, way = roots[k]
        side = way * 1j * (7 if k % 2 else -7)
        reach = 1.0 if 1 < k < 7 else 0.8
        bends = [root + way * 24 * reach + side, root + way * 44 * reach - side * 0.6]
        p.limbs([([root - way * 6, *bends, root + way * 64 * reach], 7.5)], FLESH, 2.0)
    body(p)


@draws("tentacle_form", "vesicles")
def vesicles(p: Picture) -> None:
    p.field(SHADE)
    for row in range(-1, 6):
        for column in range(-1, 7):
            at = complex(column * 29 + (row % 2) * 14.5 + 4, row * 25 + 4) + p.jitter(2.5)
            p.oval(at, 15.0, 14.0, FLESH, HEAVY)
            p.curve([at - 8.5 - 1j, at - 6 - 6.5j, at - 1 - 9j], MIDDLE, PALE)


@draws("tentacle_form", "bulb_tipped")
def bulb_tipped(p: Picture) -> None:
    crowned = crown(p)
    p.limbs([([root, root + way * 36], 6.0) for root, way in crowned], FLESH, 2.0)
    for root, way in crowned:
        p.oval(root + way * 40, 8.6, fill=PALE, width=HEAVY)
    body(p)


@draws("tentacle_form", "anchor_tipped")
def anchor_tipped(p: Picture) -> None:
    crowned = crown(p)[1::2]
    p.limbs([([root, root + way * 36], 6.0) for root, way in crowned], FLESH, 2.0)
    for root, way in crowned:
        tip, side = root + way * 42, way * 1j
        p.limbs(
            [
                (
                    [
                        tip - side * 11 - way * 7,
                        tip - side * 7,
                        tip + way * 2,
                        tip + side * 7,
                        tip + side * 11 - way * 7,
                    ],
                    7.0,
                )
            ],
            PALE,
        )
    body(p)


@draws("tentacle_form", "knob_branched")
def knob_branched(p: Picture) -> None:
    limbs: list[tuple[list[Point], float]] = []
    knobs = []
    for k, (root, way) in enumerate(crown(p)[1::2]):
        limbs.append(([root, root + way * 52], 6.0))
        knobs.append(root + way * 55)
        for far, turn in ((18, 0.9), (24, -0.9), (34, 0.8), (40, -0.8)):
            if (k, turn > 0) in ((0, False), (3, True)) and far > 30:
                continue
            tip = root + way * far + way * cmath.rect(14, turn)
            limbs.append(([root + way * far, tip], 3.6))
            knobs.append(tip)
    p.limbs(limbs, FLESH, 1.8)
    for knob in knobs:
        p.oval(knob, 4.2, fill=PALE, width=MIDDLE)
    body(p)


def feather(p: Picture, root: Point, way: Point, length: float) -> None:
    """Draw a tentacle with a fringe on both sides."""
    fringe = []
    for k in range(2, 9):
        at = root + way * length * k / 8
        reach = 9.0 - 0.5 * k
        fringe += [([at, at + way * cmath.rect(reach, side * 1.05)], 1.8) for side in (-1, 1)]
    p.limbs([*fringe, ([root, root + way * length], 4.4)], FLESH, 1.5)


@draws("tentacle_form", "pinnate_eight")
def pinnate(p: Picture) -> None:
    for root, end in rays(80 + 60j, 12, 13, 8, math.pi / 8):
        feather(p, root, end - root, 38)
    p.oval(80 + 60j, 14, fill=FLESH, width=HEAVY)
    p.oval(80 + 60j, 5, 2.6, DEEP, MIDDLE)


@draws("tentacle_form", "dactylozooids")
def dactylozooids(p: Picture) -> None:
    section(p, [-10 + 88j, 40 + 82j, 80 + 80j, 120 + 82j, 170 + 88j], is_smooth=False)
    for k in range(19):
        x = 5 + 8.4 * k
        y = 86 - 6 * math.sin(math.pi * x / 160)
        sway = 4 * math.sin(k * 1.7)
        p.curve(
            [complex(x, y), complex(x + sway * 0.6, y - 22), complex(x + sway * 1.6, y - 48)], 1.4
        )
    p.dots(
        [
            complex(5 + 8.4 * k, 87.5 - 6 * math.sin(math.pi * (5 + 8.4 * k) / 160))
            for k in range(19)
        ],
        1.9,
    )
    for z in lattice(13):
        if z.imag > 96:
            p.dots([z + p.jitter(2)], 1.2)


@draws("tentacle_form", "not_seen")
def not_seen(p: Picture) -> None:
    p.field()
    for at in lattice(43):
        calice(p, at + 3 + 8j, 16, 20)


def from_above(p: Picture, n: int, circles: int = 1) -> None:
    """Draw an open polyp from above with so many tentacles."""
    middle = 80 + 60j
    for circle in range(circles, 0, -1):
        each = n // circles
        reach = 40 + (14 if circle == circles else 4) * (circles > 1) + 12 * (circles == 1)
        start = math.pi / each * (circle - 1) + 0.13
        thick = min(9.0, 150.0 / each)
        p.limbs([(stroke, thick) for stroke in rays(middle, 18, reach, each, start)], FLESH, 1.7)
    p.oval(middle, 24, fill=FLESH, width=HEAVY)
    p.oval(middle, 6, 2.8, DEEP, MIDDLE)


@draws("tentacles_per_polyp", "eight")
def eight(p: Picture) -> None:
    for root, end in rays(80 + 60j, 12, 13, 8, math.pi / 8):
        feather(p, root, end - root, 38)
    p.oval(80 + 60j, 16, fill=FLESH, width=HEAVY)
    p.oval(80 + 60j, 6, 2.8, DEEP, MIDDLE)


@draws("tentacles_per_polyp", "twelve")
def twelve(p: Picture) -> None:
    from_above(p, 12)


@draws("tentacles_per_polyp", "twenty_four")
def twenty_four(p: Picture) -> None:
    from_above(p, 24)


@draws("tentacles_per_polyp", "more")
def more(p: Picture) -> None:
    from_above(p, 72, 2)


def coloured(p: Picture, colours: tuple[str, str, str]) -> None:
    """Draw three polyps of the given colours, half open."""
    for at, colour in zip((30 + 62j, 130 + 62j, 80 + 50j), colours, strict=True):
        limbs: list[tuple[list[Point], float]] = []
        for k in range(8):
            a = -math.pi / 2 + (k - 3.5) * 0.36
            root = at + complex(17 * math.cos(a), 12 * math.sin(a))
            limbs.append(([root, root + cmath.rect(16, a)], 5.0))
        p.limbs([([at + 16j, at + 80j], 34.0), *limbs], colour, 2.0)
        p.oval(at + 6j, 19, 9, colour, HEAVY)
        p.oval(at + 6j, 7, 3, DEEP, MIDDLE)


@draws("algae", "with_algae")
def with_algae(p: Picture) -> None:
    coloured(p, ("#7d6a3f", "#6f7d46", "#94804f"))


@draws("algae", "without_algae")
def without_algae(p: Picture) -> None:
    coloured(p, ("#f2c230", "#c5302a", "#f0832a"))
