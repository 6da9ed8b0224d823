"""A pen of few strokes: every drawing is made of these, so that all of them look alike."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random

WIDTH, HEIGHT = 160, 120
HEAVY, MIDDLE, FINE = 2.6, 1.9, 1.3
"""Widths of outlines, of walls seen within, and of septa and texture."""
INK, BODY, PALE, SHADE, DEEP = "#16242d", "#e9d8b4", "#fbf6ea", "#c3a877", "#6b5836"
"""Lines; skeleton; what stands high; what lies low; what is a hole or lies behind."""
FLESH, ROCK, PAPER = "#a9c08f", "#9aa3a6", "#f6f2e9"
"""Living tissue; what is no coral; what lies around, the same as the page's tile."""
GROUND = 108.0
"""Height of the sea floor in side views."""

Point = complex
"""A point of a drawing, x to the right and y downwards."""
Box = tuple[float, float, float, float]
"""Left, upper, right and lower edge."""


@dataclass
class _Part:
    """One path: how it looks, what it draws, what it covers."""

    how: str
    d: str
    boxes: list[Box]


class Picture:
    """
    One drawing of 160 by 120.

    Parameters
    ----------
    name : str
        Seeds the small irregularities, so that each drawing is always the same.
    """

    def __init__(self, name: str) -> None:
        self.random = Random(name)
        self._parts: list[_Part] = []

    def line(self, points: Sequence[Point], width: float = FINE, ink: str = INK) -> None:
        """Draw straight strokes from point to point."""
        self._add(_straight(points), _box(points, width), "none", ink, width)

    def curve(self, points: Sequence[Point], width: float = FINE, ink: str = INK) -> None:
        """Draw a smooth stroke through the points."""
        self._add(_smooth(points, is_closed=False), _box(points, width), "none", ink, width)

    def bow(self, a: Point, towards: Point, b: Point, width: float = FINE) -> None:
        """Draw a bent stroke from one point to another, pulled towards a third."""
        start, end = _tenths(a), _tenths(b)
        d = f"M{_pairs([start])}q{_pairs([towards - start, end - start])}"
        self._add(d, _box([a, towards, b], width), "none", INK, width)

    def area(
        self,
        points: Sequence[Point],
        fill: str = BODY,
        width: float = HEAVY,
        *,
        is_smooth: bool = True,
    ) -> None:
        """Draw a closed outline with its fill; width 0 leaves the outline away."""
        d = _smooth(points, is_closed=True) if is_smooth else _straight(points) + "z"
        self._add(d, _box(points, width), fill, INK, width)

    def oval(
        self,
        centre: Point,
        rx: float,
        ry: float | None = None,
        fill: str = BODY,
        width: float = FINE,
        turn: float = 0.0,
    ) -> None:
        """Draw an ellipse, turned by an angle in radians; a circle where one radius is given."""
        if ry in (None, rx) and fill != "none":
            self.discs([centre], rx, fill, width)
            return
        ry = rx if ry is None else ry
        side = cmath.rect(rx, turn)
        arc = f"a{_n(rx)} {_n(ry)} {_n(math.degrees(turn))} 1 1 "
        d = f"M{_pairs([centre - side])}{arc}{_pairs([2 * side])}{arc}{_pairs([-2 * side])}z"
        reach = max(rx, ry) * (1 + 1j)
        self._add(d, _box([centre - reach, centre + reach], width), fill, INK, width)

    def dots(self, points: Iterable[Point], r: float = 1.2, fill: str = INK) -> None:
        """Draw round dots."""
        for point in points:
            self._add(f"M{_pairs([point])}h0", _box([point], 2.0 * r), "none", fill, 2.0 * r)

    def discs(
        self, points: Sequence[Point], r: float, fill: str = PALE, width: float = FINE
    ) -> None:
        """Draw circles of one size that do not cover each other, in few words."""
        self.dots(points, r + width / 2.0)
        self.dots(points, r - width / 2.0, fill)

    def limbs(
        self,
        limbs: Iterable[tuple[Sequence[Point], float]],
        fill: str = BODY,
        outline: float = HEAVY,
    ) -> None:
        """Draw round-ended limbs of given widths, grown together: one outline around them all."""
        found = [(points, width) for points, width in limbs]
        for points, width in found:
            self.curve(points, width + 2.0 * outline)
        for points, width in found:
            self.curve(points, width, fill)

    def ground(self, y: float = GROUND) -> None:
        """Draw the sea floor."""
        top = [complex(-9, y + 1), complex(60, y), complex(110, y + 1.5), complex(170, y)]
        self.area([*top, 170 + 140j, -9 + 140j], ROCK, MIDDLE)

    def field(self, fill: str = BODY) -> None:
        """Fill the whole drawing: what is seen from above goes on beyond its edges."""
        whole = (0.0, 0.0, float(WIDTH), float(HEIGHT))
        self._add(f"M0 0h{WIDTH}v{HEIGHT}H0z", whole, fill, INK, 0.0)

    def jitter(self, reach: float) -> Point:
        """Return a small random step."""
        return complex(self.random.uniform(-reach, reach), self.random.uniform(-reach, reach))

    def svg(self) -> str:
        """Return the finished file."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
            f'viewBox="0 0 {WIDTH} {HEIGHT}" fill="none" stroke="{INK}" '
            'stroke-linecap="round" stroke-linejoin="round">'
        )
        body = "".join(f'\n<path{part.how} d="{part.d}"/>' for part in self._parts)
        return f"{head}{body}\n</svg>\n"

    def _add(self, d: str, box: Box, fill: str, ink: str, width: float) -> None:
        """Add a path, into an earlier one that looks the same where nothing between is covered."""
        if not _meet(box, (0.0, 0.0, WIDTH, HEIGHT)):
            return
        how = "" if fill == "none" else f' fill="{fill}"'
        how += "" if ink == INK and width else f' stroke="{ink if width else "none"}"'
        how += f' stroke-width="{_n(width)}"' if width else ""
        for part in reversed(self._parts):
            is_over = any(_meet(box, other) for other in part.boxes)
            if part.how == how and (fill == "none" or not is_over):
                part.d += d
                part.boxes.append(box)
                return
            if is_over:
                break
        self._parts.append(_Part(how, d, [box]))


Drawer = Callable[[Picture], None]
DRAWERS: dict[tuple[str, str], Drawer] = {}
"""What draws each state of each character."""


def draws(character: str, state: str) -> Callable[[Drawer], Drawer]:
    """Enter a function as what draws a state."""

    def enter(drawer: Drawer) -> Drawer:
        DRAWERS[character, state] = drawer
        return drawer

    return enter


def rays(
    centre: Point, inner: float, outer: float, n: int, start: float = 0.0
) -> list[list[Point]]:
    """Return n strokes that point away from a centre, evenly around it."""
    angles = [start + 2.0 * math.pi * k / n for k in range(n)]
    return [[centre + cmath.rect(inner, a), centre + cmath.rect(outer, a)] for a in angles]


def ring(centre: Point, rx: float, ry: float, n: int, start: float = 0.0) -> list[Point]:
    """Return n points around an ellipse."""
    angles = [start + 2.0 * math.pi * k / n for k in range(n)]
    return [centre + complex(rx * math.cos(a), ry * math.sin(a)) for a in angles]


def along(points: Sequence[Point], step: float) -> list[tuple[Point, Point]]:
    """Return places every `step` along a line, each with the direction there (length 1)."""
    found, left = [], step / 2.0
    for a, b in pairwise(points):
        length = abs(b - a)
        if not length:
            continue
        way = (b - a) / length
        while left <= length:
            found.append((a + way * left, way))
            left += step
        left -= length
    return found


def smoothed(points: Sequence[Point], n: int = 8) -> list[Point]:
    """Return a line through the points, with n short pieces between each two."""
    whole = [points[0], *points, points[-1]]
    found: list[Point] = []
    for a, b, c, d in zip(whole, whole[1:], whole[2:], whole[3:], strict=False):
        for k in range(n):
            t = k / n
            found.append(
                0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2)
                + 0.5 * (3 * b - a - 3 * c + d) * t**3
            )
    return [*found, points[-1]]


def lattice(pitch: float, beyond: float = 1.0) -> list[Point]:
    """Return the points of a lattice of triangles that covers the drawing and a bit more."""
    rise = pitch * math.sqrt(3.0) / 2.0
    edge = beyond * pitch
    found = []
    for row in range(math.floor(-edge / rise), math.ceil((HEIGHT + edge) / rise) + 1):
        shift = pitch / 2.0 if row % 2 else 0.0
        for column in range(math.floor(-edge / pitch) - 1, math.ceil((WIDTH + edge) / pitch) + 1):
            found.append(complex(column * pitch + shift, row * rise))
    return found


def _box(points: Sequence[Point], width: float) -> Box:
    """Return what a stroke of some width through the points may cover."""
    xs, ys = [z.real for z in points], [z.imag for z in points]
    edge = width / 2.0 + 1.0
    return min(xs) - edge, min(ys) - edge, max(xs) + edge, max(ys) + edge


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _straight(points: Sequence[Point]) -> str:
    """Write straight strokes: the first point as it is, each other one as a step."""
    kept = [_tenths(z) for z in points]
    steps = [b - a for a, b in pairwise(kept)]
    return f"M{_pairs(kept[:1])}l{_pairs(steps)}"


def _smooth(points: Sequence[Point], *, is_closed: bool) -> str:
    """Put Catmull and Rom's spline through the points, as cubic pieces in steps."""
    if len(points) < 3:
        return _straight(points)
    n = len(points)
    if is_closed:
        whole = [points[-1], *points, points[0], points[1]]
    else:
        whole = [points[0], *points, points[-1]]
    kept = [_tenths(z) for z in whole]
    steps: list[Point] = []
    for k in range(n if is_closed else n - 1):
        a, b, c, e = whole[k : k + 4]
        start, end = kept[k + 1], kept[k + 2]
        steps += [b + (c - a) / 6 - start, c - (e - b) / 6 - start, end - start]
    return f"M{_pairs(kept[1:2])}c{_pairs(steps)}" + ("z" if is_closed else "")


def _tenths(z: Point) -> Point:
    return complex(round(z.real, 1), round(z.imag, 1))


def _pairs(points: Sequence[Point]) -> str:
    """Write points or steps; a minus needs no space before it."""
    return " ".join(f"{_n(z.real)} {_n(z.imag)}" for z in points).replace(" -", "-")


def _n(value: float) -> str:
    """Write a number to a tenth, short."""
    text = f"{value:.1f}".removesuffix(".0")
    if text in ("-0", "0"):
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text
