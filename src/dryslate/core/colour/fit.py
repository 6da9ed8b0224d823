"""Fit a colour correction to the samples of a card."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.outcome import (
    ColourFit,
    ColourSettings,
    fit_from_dict,
    fit_to_dict,
)
from dryslate.core.colour.spaces import lab_to_linear_srgb

__all__ = ["ColourFit", "ColourSettings", "fit_colour", "fit_from_dict", "fit_to_dict"]

FloatArray = NDArray[np.float64]


def fit_colour(
    samples: CardSamples,
    card: CardDefinition,
    settings: ColourSettings,
    to_srgb: FloatArray,
) -> ColourFit:
    """
    Fit a colour correction to the samples of a card.

    Parameters
    ----------
    samples : CardSamples
    card : CardDefinition
    settings : ColourSettings
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.

    Returns
    -------
    ColourFit

    Raises
    ------
    InputError
        ``colour-too-few-patches`` if no neutral patch can be used.
    """
    by_id = {patch.patch_id: patch for patch in card.patches}
    greys = [s for s in samples.used if s.role == "neutral"]
    if not greys:
        raise InputError("colour-too-few-patches", "no neutral patch of the card can be used")
    reference = lab_to_linear_srgb([by_id[s.patch_id].lab_d65 for s in greys])
    target = reference @ np.linalg.inv(to_srgb).T
    seen = np.array([s.mean_linear for s in greys])
    gain = (seen * target).sum(axis=0) / np.maximum((seen * seen).sum(axis=0), 1e-12)
    middle = min(range(len(greys)), key=lambda i: abs(float(reference[i].mean()) - 0.18))
    noise = np.sqrt(np.diag(greys[middle].cov_linear)) * gain
    correction = Correction(
        fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=to_srgb * gain
    )
    return ColourFit(
        usable=True,
        fit="neutral_gain",
        correction=correction,
        gain=gain,
        noise_after_gain=noise,
        veil=np.zeros(3),
        left_out_de00_median=None,
        left_out_de00_p95=None,
        off_card_de00_p95=None,
        n_patches=len(greys),
        covariance=np.zeros((14, 14)),
        dropped=samples.dropped,
        flags=(Flag.NOMINAL_VALUES,) if card.status == "nominal" else (),
    )
