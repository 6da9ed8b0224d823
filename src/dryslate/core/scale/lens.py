"""What is known of a lens: a calibration with its covariance, or a stated prior."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.found import frozen
from dryslate.core.scale.camera import N_PARAMS, LensModel, half_diagonal_px
from dryslate.core.scale.port import flat_port_ratio

FloatArray = NDArray[np.float64]
Port = Literal["none", "flat", "dome", "unknown"]

FILM_DIAGONAL_MM = 43.2666
"""Diagonal of the 36 x 24 mm frame that 35 mm equivalents refer to."""

FOCAL_UNKNOWN_MM = 32.0
"""Middle of the focal lengths (35 mm equivalent) taken when a file states none."""

FOCAL_UNKNOWN_U_LN = 0.45
"""Standard uncertainty of its logarithm: two of them span 13 to 79 mm."""

FOCAL_EXIF_U_LN = 0.05
"""Standard uncertainty of the logarithm of a focal length that a file states."""

CENTRE_U_FRAC = 0.015
"""Standard uncertainty of the principal point, in half diagonals."""

CORNER_SHIFT_U = 0.02
"""Standard uncertainty of the shift by distortion at the frame's corner, 24 mm and longer."""

CORNER_SHIFT_WIDE_U = 0.10
"""The same at 15 mm and shorter."""

SECOND_TERM_U = 0.01
"""Standard uncertainty of the second distortion term at the corner."""

FLAT_PORT_RANGE = (1.25, 1.34)
"""Magnification by a flat port under water, by distance and port; rectangular."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lens:
    """
    A calibrated lens.

    Parameters
    ----------
    name : str
    model : {"normal", "fisheye"}
    image_size_px : tuple of int
        Width and height of the calibration photos as the sensor stores them.
    params : ndarray of float
        As `camera` says for the model.
    covariance : ndarray of float, shape (n, n)
        Of `params`.
    rms_px : float
        Root mean square of the calibration's residuals.
    n_views : int
    radius_px : float
        Largest distance from the principal point that the board reached.
    n_params_free : int
    sha256 : str
        Identity of the lens file; empty before it has one.
    """

    name: str
    model: LensModel
    image_size_px: tuple[int, int]
    params: FloatArray
    covariance: FloatArray
    rms_px: float = 0.0
    n_views: int = 0
    radius_px: float = 0.0
    sha256: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "params", frozen(self.params))
        object.__setattr__(self, "covariance", frozen(self.covariance))
        if self.params.shape != (N_PARAMS[self.model],):
            raise ValueError(f"{self.model} takes {N_PARAMS[self.model]} parameters")

    @property
    def is_calibrated(self) -> bool:
        """True: parameters come from a calibration."""
        return True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensPrior:
    """
    What is assumed of a lens that nobody calibrated.

    Parameters
    ----------
    image_size_px : tuple of int
        Width and height of the upright photo.
    params, covariance : ndarray of float, shapes (5,), (5, 5)
        Of the model ``radial``.
    is_focal_known : bool
        True when the photo's file stated a focal length.
    is_wide : bool
        True for a focal length below 24 mm (35 mm equivalent), or an unknown one.
    source : str
        In plain words.
    """

    image_size_px: tuple[int, int]
    params: FloatArray
    covariance: FloatArray
    is_focal_known: bool
    is_wide: bool
    source: str = ""
    model: LensModel = "radial"
    name: str = ""
    sha256: str = ""
    radius_px: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "params", frozen(self.params))
        object.__setattr__(self, "covariance", frozen(self.covariance))

    @property
    def is_calibrated(self) -> bool:
        """False: nothing was calibrated."""
        return False


def _flat_port_shape(half_over_focal: float, n_water: float) -> tuple[float, float]:
    """Distortion terms of `radial` that a flat port adds, by least squares over the frame."""
    tan_air = np.linspace(0.05, 1.0, 40) * half_over_focal
    ratio = flat_port_ratio(tan_air, n_water)
    rho2 = (n_water * tan_air / ratio / half_over_focal) ** 2
    terms = np.linalg.lstsq(np.column_stack([rho2, rho2**2]), ratio / n_water - 1.0, rcond=None)
    return float(terms[0][0]), float(terms[0][1])


def _port_effect(port: Port, half_over_focal: float) -> tuple[float, float, FloatArray, FloatArray]:
    """Mean and doubt of ln magnification, and of the two distortion terms, for a port."""
    none = np.zeros(2)
    if port in ("none", "dome"):
        return 0.0, 0.0 if port == "none" else 0.02, none, none
    low, high = FLAT_PORT_RANGE
    middle, half_width = (low + high) / 2.0, (high - low) / 2.0
    shape = np.array(_flat_port_shape(half_over_focal, middle))
    if port == "flat":
        return float(np.log(middle)), half_width / middle / np.sqrt(3.0), shape, 0.2 * np.abs(shape)
    reach = float(np.log(high))
    return reach / 2.0, reach / 2.0 / np.sqrt(3.0), shape / 2.0, np.abs(shape) / 2.0


def _corner_shift_u(focal_35mm_mm: float) -> float:
    """Doubt of the corner shift, growing linearly from 24 mm down to 15 mm."""
    share = float(np.clip((24.0 - focal_35mm_mm) / 9.0, 0.0, 1.0))
    return CORNER_SHIFT_U + share * (CORNER_SHIFT_WIDE_U - CORNER_SHIFT_U)


def lens_prior(
    focal_35mm_mm: float | None,
    image_size_px: tuple[int, int],
    under_water: bool,
    port: Port = "unknown",
) -> LensPrior:
    r"""
    State what is assumed of a lens that nobody calibrated.

    Parameters
    ----------
    focal_35mm_mm : float or None
        Focal length as the file states it, 35 mm equivalent by the diagonal; None where unknown.
    image_size_px : tuple of int
        Width and height of the upright photo.
    under_water : bool
        False: no water, `port` is not used. True: the port decides.
    port : {"none", "flat", "dome", "unknown"}
        What stands between lens and water. ``unknown`` covers everything from none to flat.

    Returns
    -------
    LensPrior

    Raises
    ------
    InputError
        ``lens-focal-not-positive`` for a focal length of zero or less.
    ValueError
        If the port is another.

    Notes
    -----
    One standard uncertainty each, errors independent: focal length 5 % where stated (whole
    millimetres, focus breathing, diagonal or width convention), else a factor of 1.57 about
    32 mm; principal point 1.5 % of the half diagonal; shift at the frame's corner 2 % from
    24 mm up, growing to 10 % at 15 mm; its second term 1 %. A flat port multiplies the focal
    length by 1.25 to 1.34 (rectangular) and adds the pincushion that Snell's law gives; an
    unknown port is rectangular from none to 1.34, half its pincushion with half as doubt.
    A photo that was cropped breaks the prior: the focal length then reads short.

    Examples
    --------
    >>> prior = lens_prior(28.0, (4000, 3000), under_water=False)
    >>> round(float(np.exp(prior.params[0])))
    3236
    >>> lens_prior(None, (4000, 3000), under_water=True).is_focal_known
    False
    """
    if port not in get_args(Port):
        raise ValueError(f"expected a port of {', '.join(get_args(Port))}, got {port!r}")
    if focal_35mm_mm is not None and not focal_35mm_mm > 0:
        raise InputError(
            "lens-focal-not-positive",
            f"A focal length of {focal_35mm_mm} mm (35 mm equivalent) is not possible.",
            "Give a positive number, or leave it out.",
        )
    known = focal_35mm_mm is not None
    focal = focal_35mm_mm if focal_35mm_mm is not None else FOCAL_UNKNOWN_MM
    half = half_diagonal_px(image_size_px)
    in_air_px = focal / FILM_DIAGONAL_MM * 2.0 * half
    used: Port = port if under_water else "none"
    ln_m, ln_m_u, shape, shape_u = _port_effect(used, half / in_air_px)
    focal_u = FOCAL_EXIF_U_LN if known else FOCAL_UNKNOWN_U_LN
    width, height = image_size_px
    centre_u = CENTRE_U_FRAC * half
    shift_u = _corner_shift_u(focal if known else 20.0)
    params = [np.log(in_air_px) + ln_m, (width - 1) / 2.0, (height - 1) / 2.0, shape[0], shape[1]]
    spread = [
        np.hypot(focal_u, ln_m_u),
        centre_u,
        centre_u,
        np.hypot(shift_u, shape_u[0]),
        np.hypot(SECOND_TERM_U, shape_u[1]),
    ]
    said = f"{focal:g} mm stated by the file" if known else "focal length not stated"
    return LensPrior(
        image_size_px=image_size_px,
        params=np.array(params),
        covariance=np.diag(np.square(spread)),
        is_focal_known=known,
        is_wide=not known or focal < 24.0,
        source=f"{said}; port: {used}",
    )


def loosen_prior(prior: LensPrior) -> LensPrior:
    """
    Widen a prior for a photo that contradicts it: cropped, or with a false focal length.

    Parameters
    ----------
    prior : LensPrior

    Returns
    -------
    LensPrior
        Focal length a factor of 1.65 about its middle, principal point 30 % of the half
        diagonal, corner shift 10 % at least.

    Examples
    --------
    >>> tight = lens_prior(28.0, (4000, 3000), under_water=False)
    >>> bool(np.all(np.diag(loosen_prior(tight).covariance) >= np.diag(tight.covariance)))
    True
    """
    centre_u = 0.3 * half_diagonal_px(prior.image_size_px)
    wide = np.square([0.5, centre_u, centre_u, 0.1, 0.03])
    covariance = np.diag(np.maximum(np.diag(prior.covariance), wide))
    return replace(
        prior, covariance=covariance, is_focal_known=False, source=f"{prior.source}; loosened"
    )


# Rows are the upright axes in terms of the stored ones, for EXIF orientation 1 to 8.
_TURNS: dict[int, tuple[tuple[int, int], tuple[int, int]]] = {
    1: ((1, 0), (0, 1)),
    2: ((-1, 0), (0, 1)),
    3: ((-1, 0), (0, -1)),
    4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)),
    6: ((0, -1), (1, 0)),
    7: ((0, -1), (-1, 0)),
    8: ((0, 1), (-1, 0)),
}


def turn_lens(lens: Lens, orientation: int) -> Lens:
    """
    Turn a lens from the sensor's frame to that of the upright photo.

    Parameters
    ----------
    lens : Lens
        In the frame as the sensor stores it.
    orientation : int
        EXIF orientation, 1 to 8.

    Returns
    -------
    Lens
        Focal lengths, principal point and decentring follow the turn; radial terms stay.

    Examples
    --------
    >>> lens = Lens(name="a", model="fisheye", image_size_px=(40, 30), covariance=np.eye(8),
    ...             params=np.array([10.0, 11.0, 20.0, 14.0, 0, 0, 0, 0]))
    >>> turned = turn_lens(lens, 6)
    >>> turned.image_size_px, turned.params[:4].tolist()
    ((30, 40), [11.0, 10.0, 15.0, 20.0])
    """
    if orientation == 1 or orientation not in _TURNS:
        return lens
    axes = np.array(_TURNS[orientation], dtype=np.float64)
    width, height = lens.image_size_px
    swapped = orientation >= 5
    size = (height, width) if swapped else (width, height)
    n = len(lens.params)
    matrix = np.eye(n)
    matrix[:2, :2] = np.abs(axes)
    matrix[2:4, 2:4] = axes
    if lens.model == "normal":
        flip = np.array([[0.0, 1.0], [1.0, 0.0]])  # decentring acts along (p2, p1)
        matrix[6:8, 6:8] = flip @ axes @ flip
    shift = np.zeros(n)
    shift[2:4] = np.where(axes.sum(axis=1) < 0, np.array(size) - 1.0, 0.0)
    return replace(
        lens,
        image_size_px=size,
        params=matrix @ lens.params + shift,
        covariance=matrix @ lens.covariance @ matrix.T,
    )


def fit_lens_to_size(lens: Lens, image_size_px: tuple[int, int]) -> Lens:
    """
    Scale a lens to photos of the same frame in another size.

    Parameters
    ----------
    lens : Lens
    image_size_px : tuple of int
        Width and height of the photo, in the same orientation as the lens.

    Returns
    -------
    Lens

    Raises
    ------
    InputError
        ``lens-size-differs`` if the shape of the frame differs by more than half a per cent:
        such a photo was cropped or turned, and a crop moves the centre by an unknown amount.

    Examples
    --------
    >>> lens = Lens(name="a", model="fisheye", image_size_px=(40, 30), covariance=np.eye(8),
    ...             params=np.array([10.0, 10.0, 19.5, 14.5, 0, 0, 0, 0]))
    >>> fit_lens_to_size(lens, (80, 60)).params[:4].tolist()
    [20.0, 20.0, 39.5, 29.5]
    """
    if lens.image_size_px == image_size_px:
        return lens
    k = image_size_px[0] / lens.image_size_px[0]
    if abs(image_size_px[1] / lens.image_size_px[1] / k - 1.0) > 0.005:
        raise InputError(
            "lens-size-differs",
            f"The lens was calibrated on frames of {lens.image_size_px[0]} x "
            f"{lens.image_size_px[1]} px; this photo has {image_size_px[0]} x "
            f"{image_size_px[1]} px, another shape.",
            "Use photos that are not cropped, or calibrate with the same picture format.",
        )
    scale = np.ones(len(lens.params))
    scale[:4] = k
    shift = np.zeros(len(lens.params))
    shift[2:4] = (k - 1.0) / 2.0
    return replace(
        lens,
        image_size_px=image_size_px,
        params=lens.params * scale + shift,
        covariance=lens.covariance * np.outer(scale, scale),
        radius_px=lens.radius_px * k,
    )
