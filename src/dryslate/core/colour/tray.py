"""A card's values under water, from two photos of a tray: dry and filled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples
from dryslate.core.colour.characterise import (
    PatchValue,
    correct_patch,
    correct_sample,
    rounding_var,
    value_of,
)
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.spaces import lab_jacobian, lab_to_linear_srgb, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

CLIPPED_FROM = 0.98
SMALLEST_EVENNESS_U = 0.01
"""Light on two spots of a card at rest is seldom known better than to 1 %; common practice."""
SLOPE_U_FRAC = 0.05
"""Doubt in a difference of two colours from the photo fit's matrix; a judgement."""


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
    fit, so most of its errors cancel. The doubt holds noise and rounding, the white's noise and its
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
    c_dry = {p.patch_id: correct_patch(dry[p.patch_id], correction) for p in seen}
    c_wet = {p.patch_id: correct_patch(wet[p.patch_id], correction) for p in seen}
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
            value_of(patch.patch_id, linear_srgb_to_lab(linear), np.sqrt(np.diag(lab_cov)), 1)
        )
    return tuple(values)


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
            white.mean_linear,
            np.diag(white.mean_u**2 + rounding_var(white.mean_linear)),
            white.xy_px,
            correction,
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
