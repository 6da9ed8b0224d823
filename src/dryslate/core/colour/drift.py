"""How far the patches of a card that dives have moved from those of its dry twin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.characterise import correct_patch
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.spaces import lab_jacobian, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

REPLACE_FROM_DE00 = 3.0
MIN_NEUTRALS = 3
LEAST_UNEVEN_U = 0.002
"""Light over a card is never taken as more even than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchDrift:
    """
    How far one patch has moved.

    Parameters
    ----------
    patch_id : str
    drift_de00, drift_de00_u : float
        CIEDE2000 between the twin's patch and the dive card's, and its standard uncertainty.
    drift_lab : tuple of float
        Dive card less twin, in L*, a*, b*.
    verdict : {"holds", "doubtful", "replace"}
        ``"replace"`` where it moved more than 3; ``"doubtful"`` where 3 lies within two
        standard uncertainties of what was found, on the lower side.
    """

    patch_id: str
    drift_de00: float
    drift_de00_u: float
    drift_lab: tuple[float, float, float]
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardDrift:
    """
    A dive card against its twin.

    Parameters
    ----------
    patches : tuple of PatchDrift
        In the order of the definition; those that both cards show.
    not_seen : tuple of str
        Patches that one of the two does not show well enough.
    light_ratio : tuple of float
        How much brighter the dive card was lit (or exposed) per channel: taken out.
    light_u_frac : float
        Relative doubt left in the light, from the scatter of the neutrals.
    """

    patches: tuple[PatchDrift, ...]
    not_seen: tuple[str, ...]
    light_ratio: tuple[float, float, float]
    light_u_frac: float


def compare_cards(
    card: CardDefinition,
    twin: CardSamples,
    dive: CardSamples,
    correction: Correction,
    *,
    in_one_photo: bool,
) -> CardDrift:
    r"""
    Compare a dive card with its dry twin, patch by patch.

    Parameters
    ----------
    card : CardDefinition
        The design both were printed from.
    twin, dive : CardSamples
        Samples of the two, in one photo or in two of the same camera and settings.
    correction : Correction
        Fitted to the twin.
    in_one_photo : bool
        In one photo only brightness (with a gradient) is taken out, so that a film that has
        yellowed shows; in two photos each channel's level is taken out too, since light and
        exposure may differ.

    Returns
    -------
    CardDrift

    Raises
    ------
    InputError
        ``drift-too-few-neutrals`` if fewer than three neutrals are seen on both.

    Notes
    -----
    The light's ratio between the two cards is a robust plane over the logarithms of the neutrals'
    ratios, so one or two changed neutrals do not carry it. What changes all neutrals alike cannot
    be told from light: a card that darkened evenly reads as unchanged. Doubt: noise of
    both, the plane's own, and the neutrals' scatter about it beyond their noise.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, equation (10).
    """
    by_twin = {s.patch_id: s for s in twin.used}
    by_dive = {s.patch_id: s for s in dive.used}
    both = [p.patch_id for p in card.patches if p.patch_id in by_twin and p.patch_id in by_dive]
    seen_twin = {i: _corrected(by_twin[i], correction) for i in both}
    seen_dive = {i: _flat(by_dive[i], correction) for i in both}
    neutrals = [p.patch_id for p in card.neutrals if p.patch_id in seen_twin]
    neutrals = [i for i in neutrals if min(seen_twin[i][0].min(), seen_dive[i][0].min()) > 0.01]
    if len(neutrals) < MIN_NEUTRALS:
        raise InputError(
            "drift-too-few-neutrals",
            f"Only {len(neutrals)} neutral patches are seen on both cards ({MIN_NEUTRALS} needed).",
            "Take the photo again: both cards flat, sharp, in even light, nothing over them.",
        )
    where = {i: by_twin[i].centre_mm for i in both}
    light = _fit_light(
        np.array([where[i] for i in neutrals]),
        np.array([np.log(seen_dive[i][0] / seen_twin[i][0]) for i in neutrals]),
        np.array([_relative_var(*seen_dive[i]) + _relative_var(*seen_twin[i]) for i in neutrals]),
        in_one_photo=in_one_photo,
    )
    patches = []
    for patch_id in both:
        mean, cov = seen_dive[patch_id]
        evened = np.exp(-light.log_at(where[patch_id]))
        lit = (mean * evened, cov * np.outer(evened, evened))
        patches.append(_drift(patch_id, seen_twin[patch_id], lit, light.u_at(where[patch_id])))
    ratio = np.exp(light.level)
    return CardDrift(
        patches=tuple(patches),
        not_seen=tuple(p.patch_id for p in card.patches if p.patch_id not in both),
        light_ratio=(float(ratio[0]), float(ratio[1]), float(ratio[2])),
        light_u_frac=light.uneven_u,
    )


def _corrected(sample: PatchSample, correction: Correction) -> tuple[FloatArray, FloatArray]:
    """Correct one patch of the twin; values stay positive for the logarithm."""
    mean, cov = correct_patch(sample, correction)
    return np.maximum(mean, 1e-4), cov


def _relative_var(mean: FloatArray, cov: FloatArray) -> float:
    """Variance of the logarithm of the mean of the channels, from noise."""
    share = 1.0 / (3.0 * mean)
    return float(share @ cov @ share)


def _flat(sample: PatchSample, correction: Correction) -> tuple[FloatArray, FloatArray]:
    """Correct one patch of the other card without the twin's light gradient."""
    even = Correction(
        fit=correction.fit,
        tone=correction.tone,
        veil=correction.veil,
        matrix=correction.matrix,
    )
    return _corrected(sample, even)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Light:
    """Light of the dive card against the twin's: a plane over the logarithm, per channel."""

    level: FloatArray
    coef_cov: FloatArray
    slope: FloatArray
    middle_mm: FloatArray
    uneven_u: float

    def log_at(self, xy_mm: FloatArray) -> FloatArray:
        """Logarithm of the light's ratio at a place on the card, per channel."""
        return np.asarray(self.level + self.slope @ (xy_mm - self.middle_mm))

    def u_at(self, xy_mm: FloatArray) -> float:
        """Standard uncertainty of that logarithm: the plane's own, and uneven light."""
        row = np.concatenate([[1.0], xy_mm - self.middle_mm])[: len(self.coef_cov)]
        return float(np.sqrt(row @ self.coef_cov @ row + self.uneven_u**2))


def _fit_light(
    xy_mm: FloatArray, log_ratio: FloatArray, var: FloatArray, *, in_one_photo: bool
) -> _Light:
    """Fit the light's plane to the neutrals, weighted by noise and robust to changed ones."""
    grey = log_ratio.mean(axis=1)
    middle = xy_mm.mean(axis=0)
    design = np.column_stack([np.ones(len(grey)), xy_mm - middle])
    if len(grey) < 6:
        design = design[:, :1]
    sigma = np.sqrt(var + LEAST_UNEVEN_U**2)
    away = np.ones(len(grey))
    coef = np.zeros(design.shape[1])
    for _ in range(40):  # least absolute deviations, by reweighting: a changed neutral has no pull
        root = 1.0 / (sigma * np.sqrt(np.maximum(away, 1e-3)))
        coef = np.linalg.lstsq(design * root[:, None], grey * root, rcond=None)[0]
        away = np.abs(grey - design @ coef) / sigma
    spare = np.sqrt(len(grey) / max(len(grey) - design.shape[1], 1))
    scale = max(1.4826 * spare * float(np.median(away)), 1.0)
    kept = away < 3.5 * scale
    spread2 = var[kept] + LEAST_UNEVEN_U**2
    uneven2 = LEAST_UNEVEN_U**2 + (scale**2 - 1.0) * float(np.median(spread2))
    weight = 1.0 / (var[kept] + uneven2)
    cov = np.asarray(np.linalg.pinv(design[kept].T @ (design[kept] * weight[:, None])))
    coef = cov @ (design[kept].T @ (weight * grey[kept]))
    level = np.full(3, coef[0])
    if not in_one_photo:
        level = level + np.median(log_ratio - grey[:, None], axis=0)
    return _Light(
        level=level,
        coef_cov=cov,
        slope=coef[1:] if len(coef) == 3 else np.zeros(2),
        middle_mm=middle,
        uneven_u=float(np.sqrt(uneven2)),
    )


def _drift(
    patch_id: str,
    twin: tuple[FloatArray, FloatArray],
    dive: tuple[FloatArray, FloatArray],
    light_u: float,
) -> PatchDrift:
    """Difference of one patch, with its doubt by numerical slopes."""
    (mean_twin, cov_twin), (mean_dive, cov_dive) = twin, dive
    lab_twin, lab_dive = linear_srgb_to_lab(mean_twin), linear_srgb_to_lab(mean_dive)
    slope_twin, slope_dive = lab_jacobian(mean_twin), lab_jacobian(mean_dive)
    lit = cov_dive + light_u**2 * np.outer(mean_dive, mean_dive)
    cov = slope_twin @ cov_twin @ slope_twin.T + slope_dive @ lit @ slope_dive.T
    step = 0.05
    gradient = np.array(
        [
            (ciede2000(lab_twin, lab_dive + d) - ciede2000(lab_twin, lab_dive - d)) / (2 * step)
            for d in step * np.eye(3)
        ]
    ).reshape(3)
    de00 = float(ciede2000(lab_twin, lab_dive))
    u = float(np.sqrt(max(gradient @ cov @ gradient, 0.0)))
    if de00 > REPLACE_FROM_DE00:
        verdict = "replace"
    else:
        verdict = "doubtful" if de00 + 2 * u > REPLACE_FROM_DE00 else "holds"
    shift = lab_dive - lab_twin
    return PatchDrift(
        patch_id=patch_id,
        drift_de00=de00,
        drift_de00_u=u,
        drift_lab=(float(shift[0]), float(shift[1]), float(shift[2])),
        verdict=verdict,
    )
