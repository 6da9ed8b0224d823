"""What colours a card really has: readings joined, photos joined, samples with their doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.core.card.found import PatchSample
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.spaces import (
    linear_to_srgb,
    srgb_to_linear,
)

FloatArray = NDArray[np.float64]

INSTRUMENT_U = 0.4
"""Each of L*, a*, b*: two good instruments on one matt patch; common practice, no one source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchValue:
    """
    What is known of one patch.

    Parameters
    ----------
    patch_id : str
    lab_d65 : tuple of float
        L*, a*, b* (D65, 2 degrees).
    lab_u : tuple of float
        One standard uncertainty of each.
    n : int
        Readings or photos it rests on.
    own_u : tuple of float
        The part of `lab_u` that belongs to this one photo (its noise, and its light where the
        card changed its place) and differs in the next; the rest is shared by all photos.
    """

    patch_id: str
    lab_d65: tuple[float, float, float]
    lab_u: tuple[float, float, float]
    n: int
    own_u: tuple[float, float, float] = (0.0, 0.0, 0.0)


def join_readings(
    labs: Mapping[str, Sequence[tuple[float, float, float]]],
    labs_u: Mapping[str, Sequence[tuple[float, float, float] | None]],
    extra_u: Mapping[str, tuple[float, float, float]],
) -> tuple[PatchValue, ...]:
    r"""
    Join the readings of each patch to one value with its doubt.

    Parameters
    ----------
    labs : Mapping of str to sequence of tuple
        Readings (D65, 2 degrees) by patch id.
    labs_u : Mapping
        Standard uncertainty of each reading as stated by who measured; None where unstated.
    extra_u : Mapping
        What every reading of the patch shares (for example from the change of illuminant).

    Returns
    -------
    tuple of PatchValue
        In the order of `labs`.

    Notes
    -----
    :math:`u^2 = s_p^2 / n + u_i^2 + u_x^2` [1]_: the spread of repeated readings (pooled over
    all patches that were read more than once; a single reading says nothing of its own spread),
    the instrument (stated, else 0.4: then `INSTRUMENT_U`), and what is shared. Instrument and
    shared parts do not shrink with more readings.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2 and 5.1.2.

    Examples
    --------
    >>> (value,) = join_readings({"g": [(50.0, 0.0, 0.0), (51.0, 0.0, 0.0)]},
    ...                          {"g": [None, None]}, {"g": (0.0, 0.0, 0.0)})
    >>> value.lab_d65, value.n
    ((50.5, 0.0, 0.0), 2)
    """
    spread = _pooled_spread(labs)
    values = []
    for patch_id, readings in labs.items():
        table = np.array(readings, dtype=np.float64)
        stated = [u for u in labs_u[patch_id] if u is not None]
        instrument = np.max(np.array(stated), axis=0) if stated else np.full(3, INSTRUMENT_U)
        shared = np.array(extra_u.get(patch_id, (0.0, 0.0, 0.0)))
        u = np.sqrt(spread**2 / len(table) + instrument**2 + shared**2)
        values.append(value_of(patch_id, table.mean(axis=0), u, len(table)))
    return tuple(values)


def adaptation_u(lab: ArrayLike) -> FloatArray:
    """
    Estimate how far a change of illuminant by adaptation misses the true colour.

    Parameters
    ----------
    lab : array_like of float, shape (3,)
        Colour of the patch.

    Returns
    -------
    ndarray of float, shape (3,)
        Standard uncertainty of L*, a*, b* after Bradford adaptation from D50 to D65.

    Notes
    -----
    A colour measured for D50 does not determine the colour for D65. Fitted to 4,000 simulated
    smooth reflectances: 0.01 C in L*, 0.2 times the root of C in a*, 0.1 + 0.025 C in b*, with C
    the chroma. Reflectances with narrow steps miss by more.

    Examples
    --------
    >>> print(adaptation_u([50.0, 0.0, 0.0]))
    [0.  0.  0.1]
    """
    chroma = float(np.hypot(*np.asarray(lab, dtype=np.float64)[1:]))
    return np.array([0.01 * chroma, 0.2 * np.sqrt(chroma), 0.1 + 0.025 * chroma])


def join_photos(values: Sequence[Sequence[PatchValue]]) -> tuple[PatchValue, ...]:
    r"""
    Join what several photos say of the patches of one card.

    Parameters
    ----------
    values : sequence of sequence of PatchValue
        One list per photo; a patch may be missing from some.

    Returns
    -------
    tuple of PatchValue
        Every patch that at least one photo shows, in the order of first appearance.

    Notes
    -----
    The value is the mean. :math:`u^2 = \overline{u_s^2} + \max(\overline{u_o^2}, s^2) / n`: what
    all photos share (the target's own values, the fit to its pigments, spectral mismatch) does
    not shrink with more photos; what each has for itself (noise, and light where the card lay
    elsewhere) does, and is taken as no smaller than the spread found between them [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2 and 5.1.2.
    """
    by_id: dict[str, list[PatchValue]] = {}
    for photo in values:
        for value in photo:
            by_id.setdefault(value.patch_id, []).append(value)
    spread = _pooled_spread({k: [v.lab_d65 for v in vs] for k, vs in by_id.items()})
    joined = []
    for patch_id, seen in by_id.items():
        lab = np.mean([v.lab_d65 for v in seen], axis=0)
        whole = np.mean(np.square([v.lab_u for v in seen]), axis=0)
        own = np.mean(np.square([v.own_u for v in seen]), axis=0)
        u2 = np.maximum(whole - own, 0.0) + np.maximum(own, spread**2) / len(seen)
        joined.append(value_of(patch_id, lab, np.sqrt(u2), len(seen)))
    return tuple(joined)


def value_of(patch_id: str, lab: FloatArray, u: FloatArray, n: int) -> PatchValue:
    """
    Build a value, rounded to what a definition file states.

    Parameters
    ----------
    patch_id : str
    lab, u : ndarray of float, shape (3,)
    n : int

    Returns
    -------
    PatchValue
    """
    a, b, c = (round(float(v), 3) + 0.0 for v in lab)
    ua, ub, uc = (round(float(v), 3) for v in u)
    return PatchValue(patch_id=patch_id, lab_d65=(a, b, c), lab_u=(ua, ub, uc), n=n)


def _pooled_spread(
    labs: Mapping[str, Sequence[tuple[float, float, float]]],
) -> FloatArray:
    """Standard deviation of one reading, pooled over the patches read more than once."""
    total, freedom = np.zeros(3), 0
    for readings in labs.values():
        table = np.array(readings, dtype=np.float64)
        if len(table) > 1:
            total = total + ((table - table.mean(axis=0)) ** 2).sum(axis=0)
            freedom += len(table) - 1
    return np.sqrt(total / freedom) if freedom else np.zeros(3)


def correct_sample(
    mean_linear: FloatArray, cov_mean: FloatArray, xy_px: ArrayLike, correction: Correction
) -> tuple[FloatArray, FloatArray]:
    """
    Correct a mean colour, and carry its covariance along.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        In linear light of the file's own RGB.
    cov_mean : ndarray of float, shape (3, 3)
        Covariance of the mean (not of a pixel).
    xy_px : array_like of float, shape (2,)
    correction : Correction

    Returns
    -------
    mean : ndarray of float, shape (3,)
        Linear sRGB.
    cov : ndarray of float, shape (3, 3)
        From noise alone.

    Notes
    -----
    First order, with the slope taken by differences [1]_.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.2, equation (13).
    """
    step = 1e-4
    points = np.concatenate([np.zeros((1, 3)), step * np.eye(3), -step * np.eye(3)]) + mean_linear
    where = np.tile(np.asarray(xy_px, dtype=np.float64), (7, 1))
    out = correct_linear(points, where, correction)
    slope = (out[1:4] - out[4:7]).T / (2 * step)
    return out[0], slope @ cov_mean @ slope.T


def rounding_var(mean_linear: FloatArray) -> FloatArray:
    r"""
    Return the variance that whole-number codes leave in the mean of an even patch.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        In linear light of the file's own RGB.

    Returns
    -------
    ndarray of float, shape (3,)
        Variance per channel.

    Notes
    -----
    On a patch with little noise all pixels are rounded alike, so rounding does not average out.
    A JPEG rounds brightness and the two colour differences when written and when read, and the
    result once more; each is half a code either way, rectangular [1]_. With the weights of [2]_,
    :math:`u^2 = (1 + 2 \cdot 1.402^2 + 2,\ 1 + 2 (0.344^2 + 0.714^2) + 2,\
    1 + 2 \cdot 1.772^2 + 2) / 12` codes squared. Files without that step are surer than stated.

    References
    ----------
    .. [1] JCGM 100:2008, F.2.2.1.
    .. [2] ITU-T T.871 (JFIF), section 7.

    Examples
    --------
    >>> print(np.round(np.sqrt(rounding_var(np.full(3, 0.2))) * 1000, 1))
    [2.7 2.1 3.1]
    """
    code = linear_to_srgb(np.clip(mean_linear, 0.0, 1.0))
    half = 0.5 / 255.0
    step = srgb_to_linear(code + half) - srgb_to_linear(np.maximum(code - half, 0.0))
    differences = 2 * np.array([1.402**2, 0.344**2 + 0.714**2, 1.772**2])
    return np.asarray(step**2 * (3.0 + differences) / 12.0)


def correct_patch(sample: PatchSample, correction: Correction) -> tuple[FloatArray, FloatArray]:
    """
    Correct one patch sample, with its noise and rounding (see `correct_sample`).

    Parameters
    ----------
    sample : PatchSample
    correction : Correction

    Returns
    -------
    mean : ndarray of float, shape (3,)
        Linear sRGB.
    cov : ndarray of float, shape (3, 3)
        Covariance of that mean.
    """
    cov_mean = sample.cov_linear / max(sample.n_px, 1) + np.diag(rounding_var(sample.mean_linear))
    return correct_sample(sample.mean_linear, cov_mean, sample.centre_px, correction)
