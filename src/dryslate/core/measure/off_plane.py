"""
How far off the card's plane a thing lies, and what that does to its size in the photo.

Heights are at right angles to the card's plane, positive towards the camera. A thing at height
h reads too large by H / (H - h), where H is the camera's own height above that plane; this is
exact at any tilt, since its picture is the same as that of a like figure in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
OffPlaneKind = Literal["assumed", "in_plane", "stated", "top", "edge", "base"]

ASSUMED_SHARE = 0.25
"""Half-width of the assumed height, in measured diameters, when nothing was stated."""

_CARD_STOOD: dict[str, tuple[float, float]] = {
    "assumed": (-ASSUMED_SHARE, ASSUMED_SHARE),
    "top": (-ASSUMED_SHARE, 0.0),
    "edge": (-ASSUMED_SHARE / 2.0, ASSUMED_SHARE / 2.0),
    "base": (0.0, ASSUMED_SHARE),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class OffPlane:
    """
    What is known of the distance between a coral's outline and the card's plane.

    Parameters
    ----------
    kind : {"assumed", "in_plane", "stated", "top", "edge", "base"}
        ``assumed``: nothing was stated. ``in_plane``: zero, exactly. ``stated``: `mm` with
        `mm_u`. The others say where the card stood: level with the coral's top (the outline lies
        behind the card), beside its edge (level with the outline), at its base (the outline is
        nearer the camera).
    mm, mm_u : float
        For ``stated``: how much nearer the camera than the card, and one standard uncertainty.
    """

    kind: OffPlaneKind = "assumed"
    mm: float = 0.0
    mm_u: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in get_args(OffPlaneKind):
            raise ValueError(
                f"expected one of {', '.join(get_args(OffPlaneKind))}, got {self.kind!r}"
            )
        if self.kind != "stated" and (self.mm, self.mm_u) != (0.0, 0.0):
            raise ValueError(f"a distance in mm goes with the kind 'stated', not {self.kind!r}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Height:
    """
    What a height off the plane does to sizes, as nodes of a distribution.

    Parameters
    ----------
    mean_mm, mm_u : float
        Of the height, towards the camera positive.
    factor : float
        True size over apparent size at the mean height.
    factors, weights : ndarray of float, shape (m,)
        Quadrature over height and camera distance: factors (H - h)/H, weights that sum to 1.
    is_assumed : bool
        True when nothing was stated.
    """

    mean_mm: float
    mm_u: float
    factor: float
    factors: FloatArray
    weights: FloatArray
    is_assumed: bool

    def spread(self, power: int) -> float:
        """Root mean square deviation of the factor to a power from its nominal value."""
        off = self.factors**power - self.factor**power
        return float(np.sqrt(off**2 @ self.weights))


@cache
def _nodes(kind: Literal["legendre", "hermite"]) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of a quadrature, computed once; read-only."""
    if kind == "legendre":
        x, w = np.polynomial.legendre.leggauss(64)
    else:
        x, w = np.polynomial.hermite_e.hermegauss(24)
    x.setflags(write=False)
    w.setflags(write=False)
    return x, w


def _rectangular(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes of a rectangular distribution."""
    x, w = _nodes("legendre")
    return (low + high) / 2.0 + (high - low) / 2.0 * x, w / 2.0


def _normal(mean: float, u: float) -> tuple[FloatArray, FloatArray]:
    """Nodes of a normal distribution: a single one where there is no doubt."""
    if u == 0.0:
        return np.array([mean]), np.ones(1)
    x, w = _nodes("hermite")
    return mean + u * x, w / w.sum()


def _height(
    nodes: tuple[FloatArray, FloatArray], stats: tuple[float, float], camera: tuple[float, float]
) -> Height:
    """Join height nodes with nodes of the camera's own height (logarithm normal)."""
    (h, w), (mean, u), (camera_mm, camera_u_frac) = nodes, stats, camera
    z, w_z = _normal(0.0, camera_u_frac)
    ratio = np.minimum(np.outer(h, np.exp(-z)) / camera_mm, 0.95).ravel()
    return Height(
        mean_mm=mean,
        mm_u=u,
        factor=1.0 - mean / camera_mm,
        factors=1.0 - ratio,
        weights=np.outer(w, w_z).ravel(),
        is_assumed=False,
    )


def height_of(
    off_plane: OffPlane | None,
    diameter_mm: float,
    camera_height_mm: float,
    camera_height_u_frac: float = 0.0,
) -> Height:
    r"""
    Give the distribution of a coral's height above the card's plane.

    Parameters
    ----------
    off_plane : OffPlane or None
        None is the same as ``assumed``.
    diameter_mm : float
        The measured diameter, as read in the card's plane.
    camera_height_mm, camera_height_u_frac : float
        Of the camera above the card's plane, and its relative standard uncertainty.

    Returns
    -------
    Height

    Raises
    ------
    InputError
        ``measure-off-plane-impossible`` for a doubt below zero or not finite, or a height that
        reaches the camera.

    Notes
    -----
    Nothing stated: rectangular, :math:`\pm d/4`. Card stood at the top: :math:`-d/4` to 0, at
    the edge :math:`\pm d/8`, at the base 0 to :math:`d/4`: each half as wide [1]_. A convention
    for low forms: the rim of a tall half ball lies half a diameter behind a card on its very
    top, and reads short; state the distance there.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 (rectangular distributions).

    Examples
    --------
    >>> height = height_of(OffPlane(kind="base"), 100.0, 600.0)
    >>> height.mean_mm, round(height.mm_u, 2)
    (12.5, 7.22)
    """
    chosen = off_plane if off_plane is not None else OffPlane()
    camera = (camera_height_mm, camera_height_u_frac)
    if chosen.kind in ("in_plane", "stated"):
        mean, u = (chosen.mm, chosen.mm_u) if chosen.kind == "stated" else (0.0, 0.0)
        _require_possible(mean, u, camera_height_mm)
        return _height(_normal(mean, u), (mean, u), camera)
    ceiling = 0.75 * camera_height_mm
    low, high = (
        float(np.clip(side * diameter_mm, -ceiling, ceiling)) for side in _CARD_STOOD[chosen.kind]
    )
    stats = ((low + high) / 2.0, float((high - low) / np.sqrt(12.0)))
    height = _height(_rectangular(low, high), stats, camera)
    return replace(height, is_assumed=chosen.kind == "assumed")


def _require_possible(mean_mm: float, mm_u: float, camera_height_mm: float) -> None:
    """Raise unless a stated height stays clear of the camera."""
    fine = np.isfinite(mean_mm) and np.isfinite(mm_u) and mm_u >= 0
    if not fine or mean_mm + 2.0 * mm_u >= 0.95 * camera_height_mm:
        raise InputError(
            "measure-off-plane-impossible",
            f"A distance of {mean_mm:g} ± {mm_u:g} mm off the card's plane is not possible with "
            f"the camera {camera_height_mm:.0f} mm above it.",
            "Give the distance in millimetres, towards the camera positive, and its doubt.",
        )


def parallax_factor(height_mm: float, camera_height_mm: float) -> float:
    """
    Give true size over apparent size for a thing off the card's plane.

    Parameters
    ----------
    height_mm : float
        Towards the camera positive.
    camera_height_mm : float
        Of the camera above the card's plane.

    Returns
    -------
    float
        (H - h) / H.

    References
    ----------
    .. [1] Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., chapter 6.

    Examples
    --------
    >>> parallax_factor(50.0, 500.0)
    0.9
    """
    return (camera_height_mm - height_mm) / camera_height_mm
