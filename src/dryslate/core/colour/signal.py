"""Reasons to refuse or doubt a card: no signal, greys out of order, twins that differ, no trust."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem
from dryslate.core.card.definition import Patch

FloatArray = NDArray[np.float64]

GAIN_MOST = 16.0
GAIN_WEAK = 8.0
TWIN_DIFFERENCE_MOST = 5.5
DE00_P95_FIT = 12.0
"""To tell a bleached coral from a normal one the expected difference is at most so."""
DE00_P95_SHOWN = 25.0
"""With a larger one a corrected picture hardly shows more than one gain on the mid grey would."""
LOOKING_ONLY = "colour-looking-only"
_SAME_LEVEL = 3.0
_CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GreySignal:
    """
    What is known of the greys after the fit.

    Parameters
    ----------
    patches : tuple of Patch
        The greys used.
    mean_linear : ndarray of float, shape (n, 3)
        File-linear means.
    noise_linear : ndarray of float, shape (n, 3)
        Standard uncertainty of each mean.
    lab : ndarray of float, shape (n, 3)
        Corrected colour of each, D65.
    light : ndarray of float, shape (n,)
    gain, noise_after_gain : ndarray of float, shape (3,)
    """

    patches: tuple[Patch, ...]
    mean_linear: FloatArray
    noise_linear: FloatArray
    lab: FloatArray
    light: FloatArray
    gain: FloatArray
    noise_after_gain: FloatArray


def grey_levels(patches: tuple[Patch, ...]) -> list[float]:
    """
    List the different grey levels of a card.

    Parameters
    ----------
    patches : tuple of Patch
        Greys.

    Returns
    -------
    list of float
        L* of each level, darkest first; greys within 3 L* of a level count as that level.

    Examples
    --------
    >>> grey_levels(())
    []
    """
    levels: list[float] = []
    for lightness in sorted(patch.lab_d65[0] for patch in patches):
        if not levels or lightness > levels[-1] + _SAME_LEVEL:
            levels.append(lightness)
    return levels


def neighbour_step(patches: tuple[Patch, ...]) -> float:
    """
    Smallest step in linear light between the mid grey and its neighbouring levels.

    Parameters
    ----------
    patches : tuple of Patch
        Greys.

    Returns
    -------
    float
        The step; infinite where there is one level only.

    Examples
    --------
    >>> def grey(name, lightness):
    ...     return Patch(
    ...         patch_id=name, x_mm=0, y_mm=0, width_mm=1, height_mm=1, role="neutral",
    ...         lab_d65=(lightness, 0, 0),
    ...     )
    >>> round(neighbour_step((grey("a", 35.0), grey("b", 50.0), grey("c", 95.0))), 3)
    0.099
    """
    levels = grey_levels(patches)
    if len(levels) < 2:
        return float("inf")
    linear = [((lightness + 16.0) / 116.0) ** 3 for lightness in levels]
    middle = min(range(len(linear)), key=lambda i: abs(linear[i] - 0.18))
    near = [
        abs(linear[i] - linear[middle]) for i in (middle - 1, middle + 1) if 0 <= i < len(linear)
    ]
    return min(near)


def check_signal(signal: GreySignal) -> list[Problem]:
    """
    Check that every channel carries a signal.

    Parameters
    ----------
    signal : GreySignal

    Returns
    -------
    list of Problem
        ``colour-no-red-signal`` or ``colour-no-signal`` (errors) where a channel's gain is over
        16 times that of the strongest, or its noise after gain is larger than the step between
        two neighbouring greys; ``colour-red-weak`` (a warning) at half of either.
    """
    problems: list[Problem] = []
    ratio = signal.gain / max(float(signal.gain.min()), 1e-12)
    step = neighbour_step(signal.patches)
    for channel, name in enumerate(_CHANNELS):
        times, noise = float(ratio[channel]), float(signal.noise_after_gain[channel])
        if times > GAIN_MOST or noise > step:
            lost = (
                f"its gain is {times:.0f} times that of the strongest channel (16 at most)"
                if times > GAIN_MOST
                else f"its noise after gain is {noise:.3f}, larger than the step of {step:.3f} "
                "between two neighbouring greys"
            )
            problems.append(
                Problem(
                    slug="colour-no-red-signal" if channel == 0 else "colour-no-signal",
                    severity="error",
                    place=f"{name} channel",
                    message=f"no {name} signal: {lost}",
                    fix="Scale still holds. Use a flash or lamp close by, or go shallower.",
                )
            )
        elif times > GAIN_WEAK or noise > step / 2.0:
            problems.append(
                Problem(
                    slug="colour-red-weak" if channel == 0 else "colour-channel-weak",
                    severity="warning",
                    place=f"{name} channel",
                    message=f"{name} is weak: gain {times:.1f} times that of the strongest "
                    f"channel, noise after gain {noise:.3f} where neighbouring greys are "
                    f"{step:.3f} apart",
                    fix="Colours are given with a wider doubt.",
                )
            )
    return problems


def check_ramp(signal: GreySignal) -> list[Problem]:
    """
    Check that a lighter grey is lighter in every channel, the gradient taken out.

    Parameters
    ----------
    signal : GreySignal

    Returns
    -------
    list of Problem
        ``colour-ramp-not-monotone`` (an error), once, naming the pair that is worst out of order.
    """
    lightness = np.array([p.lab_d65[0] for p in signal.patches])
    seen = signal.mean_linear / signal.light[:, None]
    worst: tuple[float, str] = (0.0, "")
    for i in range(len(lightness)):
        for j in range(len(lightness)):
            if lightness[i] < lightness[j] + 3.0:
                continue
            slack = 0.04 * seen[j] + 4.0 * np.hypot(signal.noise_linear[i], signal.noise_linear[j])
            out = (seen[j] - seen[i] - slack - 0.002) / np.maximum(seen[j], 1e-6)
            channel = int(np.argmax(out))
            if out[channel] > worst[0]:
                first, second = signal.patches[i], signal.patches[j]
                worst = (
                    float(out[channel]),
                    f"{first.patch_id} (L* {lightness[i]:.0f}) is darker than {second.patch_id} "
                    f"(L* {lightness[j]:.0f}) in {_CHANNELS[channel]}: {seen[i][channel]:.3f} "
                    f"against {seen[j][channel]:.3f}",
                )
    if not worst[1]:
        return []
    return [
        Problem(
            slug="colour-ramp-not-monotone",
            severity="error",
            place="greys",
            message=f"the greys are out of order: {worst[1]}",
            fix="Look for shade, a finger, dirt or glare on the card, or the wrong card file.",
        )
    ]


def check_twins(signal: GreySignal) -> list[Problem]:
    """
    Check that the two copies of one grey agree once the gradient is taken out.

    Parameters
    ----------
    signal : GreySignal

    Returns
    -------
    list of Problem
        ``colour-twins-differ`` (an error) for each pair more than 5.5 units of Lab apart.
    """
    row = {patch.patch_id: i for i, patch in enumerate(signal.patches)}
    problems = []
    for patch_id, i in row.items():
        j = row.get(signal.patches[i].twin_of)
        if j is None or j <= i:
            continue
        apart = float(np.linalg.norm(signal.lab[i] - signal.lab[j]))
        if apart > TWIN_DIFFERENCE_MOST:
            problems.append(
                Problem(
                    slug="colour-twins-differ",
                    severity="error",
                    place=f"{patch_id}, {signal.patches[j].patch_id}",
                    message=f"two copies of one grey differ by {apart:.1f} in Lab beyond the light "
                    f"gradient ({TWIN_DIFFERENCE_MOST:.1f} at most)",
                    fix="Look for shade, dirt or glare on one of them.",
                )
            )
    return problems


def check_expected(off_card_de00_p95: float, *, is_borrowed: bool = False) -> list[Problem]:
    """
    Check that the expected difference off the card still names a colour.

    Parameters
    ----------
    off_card_de00_p95 : float
        Expected 95th percentile of CIEDE2000 of things that are not on the card.
    is_borrowed : bool
        The colours are those of another photo's card: there is no scale that could still hold.

    Returns
    -------
    list of Problem
        An error: ``colour-looking-only`` above 12 CIEDE2000 (a corrected picture is worth looking
        at, but no colour is to be measured in it), ``colour-too-uncertain`` above 25.

    Notes
    -----
    Corrected colours serve to judge paling and bleaching. Brown tissue with a fifth of its pigment
    left, the most that bleached corals commonly keep, is 11, 16, 17 and 21 from the same tissue
    with all of it (medians of four families of simulated tissue, ``tools/spectral_paling.py``),
    16 in the mean. Errors in the plane of two colours whose size has its 95th percentile at D
    spread by D / sqrt(2 ln 20) in any one direction, so half of a step of 16 is passed in 1 of
    20 where D is 12. Half of the pigment is 5 to 11 away: to see paling the photo must be better
    than most, and its own figure says whether it is. From 25 on the median difference is 0.7 to
    0.9 of what one gain on the mid grey leaves. Neither is asked of fits that rest on greys
    alone, a supported lesser way whose values are flagged.

    Examples
    --------
    >>> [p.slug for p in (*check_expected(8.0), *check_expected(14.0), *check_expected(31.0))]
    ['colour-looking-only', 'colour-too-uncertain']
    """
    if off_card_de00_p95 <= DE00_P95_FIT:
        return []
    of_own = (
        "Do not judge paling by this photo's colours; scale still holds. Use a flash or lamp close "
        "by, go shallower or nearer, and fix the white balance.",
        "Scale still holds. Use a flash or lamp close by, go shallower or nearer, and fix the "
        "white balance.",
    )
    of_loan = (
        "Do not judge paling by this photo's colours. Keep a card in every frame where colour or "
        "size matters."
    )
    if off_card_de00_p95 <= DE00_P95_SHOWN:
        return [
            Problem(
                slug=LOOKING_ONLY,
                severity="error",
                place="colours off the card",
                message=f"corrected for looking only: things that are not on the card may come out "
                f"{off_card_de00_p95:.1f} CIEDE2000 off ({DE00_P95_FIT:.0f} at most to measure "
                "colours), so a bleached coral may read as a normal one",
                fix=of_loan if is_borrowed else of_own[0],
            )
        ]
    return [
        Problem(
            slug="colour-too-uncertain",
            severity="error",
            place="colours off the card",
            message=f"things that are not on the card may come out {off_card_de00_p95:.1f} "
            f"CIEDE2000 off ({DE00_P95_SHOWN:.0f} at most), where one colour reads as another",
            fix=of_loan if is_borrowed else of_own[1],
        )
    ]
