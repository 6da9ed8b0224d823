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
BORROWED_WIDER = 3.0
"""
A visit with one frame is taken to have three times the widest spread of the others: a judgement.
"""
APART_KNOTS = (2.5, 7.5, 15.0, 25.0)
"""How far apart in CIELAB the colony's colours on two visits are."""
MISMATCH_LEFT = (0.55, 0.8, 0.9, 1.0)
"""
Share of both visits' variance by spectral mismatch that their difference keeps, with one camera
and one card: the largest of four families of waters, cameras and corals, printed by
``tools/spectral_visits.py``. Nothing falls out where the camera is another, or not known.
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
    mismatch_u : ndarray of float, shape (3,), or None
        The part that the coral's pigments bring, which are not the card's: all frames share it;
        None where it is not known apart.
    card_key, camera_key : str
        The printed card, and the camera.
    white_distance : float or None
        From the card's white in the same uncorrected frame.
    white_distance_u : float
        Doubt of it by light that differs between card and area.
    """

    lab: FloatArray | None = None
    lab_cov: FloatArray | None = None
    card_u: FloatArray | None = None
    mismatch_u: FloatArray | None = None
    card_key: str = ""
    camera_key: str = ""
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
        Doubt that all frames of the visit have in common, apart from the parts below.
    card_u : float
        The card's own part.
    card_key : str
        Empty where the frames show more than one card.
    values : tuple of float
        Of each frame.
    mismatch_u : float
        The part of the coral's pigments: all frames have it in common, and with one camera and
        card much of it falls out between visits.
    moving_u : float
        Stated doubt of one frame that may differ from frame to frame: light, fit and noise.
    camera_key : str
        Empty where it is not known, or there was more than one.
    lab : tuple of float or None
        Median corrected colour of the frames; None for figures without one.
    """

    median: float
    spread: float | None
    n_frames: int
    shared_u: float
    card_u: float
    card_key: str
    values: tuple[float, ...]
    mismatch_u: float = 0.0
    moving_u: float = 0.0
    camera_key: str = ""
    lab: tuple[float, float, float] | None = None


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
    r"""
    Return the standard deviation of the median of n normal values, in their own.

    Notes
    -----
    Beyond the table :math:`\sqrt{\pi / (2n + 4 - \pi)}`, the large-sample value to second order:
    for odd n within 0.1 % of the integral over the order statistic, for even n at most 4 % above
    it. One frame more never makes the median less sure.

    Examples
    --------
    >>> median_sd(3), round(median_sd(40), 3)
    (0.6698, 0.197)
    """
    known = len(_MEDIAN_SD)
    return _MEDIAN_SD[n - 1] if n <= known else math.sqrt(math.pi / (2.0 * n + 4.0 - math.pi))


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
    direction, so that 359 and 1 degree are 2 apart. The parts of card and pigments are common to
    all frames of a visit: their number makes them no smaller. The rest of what the correction
    states of one frame (light, fit, noise) may differ from frame to frame or be common: how much
    of it does differ the frames' own spread shows (`compare_colour`). Colours without the
    pigments' part apart are taken to share all of it.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 and 5.2.2 (law of propagation of uncertainty).
    """
    found: dict[ColourFigure, VisitFigure] = {}
    white = [f for f in frames if f.white_distance is not None]
    if white:
        values = [float(f.white_distance or 0.0) for f in white]
        parts = [_Parts(moving=f.white_distance_u**2) for f in white]
        found["white_distance"] = _figure(values, parts, white)
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
    doubt = math.sqrt(float(np.mean([one.whole for one in across])))
    if typical > 0 and typical >= HUE_TOLD_U * doubt:
        angles = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
        origin = _mean_direction(angles)
        away = _wrapped(angles - origin)
        scale = np.degrees(1.0) ** 2
        parts = [
            one.times(float(scale / c**2))
            for one, c in zip(across, np.maximum(chroma, 1e-9), strict=True)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    """Variance of one figure in one frame, by what it is made of."""

    shared: float = 0.0
    card: float = 0.0
    mismatch: float = 0.0
    moving: float = 0.0

    @property
    def whole(self) -> float:
        """All of it."""
        return self.shared + self.card + self.mismatch + self.moving

    def times(self, factor: float) -> _Parts:
        """Every part times a factor."""
        return _Parts(
            shared=self.shared * factor,
            card=self.card * factor,
            mismatch=self.mismatch * factor,
            moving=self.moving * factor,
        )


def _along(frame: FrameColour, direction: Sequence[float]) -> _Parts:
    """Variance along a direction in CIELAB."""
    r = np.asarray(direction, dtype=np.float64)

    def part(u: FloatArray | None) -> float:
        return 0.0 if u is None else float(np.sum((r * np.asarray(u)) ** 2))

    whole, card = float(r @ np.asarray(frame.lab_cov) @ r), part(frame.card_u)
    mismatch = min(part(frame.mismatch_u), max(whole - card, 0.0))
    rest = max(whole - card - mismatch, 0.0)
    if frame.mismatch_u is None:
        return _Parts(shared=rest, card=card)
    return _Parts(card=card, mismatch=mismatch, moving=rest)


def _figure(
    values: Sequence[float], parts: Sequence[_Parts], frames: Sequence[FrameColour]
) -> VisitFigure:
    """Sum up one figure of the frames."""
    keys, cameras = {f.card_key for f in frames}, {f.camera_key for f in frames}
    labs = [f.lab for f in frames if f.lab is not None]
    middle = np.median(labs, axis=0) if labs else None

    def u(name: str) -> float:
        return math.sqrt(float(np.mean([getattr(one, name) for one in parts])))

    return VisitFigure(
        median=float(np.median(values)),
        spread=float(np.std(values, ddof=1)) if len(values) > 1 else None,
        n_frames=len(values),
        shared_u=u("shared"),
        card_u=u("card"),
        card_key=keys.pop() if len(keys) == 1 else "",
        values=tuple(float(v) for v in values),
        mismatch_u=u("mismatch"),
        moving_u=u("moving"),
        camera_key=cameras.pop() if len(cameras) == 1 else "",
        lab=None if middle is None else (float(middle[0]), float(middle[1]), float(middle[2])),
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
        frames, the widest spread among all visits stands for its own, three times it for a single
        frame.

    Returns
    -------
    ColourChange

    Notes
    -----
    :math:`u^2 = \sum_v (k_{n_v} s_v)^2 + \sum_v \max(m_v^2 - s_v^2, 0) + \sum_v u_{shared,v}^2
    + c \sum_v u_{pigments,v}^2 + u_{card}^2`, with s the standard
    deviation between the n frames of a visit and k the standard deviation of the median of n
    normal values. m is the doubt by light, fit and noise that the correction states of one frame:
    what of it the frames differ by is in s, so only the rest is common to them and counts in full.
    c is the share of the pigments' part that a difference keeps (`MISMATCH_LEFT`); it is 1 with
    two cards or two cameras. The card's own part falls out where both visits show the same printed
    card; with two cards it counts once for each. The interval is by t with the effective degrees
    of freedom of Welch and Satterthwaite [1]_. Frames are taken as independent; a burst of frames
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
    fixed += _mismatch_left(first, now) * sum(v.mismatch_u**2 for v in visits)
    if not first.card_key or first.card_key != now.card_key:
        fixed += first.card_u**2 + now.card_u**2
    variance = sum(term.variance for term in terms) + fixed
    below = sum(term.by_spread**2 / term.df for term in terms)
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


def visit_u(visit: VisitFigure) -> float | None:
    r"""
    Return the standard uncertainty of a figure of one visit by itself.

    Parameters
    ----------
    visit : VisitFigure

    Returns
    -------
    float or None
        None with one frame: how much frames differ is not known.

    Notes
    -----
    As a visit's part in `compare_colour`, with all of what a difference would lose:
    :math:`u^2 = (k_n s)^2 + \max(m^2 - s^2, 0) + u_{shared}^2 + u_{pigments}^2 + u_{card}^2`.

    Examples
    --------
    >>> one = VisitFigure(
    ...     median=60.0, spread=1.0, n_frames=3, shared_u=0.0, card_u=2.0, card_key="",
    ...     values=(59.0, 60.0, 61.0), mismatch_u=3.0, moving_u=2.0,
    ... )
    >>> round(visit_u(one) ** 2, 4), round(median_sd(3) ** 2 + (4 - 1) + 9 + 4, 4)
    (16.4486, 16.4486)
    """
    if visit.spread is None:
        return None
    term = _spread_term(visit, [(visit.spread, visit.n_frames - 1)])
    fixed = visit.shared_u**2 + visit.mismatch_u**2 + visit.card_u**2
    return math.sqrt(term.variance + fixed)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Term:
    """What frames and light bring to the variance of a visit's median."""

    variance: float
    by_spread: float
    df: float


def _mismatch_left(first: VisitFigure, now: VisitFigure) -> float:
    """Share of the pigments' part that the difference keeps."""
    same_card = first.card_key and first.card_key == now.card_key
    same_camera = first.camera_key and first.camera_key == now.camera_key
    if not same_card or not same_camera or first.lab is None or now.lab is None:
        return 1.0
    return float(np.interp(math.dist(first.lab, now.lab), APART_KNOTS, MISMATCH_LEFT))


def _spread_term(visit: VisitFigure, known: Sequence[tuple[float, int]]) -> _Term:
    """What frames and light bring, with the degrees of freedom of the frames' spread."""
    if visit.spread is not None and visit.n_frames >= FEWEST_FRAMES:
        spread, df = visit.spread, visit.n_frames - 1
    else:
        spread, df = max(known)
        spread *= 1.0 if visit.spread is not None else BORROWED_WIDER
    own, common = (median_sd(visit.n_frames) * spread) ** 2, visit.moving_u**2 - spread**2
    if common <= 0.0:
        return _Term(variance=own, by_spread=own, df=float(df))
    return _Term(variance=own + common, by_spread=own - spread**2, df=float(df))


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
