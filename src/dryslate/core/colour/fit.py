"""Fit a colour correction to the samples of a card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem, has_error
from dryslate.base.quality import Flag
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSamples
from dryslate.core.colour.card_light import light_of_card
from dryslate.core.colour.correction import (
    Correction,
    FitName,
)
from dryslate.core.colour.crossval import (
    Candidate,
    Trial,
    choose_trial,
    hue_groups,
    score_candidates,
)
from dryslate.core.colour.estimate import Observations, fit_parameters, predict
from dryslate.core.colour.light import LightDoubt, light_de00_p95
from dryslate.core.colour.mismatch import measure_red_strain, mismatch_of
from dryslate.core.colour.neutrals import GreyFit
from dryslate.core.colour.one_point import fit_one_point
from dryslate.core.colour.outcome import ColourFit, ColourSettings, fit_from_dict, fit_to_dict
from dryslate.core.colour.preparation import (
    HeldCard,
    fit_card_greys,
    gather_card,
    stack_means,
)
from dryslate.core.colour.prior import gain_belief, matrix_belief
from dryslate.core.colour.signal import (
    GreySignal,
    check_expected,
    check_ramp,
    check_signal,
    check_twins,
    grey_levels,
)
from dryslate.core.colour.spaces import linear_srgb_to_lab, linear_to_srgb
from dryslate.core.colour.weights import decode_slope

__all__ = [
    "ColourFit",
    "ColourSettings",
    "fit_colour",
    "fit_from_dict",
    "fit_one_point",
    "fit_to_dict",
]

FloatArray = NDArray[np.float64]

N_GREYS_LEAST = 3
N_COLOURS_LEAST = 6
WEAK_WIDER = 1.2
"""How much wider the mismatch is taken where a channel is weak: a judgement."""
AIR_SHIFT_U = (3.0, 1.5, 2.0)
"""Standard uncertainty of L*, a*, b* of air values under water: a judgement, no measurement."""


_GAINS: tuple[tuple[FitName, bool], ...] = (("neutral_gain", False), ("gain_veil", True))
_MATRICES: tuple[tuple[FitName, int], ...] = (("affine", 3), ("root_polynomial_2", 6))


def _candidates(
    card: HeldCard, greys: GreyFit, to_srgb: FloatArray, settings: ColourSettings
) -> list[Candidate]:
    """All candidates, simplest first."""
    only_greys = (np.arange(len(card.patches)) < card.n_grey).astype(np.float64)
    tones = (False, True) if settings.is_encoded else (False,)
    found = [
        Candidate(
            fit=fit,
            has_tone=has_tone,
            belief=gain_belief(greys, to_srgb, has_veil=has_veil, has_tone=has_tone),
            shares=only_greys,
        )
        for fit, has_veil in _GAINS
        for has_tone in tones
    ]
    if len(card.patches) - card.n_grey < N_COLOURS_LEAST:
        return found
    prior = settings.matrix_prior
    return found + [
        Candidate(
            fit=fit,
            has_tone=has_tone,
            belief=matrix_belief(n_terms, greys, to_srgb, prior, has_tone=has_tone),
            shares=np.ones(len(card.patches)),
        )
        for fit, n_terms in _MATRICES
        for has_tone in tones
    ]


def _slope_from_colours(
    greys: GreyFit, seen: Observations, to_srgb: FloatArray, settings: ColourSettings
) -> GreyFit:
    """Find the light gradient with all patches where no twins and no ground show it."""
    belief = matrix_belief(3, greys, to_srgb, settings.matrix_prior, has_tone=settings.is_encoded)
    theta, precision = fit_parameters(seen, belief, np.ones((1, len(seen.encoded))))
    slope_cov = np.linalg.inv(precision[0])[-2:, -2:]
    return replace(greys, slope=theta[0, -2:], slope_cov=slope_cov, has_slope=True)


def _file_correction(
    trial: Trial, gain: FloatArray, half_px: float
) -> tuple[Correction, FloatArray]:
    """Turn parameters relative to the gain into a correction in even light, with its covariance."""
    n_terms = trial.candidate.belief.n_terms
    q = 3 * n_terms
    root = np.sqrt(gain)
    by_term = np.concatenate([gain, [root[0] * root[1], root[1] * root[2], root[0] * root[2]]])
    scale = np.concatenate([np.tile(by_term[:n_terms], 3), np.ones(5), np.full(2, 1.0 / half_px)])
    theta = trial.theta * scale
    correction = Correction(
        fit=trial.candidate.fit,
        tone=(float(theta[q + 3]), float(theta[q + 4])) if trial.candidate.has_tone else (0.0, 0.0),
        veil=theta[q : q + 3],
        matrix=theta[:q].reshape(3, n_terms),
    )
    return correction, trial.covariance * np.outer(scale, scale)


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
        Means in file-linear light.
    card : CardDefinition
        Its values; of a nominal card only the greys are used, unless the settings trust it.
    settings : ColourSettings
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.

    Returns
    -------
    ColourFit
        With ``usable`` False, and the reasons in ``problems``, where it is refused:
        ``colour-too-few-patches``, ``colour-no-red-signal``, ``colour-no-signal``,
        ``colour-ramp-not-monotone``, ``colour-twins-differ``, ``colour-too-uncertain``; or where
        it is good for looking only: ``colour-looking-only``.

    Notes
    -----
    Greys and ground give gain, veil, tone and light gradient; then neutral gain, gain and veil,
    3 x 3 with veil, and the root polynomial of degree 2 are fitted, each with a straight and a
    bent tone curve, near what simulation expects for such gains. The choice is made by leaving out
    hue groups (see `choose_trial`). True at the card's distance
    only: farther things stay too blue and pale, nearer ones turn too red.

    References
    ----------
    .. [1] Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Processing 24(5):1460-1470.
    .. [2] Schechner & Karpel 2005, IEEE J. Oceanic Engineering 30(3):570-587 (veiling light).
    """
    trusted = card.status != "nominal" or settings.nominal_as_measured
    held = gather_card(samples, card, with_colours=trusted)
    levels = grey_levels(tuple(held.patches[: held.n_grey]))
    if len(levels) < N_GREYS_LEAST:
        return _too_few(samples, card, held, len(levels))
    ready = fit_card_greys(held, card, to_srgb, is_encoded=settings.is_encoded)
    seen, greys = ready.seen, ready.greys
    if not greys.has_slope and len(held.patches) - held.n_grey >= N_COLOURS_LEAST:
        greys = _slope_from_colours(greys, seen, to_srgb, settings)
    groups = hue_groups(held.patches)
    candidates = _candidates(held, greys, to_srgb, settings)
    trials = score_candidates(candidates, seen, held.lab, groups)
    chosen = choose_trial(trials, is_informed=settings.matrix_prior is not None)
    even, covariance = _file_correction(chosen, greys.gain, held.half_px)
    correction, light = light_of_card(
        held, samples, even, chosen.theta[-2:], has_slope=greys.has_slope
    )
    prediction, _ = predict(chosen.theta[None], seen, chosen.candidate.belief.n_terms)
    gain = greys.gain
    if chosen.candidate.fit in ("neutral_gain", "gain_veil"):
        gain = np.diag(np.linalg.inv(to_srgb) @ correction.matrix)
    signal = _signal(held, chosen, prediction[0], gain)
    problems = [*check_signal(signal), *check_ramp(signal), *check_twins(signal)]
    greys_only = len(held.patches) == held.n_grey
    mismatch = mismatch_of(
        chosen.candidate.fit,
        chosen.score[0],
        settings.mismatch_table,
        greys_only=greys_only,
        strain=measure_red_strain(correction.matrix, greys.gain, to_srgb),
    )
    if problems:  # a channel is weak (or the card is refused): the table knows no such photos well
        mismatch = mismatch.widened(WEAK_WIDER)
    common_u = _common_doubt(card, settings, ready.lab_u)
    expected = _expected_p95(mismatch.de00_p95, common_u, light)
    if not greys_only and settings.mismatch_table is not None:  # a fallback judges no photo
        problems += check_expected(expected)
    return ColourFit(
        usable=not has_error(problems),
        fit=chosen.candidate.fit,
        correction=correction,
        gain=gain,
        noise_after_gain=signal.noise_after_gain,
        veil=correction.veil,
        left_out_de00_median=float(np.median(chosen.left_out_de00)),
        left_out_de00_p95=float(np.quantile(chosen.left_out_de00, 0.95)),
        off_card_de00_p95=expected,
        n_patches=len(held.patches),
        covariance=covariance,
        mismatch=mismatch,
        common_u=common_u,
        dropped=samples.dropped,
        problems=tuple(problems),
        flags=_flags(card, settings, problems, trusted=trusted),
        candidates=_scores(trials),
        light=light,
    )


def _expected_p95(mismatch_p95: float, common_u: FloatArray, light: LightDoubt) -> float:
    """95th percentile of things near the card: parts taken as independent."""
    card = 2.0 * float(np.linalg.norm(common_u)) / np.sqrt(3.0)
    by_light = light_de00_p95(light.slope, light.ripple, light.curvature)
    return float(np.sqrt(mismatch_p95**2 + card**2 + by_light**2))


def _signal(card: HeldCard, chosen: Trial, prediction: FloatArray, gain: FloatArray) -> GreySignal:
    """Put together what the checks of the greys need."""
    n = card.n_grey
    greys = card.samples[:n]
    mean, cov = stack_means(greys)
    light = np.exp(card.place(greys) @ chosen.theta[-2:])
    lightness = card.lab[:n, 0]
    middle = int(np.argmin(np.abs(lightness - 50.0)))
    encoded = linear_to_srgb(mean[middle])
    a, b = (chosen.theta[-4], chosen.theta[-3]) if chosen.candidate.has_tone else (0.0, 0.0)
    bend = 1.0 + a * (1.0 - 2.0 * encoded) + b * (1.0 - 6.0 * encoded + 6.0 * encoded**2)
    bent = encoded + encoded * (1.0 - encoded) * (a + b * (1.0 - 2.0 * encoded))
    slope = decode_slope(bent) * bend / np.maximum(decode_slope(encoded), 1e-9)
    one_pixel = np.sqrt(np.maximum(np.diagonal(greys[middle].cov_linear), 0.0))
    return GreySignal(
        patches=tuple(card.patches[:n]),
        mean_linear=mean,
        noise_linear=np.sqrt(np.maximum(np.diagonal(cov, axis1=1, axis2=2), 0.0)),
        lab=linear_srgb_to_lab(prediction[:n]),
        light=light,
        gain=gain,
        noise_after_gain=one_pixel * slope * gain / light[middle],
    )


def _common_doubt(card: CardDefinition, settings: ColourSettings, lab_u: FloatArray) -> FloatArray:
    """Doubt that the card's values (half of it common to all patches) and medium bring to all."""
    common = np.sqrt((lab_u**2).mean(axis=0)) / 2.0
    if settings.under_water and card.medium == "air":
        common = np.hypot(common, AIR_SHIFT_U)
    return np.asarray(common, dtype=np.float64)


def _flags(
    card: CardDefinition, settings: ColourSettings, problems: list[Problem], *, trusted: bool
) -> tuple[Flag, ...]:
    """Reservations that travel with the fit."""
    flags = []
    if not trusted:
        flags.append(Flag.NOMINAL_VALUES)
    if settings.under_water and card.medium == "air":
        flags.append(Flag.AIR_VALUES)
    if any(problem.slug == "colour-red-weak" for problem in problems):
        flags.append(Flag.RED_WEAK)
    return tuple(flags)


def _scores(trials: list[Trial]) -> dict[str, tuple[float, float]]:
    """Score by candidate: the better tone of each."""
    scores: dict[str, tuple[float, float]] = {}
    for trial in trials:
        name = trial.candidate.fit
        if name not in scores or trial.score[0] < scores[name][0]:
            scores[name] = trial.score
    return scores


def _too_few(
    samples: CardSamples, card: CardDefinition, held: HeldCard, n_levels: int
) -> ColourFit:
    """Refuse a card of which too few greys can be used."""
    problem = Problem(
        slug="colour-too-few-patches",
        severity="error",
        place=f"card {card.name}",
        message=f"only {n_levels} grey levels can be used ({N_GREYS_LEAST} needed); "
        f"{len(samples.dropped)} patches were dropped",
        fix="Keep the card free of fingers, shade and glare, and expose so that its white is not "
        "clipped; or pick a white or grey point by hand.",
    )
    plain = Correction(fit="neutral_gain", tone=(0.0, 0.0), veil=np.zeros(3), matrix=np.eye(3))
    return ColourFit(
        usable=False,
        fit="neutral_gain",
        correction=plain,
        gain=np.ones(3),
        noise_after_gain=np.zeros(3),
        veil=np.zeros(3),
        left_out_de00_median=None,
        left_out_de00_p95=None,
        off_card_de00_p95=None,
        n_patches=len(held.patches),
        covariance=np.zeros((16, 16)),
        mismatch=mismatch_of("neutral_gain", None, None, greys_only=True),
        common_u=np.zeros(3),
        dropped=samples.dropped,
        problems=(problem,),
    )
