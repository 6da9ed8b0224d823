"""
How sure the light is away from the card: one lamp or a shadow does not go on in a straight line.

On the card a log-linear field is fitted, and the bend that its ground shows: a lamp's light falls
off to all sides, daylight's hardly. Beyond the card the field does not rise above its largest value
there and falls to twice its smallest, as carrying it on further errs more
(``tools/light_beyond_card.py``). What may be missing grows with the distance, with how much the
light already changes over the card and with how far from straight it does. In shallow water bright
lines wander over card and reef: how strong they are is seen on the card's own ground, and a thing
may lie in one or between two wherever it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

HOLD_BRIGHT, HOLD_DIM = 1.0, 2.0
"""How many times its largest and its smallest value on the card the field may reach beyond it."""
UNSEEN_SLOPE = 0.25
"""Slope to ask for where nothing could show one: an even field then errs about as much."""
BEND_SPREAD = 0.02
"""Prior standard deviation of the bend taken off: small, as few pieces of ground show it."""
CURVATURE_SPREAD = 0.06
"""Prior standard deviation of each of the three coefficients of the curvature."""
_BY_DIRECTION: FloatArray = np.array([[3.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 3.0]]) / 8.0
"""Mean over directions of (h0 cos² + h1 cos sin + h2 sin²)², as a quadratic form of h."""
UNSEEN_CURVATURE = CURVATURE_SPREAD * float(np.sqrt(np.trace(_BY_DIRECTION)))
"""Curvature to ask for where nothing could show one: what the prior alone expects."""
_GROUND_NOISE_LEAST = 0.005
NEAR_HALF_DIAGONALS = 2.5
"""One and a half card lengths (of a card three wide and two high), from the card's centre."""

RIPPLE_FACTOR = 1.5
"""Doubt anywhere over the ripple seen on the card; printed by tools/light_beyond_card.py."""
N_RIPPLE_LEAST = 6
"""Pieces of ground needed to tell a ripple, or a bend, from a slope."""

_SLOPES = (0.02, 0.06, 0.12, 0.25)
_CURVATURES = (0.015, 0.03, 0.06, 0.12)
_DISTANCES = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0)
# Printed by tools/light_beyond_card.py (seed 5): by slope, rows by curvature, columns by distance.
_LOG_LIGHT_U: FloatArray = np.array(
    [
        (
            (0.002, 0.002, 0.016, 0.023, 0.046, 0.071, 0.153, 0.220),
            (0.002, 0.002, 0.020, 0.038, 0.083, 0.164, 0.260, 0.260),
            (0.002, 0.016, 0.085, 0.142, 0.178, 0.306, 0.306, 0.333),
            (0.002, 0.018, 0.080, 0.121, 0.212, 0.212, 0.274, 0.274),
        ),
        (
            (0.002, 0.004, 0.019, 0.034, 0.076, 0.117, 0.224, 0.373),
            (0.002, 0.008, 0.040, 0.063, 0.123, 0.182, 0.282, 0.431),
            (0.002, 0.026, 0.082, 0.111, 0.210, 0.310, 0.326, 0.403),
            (0.002, 0.025, 0.127, 0.177, 0.294, 0.294, 0.294, 0.294),
        ),
        (
            (0.002, 0.009, 0.034, 0.062, 0.126, 0.183, 0.273, 0.357),
            (0.002, 0.012, 0.050, 0.074, 0.142, 0.196, 0.283, 0.360),
            (0.002, 0.025, 0.079, 0.120, 0.212, 0.284, 0.313, 0.331),
            (0.002, 0.022, 0.112, 0.186, 0.271, 0.301, 0.301, 0.301),
        ),
        (
            (0.002, 0.020, 0.074, 0.126, 0.219, 0.283, 0.372, 0.441),
            (0.002, 0.027, 0.094, 0.145, 0.222, 0.267, 0.345, 0.449),
            (0.002, 0.032, 0.107, 0.154, 0.259, 0.301, 0.327, 0.456),
            (0.002, 0.040, 0.147, 0.215, 0.336, 0.370, 0.370, 0.388),
        ),
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LightDoubt:
    """
    What is needed to say how sure the light is at a point.

    Parameters
    ----------
    centre_px : tuple of float
        The card's centre in the upright photo.
    half_px : float
        Half the diagonal of the card's samples.
    slope : float
        Size of the fitted change of the logarithm of light over one half diagonal.
    ripple : float
        As `measure_ripple` says; 0 where nothing showed one.
    curvature : float
        As `measure_bend` says.
    tint : tuple of float
        Size of the change of the logarithm of red over green and of blue over green light over
        one half diagonal, as the card's ground shows it: flash on top of daylight does so. It is
        not taken away from the photo; all of it is doubt.
    """

    centre_px: tuple[float, float]
    half_px: float
    slope: float
    ripple: float = 0.0
    curvature: float = UNSEEN_CURVATURE
    tint: tuple[float, float] = (0.0, 0.0)

    def tint_u(self, xy_px: ArrayLike) -> FloatArray:
        """Return one standard uncertainty of the log of red, green, blue light at points (n, 2)."""
        points = np.asarray(xy_px, dtype=np.float64).reshape(-1, 2)
        apart = np.linalg.norm(points - np.array(self.centre_px), axis=1) / self.half_px
        tint = np.array([self.tint[0], 0.0, self.tint[1]])
        return np.asarray(apart[:, None] * tint, dtype=np.float64)

    def log_light_u(self, xy_px: ArrayLike) -> FloatArray:
        """Return one standard uncertainty of the logarithm of light at points (n, 2)."""
        points = np.asarray(xy_px, dtype=np.float64).reshape(-1, 2)
        apart = np.linalg.norm(points - np.array(self.centre_px), axis=1) / self.half_px
        return log_light_u(apart, self.slope, self.ripple, self.curvature)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "centre_px": list(self.centre_px),
            "half_px": self.half_px,
            "slope": self.slope,
            "ripple": self.ripple,
            "curvature": self.curvature,
            "tint": list(self.tint),
        }


def measure_bend(place: ArrayLike, log_light: ArrayLike) -> tuple[float, float]:
    """
    Measure how the light on the card departs from a straight slope.

    Parameters
    ----------
    place : array_like of float, shape (n, 2)
        Where pieces of one even ground lie, in half diagonals of the card.
    log_light : array_like of float, shape (n,)
        Logarithm of the light seen from each.

    Returns
    -------
    bend : float
        Change of the logarithm by the squared distance, alike to all sides; drawn towards 0 where
        the pieces hardly tell (prior 0 ± `BEND_SPREAD`).
    curvature : float
        Root of the mean square, over directions and over what the pieces leave open (prior
        0 ± `CURVATURE_SPREAD` for each coefficient), of the change beyond the slope one half
        diagonal away. What the pieces cannot tell, as across a narrow card, counts as the prior's.

    Notes
    -----
    Both are Bayesian linear regressions on the pieces, with the noise taken from what is left
    beyond a plane and a bend (beyond a full quadratic for the curvature). With fewer than six
    pieces: 0 and `UNSEEN_CURVATURE`.

    Examples
    --------
    >>> place = np.array([(x, y) for x in (-0.8, -0.3, 0.3, 0.8) for y in (-0.5, 0.0, 0.5)])
    >>> lamp = -0.03 * (place**2).sum(axis=1) + 0.1 * place[:, 0]
    >>> [round(v, 3) for v in measure_bend(place, lamp)]
    [-0.028, 0.03]
    """
    xy = np.asarray(place, dtype=np.float64).reshape(-1, 2)
    logs = np.asarray(log_light, dtype=np.float64)
    if len(logs) < N_RIPPLE_LEAST:
        return 0.0, UNSEEN_CURVATURE
    x, y = xy.T
    plane = np.column_stack([np.ones(len(x)), x, y])
    bend, _ = _regress(plane, (x * x + y * y)[:, None], logs, BEND_SPREAD)
    three, cov = _regress(plane, np.column_stack([x * x, x * y, y * y]), logs, CURVATURE_SPREAD)
    square = three @ _BY_DIRECTION @ three + np.trace(_BY_DIRECTION @ cov)
    return float(bend[0]), float(np.sqrt(square))


def _regress(
    plane: FloatArray, curved: FloatArray, logs: FloatArray, spread: float
) -> tuple[FloatArray, FloatArray]:
    """Coefficients of the curved columns, with a prior 0 ± spread, and their covariance."""
    design = np.column_stack([plane, curved])
    rest = logs - design @ np.linalg.lstsq(design, logs, rcond=None)[0]
    freedom = max(len(logs) - design.shape[1], 1)
    noise = max(_GROUND_NOISE_LEAST, float(np.sqrt((rest**2).sum() / freedom)))
    prior = np.diag([1e-6] * plane.shape[1] + [spread**-2.0] * curved.shape[1])
    cov = np.linalg.inv(design.T @ design / noise**2 + prior)
    found = cov @ (design.T @ logs / noise**2)
    n = plane.shape[1]
    return found[n:], cov[n:, n:]


def measure_ripple(place: ArrayLike, log_light: ArrayLike) -> float:
    """
    Measure how uneven the light is on the card beyond a straight slope.

    Parameters
    ----------
    place : array_like of float, shape (n, 2)
        Where pieces of one even ground lie, in any unit.
    log_light : array_like of float, shape (n,)
        Logarithm of the light seen from each.

    Returns
    -------
    float
        Standard deviation about the plane through them; 0 with fewer than six pieces.

    Examples
    --------
    >>> place = np.array([(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)])
    >>> round(measure_ripple(place, place @ [0.1, -0.2]), 6)
    0.0
    """
    xy = np.asarray(place, dtype=np.float64).reshape(-1, 2)
    logs = np.asarray(log_light, dtype=np.float64)
    if len(logs) < N_RIPPLE_LEAST:
        return 0.0
    design = np.column_stack([np.ones(len(xy)), xy - xy.mean(axis=0)])
    plane = np.linalg.lstsq(design, logs, rcond=None)[0]
    return float(np.sqrt(((logs - design @ plane) ** 2).sum() / (len(logs) - 3)))


def measure_tint(place: ArrayLike, linear: ArrayLike) -> tuple[float, float]:
    """
    Measure how the colour of the light changes over the card.

    Parameters
    ----------
    place : array_like of float, shape (n, 2)
        Where pieces of one even ground lie, in half diagonals of the card.
    linear : array_like of float, shape (n, 3)
        Corrected linear red, green and blue of each, above zero.

    Returns
    -------
    tuple of float
        Size of the slope of log(red / green) and log(blue / green); zero with fewer than six.

    Examples
    --------
    >>> place = np.array([(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)], dtype=float)
    >>> red = np.exp(0.1 * place[:, 0])
    >>> tint = measure_tint(place, np.stack([red, np.ones(6), np.ones(6)], axis=1))
    >>> [round(v, 3) + 0.0 for v in tint]
    [0.1, 0.0]
    """
    xy = np.asarray(place, dtype=np.float64).reshape(-1, 2)
    logs = np.log(np.asarray(linear, dtype=np.float64))
    if len(logs) < N_RIPPLE_LEAST:
        return 0.0, 0.0
    design = np.column_stack([np.ones(len(xy)), xy])
    plane = np.linalg.lstsq(design, logs[:, [0, 2]] - logs[:, [1]], rcond=None)[0]
    size = np.linalg.norm(plane[1:], axis=0)
    return float(size[0]), float(size[1])


def _between(value: float, knots: tuple[float, ...]) -> FloatArray:
    """Weight of each knot for a linear interpolation, held at the ends."""
    return np.array([np.interp(value, knots, row) for row in np.eye(len(knots))])


def log_light_u(
    half_diagonals: ArrayLike,
    slope: float,
    ripple: float = 0.0,
    curvature: float = UNSEEN_CURVATURE,
) -> FloatArray:
    """
    State the doubt of the logarithm of light at a distance from the card's centre.

    Parameters
    ----------
    half_diagonals : array_like of float, shape (n,)
        Distance from the card's centre in half diagonals of the card.
    slope : float
        Size of the fitted change of the logarithm of light over one half diagonal.
    ripple : float
        As `measure_ripple` says.
    curvature : float
        As `measure_bend` says.

    Returns
    -------
    ndarray of float, shape (n,)
        One standard uncertainty (a 95th percentile over 1.96), relative to the light.

    Notes
    -----
    Interpolated in a table that simulates one or two lamps beside the lens (inverse square,
    cosine, beam width, share of daylight) and daylight with gradients, soft shade and caustics.
    Ranges of lamps and distances are judgements, not measurements on reefs. Held at the table's
    ends: beyond nine half diagonals the truth may be worse. `RIPPLE_FACTOR` times the ripple is
    added in squares, whatever the distance: the lines are narrower than the card.

    Examples
    --------
    >>> print(np.round(log_light_u([0.0, 1.0, 3.0], 0.06, 0.0, 0.03), 2))
    [0.   0.01 0.12]
    """
    apart = np.asarray(half_diagonals, dtype=np.float64)
    by_curvature = _between(curvature, _CURVATURES) @ _LOG_LIGHT_U
    row = _between(slope, _SLOPES) @ by_curvature
    steady = np.interp(apart, (0.0, *_DISTANCES), np.concatenate([[0.0], row]))
    return np.asarray(np.hypot(steady, RIPPLE_FACTOR * ripple), dtype=np.float64)


def light_de00_p95(slope: float, ripple: float = 0.0, curvature: float = UNSEEN_CURVATURE) -> float:
    """
    Say how large a difference uneven light makes to things near the card.

    Parameters
    ----------
    slope, ripple, curvature : float
        As in `log_light_u`.

    Returns
    -------
    float
        95th percentile of CIEDE2000 of a mid-tone thing (L* 55, C* 25), over places spread
        evenly within one and a half card lengths of the card's centre.

    Notes
    -----
    A factor e^x on linear light moves L* by (L* + 16) x / 3 and C* by C* x / 3 to first order
    (CIE 15, where the cube root holds), over S_L and S_C of CIEDE2000.

    References
    ----------
    .. [1] CIE 15:2004, 8.2.1.1 (L*, a*, b*).

    Examples
    --------
    >>> round(light_de00_p95(0.06), 1)
    4.2
    """
    radius = NEAR_HALF_DIAGONALS * np.sqrt((np.arange(50) + 0.5) / 50.0)
    u = float(np.sqrt((log_light_u(radius, slope, ripple, curvature) ** 2).mean()))
    s_l = 1.0 + 0.015 * 25.0 / np.sqrt(45.0)
    by_light = np.hypot(71.0 / 3.0 / s_l, 25.0 / 3.0 / (1.0 + 0.045 * 25.0))
    return float(1.96 * u * by_light)
