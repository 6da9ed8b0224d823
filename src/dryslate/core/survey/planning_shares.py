"""Colonies for a share, points for a photo: plans of what is counted."""

from __future__ import annotations

import math

from scipy.special import ndtri

from dryslate.core.survey.overdispersion import design_effect
from dryslate.core.survey.planning import POWER
from dryslate.core.survey.spread import ALPHA, require_plan


def colonies_for_change(share1: float, share2: float, power: float = POWER) -> tuple[float, float]:
    r"""
    Return the colonies of each visit that a change of a share needs, were they independent.

    Parameters
    ----------
    share1, share2 : float
        Between 0 and 1.
    power : float

    Returns
    -------
    plain, corrected : float
        Without and with the correction for continuity; not rounded.

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    :math:`n = (z_{\alpha/2}\sqrt{2\bar p\bar q} + z_\beta\sqrt{p_1q_1 + p_2q_2})^2/d^2` and
    :math:`n_c = \frac n4 (1 + \sqrt{1 + 4/(n|d|)})^2` [1]_. Colonies of one unit are alike:
    multiply by `overdispersion.design_effect`.

    References
    ----------
    .. [1] Fleiss, J.L., Levin, B. & Paik, M.C. (2003). Statistical Methods for Rates and
       Proportions, 3rd ed., chapter 4.

    Examples
    --------
    >>> print("%.1f %.1f" % colonies_for_change(0.6, 0.7))
    355.9 375.7
    """
    require_plan(0 < share1 < 1 and 0 < share2 < 1 and share1 != share2 and ALPHA < power < 1)
    d, middle = abs(share1 - share2), (share1 + share2) / 2
    apart = share1 * (1 - share1) + share2 * (1 - share2)
    reach = float(ndtri(1 - ALPHA / 2)) * math.sqrt(2 * middle * (1 - middle))
    plain = (reach + float(ndtri(power)) * math.sqrt(apart)) ** 2 / d**2
    return plain, plain / 4 * (1 + math.sqrt(1 + 4 / (plain * d))) ** 2


def points_for_interval(share: float, half_width: float) -> float:
    r"""
    Return the independent points that a wished 95 % interval of a share needs.

    Parameters
    ----------
    share, half_width : float

    Returns
    -------
    float
        Not rounded.

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    :math:`z^2 p(1-p)/h^2` [1]_: about one reading, for points of a photo are alike
    (`photos_for_points`), and units differ besides (`planning.units_for_interval`).

    References
    ----------
    .. [1] Fleiss, J.L., Levin, B. & Paik, M.C. (2003). Statistical Methods for Rates and
       Proportions, 3rd ed., chapter 2.

    Examples
    --------
    >>> print(f"{points_for_interval(0.5, 0.05):.1f}")
    384.1
    """
    require_plan(0 < share < 1 and half_width > 0)
    return float(ndtri(1 - ALPHA / 2)) ** 2 * share * (1 - share) / half_width**2


def photos_for_points(points: float, points_per_photo: int, rho: float) -> tuple[float, int]:
    """
    Return the points, and the photos, that are worth so many independent points.

    Parameters
    ----------
    points : float
        Independent ones that are needed.
    points_per_photo : int
    rho : float
        Intra-photo correlation, as `overdispersion.measure_clustering` finds it; below 0: 0.

    Returns
    -------
    points : float
    photos : int

    Raises
    ------
    InputError
        ``plan-impossible``.

    Examples
    --------
    >>> photos_for_points(384.146, 25, 0.1)[1]
    53
    """
    require_plan(points > 0 and points_per_photo >= 1 and rho < 1)
    needed = points * design_effect(points_per_photo, max(rho, 0.0))
    return needed, math.ceil(needed / points_per_photo - 1e-9)


def best_points_per_photo(rho: float, cost_photo: float, cost_point: float) -> float:
    r"""
    Return the points a photo that give the narrowest interval for the work.

    Parameters
    ----------
    rho : float
        Intra-photo correlation, above 0.
    cost_photo, cost_point : float
        Minutes (or money) for one photo more, without its points, and for one point more.

    Returns
    -------
    float
        Not rounded, 1 or more.

    Raises
    ------
    InputError
        ``plan-impossible``.

    Notes
    -----
    :math:`\sqrt{(c_1/c_2)(1-\rho)/\rho}` [1]_. The optimum is flat: half as many or twice as
    many points cost little.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., section 10.6.

    Examples
    --------
    >>> print(f"{best_points_per_photo(0.1, 4.0, 0.1):.0f}")
    19
    """
    require_plan(0 < rho < 1 and cost_photo > 0 and cost_point > 0)
    return max(math.sqrt(cost_photo / cost_point * (1 - rho) / rho), 1.0)
