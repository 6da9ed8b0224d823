"""Drawings of a survey's report: plain SVG that reads in black and white, the same each time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

WIDTH = 720.0
HALF = 352.0
"""Of two drawings side by side, with letters of the same size."""
MAP_WIDTH = 500.0
ROW = 22.0
SIZE = 11.5
_CHAR = 6.6
"""Width of a letter at that size, on average, in the same unit."""
MARKS = ("circle", "square", "triangle", "diamond", "cross", "plus", "ring", "frame")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """
    One row of a chart.

    Parameters
    ----------
    label : str
    value : float or None
    lo, hi : float or None
        One of them alone is a limit.
    before : Dot or None
        The same at the visit before, drawn thin below it.
    """

    label: str
    value: float | None
    lo: float | None = None
    hi: float | None = None
    before: Dot | None = None

    def ends(self) -> list[float]:
        """Return every number of it."""
        own = [x for x in (self.value, self.lo, self.hi) if x is not None]
        return own if self.before is None else [*own, *self.before.ends()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """
    How large a chart is, and what it is called.

    Parameters
    ----------
    width : float
    row : float
        Height of a row.
    head : str
        Above the drawing; empty: nothing.
    """

    width: float = WIDTH
    row: float = ROW
    head: str = ""


Write = Callable[[float], str]


def ticks_to(top: float, n: int = 5) -> list[float]:
    """
    Return round numbers from 0 to a top or just over.

    Parameters
    ----------
    top : float
    n : int
        About how many steps.

    Returns
    -------
    list of float

    Examples
    --------
    >>> ticks_to(0.47)
    [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]
    """
    if not top > 0:
        top = 1.0
    power = 10.0 ** math.floor(math.log10(top / n))
    step = next(k * power for k in (1, 2, 5, 10) if k * power * n >= top * 0.999)
    count = math.ceil(top / step - 1e-9)
    return [round(k * step, 12) for k in range(count + 1)]


def dot_chart(
    dots: Sequence[Dot],
    title: str,
    write: Write,
    *,
    has_bars: bool = False,
    frame: Frame = Frame(),
) -> str:
    """
    Draw values with their intervals, a row each, the first on top.

    Parameters
    ----------
    dots : sequence of Dot
    title : str
        What the axis shows; empty where the head says it.
    write : callable
        Number to text.
    has_bars : bool
        A bar from 0 to the value as well, for shares of a whole.
    frame : Frame

    Returns
    -------
    str
        An SVG element.
    """
    is_small = frame.width < WIDTH
    lines = [_wrapped(dot.label, 24 if is_small else 44) for dot in dots]
    most = frame.width * 0.43
    left = min(max((len(one) for row in lines for one in row), default=4) * _CHAR, most) + 14
    least = [frame.row + (4 if dot.before is not None else 0) for dot in dots]
    heights = [
        a if len(row) == 1 else max(a, 15 * len(row) + 7)
        for a, row in zip(least, lines, strict=True)
    ]
    ends = [x for dot in dots for x in dot.ends()]
    marks = ticks_to(max(ends, default=1.0), 3 if is_small else 5)
    heads = _wrapped(frame.head, 48 if is_small else 100) if frame.head else []
    span, top = frame.width - left - 24, 8.0 + 16 * len(heads)
    low = top + sum(heights)

    def at(value: float) -> float:
        return left + span * min(value / marks[-1], 1.0)

    parts = [_text(4, 12 + 16 * k, line, "start", weight="bold") for k, line in enumerate(heads)]
    parts += [
        f'<line x1="{at(m):.1f}" y1="{top}" x2="{at(m):.1f}" y2="{low:.1f}" stroke="#b0b0b0" '
        f'stroke-width="0.7"/>{_text(at(m), low + 16, write(m), "middle")}'
        for m in marks
    ]
    y = top
    for dot, row, height in zip(dots, lines, heights, strict=True):
        middle = y + height / 2
        for k, line in enumerate(row):
            shift = (k - (len(row) - 1) / 2) * 14
            parts.append(_text(left - 8, middle + 4 + shift, line, "end"))
        if dot.before is not None:
            parts.append(_earlier(dot.before, middle + 5.5, at))
            middle -= 3.5
        parts.append(_dot(dot, middle, at, has_bars=has_bars))
        y += height
    titles = _wrapped(title, 48 if is_small else 100) if title else []
    for k, line in enumerate(titles):
        parts.append(_text(frame.width - 24, low + 36 + 15 * k, line, "end"))
    return _svg(low + (31 if titles else 20) + 15 * len(titles), parts, frame.width)


def _earlier(dot: Dot, y: float, at: Callable[[float], float]) -> str:
    """Draw a value of the visit before: a small square on a thin line."""
    ink = 'stroke="#767676" stroke-width="1.2"'
    parts = []
    if dot.lo is not None and dot.hi is not None:
        parts.append(f'<path d="M{at(dot.lo):.1f} {y:.1f}H{at(dot.hi):.1f}" {ink}/>')
    elif dot.hi is not None:
        parts.append(
            f'<path d="M{at(0):.1f} {y:.1f}H{at(dot.hi):.1f}" {ink} stroke-dasharray="2 2"/>'
        )
    if dot.value is not None:
        is_sure = dot.lo is not None and dot.hi is not None
        parts.append(
            f'<rect x="{at(dot.value) - 2.5:.1f}" y="{y - 2.5:.1f}" width="5" height="5" '
            f'fill="{"#767676" if is_sure else "#ffffff"}" {ink}/>'
        )
    return "".join(parts)


def _dot(dot: Dot, y: float, at: Callable[[float], float], *, has_bars: bool) -> str:
    """Draw one value: a dot on the line of its interval, an arrow for a limit alone."""
    ink = 'stroke="currentColor" stroke-width="2"'
    parts = []
    if has_bars and dot.value:
        parts.append(
            f'<rect x="{at(0):.1f}" y="{y - 7:.1f}" width="{at(dot.value) - at(0):.1f}" '
            'height="14" fill="#cfcfcf" stroke="currentColor" stroke-width="0.7"/>'
        )
    if dot.lo is not None and dot.hi is not None:
        a, b = at(dot.lo), at(dot.hi)
        parts.append(f'<path d="M{a:.1f} {y:.1f}H{b:.1f}" {ink} fill="none"/>')
        for x in (a, b):
            parts.append(f'<path d="M{x:.1f} {y - 4:.1f}v8" {ink} fill="none"/>')
    elif dot.hi is not None:
        x = at(dot.hi)
        parts.append(f'<path d="M{at(0):.1f} {y:.1f}H{x:.1f}" {ink} stroke-dasharray="3 3"/>')
        parts.append(f'<path d="M{x:.1f} {y - 5:.1f}l-8 5l8 5z" fill="currentColor"/>')
    elif dot.lo is not None:
        x = at(dot.lo)
        parts.append(f'<path d="M{x:.1f} {y - 5:.1f}l8 5l-8 5z" fill="currentColor"/>')
    if dot.value is not None:
        fill = "currentColor" if dot.lo is not None and dot.hi is not None else "#ffffff"
        parts.append(
            f'<circle cx="{at(dot.value):.1f}" cy="{y:.1f}" r="4.5" fill="{fill}" '
            'stroke="currentColor" stroke-width="1.6"/>'
        )
    return "".join(parts)


def scatter_chart(points: Sequence[tuple[float, float, str]], side: float = 210.0) -> str:
    """
    Draw units as points, a shape for each group; axes without numbers, for they mean nothing.

    Parameters
    ----------
    points : sequence of (float, float, str)
        Place and group.
    side : float
        Of the square.

    Returns
    -------
    str
        An SVG element.
    """
    groups = list(dict.fromkeys(group for _, _, group in sorted(points, key=lambda p: p[2])))
    reach = max((max(abs(x), abs(y)) for x, y, _ in points), default=1.0) or 1.0
    parts = [
        f'<rect x="10" y="10" width="{side}" height="{side}" fill="none" '
        'stroke="currentColor" stroke-width="1"/>'
    ]
    for x, y, group in points:
        px, py = (10 + side * (0.5 + 0.46 * v / reach) for v in (x, -y))
        parts.append(_mark(groups.index(group), px, py))
    for k, group in enumerate(groups):
        parts.append(_mark(k, side + 28, 20 + 18 * k))
        parts.append(_text(side + 40, 24 + 18 * k, _wrapped(group, 15)[0], "start"))
    return _svg(max(side + 20, 30 + 18 * len(groups)), parts, HALF)


def _mark(k: int, x: float, y: float) -> str:
    """Draw the mark of a group; after the eighth they come again."""
    name = MARKS[k % len(MARKS)]
    solid = 'fill="currentColor" fill-opacity="0.85"'
    open_ = 'fill="none" stroke="currentColor" stroke-width="1.8"'
    if name in ("circle", "ring"):
        style = solid if name == "circle" else open_
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" {style}/>'
    shapes = {
        "square": (f"M{x - 4.5:.1f} {y - 4.5:.1f}h9v9h-9z", open_),
        "triangle": (f"M{x:.1f} {y - 6:.1f}l5.5 10h-11z", solid),
        "diamond": (f"M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6-6z", open_),
        "cross": (f"M{x - 5:.1f} {y - 5:.1f}l10 10m0-10l-10 10", open_),
        "plus": (f"M{x - 6:.1f} {y:.1f}h12m-6-6v12", open_),
        "frame": (f"M{x - 4.5:.1f} {y - 4.5:.1f}h9v9h-9z", solid),
    }
    path, style = shapes[name]
    return f'<path d="{path}" {style}/>'


def map_chart(
    places: Sequence[tuple[str, float, float, float | None]], degrees: Write, km: Write
) -> str:
    """
    Draw sites on a grid of latitude and longitude, with a scale bar and north up.

    Parameters
    ----------
    places : sequence of (str, float, float, float or None)
        Name, latitude, longitude in degrees, and the grid of a coarse position.
    degrees, km : callable
        Numbers to text.

    Returns
    -------
    str
        An SVG element.

    Notes
    -----
    Degrees of longitude are drawn shorter by the cosine of the middle latitude: true to scale
    along both axes there, and nearly so over the few degrees of a survey.
    """
    lats, lons = [p[1] for p in places], _together([p[2] for p in places])
    middle = (max(lats) + min(lats)) / 2
    shrink = max(math.cos(math.radians(middle)), 0.05)
    pads = [p[3] or 0.0 for p in places]
    high = max(max(lats) - min(lats) + 2 * max(pads), 0.002)
    wide = max((max(lons) - min(lons) + 2 * max(pads)) * shrink, 0.002)
    reach = max(high, wide) * 1.3
    side, edge = 150.0, 46.0
    scale = side / reach
    lon0, lat0 = (max(lons) + min(lons)) / 2, middle

    def at(lat: float, lon: float) -> tuple[float, float]:
        return edge + side / 2 + (lon - lon0) * shrink * scale, 10 + side / 2 - (lat - lat0) * scale

    parts = [
        f'<rect x="{edge}" y="10" width="{side}" height="{side}" fill="none" '
        'stroke="currentColor" stroke-width="1"/>'
    ]
    for value in _between(lat0 - reach / 2, lat0 + reach / 2):
        y = at(value, lon0)[1]
        parts.append(f'<path d="M{edge} {y:.1f}h{side}" stroke="#b0b0b0" stroke-width="0.7"/>')
        parts.append(_text(edge - 5, y + 4, degrees(value), "end", 9))
    for value in _between(lon0 - reach / 2 / shrink, lon0 + reach / 2 / shrink):
        x = at(lat0, value)[0]
        parts.append(f'<path d="M{x:.1f} 10v{side}" stroke="#b0b0b0" stroke-width="0.7"/>')
        wrapped = (value + 180) % 360 - 180
        parts.append(_text(x, side + 24, degrees(wrapped), "middle", 9))
    for k, ((name, lat, _, grid), lon) in enumerate(zip(places, lons, strict=True), 1):
        x, y = at(lat, lon)
        if grid is not None:
            w, h = grid * shrink * scale, grid * scale
            parts.append(
                f'<rect x="{x - w / 2:.1f}" y="{y - h / 2:.1f}" width="{w:.1f}" height="{h:.1f}" '
                'fill="none" stroke="currentColor" stroke-width="1.4" stroke-dasharray="4 3"/>'
            )
        else:
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="currentColor"/>')
        parts.append(_text(x + 7, y - 5, str(k), "start"))
        if k <= 20:
            label = _wrapped(f"{k} {name}", 30)[0]
            parts.append(_text(side + edge + 14, 24 + 20 * k, label, "start"))
    bar_deg = ticks_to(reach / 3 * 111.195, 1)[-1]
    if bar_deg / 111.195 * scale > side * 0.7:
        bar_deg /= 2
    length = bar_deg / 111.195 * scale
    y = side - 8
    parts.append(
        f'<path d="M{edge + 12} {y}v6h{length:.1f}v-6" fill="none" stroke="currentColor" '
        'stroke-width="2"/>'
    )
    parts.append(_text(edge + 14, y - 2, f"{km(bar_deg)} km", "start"))
    x = edge + side - 22
    parts.append(f'<path d="M{x} 52V24l-6 12m6-12l6 12" fill="none" stroke="currentColor" '
                 f'stroke-width="2"/>{_text(x, 66, "N", "middle")}')  # fmt: skip
    return _svg(side + 36, parts, MAP_WIDTH)


def _together(lons: Sequence[float]) -> list[float]:
    """Return longitudes side by side where they lie on both sides of 180 degrees."""
    if max(lons) - min(lons) <= 180:
        return list(lons)
    return [lon + 360 if lon < 0 else lon for lon in lons]


def _between(lo: float, hi: float) -> list[float]:
    """Return round degrees between two."""
    step = ticks_to(hi - lo, 4)[1]
    first = math.ceil(lo / step)
    return [round(k * step, 9) for k in range(first, math.floor(hi / step) + 1)]


def _wrapped(text: str, most: int) -> list[str]:
    """Break a long label at spaces, into three lines at most."""
    lines, now = [], ""
    for word in text.split():
        piece = word if len(word) <= most else f"{word[: most - 1]}…"
        if now and len(now) + 1 + len(piece) > most:
            lines.append(now)
            now = piece
        else:
            now = f"{now} {piece}".strip()
    lines.append(now)
    return lines if len(lines) <= 3 else [*lines[:2], f"{lines[2][: most - 1]}…"]


def _text(x: float, y: float, text: str, anchor: str, size: float = SIZE, weight: str = "") -> str:
    """Write a text."""
    heavy = f'font-weight="{weight}" ' if weight else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" {heavy}'
        f'font-family="DejaVu Sans, Arial, sans-serif" fill="currentColor">{escape(text)}</text>'
    )


def _svg(height: float, parts: Sequence[str], width: float = WIDTH) -> str:
    """Put the drawing together."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}">{"".join(parts)}</svg>'
    )
