"""How often a team's names hold, from the corals that a second observer looked at again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FEWEST_VERIFIED = 50
"""Under so many verified corals a team's hit rate is not stated."""
Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """
    A first name of which it is known whether it held.

    Parameters
    ----------
    is_hit : bool
    p_drawn : float
        Chance of having been drawn, above 0.
    probability : float or None
        The model's, for that name.
    """

    is_hit: bool
    p_drawn: float
    probability: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HitRate:
    """
    How often a team's names held.

    Parameters
    ----------
    n, n_hits : int
        Verified corals, and those whose first name held; plain counts.
    rate, rate_lo95, rate_hi95 : float or None
        Weighted; None under the fewest verified corals.
    n_effective : float
        Verified corals that an equal-chance sample would need for the same doubt.
    n_weighed : int
        Verified corals for which the model gave a probability.
    mean_probability : float or None
        Weighted mean of the model's probability for the same corals' first names.
    """

    n: int
    n_hits: int
    rate: float | None
    rate_lo95: float | None
    rate_hi95: float | None
    n_effective: float
    n_weighed: int
    mean_probability: float | None


def measure_hit_rate(verified: Sequence[Verified], fewest: int = FEWEST_VERIFIED) -> HitRate:
    r"""
    Estimate the share of all first names that hold, from those that were looked at again.

    Parameters
    ----------
    verified : sequence of Verified
    fewest : int
        Under so many nothing is stated.

    Returns
    -------
    HitRate

    Raises
    ------
    ValueError
        If a chance of being drawn is not in (0, 1].

    Notes
    -----
    Weights are :math:`w_i = 1 / p_i` [1]_, normed by their sum:
    :math:`\hat r = \sum w_i h_i / \sum w_i`. The interval is Wilson's score interval [2]_ with an
    effective number :math:`\tilde r (1 - \tilde r) / V` in place of `n` [3]_, where
    :math:`V = \sum w_i^2 \tilde r_s (1 - \tilde r_s) / (\sum w_i)^2` and :math:`\tilde r_s` is the
    rate of those drawn for certain, or of those drawn at random, each with one hit and one miss
    added so that a few hits in a row do not read as no doubt at all. Corals of one colony,
    visit or observer are taken as independent: where errors cluster the interval is too narrow.
    What two observers agree on, or a third settled, counts as true; both may err alike, and then
    the rate reads too high.

    References
    ----------
    .. [1] Horvitz, D.G. & Thompson, D.J. (1952). J. Am. Stat. Assoc. 47, 663-685.
    .. [2] Wilson, E.B. (1927). Probable inference, the law of succession, and statistical
       inference. J. Am. Stat. Assoc. 22, 209-212.
    .. [3] Korn, E.L. & Graubard, B.I. (1998). Confidence intervals for proportions with small
       expected number of positive counts estimated from survey data. Survey Methodology 24,
       193-201 (the idea of an effective number in an interval for plain counts; cited from memory).

    Examples
    --------
    >>> rate = measure_hit_rate([Verified(is_hit=i < 45, p_drawn=0.1) for i in range(50)])
    >>> print(f"{rate.rate:.2f} ({rate.rate_lo95:.3f} to {rate.rate_hi95:.3f})")
    0.90 (0.786 to 0.957)
    """
    if any(not 0.0 < v.p_drawn <= 1.0 for v in verified):
        raise ValueError("a verified coral must have had a chance above 0 and at most 1")
    weights = np.array([1.0 / v.p_drawn for v in verified])
    hits = np.array([float(v.is_hit) for v in verified])
    n_effective = _effective_number(weights, hits) if verified else 0.0
    weighed = [(1.0 / v.p_drawn, v.probability) for v in verified if v.probability is not None]
    total = sum(w for w, _ in weighed)
    mean = sum(w * p for w, p in weighed) / total if total else None
    rate = lo = hi = None
    if verified and len(verified) >= fewest:
        rate = float((weights * hits).sum() / weights.sum())
        lo, hi = wilson_interval(rate, n_effective)
    return HitRate(
        n=len(verified),
        n_hits=int(hits.sum()),
        rate=rate,
        rate_lo95=lo,
        rate_hi95=hi,
        n_effective=n_effective,
        n_weighed=len(weighed),
        mean_probability=mean,
    )


def _effective_number(weights: NDArray[np.float64], hits: NDArray[np.float64]) -> float:
    """How many corals of equal chance would leave the same doubt (`measure_hit_rate`, Notes)."""
    total = weights.sum()
    rate = variance = 0.0
    for part in (weights <= 1.0, weights > 1.0):
        n, w = int(part.sum()), weights[part]
        if n:
            smooth = ((w * hits[part]).sum() / w.sum() * n + 1.0) / (n + 2.0)
            rate += float(w.sum() / total * smooth)
            variance += float((w**2).sum() / total**2 * smooth * (1.0 - smooth))
    return rate * (1.0 - rate) / variance


def wilson_interval(rate: float, n: float) -> tuple[float, float]:
    r"""
    Return Wilson's 95 % score interval of a share.

    Parameters
    ----------
    rate : float
        Share found, 0 to 1.
    n : float
        Number it was found in, or effective number; above 0.

    Returns
    -------
    (float, float)

    Notes
    -----
    :math:`\frac{r + z^2 / 2n \pm z \sqrt{r(1-r)/n + z^2/4n^2}}{1 + z^2/n}` [1]_.

    References
    ----------
    .. [1] Wilson, E.B. (1927). J. Am. Stat. Assoc. 22, 209-212.

    Examples
    --------
    >>> lo, hi = wilson_interval(0.5, 10)
    >>> print(f"{lo:.4f} {hi:.4f}")
    0.2366 0.7634
    """
    share = Z95**2 / n
    middle = rate + share / 2
    half = Z95 * math.sqrt(rate * (1 - rate) / n + share / (4 * n))
    lo, hi = (middle - half) / (1 + share), (middle + half) / (1 + share)
    return max(0.0, min(lo, rate)), min(1.0, max(hi, rate))  # at 0 and 1 rounding parts them
