"""One cup close up: what a lens shows of septa, of the middle and of new cups."""

from __future__ import annotations

import cmath
import math

from cups import calice
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

MID = 80 + 60j


def one_cup(p: Picture, hub: float = 0.3, septa: int = 24) -> None:
    """Draw the one cup in which these details are shown."""
    p.field()
    calice(p, MID, 54, septa, wall=0.15, hub=hub)


@draws("columella", "absent")
def columella_absent(p: Picture) -> None:
    one_cup(p)
    p.oval(MID, 14, fill=DEEP, width=0)


@draws("columella", "styliform")
def columella_styliform(p: Picture) -> None:
    one_cup(p)
    p.oval(MID, 14, fill=DEEP, width=0)
    p.oval(MID, 8.5, fill=PALE, width=HEAVY)
    p.dots([MID - 2 - 2j], 1.6)


def tangle(p: Picture, r: float) -> None:
    """Draw a loose tangle of threads in the middle."""
    p.oval(MID, r + 1, fill=DEEP, width=0)
    for k in range(7):
        a = 2.4 * k
        ends = [MID + cmath.rect(r, a), MID + cmath.rect(r, a + 2.2)]
        bent = (ends[0] + ends[1]) / 2 + p.jitter(r * 0.5)
        p.limbs([([ends[0], bent, ends[1]], r * 0.14)], PALE, 1.2)


@draws("columella", "spongy")
def columella_spongy(p: Picture) -> None:
    one_cup(p, 0.34)
    tangle(p, 17)


@draws("columella", "papillose")
def columella_papillose(p: Picture) -> None:
    one_cup(p)
    p.oval(MID, 15, fill=DEEP, width=0)
    for at in [
        MID,
        *(stroke[1] for stroke in rays(MID, 0, 8.6, 6)),
    ]:
        p.oval(at + p.jitter(0.8), 3.2, fill=PALE, width=MIDDLE)


@draws("columella", "lamellar")
def columella_lamellar(p: Picture) -> None:
    p.field()
    rim = ring(0j, 62, 46, 40)
    p.oval(MID, 70, 54, PALE, MIDDLE)
    p.oval(MID, 62, 46, SHADE, MIDDLE)
    for k, away in enumerate(rim):
        edge = MID + away
        target = MID + complex(max(-20.0, min(20.0, away.real * 0.6)), 0)
        inner = target + (edge - target) * (0.26 if k % 2 == 0 else 0.62)
        p.line([inner, edge])
    p.oval(MID, 28, 9, DEEP, 0)
    p.oval(MID, 23, 4.2, PALE, HEAVY)


@draws("paliform_lobes", "present")
def pali(p: Picture) -> None:
    one_cup(p, 0.52)
    tangle(p, 9)
    for stroke in rays(MID, 15, 27, 12):
        at, way = (stroke[0] + stroke[1]) / 2, stroke[1] - stroke[0]
        p.oval(at, 6.6, 3.9, PALE, MIDDLE, cmath.phase(way))


@draws("paliform_lobes", "absent")
def no_pali(p: Picture) -> None:
    one_cup(p, 0.18)
    tangle(p, 9)


def counted(p: Picture, n: int) -> None:
    """Draw a cup with n septa, all alike, to be counted."""
    p.field()
    p.oval(MID, 54, fill=PALE, width=MIDDLE)
    p.oval(MID, 46, fill=SHADE, width=MIDDLE)
    for k, stroke in enumerate(rays(MID, 13, 46, n)):
        p.line(stroke if n < 40 or k % 2 else [(stroke[0] + stroke[1]) / 2, stroke[1]], 2.2)
    p.oval(MID, 6, fill=PALE, width=MIDDLE)


@draws("septa_count", "up_to_12")
def septa_12(p: Picture) -> None:
    counted(p, 12)


@draws("septa_count", "about_24")
def septa_24(p: Picture) -> None:
    counted(p, 24)


@draws("septa_count", "over_24")
def septa_48(p: Picture) -> None:
    counted(p, 60)


@draws("septa_join", "joining")
def septa_joining(p: Picture) -> None:
    p.field()
    p.oval(MID, 54, fill=PALE, width=MIDDLE)
    p.oval(MID, 46, fill=SHADE, width=MIDDLE)
    for k in range(6):
        a = math.pi * k / 3
        p.line([MID + cmath.rect(12, a), MID + cmath.rect(46, a)], 2.2)
        meets = MID + cmath.rect(22, a)
        for side in (-1, 1):
            p.curve(
                [
                    meets,
                    MID + cmath.rect(33, a + side * 0.2),
                    MID + cmath.rect(46, a + side * 0.27),
                ],
                2.2,
            )
    p.oval(MID, 5, fill=PALE, width=MIDDLE)


@draws("septa_join", "separate")
def septa_separate(p: Picture) -> None:
    p.field()
    p.oval(MID, 54, fill=PALE, width=MIDDLE)
    p.oval(MID, 46, fill=SHADE, width=MIDDLE)
    for stroke in rays(MID, 12, 46, 18):
        p.line(stroke, 2.2)
    p.oval(MID, 5, fill=PALE, width=MIDDLE)


@draws("septa_confluent", "yes")
def confluent(p: Picture) -> None:
    p.field()
    a, b = 36 + 60j, 124 + 60j
    for k in range(-7, 8):
        bend = 60 + 8.4 * k
        p.curve(
            [
                a + cmath.rect(9, 0.19 * k),
                complex(58, 60 + 5.6 * k),
                complex(80, bend),
                complex(102, 60 + 5.6 * k),
                b + cmath.rect(9, math.pi - 0.19 * k),
            ],
            1.7,
        )
    for centre, turn in ((a, math.pi), (b, 0.0)):
        for k in range(-7, 8):
            p.line(
                [centre + cmath.rect(9, turn + 0.22 * k), centre + cmath.rect(60, turn + 0.22 * k)],
                1.7,
            )
        p.oval(centre, 6.5, fill=DEEP, width=MIDDLE)


@draws("septa_confluent", "no")
def not_confluent(p: Picture) -> None:
    p.field()
    for centre in (36 + 60j, 124 + 60j):
        calice(p, centre, 37, 30, wall=0.14, hub=0.24)
        p.oval(centre, 6.5, fill=DEEP, width=MIDDLE)


def margin(p: Picture, edge: list[Point]) -> None:
    """Draw a septum from the side: from the wall at the left down to the middle of the cup."""
    p.area([-6 + 12j, 20 + 12j, 24 + 20j, 26 + 130j, -6 + 130j], BODY, HEAVY, is_smooth=False)
    p.area([*edge, 150 + 130j, 24 + 130j], PALE, HEAVY, is_smooth=False)
    for k in range(5):
        at = 40 + 22 * k
        p.dots([complex(at, 92 + 3 * k), complex(at + 8, 106 + 2 * k)], 1.1, SHADE)


SLOPE = smoothed([24 + 24j, 40 + 18j, 62 + 26j, 86 + 48j, 112 + 70j, 150 + 80j], 8)
"""The upper edge of a septum, from the wall to the middle."""


def toothed(
    line: list[Point], step: float, high: float, shape: str, p: Picture | None = None
) -> list[Point]:
    """Put teeth along a line: `points` or round `lobes`; uneven where a picture is given."""
    found: list[Point] = []
    for at, way in along(line, step):
        tall = high * (1.0 if p is None else p.random.uniform(0.55, 1.35))
        out = way * -1j * tall
        half = way * step / 2
        if shape == "points":
            found += [at - half * 0.96, at + out, at + half * 0.96]
        else:
            for k in range(9):
                a = math.pi * k / 8
                found.append(at - half * 0.95 * math.cos(a) + out * math.sin(a))
    return found


@draws("septal_margin", "smooth")
def margin_smooth(p: Picture) -> None:
    margin(p, SLOPE)


@draws("septal_margin", "fine_teeth")
def margin_fine(p: Picture) -> None:
    margin(p, toothed(SLOPE, 7.0, 6.5, "points"))


@draws("septal_margin", "large_lobed_teeth")
def margin_lobed(p: Picture) -> None:
    margin(p, toothed([z + 8j for z in SLOPE], 24.0, 17.0, "lobes"))


@draws("septal_margin", "granular")
def margin_granular(p: Picture) -> None:
    margin(p, SLOPE)
    p.discs([at - way * 1.2j for at, way in along(SLOPE, 7.6)], 3.3, width=MIDDLE)


def rim(p: Picture, high: float) -> None:
    """Draw two cups in a cut, with septa that rise so far above their walls."""
    base = 66.0
    for x in (38, 122):
        for k in range(-3, 4):
            at = x + 9.4 * k
            tall = high * (1.0 if k % 2 else 0.72)
            top = base - tall
            p.area(
                [
                    complex(at - 3, base + 8),
                    complex(at - 3, top + min(6.0, tall)),
                    complex(at, top - (1.5 if tall else 0)),
                    complex(at + 3, top + min(6.0, tall)),
                    complex(at + 3, base + 8),
                ],
                PALE,
                MIDDLE,
                is_smooth=False,
            )
        p.area(
            [
                complex(x - 33, base),
                complex(x + 33, base),
                complex(x + 31, 130),
                complex(x - 31, 130),
            ],
            BODY,
            HEAVY,
            is_smooth=False,
        )
        for k in range(-3, 4):
            p.line([complex(x + 9.4 * k, base + 6), complex(x + 9.0 * k, 118)])
    p.line([-4 + 100j, 6 + 100j], HEAVY)
    p.line([70 + 100j, 90 + 100j], HEAVY)
    p.line([154 + 100j, 164 + 100j], HEAVY)


@draws("septa_exsert", "not_exsert")
def exsert_not(p: Picture) -> None:
    rim(p, 0)


@draws("septa_exsert", "slightly")
def exsert_slightly(p: Picture) -> None:
    rim(p, 13)


@draws("septa_exsert", "strongly")
def exsert_strongly(p: Picture) -> None:
    rim(p, 46)


@draws("budding", "beside")
def budding_beside(p: Picture) -> None:
    p.field()
    old = [at + 18 + 34j for at in lattice(62)]
    for at in old:
        calice(p, at, 20, 20)
        p.dots([at], 2.2)
    for at in old:
        calice(p, at + 31 + 17.5j, 8, 12, hub=0.2)


@draws("budding", "splitting")
def budding_splitting(p: Picture) -> None:
    p.field()
    cups: tuple[tuple[Point, float, float], ...] = (
        (36 + 34j, 0.0, 12),
        (118 + 30j, 0.3, 19),
        (84 + 88j, -0.15, 24),
        (12 + 96j, 0.4, 0),
        (152 + 92j, 0.2, 0),
    )
    for at, turn, apart in cups:
        way = cmath.rect(1.0, turn)
        ends = [at - way * apart, at + way * apart] if apart else [at]
        waist = 20 - apart * 0.35
        shape = [ends[0] + cmath.rect(20, turn + a) for a in (2.0, 2.6, 3.14, 3.7, 4.3)]
        shape += [at - way * 1j * waist] if apart else []
        shape += [ends[-1] + cmath.rect(20, turn + a) for a in (5.0, 5.6, 6.28, 6.9, 7.5)]
        shape += [at + way * 1j * waist] if apart else []
        p.area(shape, PALE, MIDDLE)
        p.area([at + (z - at) * 0.82 for z in shape], SHADE, FINE)
        outline = smoothed([at + (z - at) * 0.82 for z in [*shape, shape[0]]], 6)
        for k, (edge, _) in enumerate(along(outline, 5.6)):
            near = min(ends, key=lambda e: abs(e - edge))
            p.line([edge + (near - edge) * (0.62 if k % 2 else 0.34), edge])
        p.dots(ends, 2.4)
