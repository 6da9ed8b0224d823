"""What colours a card really has: from readings, from photos beside a known target, under water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.correction import Correction, correct_linear
from dryslate.core.colour.spaces import lab_jacobian, lab_to_linear_srgb, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

INSTRUMENT_U = 0.4
"""Each of L*, a*, b*: two good instruments on one matt patch; common practice, no one source."""
CLIPPED_FROM = 0.98
SMALLEST_EVENNESS_U = 0.01
"""Light on two spots of a card at rest is seldom known better than to 1 %; common practice."""
SLOPE_U_FRAC = 0.05
"""Doubt in a difference of two colours from the photo fit's matrix; a judgement."""


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
    """

    patch_id: str
    lab_d65: tuple[float, float, float]
    lab_u: tuple[float, float, float]
    n: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhitePiece:
    """
    The piece of plain white PTFE in one photo.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        Robust mean in linear light of the file's own RGB.
    mean_u : ndarray of float, shape (3,)
        Its standard uncertainty.
    xy_px : tuple of float
        Where it lies in the upright photo.
    """

    mean_linear: FloatArray
    mean_u: FloatArray
    xy_px: tuple[float, float]


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
        values.append(_value(patch_id, table.mean(axis=0), u, len(table)))
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
    The value is the mean. :math:`u^2 = \overline{u_f^2} + s^2 / n`: the doubt of the fit in one
    photo is mostly shared by all (known target, spectral mismatch) and does not shrink with more
    photos; the spread between photos does [1]_. With one photo the spread is unknown and the
    doubt is that of the fit alone.

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
        shared = np.mean(np.square([v.lab_u for v in seen]), axis=0)
        joined.append(_value(patch_id, lab, np.sqrt(shared + spread**2 / len(seen)), len(seen)))
    return tuple(joined)


def fit_water_values(
    card: CardDefinition,
    samples: tuple[CardSamples, CardSamples],
    whites: tuple[WhitePiece, WhitePiece],
    correction: Correction,
    ptfe_u_frac: float,
) -> tuple[PatchValue, ...]:
    r"""
    Carry a card's values from air to water by two photos of a tray, dry and filled.

    Parameters
    ----------
    card : CardDefinition
        With values known in air.
    samples : tuple of CardSamples
        The card dry, then under water, same place, light and camera settings.
    whites : tuple of WhitePiece
        The piece of PTFE in each photo.
    correction : Correction
        Fitted to the dry card.
    ptfe_u_frac : float
        Relative standard uncertainty of the reflectance of PTFE in water against that in air.

    Returns
    -------
    tuple of PatchValue
        Every patch that both photos show.

    Raises
    ------
    InputError
        ``card-not-characterised`` if the card's values are nominal or hold in water already;
        ``ptfe-clipped`` if a PTFE reading is over- or underexposed.

    Notes
    -----
    PTFE takes up no water and is taken to reflect alike in both. In corrected linear light
    :math:`l_{water} = l_{air} + (c_{wet}\, p_{dry} / p_{wet} - c_{dry})` per channel: the wet
    patch scaled by the white, compared with the dry one. Only differences go through the photo's
    fit, so most of its errors cancel. The doubt holds noise, the white's noise and its
    reflectance (`ptfe_u_frac`), uneven light (from the card's twin patches, at least 1 %),
    5 % of the difference for the fit's slope, and the doubt of the values in air. A patch that
    lies deeper or in the shade of the tray's wall reads too dark.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, equation (10).
    """
    if card.status == "nominal" or card.medium != "air":
        raise InputError(
            "card-not-characterised",
            f"Card {card.name!r} has {card.status} values in {card.medium}; the step to water "
            "needs values known in air.",
            "First characterise it in air, from a file of readings or photos beside a target.",
        )
    scale, scale_u = _white_scale(whites, correction)
    dry = {s.patch_id: s for s in samples[0].used}
    wet = {s.patch_id: s for s in samples[1].used}
    seen = [p for p in card.patches if p.patch_id in dry and p.patch_id in wet]
    c_dry = {p.patch_id: _corrected(dry[p.patch_id], correction) for p in seen}
    c_wet = {p.patch_id: _corrected(wet[p.patch_id], correction) for p in seen}
    uneven = _evenness_u(card, c_dry, c_wet)
    values = []
    for patch in seen:
        (mean_dry, cov_dry), (mean_wet, cov_wet) = c_dry[patch.patch_id], c_wet[patch.patch_id]
        wetted = mean_wet * scale
        change = wetted - mean_dry
        linear = lab_to_linear_srgb(patch.lab_d65) + change
        cov = cov_dry + cov_wet * np.outer(scale, scale)
        cov += np.diag((mean_wet * scale_u) ** 2 + (SLOPE_U_FRAC * change) ** 2)
        cov += (ptfe_u_frac**2 + uneven**2) * np.outer(wetted, wetted)
        linear = np.maximum(linear, 1e-4)
        slope = lab_jacobian(linear)
        lab_cov = slope @ cov @ slope.T + np.diag(np.square(patch.lab_u))
        values.append(
            _value(patch.patch_id, linear_srgb_to_lab(linear), np.sqrt(np.diag(lab_cov)), 1)
        )
    return tuple(values)


def _value(patch_id: str, lab: FloatArray, u: FloatArray, n: int) -> PatchValue:
    """Build a value, rounded to what a definition file states."""
    a, b, c = (round(float(v), 3) for v in lab)
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


def _corrected(sample: PatchSample, correction: Correction) -> tuple[FloatArray, FloatArray]:
    """Correct one patch sample (see `correct_sample`)."""
    cov_mean = sample.cov_linear / max(sample.n_px, 1)
    return correct_sample(sample.mean_linear, cov_mean, sample.centre_px, correction)


def _white_scale(
    whites: tuple[WhitePiece, WhitePiece], correction: Correction
) -> tuple[FloatArray, FloatArray]:
    """Dry over wet white per channel in corrected linear light, with its noise."""
    means, relative = [], np.zeros(3)
    for name, white in zip(("dry", "filled"), whites, strict=True):
        if white.mean_linear.max() > CLIPPED_FROM or white.mean_linear.min() < 0.02:
            how = "over" if white.mean_linear.max() > 0.5 else "under"
            raise InputError(
                "ptfe-clipped",
                f"The PTFE in the {name} photo is {how}exposed: linear RGB "
                f"{np.round(white.mean_linear, 3).tolist()}.",
                "Take both photos again so that the white is well below full white.",
            )
        mean, cov = correct_sample(
            white.mean_linear, np.diag(white.mean_u**2), white.xy_px, correction
        )
        means.append(mean)
        relative = relative + np.diag(cov) / mean**2
    scale = means[0] / means[1]
    return scale, scale * np.sqrt(relative)


def _evenness_u(
    card: CardDefinition,
    dry: Mapping[str, tuple[FloatArray, FloatArray]],
    wet: Mapping[str, tuple[FloatArray, FloatArray]],
) -> float:
    """Relative doubt from uneven light: how differently two copies of one grey changed."""
    steps = []
    for patch in card.patches:
        one, two = patch.patch_id, patch.twin_of
        both = two and one < two and all(i in dry and i in wet for i in (one, two))
        if not both or patch.lab_d65[0] < 40:
            continue
        ratios = [float(np.mean(wet[i][0]) / np.mean(dry[i][0])) for i in (one, two)]
        steps.append(np.log(max(ratios[0], 1e-3) / max(ratios[1], 1e-3)))
    if not steps:
        return 2 * SMALLEST_EVENNESS_U
    return max(float(np.sqrt(np.mean(np.square(steps)) / 2)), SMALLEST_EVENNESS_U)
