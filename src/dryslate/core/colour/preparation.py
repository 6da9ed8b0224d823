"""Put a card's samples together: greys first, their first fit, the light, the observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.card.found import CardSamples, PatchSample
from dryslate.core.colour.estimate import Observations, observe
from dryslate.core.colour.neutrals import GreyFit, GreyRamp, fit_greys, proportional_gain
from dryslate.core.colour.spaces import lab_to_linear_srgb
from dryslate.core.colour.weights import COLOUR_SPREAD, GREY_SPREAD, whiten

FloatArray = NDArray[np.float64]

_GROUND_SPREAD = 1.5
GROUND_LEAST = 35.0
"""A darker ground shows glare rather than the light that falls on it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeldCard:
    """Used patches, greys first, with their samples; the ground; and where all lie."""

    patches: list[Patch]
    samples: list[PatchSample]
    ground: list[PatchSample]
    n_grey: int
    centre_px: FloatArray
    half_px: float

    @property
    def lab(self) -> FloatArray:
        """Reference Lab of the patches, shape (n, 3)."""
        return np.array([p.lab_d65 for p in self.patches], dtype=np.float64).reshape(-1, 3)

    def place(self, samples: list[PatchSample]) -> FloatArray:
        """Centres relative to the card's centre, in half diagonals, shape (n, 2)."""
        xy = np.array([s.centre_px for s in samples], dtype=np.float64).reshape(-1, 2)
        return np.asarray((xy - self.centre_px) / self.half_px, dtype=np.float64)


def gather_card(samples: CardSamples, card: CardDefinition, *, with_colours: bool) -> HeldCard:
    """
    Sort the used samples of a card, greys first and lightest first.

    Parameters
    ----------
    samples : CardSamples
    card : CardDefinition
    with_colours : bool
        False leaves the coloured patches out.

    Returns
    -------
    HeldCard
    """
    by_id = {patch.patch_id: patch for patch in card.patches}
    pairs = [(by_id[s.patch_id], s) for s in samples.used if s.patch_id in by_id]
    greys = sorted((p for p in pairs if p[0].role == "neutral"), key=lambda p: -p[0].lab_d65[0])
    colours = [p for p in pairs if p[0].role == "colour"] if with_colours else []
    bright = card.ground_lab_d65[0] >= GROUND_LEAST
    ground = [s for s in samples.ground if not s.dropped] if bright else []
    xy = np.array([s.centre_px for s in (*samples.patches, *samples.ground)]).reshape(-1, 2)
    low, high = (xy.min(axis=0), xy.max(axis=0)) if len(xy) else (np.zeros(2), np.ones(2))
    return HeldCard(
        patches=[p for p, _ in greys + colours],
        samples=[s for _, s in greys + colours],
        ground=ground,
        n_grey=len(greys),
        centre_px=(low + high) / 2.0,
        half_px=max(float(np.linalg.norm(high - low)) / 2.0, 1.0),
    )


def stack_means(samples: list[PatchSample]) -> tuple[FloatArray, FloatArray]:
    """
    Stack the samples' means.

    Parameters
    ----------
    samples : list of PatchSample

    Returns
    -------
    mean : ndarray of float, shape (n, 3)
        File-linear means.
    cov : ndarray of float, shape (n, 3, 3)
        Covariance of each mean.
    """
    mean = np.array([s.mean_linear for s in samples]).reshape(-1, 3)
    cov = np.array([s.cov_linear / max(s.n_px, 1) for s in samples]).reshape(-1, 3, 3)
    return mean, cov


def _has_slope(card: HeldCard) -> bool:
    """Tell whether twins or ground can show a light gradient."""
    ids = {p.patch_id for p in card.patches}
    twins = sum(1 for p in card.patches if p.twin_of in ids) // 2
    return twins >= 2 or len(card.ground) >= 4


def _fit_greys(
    card: HeldCard, ground_lab: FloatArray, to_srgb: FloatArray, *, is_encoded: bool
) -> GreyFit:
    """Fit the greys and the ground in the file's own RGB."""
    samples = card.samples[: card.n_grey] + card.ground
    lab = np.vstack([card.lab[: card.n_grey], np.tile(ground_lab, (len(card.ground), 1))])
    mean, cov = stack_means(samples)
    lab_u = np.array([p.lab_u for p in card.patches[: card.n_grey]]).reshape(-1, 3)
    spread = np.vstack(
        [np.hypot(lab_u, GREY_SPREAD), np.full((len(card.ground), 3), _GROUND_SPREAD)]
    )
    to_file = np.linalg.inv(to_srgb)
    gain = proportional_gain(
        mean[: card.n_grey], lab_to_linear_srgb(lab[: card.n_grey]) @ to_file.T
    )
    reference, whitener = whiten(lab, spread, mean, cov, to_srgb * gain)
    ramp = GreyRamp(
        mean_linear=mean,
        place=card.place(samples),
        target=reference @ to_file.T,
        whitener=whitener @ to_srgb,
        n_grey=card.n_grey,
    )
    return fit_greys(ramp, is_encoded=is_encoded, has_slope=_has_slope(card))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PreparedCard:
    """
    A card ready for the candidates.

    Parameters
    ----------
    held : HeldCard
    greys : GreyFit
    seen : Observations
    lab_u : ndarray of float, shape (n, 3)
        The card's own standard uncertainty of each patch.
    """

    held: HeldCard
    greys: GreyFit
    seen: Observations
    lab_u: FloatArray


def fit_card_greys(
    held: HeldCard, card: CardDefinition, to_srgb: FloatArray, *, is_encoded: bool
) -> PreparedCard:
    """
    Fit the greys of a card and put the observations of all its patches together.

    Parameters
    ----------
    held : HeldCard
        With at least one grey.
    card : CardDefinition
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.
    is_encoded : bool
        The photo may carry a picture style, so that a tone curve is tried.

    Returns
    -------
    PreparedCard
    """
    greys = _fit_greys(held, np.array(card.ground_lab_d65), to_srgb, is_encoded=is_encoded)
    mean, cov = stack_means(held.samples)
    own_u = np.array([p.lab_u for p in held.patches])
    fit_u = np.where(np.arange(len(own_u)) < held.n_grey, GREY_SPREAD, COLOUR_SPREAD)
    target = whiten(held.lab, np.hypot(own_u, fit_u[:, None]), mean, cov, to_srgb * greys.gain)
    seen = observe(mean, held.place(held.samples), greys.gain, target)
    return PreparedCard(held=held, greys=greys, seen=seen, lab_u=own_u)
