"""The light over a card, carried on beyond it, and how sure it is there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.found import CardSamples
from dryslate.core.colour.correction import Correction, LightField, correct_linear
from dryslate.core.colour.light import (
    HOLD_BRIGHT,
    HOLD_DIM,
    UNSEEN_CURVATURE,
    UNSEEN_SLOPE,
    LightDoubt,
    measure_bend,
    measure_ripple,
    measure_tint,
)
from dryslate.core.colour.preparation import HeldCard, stack_means

FloatArray = NDArray[np.float64]

LUMINANCE = (0.2126, 0.7152, 0.0722)
"""Weights of linear sRGB in Y (IEC 61966-2-1)."""


def light_of_card(
    card: HeldCard, samples: CardSamples, even: Correction, slope: FloatArray, *, has_slope: bool
) -> tuple[Correction, LightDoubt]:
    """
    Give a correction its light field, and say how sure that is away from the card.

    Parameters
    ----------
    card : HeldCard
    samples : CardSamples
        All of them: the field is held by its values on every patch and piece of ground.
    even : Correction
        Without a light field.
    slope : ndarray of float, shape (2,)
        Of the logarithm of light over one half diagonal, from the fit of the patches.
    has_slope : bool
        Whether anything on the card could show it.

    Returns
    -------
    correction : Correction
    light : LightDoubt

    Notes
    -----
    Slope and bend come from the card; the patches themselves were fitted with the slope only (the
    bend changes the light over a card by some per cent at most), so the field's mean over them
    stays zero. The bend and the curvature are told by pieces of one even ground.
    """
    ground = card.place(card.ground)
    bend, curvature = 0.0, UNSEEN_CURVATURE
    if card.ground:
        bend, curvature = measure_bend(ground, np.log(_seen(card, even) @ LUMINANCE))
    field = _field(card, samples, slope, bend)
    lit = replace(even, field=field)
    ripple, tint = 0.0, (0.0, 0.0)
    if card.ground:
        flat = _seen(card, lit)
        ripple, tint = measure_ripple(ground, np.log(flat @ LUMINANCE)), measure_tint(ground, flat)
    light = LightDoubt(
        centre_px=(float(card.centre_px[0]), float(card.centre_px[1])),
        half_px=card.half_px,
        slope=float(np.linalg.norm(slope)) if has_slope else UNSEEN_SLOPE,
        ripple=ripple,
        curvature=curvature,
        tint=tint,
    )
    return lit, light


def _seen(card: HeldCard, correction: Correction) -> FloatArray:
    """Corrected linear sRGB of the card's ground, above zero."""
    mean, _ = stack_means(card.ground)
    where = np.array([s.centre_px for s in card.ground], dtype=np.float64)
    return np.maximum(correct_linear(mean, where, correction), 1e-3)


def _field(
    card: HeldCard, samples: CardSamples, slope: FloatArray, bend: float
) -> LightField | None:
    """Light field in pixels of the upright photo; None where the light is even."""
    if not np.any(np.abs(slope) > 1e-4) and abs(bend) < 1e-4:
        return None
    place = card.place([*samples.patches, *samples.ground])
    square = (place * place).sum(axis=1)
    at_centre = -bend * float(square.mean())
    log_light = at_centre + place @ slope + bend * square
    return LightField(
        centre_px=card.centre_px,
        log_per_px=slope / card.half_px,
        log_lo=float(log_light.min()) * HOLD_DIM,
        log_hi=float(log_light.max()) * HOLD_BRIGHT,
        log_centre=at_centre,
        bend_per_px2=bend / card.half_px**2,
    )
