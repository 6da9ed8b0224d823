"""Single cups from above, honeycombs of them, and cuts: what the other modules draw with."""

from __future__ import annotations

import cmath
import math

from pen import BODY, FINE, HEAVY, MIDDLE, PALE, SHADE, Picture, Point, lattice, rays


def calice(
    p: Picture, centre: Point, r: float, septa: int = 24, *, wall: float = 0.2, hub: float = 0.22
) -> None:
    """
    Draw a cup from above: a wall of its own, septa of two lengths, nothing in the middle.

    Parameters
    ----------
    p : Picture
    centre : complex
    r : float
        Outer radius of the wall.
    septa : int
        How many; each second one is shorter.
    wall : float
        Its width, as a part of `r`.
    hub : float
        Where the long septa end, as a part of `r`.
    """
    floor = r * (1.0 - wall)
    width = MIDDLE if r > 9 else FINE
    p.oval(centre, r, fill=PALE, width=width)
    p.oval(centre, floor, fill=SHADE, width=width)
    long, short = septa - septa // 2, septa // 2
    for stroke in rays(centre, r * hub, floor, long):
        p.line(stroke)
    for stroke in rays(centre, r * (hub + (1.0 - wall - hub) * 0.55), floor, short, math.pi / long):
        p.line(stroke)


def hexagons(p: Picture, pitch: float, shake: float) -> list[tuple[Point, list[Point]]]:
    """Return cells that share their walls: their centres and corners, a little irregular."""
    moved: dict[tuple[int, int], Point] = {}
    side = pitch / math.sqrt(3.0)
    found = []
    for centre in lattice(pitch):
        corners = []
        for k in range(6):
            corner = centre + cmath.rect(side, math.pi / 6 + k * math.pi / 3)
            key = round(corner.real), round(corner.imag)
            near = next(
                (q for q in moved if abs(q[0] - key[0]) < 3 and abs(q[1] - key[1]) < 3), key
            )
            if near not in moved:
                moved[near] = corner + p.jitter(shake)
            corners.append(moved[near])
        found.append((sum(corners) / 6.0, corners))
    return found


def on_outline(centre: Point, corners: list[Point], angle: float) -> Point:
    """Return where a ray from the centre meets the outline of a cell."""
    way = cmath.rect(1.0, angle)
    for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
        u, v = (a - centre) / way, (b - centre) / way
        if (u.imag > 0) == (v.imag > 0):
            continue
        t = u.imag / (u.imag - v.imag)
        meets = u.real + t * (v.real - u.real)
        if meets > 0:
            return centre + way * meets
    return corners[0]


def honeycomb(
    p: Picture, cells: list[tuple[Point, list[Point]]], septa: int, wall: float, hub: float
) -> None:
    """Draw cells: septa from the wall to the middle, a dot of radius `hub` there, the walls."""
    for centre, corners in cells:
        for k in range(septa):
            end = on_outline(centre, corners, 0.3 + 2 * math.pi * k / septa)
            p.line([centre + (end - centre) * (0.24 if k % 2 == 0 else 0.58), end])
    for centre, _ in cells:
        p.oval(centre, hub, fill=PALE)
    drawn: set[frozenset[Point]] = set()
    for _, corners in cells:
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True):
            if frozenset((a, b)) not in drawn:
                drawn.add(frozenset((a, b)))
                p.line([a, b], wall)


def section(p: Picture, top: list[Point], *, is_smooth: bool = False, fill: str = BODY) -> None:
    """Draw a cut through a colony: the skeleton below a given upper line, edge to edge."""
    p.area([*top, 170 + 130j, -10 + 130j], fill, HEAVY, is_smooth=is_smooth)


def hole(p: Picture, at: Point, r: float) -> None:
    """Draw a small cup: a rim and a dark opening."""
    p.oval(at, r, fill=PALE)
    p.dots([at], r * 0.62)
