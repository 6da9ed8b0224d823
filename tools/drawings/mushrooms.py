"""Mushroom corals and other discs: mouths, teeth of the septa, the underside."""

from __future__ import annotations

import cmath
import math

from lens import toothed
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
    rays,
    ring,
    smoothed,
)


def oval_disc(p: Picture) -> None:
    """Draw the outline of a long disc from above."""
    p.oval(80 + 60j, 74, 50, BODY, HEAVY)


def mouth(p: Picture, at: Point, r: float, n: int = 14) -> None:
    """Draw a mouth with the septa around it."""
    for k, stroke in enumerate(rays(at, r * 0.42, r, n)):
        p.line(stroke if k % 2 else [stroke[0], (stroke[0] + stroke[1]) / 2])
    p.oval(at, r * 0.3, fill=DEEP)


@draws("mouth_arrangement", "single_axial_furrow")
def furrow(p: Picture) -> None:
    oval_disc(p)
    for k in range(-17, 18):
        x = 80 + 4 * k
        reach = 48 * math.sqrt(max(0.0, 1 - ((x - 80) / 73) ** 2))
        for side in (-1, 1):
            p.line([complex(x, 60 + side * 5), complex(x, 60 + side * reach * 0.97)])
    p.line([18 + 60j, 142 + 60j], 6.0)
    p.dots([complex(80 + 24 * k, 60) for k in (-2, -1, 0, 1, 2)], 2.6, PALE)


@draws("mouth_arrangement", "central_corallite")
def central(p: Picture) -> None:
    oval_disc(p)
    for k, (a, b) in enumerate(
        zip(ring(80 + 60j, 17, 12, 56), ring(80 + 60j, 71, 47.5, 56), strict=True)
    ):
        p.line([a if k % 2 == 0 else (a + b) / 2, b])
    p.oval(80 + 60j, 14, 8, DEEP, HEAVY)


@draws("mouth_arrangement", "none")
def no_centre(p: Picture) -> None:
    oval_disc(p)
    for row, y in enumerate((27, 49, 71, 93)):
        for column in range(7):
            at = complex(11 + column * 23 - (row % 2) * 11.5, y) + p.jitter(1.5)
            away = at - 80 - 60j
            if (away.real / 64) ** 2 + (away.imag / 41) ** 2 < 1:
                mouth(p, at, 10.5)


@draws("mouth_spacing", "far_apart")
def far_apart(p: Picture) -> None:
    oval_disc(p)
    for at in (80 + 58j, 32 + 54j, 128 + 54j, 54 + 90j, 106 + 90j, 56 + 28j, 104 + 28j):
        for k, stroke in enumerate(rays(at, 5, 17, 18)):
            p.line(stroke if k % 2 else [stroke[0], stroke[0] + (stroke[1] - stroke[0]) * 0.7])
        p.oval(at, 4.4, 3.2, DEEP, FINE)


@draws("mouth_spacing", "close")
def close(p: Picture) -> None:
    oval_disc(p)
    for row in range(-3, 4):
        for column in range(-5, 6):
            away = complex(column * 15 + (row % 2) * 7.5, row * 13.0)
            if (away.real / 68) ** 2 + (away.imag / 44) ** 2 < 1:
                mouth(p, 80 + 60j + away + p.jitter(1.0), 6.8, 8)


ARC = smoothed([-12 + 70j, 20 + 54j, 60 + 44j, 100 + 44j, 140 + 54j, 172 + 70j], 10)
"""The upper edge of a septum of a disc, from the side."""


def disc_septa(
    p: Picture, step: float, high: float, shape: str, *, is_uneven: bool = False
) -> None:
    """Draw three septa of a disc from the side, one behind the other."""
    for drop, fill in ((-16, SHADE), (16, BODY), (48, PALE)):
        line = [z + 1j * drop for z in ARC]
        if shape == "grains":
            edge = line
        else:
            edge = toothed(line, step, high, shape, p if is_uneven else None)
        p.area([*edge, 180 + 150j, -20 + 150j], fill, MIDDLE, is_smooth=False)
        if shape == "grains":
            p.discs([at - way * 0.8j for at, way in along(line, step)], high, fill)


@draws("disc_teeth", "fine_grains")
def teeth_grains(p: Picture) -> None:
    disc_septa(p, 5.2, 1.9, "grains")


@draws("disc_teeth", "fine_points")
def teeth_fine(p: Picture) -> None:
    disc_septa(p, 8.0, 7.5, "points")


@draws("disc_teeth", "coarse_points")
def teeth_coarse(p: Picture) -> None:
    disc_septa(p, 15.0, 15.0, "points", is_uneven=True)


@draws("disc_teeth", "large_lobes")
def teeth_lobes(p: Picture) -> None:
    disc_septa(p, 26.0, 22.0, "lobes")


def sector(p: Picture) -> list[tuple[Point, Point]]:
    """Draw a part of a disc from above, its middle at the left; return its septa."""
    middle = -30 + 60j
    p.field()
    found = []
    for k in range(-8, 9):
        way = cmath.rect(1.0, k * 0.105)
        found.append((middle, way))
        p.line([middle + way * (44 if k % 2 == 0 else 90), middle + way * 230], MIDDLE)
    p.oval(middle, 40, 26, DEEP, HEAVY)
    return found


@draws("disc_lobes", "present")
def lobes(p: Picture) -> None:
    for k, (middle, way) in enumerate(sector(p)):
        if k % 2 == 0:
            for far in (84, 142) if k % 4 == 0 else (112, 172):
                p.oval(middle + way * far, 11, 5.2, PALE, HEAVY, cmath.phase(way))


@draws("disc_lobes", "absent")
def no_lobes(p: Picture) -> None:
    sector(p)


UNDER = smoothed([142 + 54j, 110 + 57j, 80 + 57j, 50 + 57j, 18 + 54j], 8)
"""The underside of a disc in a cut, from right to left."""


def underside(p: Picture, step: float, high: float, shape: str) -> None:
    """Draw a disc in a cut with what stands on its underside."""
    top = [
        8 + 46j,
        14 + 36j,
        44 + 26j,
        70 + 24j,
        80 + 30j,
        90 + 24j,
        116 + 26j,
        146 + 36j,
        152 + 46j,
    ]
    edge = list(UNDER)
    if shape in ("points", "lobes"):
        edge = toothed(UNDER, step, high, shape)
    p.area([*smoothed(top, 6), *edge], BODY, HEAVY, is_smooth=False)
    for at, way in along(UNDER, step):
        out = way * -1j
        if shape == "grains":
            p.oval(at + out * 2, high, fill=PALE, width=MIDDLE)
        if shape == "branched":
            stem = at + out * high
            limbs = [([at - out * 2, stem], 3.6)]
            limbs += [
                ([at + out * high * part, at + out * high * part + out * cmath.rect(8, turn)], 2.8)
                for part, turn in ((0.4, 0.9), (0.6, -0.9), (0.85, 0.7))
            ]
            p.limbs(limbs, BODY, 1.8)
    for k in range(-5, 6):
        if k:
            p.line([complex(80 + 12 * k, 31 + abs(k)), complex(80 + 12.6 * k, 45)])


@draws("disc_underside", "fine_grains")
def under_grains(p: Picture) -> None:
    underside(p, 6.4, 2.2, "grains")


@draws("disc_underside", "low_blunt")
def under_blunt(p: Picture) -> None:
    underside(p, 14.0, 11.0, "lobes")


@draws("disc_underside", "tall_pointed")
def under_pointed(p: Picture) -> None:
    underside(p, 11.0, 36.0, "points")


@draws("disc_underside", "branched_spines")
def under_branched(p: Picture) -> None:
    underside(p, 17.0, 34.0, "branched")
