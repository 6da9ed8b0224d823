"""From slopes to a budget of standard uncertainties and an interval that holds 95 %."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from dryslate.core.measure.off_plane import Height
from dryslate.core.scale.plane import Plane, PlanePoints
from dryslate.core.scale.pose import N_POSE

FloatArray = NDArray[np.float64]
K95 = 1.959963984540054
"""Coverage factor of a normal distribution for 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """
    Standard uncertainties of one value by cause, in the value's own unit.

    Parameters
    ----------
    pointing, plane, lens, print_scale, off_plane : float
        Picked points; corners of the card; lens; real size of the card; height off its plane.
    spread : float
        Between things measured, where the value is their mean; else 0.
    """

    pointing: float
    plane: float
    lens: float
    print_scale: float
    off_plane: float
    spread: float = 0.0

    @property
    def total(self) -> float:
        """Root of the sum of squares: the causes are taken as independent."""
        return float(np.sqrt(self.without_off_plane**2 + self.off_plane**2))

    @property
    def without_off_plane(self) -> float:
        """The same without the height off the plane."""
        return float(
            np.sqrt(
                self.pointing**2
                + self.plane**2
                + self.lens**2
                + self.print_scale**2
                + self.spread**2
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """
    A value with its doubt.

    Parameters
    ----------
    value, u, lo95, hi95 : float
    parts : Parts
    """

    value: float
    u: float
    lo95: float
    hi95: float
    parts: Parts


def find_interval95(
    value_in_plane: float, u: float, height: Height, power: int = 1
) -> tuple[float, float]:
    r"""
    Find the interval that holds 95 % of a value scaled by an uncertain height.

    Parameters
    ----------
    value_in_plane : float
        As read in the card's plane.
    u : float
        Standard uncertainty of all causes but the height, normal, of the value so read.
    height : Height
    power : int
        1 for a length, 2 for an area.

    Returns
    -------
    lo95, hi95 : float
        The 2.5 % and 97.5 % points.

    Notes
    -----
    The value is :math:`V ((H-h)/H)^p` with V normal and h as stated; its distribution function
    is the mean over h and H of normal ones, and its quantiles are found by bisection: the
    numerical convolution of [1]_ without random numbers. Not symmetrical where the height is not.

    References
    ----------
    .. [1] JCGM 101:2008, section 5.3 (propagation of distributions).

    Examples
    --------
    >>> from dryslate.core.measure.off_plane import OffPlane, height_of
    >>> flat = height_of(OffPlane(kind="in_plane"), 50.0, 500.0)
    >>> [round(v, 2) for v in find_interval95(50.0, 0.5, flat)]
    [49.02, 50.98]
    """
    factors = height.factors**power
    centres = value_in_plane * factors
    spreads = np.maximum(u * factors, 1e-300)
    off_plane_u = value_in_plane * height.spread(power)
    if off_plane_u <= 1e-9 * max(value_in_plane, 1e-300):
        middle, half = value_in_plane * height.factor**power, K95 * u * height.factor**power
        return middle - half, middle + half
    if u <= 0.03 * off_plane_u:
        return _node_quantiles(centres, height.weights)
    low = float(np.min(centres - 8.0 * spreads))
    high = float(np.max(centres + 8.0 * spreads))

    def share_below(x: float, wanted: float) -> float:
        return float(ndtr((x - centres) / spreads) @ height.weights) - wanted

    lo = brentq(share_below, low, high, args=(0.025,), xtol=1e-9 * max(1.0, high))
    hi = brentq(share_below, low, high, args=(0.975,), xtol=1e-9 * max(1.0, high))
    return float(lo), float(hi)


def _node_quantiles(centres: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Quantiles of the nodes themselves, where all other causes vanish beside the height."""
    order = np.argsort(centres)
    share = np.cumsum(weights[order]) - weights[order] / 2.0
    lo, hi = np.interp([0.025, 0.975], share, centres[order])
    return float(lo), float(hi)


def _theta_parts(plane: Plane, per_theta: FloatArray) -> tuple[float, float]:
    """Doubt from the corners alone (lens as fitted), and what the lens adds."""
    whole = float(per_theta @ plane.covariance @ per_theta)
    pose, lens = slice(None, N_POSE), slice(N_POSE, None)
    cross = plane.covariance[pose, lens]
    held = (
        plane.covariance[pose, pose]
        - cross @ np.linalg.pinv(plane.covariance[lens, lens], hermitian=True) @ cross.T
    )
    corners = max(float(per_theta[pose] @ held @ per_theta[pose]), 0.0)
    return float(np.sqrt(corners)), float(np.sqrt(max(whole - corners, 0.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """
    What the values read from one set of picked points have in common.

    Parameters
    ----------
    plane : Plane
    points : PlanePoints
        The n points that the values rest on.
    height : Height
    point_u_px : float
        One standard uncertainty of each picked coordinate; points independent.
    """

    plane: Plane
    points: PlanePoints
    height: Height
    point_u_px: float


def state_value(
    reading: Reading,
    value: float,
    slopes: ArrayLike,
    *,
    power: int = 1,
    spread: float = 0.0,
    extra: float = 0.0,
) -> Stated:
    r"""
    State a value read in the card's plane, with its budget.

    Parameters
    ----------
    reading : Reading
    value : float
        As read in the plane.
    slopes : array_like of float, shape (n, 2)
        Slope of the value by each point's millimetres.
    power : int
        1 for a length, 2 for an area.
    spread : float
        Standard error from the spread between things measured; it replaces the pointing.
    extra : float
        Further doubt from pointing (of a bias that was subtracted).

    Returns
    -------
    Stated
        Corrected for the mean height.

    Notes
    -----
    Law of propagation [1]_: pointing through each point's own slope; pose and lens through the
    plane's covariance, with the misfit of a card that is not flat at each point; print scale as
    one factor for all lengths; height as (H - h)/H.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 equation (10) and 5.2.2 equation (13).
    """
    plane, points, height = reading.plane, reading.points, reading.height
    g = np.asarray(slopes, dtype=np.float64).reshape(-1, 2)
    per_px = np.einsum("ni,nij->nj", g, points.per_px)
    pointing = 0.0
    if spread <= 0.0:
        pointing = float(np.hypot(reading.point_u_px * np.sqrt(np.sum(per_px**2)), extra))
    per_theta = np.einsum("ni,nij->j", g, points.per_theta)
    corners, lens = _theta_parts(plane, per_theta)
    corners = float(np.hypot(corners, plane.misfit_px * np.sqrt(np.sum(per_px**2))))
    printed = power * value * plane.print_scale_u_frac
    within = Parts(
        pointing=pointing,
        plane=corners,
        lens=lens,
        print_scale=printed,
        off_plane=0.0,
        spread=spread,
    ).total
    lo95, hi95 = find_interval95(value, within, height, power)
    factor = height.factor**power
    parts = Parts(
        pointing=pointing * factor,
        plane=corners * factor,
        lens=lens * factor,
        print_scale=printed * factor,
        off_plane=value * height.spread(power),
        spread=spread * factor,
    )
    return Stated(value=value * factor, u=parts.total, lo95=lo95, hi95=hi95, parts=parts)
