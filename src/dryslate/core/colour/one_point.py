"""One-point correction: a white or mid-grey point picked by hand, a supported, lesser way."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dryslate.base.problems import Problem, has_error
from dryslate.base.quality import Flag
from dryslate.core.colour.correction import Correction
from dryslate.core.colour.mismatch import MismatchTable, mismatch_of
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.signal import GAIN_MOST, GAIN_WEAK

FloatArray = NDArray[np.float64]

REFLECTANCE = {"white": 0.90, "grey": 0.18}
"""What a white or mid-grey point is taken to reflect (common practice)."""
_REFLECTANCE_U_FRAC = 0.10
_NEUTRAL_U_FRAC = 0.02
_STEP = 0.10


def fit_one_point(
    mean_linear: FloatArray,
    what: Literal["white", "grey"],
    cov_linear: FloatArray,
    n_px: int,
    to_srgb: FloatArray,
    mismatch_table: MismatchTable | None = None,
) -> ColourFit:
    """
    Correct from one picked white or mid-grey point.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        Mean of the point's pixels in file-linear light.
    what : {"white", "grey"}
        What the point is: a white (taken as 90 %) or a mid grey (taken as 18 %).
    cov_linear : ndarray of float, shape (3, 3)
        Covariance of one pixel.
    n_px : int
        Pixels of the point.
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.
    mismatch_table : MismatchTable, optional
        None: a wide fallback.

    Returns
    -------
    ColourFit
        Refused with ``colour-no-red-signal`` or ``colour-no-signal`` where a channel's gain is over
        16 times the strongest, ``colour-point-clipped`` where the point is at the end of its range,
        ``colour-point-uneven`` where its pixels differ by more than a tenth of white.

    Raises
    ------
    ValueError
        If `what` is neither "white" nor "grey".

    Notes
    -----
    The veil stays in and dark things keep its colour. What the point really reflects is not
    known: lightness is uncertain by 10 % and neutrality by 2 % of reflectance (judgement).

    Examples
    --------
    >>> point = fit_one_point(
    ...     np.array([0.09, 0.36, 0.36]), "grey", np.eye(3) * 1e-6, 100, np.eye(3)
    ... )
    >>> print(point.gain)
    [2.  0.5 0.5]
    """
    if what not in REFLECTANCE:
        raise ValueError(f'what must be "white" or "grey", got {what!r}')
    seen = np.asarray(mean_linear, dtype=np.float64)
    gain = REFLECTANCE[what] / np.maximum(seen, 1e-6)
    noise = np.sqrt(np.maximum(np.diagonal(cov_linear), 0.0)) * gain
    problems = _check_point(seen, gain, noise)
    relative = np.diagonal(cov_linear) / max(n_px, 1) / np.maximum(seen, 1e-6) ** 2
    gain_cov = np.diag(gain**2 * (relative + _NEUTRAL_U_FRAC**2))
    gain_cov = gain_cov + np.outer(gain, gain) * _REFLECTANCE_U_FRAC**2
    covariance = np.zeros((16, 16))
    by_gain = np.zeros((9, 3))
    for channel in range(3):
        by_gain[channel::3, channel] = to_srgb[:, channel]
    covariance[:9, :9] = by_gain @ gain_cov @ by_gain.T
    mismatch = mismatch_of("one_point", None, mismatch_table, greys_only=False)
    weak = any(p.slug == "colour-red-weak" for p in problems)
    return ColourFit(
        usable=not has_error(problems),
        fit="one_point",
        correction=Correction(
            fit="one_point", tone=(0.0, 0.0), veil=np.zeros(3), matrix=to_srgb * gain
        ),
        gain=gain,
        noise_after_gain=noise,
        veil=np.zeros(3),
        left_out_de00_median=None,
        left_out_de00_p95=None,
        off_card_de00_p95=mismatch.de00_p95,
        n_patches=1,
        covariance=covariance,
        mismatch=mismatch,
        common_u=np.zeros(3),
        problems=tuple(problems),
        flags=(Flag.ONE_POINT, Flag.RED_WEAK) if weak else (Flag.ONE_POINT,),
    )


def _check_point(seen: FloatArray, gain: FloatArray, noise: FloatArray) -> list[Problem]:
    """Signal and clipping of the picked point."""
    problems = []
    ratio = gain / gain.min()
    if seen.max() > 0.985:
        problems.append(
            Problem(
                slug="colour-point-clipped",
                severity="error",
                place="picked point",
                message=f"the picked point is overexposed: {seen.max():.3f} of the full range",
                fix="Pick a point that is not blown out.",
            )
        )
    for channel, name in enumerate(("red", "green", "blue")):
        times = float(ratio[channel])
        if times <= GAIN_WEAK and noise[channel] > _STEP / 2.0:
            continue  # light enough: the spot itself is uneven
        if times > GAIN_MOST or noise[channel] > _STEP:
            problems.append(
                Problem(
                    slug="colour-no-red-signal" if channel == 0 else "colour-no-signal",
                    severity="error",
                    place="picked point",
                    message=f"no {name} signal: its gain is {times:.0f} times that of the "
                    f"strongest channel (16 at most), its noise after gain {noise[channel]:.3f} "
                    f"({_STEP:.2f} at most)",
                    fix="Use a flash or lamp close by, or go shallower.",
                )
            )
        elif times > GAIN_WEAK or noise[channel] > _STEP / 2.0:
            problems.append(
                Problem(
                    slug="colour-red-weak" if channel == 0 else "colour-channel-weak",
                    severity="warning",
                    place="picked point",
                    message=f"{name} is weak: gain {times:.1f} times that of the strongest channel",
                    fix="Colours are given with a wider doubt.",
                )
            )
    return problems + _check_even(ratio, noise)


def _check_even(ratio: FloatArray, noise: FloatArray) -> list[Problem]:
    """Whether the pixels of the picked point are alike, in channels with light enough."""
    spread = float(np.where(ratio <= GAIN_WEAK, noise, 0.0).max())
    if spread <= _STEP / 2.0:
        return []
    return [
        Problem(
            slug="colour-point-uneven",
            severity="error" if spread > _STEP else "warning",
            place="picked point",
            message=f"the picked point is not even: its pixels differ by {spread:.3f} of white "
            f"({_STEP:.2f} at most)",
            fix="Pick a brighter spot of one colour, away from edges and texture.",
        )
    ]
