"""Points of one photo are alike: intra-unit correlation, design effect, beta-binomial fit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, expit, gammaln, logit, stdtrit

FloatArray = NDArray[np.float64]

_RHO_LEAST = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Clustering:
    """
    How alike the points of one unit are.

    Parameters
    ----------
    rho : float
        Intra-unit correlation (analysis of variance); may come out below 0. NaN with one point a
        unit, which says nothing of it.
    design_effect : float
        Variance of the share over that of independent points.
    effective_points : float
        Independent points that would leave the same doubt.
    u : float
        Standard error of the share, units as clusters.
    u_binomial : float
        The same if points were independent.
    """

    rho: float
    design_effect: float
    effective_points: float
    u: float
    u_binomial: float


def measure_clustering(hits: ArrayLike, points: ArrayLike) -> Clustering:
    r"""
    Measure how alike the points of one unit are.

    Parameters
    ----------
    hits, points : array_like of int, shape (n,)
        Of each unit (or photo); `points` above 0; not all hits, not none.

    Returns
    -------
    Clustering

    Raises
    ------
    ValueError
        With fewer than two units, one without a point, or when nothing or everything was hit.

    Notes
    -----
    Ratio estimator's variance
    :math:`\sum (x_i - r N_i)^2 / (n (n-1) \bar N^2)` [1]_; :math:`\rho` by analysis of variance of
    0 and 1 with clusters of unequal size [2]_. Both vary much under ten units.

    References
    ----------
    .. [1] Cochran, W.G. (1977). Sampling Techniques, 3rd ed., section 3.12, equation (3.34).
    .. [2] Ridout, M.S., Demétrio, C.G.B. & Firth, D. (1999). Biometrics 55, 137-148.

    Examples
    --------
    >>> found = measure_clustering([12, 3, 8, 20, 5], [25, 25, 25, 25, 25])
    >>> print(f"{found.rho:.2f} {found.design_effect:.1f}")
    0.26 7.7
    """
    x, big = (np.asarray(a, dtype=np.float64) for a in (hits, points))
    n, total = len(x), big.sum()
    if n < 2 or not 0 < x.sum() < total or not (big > 0).all():
        raise ValueError("expected two units or more with some points hit and some not")
    share = x.sum() / total
    u = math.sqrt(((x - share * big) ** 2).sum() / (n - 1) / n) / big.mean()
    u_binomial = math.sqrt(share * (1 - share) / total)
    between = (big * (x / big - share) ** 2).sum() / (n - 1)
    within = (x * (1 - x / big)).sum() / (total - n) if total > n else math.nan
    size = (total - (big**2).sum() / total) / (n - 1)
    effect = (u / u_binomial) ** 2
    return Clustering(
        rho=float((between - within) / (between + (size - 1) * within)),
        design_effect=float(effect),
        effective_points=float(total / effect) if effect > 0 else math.inf,
        u=u,
        u_binomial=u_binomial,
    )


def design_effect(points_per_unit: float, rho: float) -> float:
    r"""
    Return by how much clustered points inflate a variance.

    Parameters
    ----------
    points_per_unit, rho : float

    Returns
    -------
    float

    Notes
    -----
    :math:`1 + (N - 1)\rho` [1]_.

    References
    ----------
    .. [1] Kish, L. (1965). Survey Sampling. Wiley.

    Examples
    --------
    >>> print(f"{design_effect(25, 0.1):.1f}")
    3.4
    """
    return 1.0 + (points_per_unit - 1.0) * rho


def beta_binomial_log_p(
    hits: ArrayLike, points: ArrayLike, mean: ArrayLike, rho: ArrayLike
) -> FloatArray:
    r"""
    Return log chances under the beta-binomial distribution.

    Parameters
    ----------
    hits, points : array_like of int
    mean, rho : array_like of float
        Between 0 and 1, both ends excluded.

    Returns
    -------
    ndarray of float

    Notes
    -----
    Beta distribution of unit means with :math:`a + b = 1/\rho - 1`, :math:`a = m(a + b)` [1]_.

    References
    ----------
    .. [1] Skellam, J.G. (1948). J. R. Stat. Soc. B 10, 257-261.

    Examples
    --------
    >>> print(f"{np.exp(beta_binomial_log_p(0, 50, 0.25, 1 / 9)):.5f}")
    0.01316
    """
    x, n, m, r = (np.asarray(a, dtype=np.float64) for a in (hits, points, mean, rho))
    both = 1.0 / r - 1.0
    a, b = m * both, (1.0 - m) * both
    ways = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    return np.asarray(ways + betaln(x + a, n - x + b) - betaln(a, b))


@dataclass(frozen=True, slots=True, kw_only=True)
class BetaBinomialFit:
    """
    Mean fraction of units from a beta-binomial fit.

    Parameters
    ----------
    mean, lo95, hi95 : float
    rho : float
        Intra-unit correlation fitted.
    """

    mean: float
    lo95: float
    hi95: float
    rho: float


def fit_beta_binomial(hits: ArrayLike, points: ArrayLike) -> BetaBinomialFit:
    r"""
    Fit a beta-binomial distribution to units, with the profile interval of its mean.

    Parameters
    ----------
    hits, points : array_like of int, shape (n,)
        Of each unit; not all hits, not none.

    Returns
    -------
    BetaBinomialFit

    Raises
    ------
    ValueError
        With fewer than two units, or when nothing or everything was hit.

    Notes
    -----
    Maximum likelihood; the interval holds the means whose profile log likelihood is within
    :math:`t^2_{n-1,\,0.975}/2` of the highest: the usual one of chi squared reads short in small
    samples. Assumes that unit means follow a beta distribution. Units with more points count for
    more. Under eight units the fit of :math:`\rho` is too loose to be used.

    References
    ----------
    .. [1] Skellam, J.G. (1948). J. R. Stat. Soc. B 10, 257-261.
    .. [2] Venzon, D.J. & Moolgavkar, S.H. (1988). Appl. Stat. 37, 87-94 (profile intervals).

    Examples
    --------
    >>> fit = fit_beta_binomial([1, 0, 4, 0, 2, 9, 0, 3], [50] * 8)
    >>> print(f"{fit.mean:.3f} ({fit.lo95:.3f} to {fit.hi95:.3f})")
    0.047 (0.014 to 0.189)
    """
    from scipy.optimize import brentq, minimize_scalar

    x, big = (np.asarray(a, dtype=np.float64) for a in (hits, points))
    if len(x) < 2 or not 0 < x.sum() < big.sum():
        raise ValueError("expected two units or more with some points hit and some not")
    bounds = (float(logit(_RHO_LEAST)), float(logit(0.95)))

    def profile(at: float) -> tuple[float, float]:
        """Return the lowest minus log likelihood at this logit of the mean, and its rho."""
        best = minimize_scalar(
            lambda r: -beta_binomial_log_p(x, big, expit(at), expit(r)).sum(),
            bounds=bounds,
            method="bounded",
            options={"xatol": 1e-4},
        )
        return float(best.fun), float(expit(best.x))

    # the best mean lies near that of all points or that of units, or between them
    near = logit([x.sum() / big.sum(), float(np.mean(x / big))])
    grid = np.linspace(near.min() - 3, near.max() + 3, 13 + 2 * int(np.ptp(near)))
    best = int(np.argmin([profile(float(at))[0] for at in grid]))
    top = minimize_scalar(
        lambda at: profile(at)[0],
        bounds=(grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]),
        method="bounded",
    )
    peak, least = float(top.x), float(top.fun)
    allowed = float(stdtrit(len(x) - 1, 0.975)) ** 2 / 2.0

    def end(step: float) -> float:
        """Walk out until the profile has fallen far enough, then close in."""
        inner, outer = peak, peak + step
        while profile(outer)[0] - least < allowed and abs(outer) < 30.0:
            inner, outer = outer, outer + step
        if abs(outer) >= 30.0:
            return outer
        return float(brentq(lambda at: profile(at)[0] - least - allowed, inner, outer, xtol=1e-5))

    return BetaBinomialFit(
        mean=float(expit(peak)),
        lo95=float(expit(end(-0.5))),
        hi95=float(expit(end(0.5))),
        rho=profile(peak)[1],
    )
