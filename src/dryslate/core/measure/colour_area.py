"""The colour of an area: pixels inside an outline, their robust mean, and its doubt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.colour.doubt import ColourWithDoubt, lab_with_doubt
from dryslate.core.colour.fit import ColourFit
from dryslate.core.measure.outline import require_simple
from dryslate.core.measure.polygon import find_inside
from dryslate.core.measure.result import Measurement, as_points, require_points

FloatArray = NDArray[np.float64]

MIN_PX = 100
"""An area with fewer pixels is refused."""

MAX_CLIPPED = 0.03
"""An area with a larger share of blown-out or black pixels is refused."""

KEEP_SD = 4.0
"""Pixels farther from the median than this many robust standard deviations are left out."""

TOP_FRAC, BOTTOM_FRAC = 0.9965, 0.004
CHUNK = 1 << 18


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AreaPixels:
    """
    The pixels of an area, summed up in file-linear light.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
    cov_linear : ndarray of float, shape (3, 3)
        Covariance of one pixel about the mean.
    centre_px : ndarray of float, shape (2,)
        Centre of the area in the upright photo.
    n_px : int
        Pixels in the mean.
    clipped_frac : float
        Share of all pixels inside that are at the top of the range in one channel, or at its
        bottom in every channel.
    left_out_frac : float
        Share of all pixels inside that are unlike the rest and were left out.
    """

    mean_linear: FloatArray
    cov_linear: FloatArray
    centre_px: FloatArray
    n_px: int
    clipped_frac: float
    left_out_frac: float


def sample_area(
    img_coded: NDArray[Any], linear_lut: NDArray[Any], outline_px: ArrayLike
) -> AreaPixels:
    """
    Reduce the pixels inside an outline to a robust mean and the covariance of one pixel.

    Parameters
    ----------
    img_coded : ndarray of uint8 or uint16, shape (h, w, 3)
        Upright; may be a turned view that is not contiguous.
    linear_lut : ndarray of float, shape (n, 3)
        From the file's values (0 to n - 1) to linear light.
    outline_px : array_like of float, shape (n, 2)
        Corners in order; the last joins the first (a last point equal to the first is dropped).

    Returns
    -------
    AreaPixels

    Raises
    ------
    InputError
        ``measure-colour-few-pixels``, ``measure-colour-clipped``, ``outline-crosses-itself``,
        ``measure-too-few-points``, ``measure-point-not-finite`` or
        ``measure-point-outside-photo``.

    Notes
    -----
    A pixel is left out where any channel's code is more than four robust standard deviations
    (1.4826 times the median absolute deviation [1]_, at least one code of 8 bits) from the
    median. Specks and glints go; texture that fills more than a small part of the area stays.

    References
    ----------
    .. [1] Huber & Ronchetti 2009, Robust Statistics, 2nd ed., section 5.1 (the factor makes the
       median absolute deviation a standard deviation for normal errors).

    Examples
    --------
    >>> img = np.full((40, 40, 3), 128, np.uint8)
    >>> lut = np.repeat(np.linspace(0, 1, 256)[:, None], 3, axis=1)
    >>> area = sample_area(img, lut, [(4.5, 4.5), (24.5, 4.5), (24.5, 24.5), (4.5, 24.5)])
    >>> area.n_px, area.mean_linear.round(3).tolist()
    (400, [0.502, 0.502, 0.502])
    """
    height, width = img_coded.shape[:2]
    px = as_points(outline_px)
    if len(px) > 1 and np.array_equal(px[0], px[-1]):
        px = px[:-1]
    px = require_points(px, (width, height), 3)
    require_simple(px)
    (left, top), inside = find_inside(px, (width, height))
    rows, columns = inside.shape
    codes = img_coded[top : top + rows, left : left + columns][inside]
    n_inside = len(codes)
    if n_inside < MIN_PX:
        raise InputError(
            "measure-colour-few-pixels",
            f"Only {n_inside} pixels lie inside the outline; at least {MIN_PX} are needed for a "
            "colour.",
            "Outline a larger piece of one colour, or photograph it from nearer.",
        )
    clipped_frac = _clipped_frac(codes, len(linear_lut))
    if clipped_frac > MAX_CLIPPED:
        raise InputError(
            "measure-colour-clipped",
            f"{100 * clipped_frac:.0f} % of the pixels inside are blown out or black (at most "
            f"{100 * MAX_CLIPPED:.0f} %): their colour is lost.",
            "Outline a piece without glare or deep shadow, or measure in a better exposed photo.",
        )
    kept = codes[_is_alike(codes, len(linear_lut))]
    mean, cov = _mean_and_cov(kept, np.asarray(linear_lut, dtype=np.float64))
    y, x = np.nonzero(inside)
    return AreaPixels(
        mean_linear=mean,
        cov_linear=cov,
        centre_px=np.array([x.mean() + left, y.mean() + top]),
        n_px=len(kept),
        clipped_frac=clipped_frac,
        left_out_frac=1.0 - len(kept) / n_inside,
    )


def _clipped_frac(codes: NDArray[Any], n_codes: int) -> float:
    """Share of pixels with a channel at the top or every channel at the bottom."""
    top = (codes >= int(TOP_FRAC * (n_codes - 1))).any(axis=1)
    bottom = (codes <= int(BOTTOM_FRAC * (n_codes - 1))).all(axis=1)
    return float((top | bottom).mean())


def _is_alike(codes: NDArray[Any], n_codes: int) -> NDArray[np.bool_]:
    """Tell which pixels are near the median in every channel."""
    alike = np.ones(len(codes), dtype=np.bool_)
    for c in range(3):
        away = np.abs(codes[:, c].astype(np.float32) - np.float32(np.median(codes[:, c])))
        sd = max(1.4826 * float(np.median(away)), (n_codes - 1) / 255.0)
        alike &= away <= KEEP_SD * sd
    return alike


def _mean_and_cov(codes: NDArray[Any], lut: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of one pixel in linear light, piece by piece to spare memory."""
    n = len(codes)
    origin = np.array([lut[codes[0, c], c] for c in range(3)])
    total, squares = np.zeros(3), np.zeros((3, 3))
    for start in range(0, n, CHUNK):
        piece = codes[start : start + CHUNK]
        linear = np.stack([lut[piece[:, c], c] for c in range(3)], axis=1) - origin
        total += linear.sum(axis=0)
        squares += linear.T @ linear
    shift = total / n
    return origin + shift, (squares - n * np.outer(shift, shift)) / max(n - 1, 1)


def require_measurable(fit: ColourFit) -> None:
    """
    Refuse a correction that colours are not to be measured with.

    Parameters
    ----------
    fit : ColourFit

    Raises
    ------
    InputError
        ``measure-colour-no-fit`` where the correction was refused or is good for looking only.
    """
    if fit.usable:
        return
    if fit.is_looking_only:
        raise InputError(
            "measure-colour-no-fit",
            "This photo is corrected for looking only: its colours are too uncertain to measure.",
            "Measure colours in a photo taken with a flash or lamp, or shallower.",
        )
    raise InputError(
        "measure-colour-no-fit",
        "The photo has no colour correction that can be used.",
        "Measure colours in a photo whose correction was not refused.",
    )


def measure_colour(
    img_coded: NDArray[Any], linear_lut: NDArray[Any], outline_px: ArrayLike, fit: ColourFit
) -> Measurement:
    """
    Measure the corrected colour of an area.

    Parameters
    ----------
    img_coded : ndarray of uint8 or uint16, shape (h, w, 3)
        The original photo, upright.
    linear_lut : ndarray of float, shape (n, 3)
        From the file's values (0 to n - 1) to linear light.
    outline_px : array_like of float, shape (n, 2)
    fit : ColourFit
        Of this photo.

    Returns
    -------
    Measurement
        With ``lab`` (L*, a*, b*, D65), ``lab_u``, ``lab_lo95`` and ``lab_hi95``, each a list of
        three, ``n_px``, ``clipped_frac`` and ``left_out_frac``; ``lab_u_if_flat_grey`` is the
        standard uncertainty if the thing is known to be a spectrally flat grey, as a grey chip is.
        The budget holds the standard uncertainties of L*, a*, b* by part.

    Raises
    ------
    InputError
        ``measure-colour-no-fit`` where the fit cannot be used, and as `sample_area`.

    Notes
    -----
    The outline is taken as drawn: an outline that reaches over an edge mixes two colours, which
    the doubt does not hold. Pixels count as independent; neighbours of a JPEG are not, but the
    noise of a mean is the smallest part for all but the smallest areas. The rest is told by
    `dryslate.core.colour.doubt.lab_with_doubt`: it holds near the card's plane.
    """
    require_measurable(fit)
    area = sample_area(img_coded, linear_lut, outline_px)
    where = (area.mean_linear, area.cov_linear, area.n_px, fit, area.centre_px)
    told, if_flat = lab_with_doubt(*where), lab_with_doubt(*where, is_flat_grey=True)
    return Measurement(
        kind="colour",
        values={
            **_lab_fields(told),
            "lab_u_if_flat_grey": if_flat.lab_u.tolist(),
            "n_px": area.n_px,
            "clipped_frac": area.clipped_frac,
            "left_out_frac": area.left_out_frac,
        },
        budget={part: [float(u) for u in each] for part, each in told.parts.items()},
        flags=tuple(fit.flags),
        problems=tuple(fit.problems),
    )


def _lab_fields(told: ColourWithDoubt) -> dict[str, list[float]]:
    """Spell a colour out as four fields of three."""
    return {
        "lab": told.lab.tolist(),
        "lab_u": told.lab_u.tolist(),
        "lab_lo95": told.lab_lo95.tolist(),
        "lab_hi95": told.lab_hi95.tolist(),
    }
