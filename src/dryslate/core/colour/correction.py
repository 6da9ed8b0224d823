"""
A colour correction of one photo, and the float64 reference that applies it.

The pixel kernel follows this module exactly::

    u      = tone(file-linear value)                   per channel
    t      = u - veil                                  per channel
    terms  = (tR, tG, tB)                              three terms
             (tR, tG, tB, sqrt(tR tG), sqrt(tG tB), sqrt(tR tB))   six terms, see below
    linear = matrix @ terms * exp(-field(x, y))        linear sRGB, D65

In the square roots a negative `t` counts as zero. Every term is of degree one, so the light
field may be divided out after the matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear

FloatArray = NDArray[np.float64]
FitName = Literal["neutral_gain", "gain_veil", "affine", "root_polynomial_2", "one_point"]
FIT_NAMES: tuple[str, ...] = get_args(FitName)


def _frozen(values: object) -> FloatArray:
    """Return a read-only float64 copy."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LightField:
    """
    The light over a photo: a slope and a bend alike to all sides, in pixels of the upright photo.

    With p = xy - centre_px, the natural logarithm of the light is
    ``clip(log_centre + log_per_px @ p + bend_per_px2 * (p @ p), log_lo, log_hi)``.

    Parameters
    ----------
    centre_px : ndarray of float, shape (2,)
        The card's centre, as (x, y).
    log_per_px : ndarray of float, shape (2,)
        Slope of the logarithm along x and y.
    log_lo, log_hi : float
        Smallest and largest value that the field may take, also beyond the card.
    log_centre : float
        At the centre: above zero where the light bends down, as the mean over the card is zero.
    bend_per_px2 : float
        Below zero where the light falls off to all sides, as a lamp's does.
    """

    centre_px: FloatArray
    log_per_px: FloatArray
    log_lo: float
    log_hi: float
    log_centre: float = 0.0
    bend_per_px2: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_px", _frozen(self.centre_px))
        object.__setattr__(self, "log_per_px", _frozen(self.log_per_px))

    def log_light(self, xy_px: ArrayLike) -> FloatArray:
        """Return the logarithm of the light at points of shape (n, 2)."""
        points = np.asarray(xy_px, dtype=np.float64) - self.centre_px
        bend = self.bend_per_px2 * (points * points).sum(axis=-1)
        free = self.log_centre + points @ self.log_per_px + bend
        return np.asarray(np.clip(free, self.log_lo, self.log_hi), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Correction:
    """
    Everything that is needed to correct the pixels of one photo.

    Parameters
    ----------
    fit : {"neutral_gain", "gain_veil", "affine", "root_polynomial_2", "one_point"}
        Kind of fit.
    tone : tuple of float
        The two parameters (a, b) of the tone curve (see `apply_tone`); (0, 0) leaves values alone.
    veil : ndarray of float, shape (3,)
        Veiling light, subtracted after the tone curve, in the file's linear RGB.
    matrix : ndarray of float, shape (3, 3) or (3, 6)
        From terms to linear sRGB.
    field : LightField or None
        Light gradient; None for even light.
    """

    fit: FitName
    tone: tuple[float, float]
    veil: FloatArray
    matrix: FloatArray
    field: LightField | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "veil", _frozen(self.veil))
        object.__setattr__(self, "matrix", _frozen(self.matrix))

    @property
    def n_terms(self) -> int:
        """Number of terms: 3 or 6."""
        return int(self.matrix.shape[1])


def apply_tone(values_linear: ArrayLike, tone: tuple[float, float]) -> FloatArray:
    """
    Undo a camera's picture style with a curve of two parameters.

    Parameters
    ----------
    values_linear : array_like of float
        Linear light as the file's profile says, any shape.
    tone : tuple of float
        a (overall bend) and b (contrast).

    Returns
    -------
    ndarray of float
        Values in linear light, same shape.

    Notes
    -----
    With y the sRGB-encoded value, ``y' = y + a y (1 - y) + b y (1 - y) (1 - 2 y)``, decoded
    again. 0 and 1 stay where they are. The curve rises everywhere when
    ``1 + b > |a|`` and ``b < 2`` hold with some room (see `is_monotone_tone`).

    Examples
    --------
    >>> print(np.round(apply_tone([0.0, 0.2, 1.0], (0.0, 0.3)), 4))
    [0.     0.2021 1.    ]
    """
    values = np.asarray(values_linear, dtype=np.float64)
    a, b = tone
    if a == 0.0 and b == 0.0:
        return values.copy()
    y = linear_to_srgb(values)
    inside = np.clip(y, 0.0, 1.0)
    bent = y + inside * (1.0 - inside) * (a + b * (1.0 - 2.0 * inside))
    return srgb_to_linear(bent)


def is_monotone_tone(tone: tuple[float, float]) -> bool:
    """
    Tell whether the tone curve rises everywhere, by a slope of at least 0.1.

    Parameters
    ----------
    tone : tuple of float
        a and b of `apply_tone`.

    Returns
    -------
    bool
        True where the curve is safe to use.

    Examples
    --------
    >>> is_monotone_tone((0.2, 0.3)), is_monotone_tone((1.2, 0.0))
    (True, False)
    """
    a, b = tone
    y = np.linspace(0.0, 1.0, 33)
    slope = 1.0 + a * (1.0 - 2.0 * y) + b * (1.0 - 6.0 * y + 6.0 * y * y)
    return bool(slope.min() >= 0.1)


def expand_terms(values: ArrayLike, n_terms: int) -> FloatArray:
    """
    Expand values to the terms of the matrix.

    Parameters
    ----------
    values : array_like of float, shape (..., 3)
        Linear light with the veil taken off.
    n_terms : int
        3 (the values themselves) or 6 (with the square roots of their products).

    Returns
    -------
    ndarray of float, shape (..., n_terms)
        R, G, B and, for six, sqrt(RG), sqrt(GB), sqrt(RB).

    Raises
    ------
    ValueError
        If `n_terms` is neither 3 nor 6.

    References
    ----------
    .. [1] Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Processing 24(5):1460-1470.

    Examples
    --------
    >>> print(expand_terms([0.25, 1.0, 0.16], 6))
    [0.25 1.   0.16 0.5  0.4  0.2 ]
    """
    t = np.asarray(values, dtype=np.float64)
    if n_terms == 3:
        return t.copy()
    if n_terms != 6:
        raise ValueError(f"n_terms must be 3 or 6, got {n_terms}")
    root = np.sqrt(np.maximum(t, 0.0))
    r, g, b = root[..., 0], root[..., 1], root[..., 2]
    return np.concatenate([t, np.stack([r * g, g * b, r * b], axis=-1)], axis=-1)


def correct_linear(
    values_linear: ArrayLike, xy_px: ArrayLike, correction: Correction
) -> FloatArray:
    """
    Correct values, in float64: the reference that the pixel kernel is tested against.

    Parameters
    ----------
    values_linear : array_like of float, shape (n, 3)
        Linear light (0 to 1) of the file's own RGB.
    xy_px : array_like of float, shape (n, 2)
        Where in the upright photo, as (x, y).
    correction : Correction

    Returns
    -------
    ndarray of float, shape (n, 3)
        Linear sRGB (D65), not clipped.

    Raises
    ------
    InputError
        ``colour-values-shape`` if the arrays do not fit together.

    Notes
    -----
    True near the card's distance only: things farther away have lost more light and carry more
    veil, so they stay too blue or green and too pale; nearer things turn too red.

    Examples
    --------
    >>> plain = Correction(
    ...     fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.diag([2.0, 1.0, 1.0])
    ... )
    >>> print(correct_linear([[0.1, 0.2, 0.2]], [[5, 5]], plain))
    [[0.2 0.2 0.2]]
    """
    values = np.asarray(values_linear, dtype=np.float64)
    points = np.asarray(xy_px, dtype=np.float64)
    if values.ndim != 2 or values.shape[1] != 3 or points.shape != (values.shape[0], 2):
        raise InputError(
            "colour-values-shape",
            f"expected values (n, 3) and points (n, 2), found {values.shape} and {points.shape}",
        )
    t = apply_tone(values, correction.tone) - correction.veil
    linear = expand_terms(t, correction.n_terms) @ correction.matrix.T
    if correction.field is not None:
        linear = linear * np.exp(-correction.field.log_light(points))[:, None]
    return np.asarray(linear, dtype=np.float64)


def correction_to_dict(correction: Correction) -> dict[str, Any]:
    """
    Turn a correction into plain values, for JSON.

    Parameters
    ----------
    correction : Correction

    Returns
    -------
    dict
        Read back by `correction_from_dict` without loss.

    Examples
    --------
    >>> plain = Correction(
    ...     fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3)
    ... )
    >>> correction_to_dict(plain)["veil"]
    [0.0, 0.0, 0.0]
    """
    field = correction.field
    return {
        "fit": correction.fit,
        "tone": list(correction.tone),
        "veil": correction.veil.tolist(),
        "matrix": correction.matrix.tolist(),
        "field": None
        if field is None
        else {
            "centre_px": field.centre_px.tolist(),
            "log_per_px": field.log_per_px.tolist(),
            "log_lo": field.log_lo,
            "log_hi": field.log_hi,
            "log_centre": field.log_centre,
            "bend_per_px2": field.bend_per_px2,
        },
    }


def correction_from_dict(values: dict[str, Any]) -> Correction:
    """
    Rebuild a correction from what `correction_to_dict` made.

    Parameters
    ----------
    values : dict

    Returns
    -------
    Correction

    Raises
    ------
    InputError
        ``colour-fit-unreadable`` if a part is missing or of the wrong kind.

    Examples
    --------
    >>> plain = Correction(
    ...     fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3)
    ... )
    >>> correction_from_dict(correction_to_dict(plain)).fit
    'neutral_gain'
    """
    try:
        field = values["field"]
        if values["fit"] not in FIT_NAMES:
            raise ValueError(f"unknown fit {values['fit']!r}")
        return Correction(
            fit=values["fit"],
            tone=(float(values["tone"][0]), float(values["tone"][1])),
            veil=np.array(values["veil"], dtype=np.float64),
            matrix=np.array(values["matrix"], dtype=np.float64),
            field=None if field is None else LightField(**field),
        )
    except (KeyError, TypeError, ValueError, IndexError) as reason:
        raise InputError(
            "colour-fit-unreadable",
            f"the stored colour correction cannot be read: {reason}",
            "Correct the photo again.",
        ) from reason
