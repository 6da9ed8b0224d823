"""Two shares of independent colonies or points compared; for readings and repeat looks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryslate.base.errors import InputError
from dryslate.core.identify.hit_rate import wilson_interval


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedShares:
    """
    McNemar's test of two looks at the same colonies.

    Parameters
    ----------
    difference : float
        Share at the second look less that at the first.
    chi2, p : float
    chi2_corrected, p_corrected : float
        With the correction for continuity.
    """

    difference: float
    chi2: float
    p: float
    chi2_corrected: float
    p_corrected: float


def compare_shares(hits1: int, n1: int, hits2: int, n2: int) -> tuple[float, float, float]:
    r"""
    Return the difference of two shares with its 95 % interval.

    Parameters
    ----------
    hits1, n1, hits2, n2 : int

    Returns
    -------
    difference, lo95, hi95 : float
        First less second.

    Raises
    ------
    InputError
        ``survey-value-impossible``.

    Notes
    -----
    Hybrid of two score intervals [1]_: :math:`d - \sqrt{(p_1-l_1)^2 + (u_2-p_2)^2}` to
    :math:`d + \sqrt{(u_1-p_1)^2 + (p_2-l_2)^2}`. Takes colonies as independent, so it is about two
    readings: colonies of one unit are alike, and then it is too narrow.

    References
    ----------
    .. [1] Newcombe, R.G. (1998). Interval estimation for the difference between independent
       proportions: comparison of eleven methods. Stat. Med. 17, 873-890 (method 10).

    Examples
    --------
    >>> print("%.3f (%.4f to %.4f)" % compare_shares(56, 70, 48, 80))
    0.200 (0.0524 to 0.3339)
    """
    for hits, n in ((hits1, n1), (hits2, n2)):
        if not (n > 0 and 0 <= hits <= n):
            raise InputError(
                "survey-value-impossible",
                f"A share of {hits} out of {n} is not possible.",
                "Give how many showed it, and out of how many.",
            )
    p1, p2 = hits1 / n1, hits2 / n2
    (l1, u1), (l2, u2) = wilson_interval(p1, n1), wilson_interval(p2, n2)
    d = p1 - p2
    lo, hi = d - math.hypot(p1 - l1, u2 - p2), d + math.hypot(u1 - p1, p2 - l2)
    return d, max(lo, -1.0), min(hi, 1.0)


def compare_paired_shares(
    both: int, first_only: int, second_only: int, neither: int
) -> PairedShares:
    r"""
    Test whether the share changed between two looks at the same colonies.

    Parameters
    ----------
    both, first_only, second_only, neither : int
        Colonies that showed it at both looks, the first alone, the second alone, at none.

    Returns
    -------
    PairedShares

    Raises
    ------
    InputError
        ``survey-value-impossible`` if a count is negative, or no colony changed.

    Notes
    -----
    :math:`\chi^2 = (b - c)^2/(b + c)`, corrected :math:`(|b - c| - 1)^2/(b + c)` [1]_, one degree
    of freedom. Colonies are taken as independent; under about 25 that changed, the plain
    form gives p too small.

    References
    ----------
    .. [1] McNemar, Q. (1947). Psychometrika 12, 153-157.

    Examples
    --------
    >>> print(f"{compare_paired_shares(794, 150, 86, 570).chi2:.2f}")
    17.36
    """
    changed = first_only + second_only
    if min(both, first_only, second_only, neither) < 0 or changed == 0:
        raise InputError(
            "survey-value-impossible",
            f"With {first_only} and {second_only} colonies that changed there is nothing to test.",
            "Counts of colonies are 0 or more, and at least one must have changed.",
        )
    gap = abs(first_only - second_only)
    chi2, corrected = gap**2 / changed, max(gap - 1, 0) ** 2 / changed
    return PairedShares(
        difference=(second_only - first_only) / (both + changed + neither),
        chi2=chi2,
        p=math.erfc(math.sqrt(chi2 / 2)),
        chi2_corrected=corrected,
        p_corrected=math.erfc(math.sqrt(corrected / 2)),
    )
