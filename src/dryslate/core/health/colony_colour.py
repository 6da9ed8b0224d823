"""The colour of one colony over its visits: medians of frames, and change against its own first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

FloatArray = NDArray[np.float64]

ColourFigure = Literal["lightness", "chroma", "hue_deg", "white_distance"]
COLOUR_FIGURES: tuple[ColourFigure, ...] = ("white_distance", "lightness", "chroma", "hue_deg")
"""
Corrected L*, chroma and hue angle; and, uncorrected, the distance in CIELAB from the card's white.
"""
FEWEST_FRAMES = 3
"""With fewer frames on a visit their spread is not known well: the doubt is widened."""
BORROWED_WIDER = 2.0
"""
A visit with one frame is taken to have up to twice the widest spread of the others: a judgement.
"""
HUE_TOLD_U = 2.0
"""A hue is told where the chroma is this many times its doubt; nearer to grey it means nothing."""

Verdict = Literal["changed", "no_change_seen", "not_told"]

_MEDIAN_SD = (1.0, 0.7071, 0.6698, 0.5462, 0.5356, 0.4635, 0.4587, 0.4103, 0.4076, 0.3719)
"""
Standard deviation of the median of n normal values, n from 1, in their own: for odd n by the
integral over the order statistic, for even n by simulation to four digits.
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrameColour:
    """
    The colour of a colony's outlined area in one frame.

    Parameters
    ----------
    lab : ndarray of float, shape (3,), or None
        Corrected L*, a*, b*; None where the frame has no correction.
    lab_cov : ndarray of float, shape (3, 3), or None
        Doubt that the correction states, without the frames' own spread.
    card_u : ndarray of float, shape (3,), or None
        The part of it that the card's own values bring: the same card brings the same.
    card_key : str
        The printed card.
    white_distance : float or None
        From the card's white in the same uncorrected frame.
    white_distance_u : float
        Doubt of it that the frames of a visit share.
    """

    lab: FloatArray | None = None
    lab_cov: FloatArray | None = None
    card_u: FloatArray | None = None
    card_key: str = ""
    white_distance: float | None = None
    white_distance_u: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFigure:
    """
    One figure of a colony's colour on one visit.

    Parameters
    ----------
    median : float
        Of the frames.
    spread : float or None
        Standard deviation between the frames; None with one frame.
    n_frames : int
    shared_u : float
        Doubt that all frames of the visit have in common, the card's own part left out.
    card_u : float
        The card's own part.
    card_key : str
        Empty where the frames show more than one card.
    values : tuple of float
        Of each frame.
    """

    median: float
    spread: float | None
    n_frames: int
    shared_u: float
    card_u: float
    card_key: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourChange:
    """
    One figure against the colony's own first visit.

    Parameters
    ----------
    figure : str
    difference : float
        This visit minus the first; for a hue within 180 degrees either way.
    u : float or None
        Its standard uncertainty; None where the frames' spread is not known at all.
    lo95, hi95 : float or None
    df : float or None
        Effective degrees of freedom; infinite where the correction's doubt is all.
    verdict : str
        ``changed`` only where the interval leaves out zero; ``no_change_seen`` is not "the same".
    is_widened : bool
        One of the two visits has fewer than three frames: the widest spread of the colony's other
        visits stands for its own.
    n_frames : (int, int)
        On the first visit and on this.
    """

    figure: ColourFigure
    difference: float
    u: float | None
    lo95: float | None
    hi95: float | None
    df: float | None
    verdict: Verdict
    is_widened: bool
    n_frames: tuple[int, int]

    @property
    def doubt(self) -> float | None:
        """Half of the interval's width: a smaller change could not be seen."""
        if self.lo95 is None or self.hi95 is None:
            return None
        return (self.hi95 - self.lo95) / 2.0


def median_sd(n: int) -> float:
    """
    Return the standard deviation of the median of n normal values, in their own.

    Examples
    --------
    >>> median_sd(3), round(median_sd(40), 3)
    (0.6698, 0.198)
    """
    return _MEDIAN_SD[n - 1] if n <= len(_MEDIAN_SD) else math.sqrt(math.pi / (2.0 * n))


def visit_figures(frames: Sequence[FrameColour]) -> dict[ColourFigure, VisitFigure]:
    r"""
    Sum up the frames of one visit.

    Parameters
    ----------
    frames : sequence of FrameColour

    Returns
    -------
    dict
        By figure; one that no frame has is not in it, nor is a hue that is not told.

    Notes
    -----
    With chroma :math:`C = \sqrt{a^2 + b^2}` and hue :math:`h = \mathrm{atan2}(b, a)`, the
    correction's covariance S gives :math:`u_C^2 = r^T S r` with r = (a, b) / C, and
    :math:`u_h = \sqrt{t^T S t} / C` with t = (-b, a) / C [1]_. Hues are taken about their mean
    direction, so that 359 and 1 degree are 2 apart. What the correction states is taken as
    common to all frames of a visit: their number makes it no smaller. That part of it which does
    differ from frame to frame is counted twice, once more in their spread: the doubt is too wide
    rather than too narrow.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 and 5.2.2 (law of propagation of uncertainty).
    """
    found: dict[ColourFigure, VisitFigure] = {}
    white = [f for f in frames if f.white_distance is not None]
    if white:
        values = [float(f.white_distance or 0.0) for f in white]
        shared = [(f.white_distance_u**2, 0.0) for f in white]
        found["white_distance"] = _figure(values, shared, white)
    seen = [f for f in frames if f.lab is not None and f.lab_cov is not None]
    if not seen:
        return found
    lab = np.array([f.lab for f in seen])
    found["lightness"] = _figure(lab[:, 0].tolist(), [_along(f, (1, 0, 0)) for f in seen], seen)
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    found["chroma"] = _figure(
        chroma.tolist(),
        [_along(f, (0, *_direction(f))) for f in seen],
        seen,
    )
    across = [_along(f, (0, -_direction(f)[1], _direction(f)[0])) for f in seen]
    typical = float(np.median(chroma))
    doubt = math.sqrt(float(np.mean([own + card for own, card in across])))
    if typical > 0 and typical >= HUE_TOLD_U * doubt:
        angles = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
        origin = _mean_direction(angles)
        away = _wrapped(angles - origin)
        scale = np.degrees(1.0) ** 2
        parts = [
            (own * scale / c**2, card * scale / c**2)
            for (own, card), c in zip(across, np.maximum(chroma, 1e-9), strict=True)
        ]
        figure = _figure((origin + away).tolist(), parts, seen)
        found["hue_deg"] = figure
    return found


def _direction(frame: FrameColour) -> tuple[float, float]:
    """From grey towards a frame's colour, in a* and b*."""
    assert frame.lab is not None  # told before
    a, b = float(frame.lab[1]), float(frame.lab[2])
    c = math.hypot(a, b)
    return (a / c, b / c) if c > 0 else (1.0, 0.0)


def _along(frame: FrameColour, direction: Sequence[float]) -> tuple[float, float]:
    """Variance along a direction in CIELAB: without the card's own part, and that part."""
    r = np.asarray(direction, dtype=np.float64)
    card = np.zeros(3) if frame.card_u is None else np.asarray(frame.card_u)
    part = float(np.sum((r * card) ** 2))
    whole = float(r @ np.asarray(frame.lab_cov) @ r)
    return max(whole - part, 0.0), part


def _figure(
    values: Sequence[float],
    parts: Sequence[tuple[float, float]],
    frames: Sequence[FrameColour],
) -> VisitFigure:
    """Sum up one figure of the frames."""
    keys = {frame.card_key for frame in frames}
    return VisitFigure(
        median=float(np.median(values)),
        spread=float(np.std(values, ddof=1)) if len(values) > 1 else None,
        n_frames=len(values),
        shared_u=math.sqrt(float(np.mean([own for own, _ in parts]))),
        card_u=math.sqrt(float(np.mean([card for _, card in parts]))),
        card_key=keys.pop() if len(keys) == 1 else "",
        values=tuple(float(v) for v in values),
    )


def _mean_direction(angles: FloatArray) -> float:
    """Direction of the sum of unit vectors, in degrees."""
    turn = np.radians(angles)
    return float(np.degrees(np.arctan2(np.sin(turn).mean(), np.cos(turn).mean())))


def _wrapped(angles: FloatArray) -> FloatArray:
    """Bring angles within 180 degrees either way."""
    return np.asarray((angles + 180.0) % 360.0 - 180.0)


def compare_colour(
    figure: ColourFigure,
    first: VisitFigure,
    now: VisitFigure,
    others: Sequence[VisitFigure] = (),
) -> ColourChange:
    r"""
    Compare one figure of a visit with the colony's own first.

    Parameters
    ----------
    figure : str
    first, now : VisitFigure
    others : sequence of VisitFigure
        The same figure on the colony's other visits: where one of the two has fewer than three
        frames, the widest spread among all visits stands for its own, twice it for a single frame.

    Returns
    -------
    ColourChange

    Notes
    -----
    :math:`u^2 = \sum_v (k_{n_v} s_v)^2 + \sum_v u_{shared,v}^2 + u_{card}^2`, with s the standard
    deviation between the n frames of a visit and k the standard deviation of the median of n
    normal values. The card's own part falls out where both visits show the same printed card; with
    two cards it counts once for each. The interval is by t with the effective degrees of freedom
    of Welch and Satterthwaite [1]_. Frames are taken as independent; a burst of frames
    within one flicker of the sun is not, and makes the spread too small.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1 (Welch 1947; Satterthwaite 1946).
    """
    spreads = [v.spread for v in (first, now, *others)]
    visits = (first, now)
    is_widened = any(v.n_frames < FEWEST_FRAMES for v in visits)
    difference = now.median - first.median
    if figure == "hue_deg":
        difference = float(_wrapped(np.array([difference]))[0])
    known = [
        (s, v.n_frames - 1)
        for s, v in zip(spreads, (first, now, *others), strict=True)
        if s is not None
    ]
    n_frames = (first.n_frames, now.n_frames)
    if not known:
        return ColourChange(
            figure=figure,
            difference=difference,
            u=None,
            lo95=None,
            hi95=None,
            df=None,
            verdict="not_told",
            is_widened=True,
            n_frames=n_frames,
        )
    terms = [_spread_term(v, known) for v in visits]
    fixed = sum(v.shared_u**2 for v in visits)
    if not first.card_key or first.card_key != now.card_key:
        fixed += first.card_u**2 + now.card_u**2
    variance = sum(part for part, _ in terms) + fixed
    below = sum(part**2 / df for part, df in terms)
    df = math.inf if below <= 0 else variance**2 / below
    u = math.sqrt(variance)
    half = u * float(stats.norm.ppf(0.975) if math.isinf(df) else stats.t.ppf(0.975, df))
    return ColourChange(
        figure=figure,
        difference=difference,
        u=u,
        lo95=difference - half,
        hi95=difference + half,
        df=df,
        verdict="changed" if abs(difference) > half else "no_change_seen",
        is_widened=is_widened,
        n_frames=n_frames,
    )


def _spread_term(visit: VisitFigure, known: Sequence[tuple[float, int]]) -> tuple[float, float]:
    """Variance of a visit's median, with its degrees of freedom."""
    if visit.spread is not None and visit.n_frames >= FEWEST_FRAMES:
        spread, df = visit.spread, visit.n_frames - 1
    else:
        spread, df = max(known)
        spread *= 1.0 if visit.spread is not None else BORROWED_WIDER
    return (median_sd(visit.n_frames) * spread) ** 2, float(df)


def compare_visits(
    visits: Mapping[str, Mapping[ColourFigure, VisitFigure]], first: str
) -> dict[str, tuple[ColourChange, ...]]:
    """
    Compare every later visit with the first.

    Parameters
    ----------
    visits : Mapping
        Figures by visit, as `visit_figures` gives them.
    first : str
        The visit that the others are held against.

    Returns
    -------
    dict
        By visit, in the order of `COLOUR_FIGURES`; figures that one of the two lacks are left out.
    """
    found = {}
    for name, figures in visits.items():
        if name == first:
            continue
        found[name] = tuple(
            compare_colour(
                figure,
                visits[first][figure],
                figures[figure],
                [v[figure] for k, v in visits.items() if k not in (first, name) and figure in v],
            )
            for figure in COLOUR_FIGURES
            if figure in figures and figure in visits[first]
        )
    return found
