"""Agreement of two observers or more on names and classes, with gaps allowed."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.survey.agreement import (
    Agreement,
    Coefficient,
    Ratings,
    make_agreement,
    nothing_to_compare,
)

FloatArray = NDArray[np.float64]


def agree(ratings: Ratings, coefficient: Coefficient) -> Agreement:
    r"""
    Return an agreement of two observers or more, with gaps allowed.

    Parameters
    ----------
    ratings : Ratings
    coefficient : Coefficient
        ``fleiss``, ``conger``, ``gwet_ac1`` or ``equal_chance``.

    Returns
    -------
    Agreement

    Raises
    ------
    InputError
        ``agreement-nothing-to-compare``, or ``agreement-table-impossible`` for another coefficient.

    Notes
    -----
    :math:`(p_a - p_e)/(1 - p_e)`, where :math:`p_a` is the mean over items with two ratings or more
    of the share of pairs of ratings that agree. With :math:`\pi_k` the mean share of category k
    over rated items, chance is :math:`\sum \pi_k^2` for Fleiss [1]_,
    :math:`\sum \pi_k (1 - \pi_k)/(q - 1)` for AC1 [2]_, :math:`1/q` where each category is as
    likely [3]_, and the mean over pairs of observers of :math:`\sum_k p_{gk} p_{hk}` for
    Conger [4]_, which is Cohen's for two observers. The variance is that of the linear part over
    items, those rated once included [2]_: :math:`u^2 = \sum L_i^2 / n(n-1)`.

    References
    ----------
    .. [1] Fleiss, J.L. (1971). Psychol. Bull. 76, 378-382.
    .. [2] Gwet, K.L. (2008). Br. J. Math. Stat. Psychol. 61, 29-48.
    .. [3] Brennan, R.L. & Prediger, D.J. (1981). Educ. Psychol. Meas. 41, 687-699.
    .. [4] Conger, A.J. (1980). Psychol. Bull. 88, 322-328.

    Examples
    --------
    >>> from dryslate.core.survey.agreement import read_ratings
    >>> rows = [["a", "a", "a"], ["a", "b", "a"], ["b", "b", None], ["a", "a", "b"]]
    >>> print(f"{agree(read_ratings(rows), Coefficient.GWET_AC1).value:.3f}")
    0.351
    """
    found = agree_counts(ratings.counts, coefficient) if coefficient in _CHANCE else None
    if found is not None:
        return found
    if coefficient is not Coefficient.CONGER:
        raise InputError(
            "agreement-table-impossible",
            f"The coefficient {coefficient.value} is not made from ratings of several observers.",
            "Take cohen_kappa for two observers, or krippendorff_alpha.",
        )
    return _conger(ratings)


def agree_counts(counts: ArrayLike, coefficient: Coefficient) -> Agreement:
    """
    Return an agreement from how many observers put each item in each category.

    Parameters
    ----------
    counts : array_like of float, shape (items, categories)
    coefficient : Coefficient
        ``fleiss``, ``gwet_ac1`` or ``equal_chance``.

    Returns
    -------
    Agreement

    Raises
    ------
    InputError
        ``agreement-table-impossible`` or ``agreement-nothing-to-compare``.

    Examples
    --------
    >>> print(f"{agree_counts([[2, 0], [1, 1], [0, 2]], Coefficient.FLEISS).value:.3f}")
    0.333
    """
    r = np.asarray(counts, dtype=np.float64)
    if r.ndim != 2 or not np.isfinite(r).all() or r.min(initial=0.0) < 0:
        raise InputError(
            "agreement-table-impossible",
            "The counts of ratings hold something below 0.",
            "Give one row an item and one column a category, with counts of 0 or more.",
        )
    rated = r.sum(axis=1) > 0
    n_blank = int((~rated).sum())
    r = r[rated]
    pairs = _pair_agreement(r)
    shares = r / r.sum(axis=1, keepdims=True)
    pi = shares.mean(axis=0)
    q = r.shape[1]
    pe, slope = _CHANCE[coefficient](pi)
    pull = (shares - pi) @ slope
    return _from_items(coefficient, pairs, pe, pull, q=q, n_blank=n_blank)


def _fleiss_chance(pi: FloatArray) -> tuple[float, FloatArray]:
    """Return chance and its slope by category shares."""
    return float((pi**2).sum()), 2.0 * pi


def _gwet_chance(pi: FloatArray) -> tuple[float, FloatArray]:
    """Return chance and its slope by category shares."""
    if len(pi) < 2:
        return 1.0, np.zeros(len(pi))
    return float((pi * (1 - pi)).sum() / (len(pi) - 1)), (1.0 - 2.0 * pi) / (len(pi) - 1)


def _equal_chance(pi: FloatArray) -> tuple[float, FloatArray]:
    """Return chance and its slope by category shares."""
    return 1.0 / len(pi), np.zeros(len(pi))


_CHANCE = {
    Coefficient.FLEISS: _fleiss_chance,
    Coefficient.GWET_AC1: _gwet_chance,
    Coefficient.EQUAL_CHANCE: _equal_chance,
}


def _pair_agreement(r: FloatArray) -> FloatArray:
    """Return the share of pairs of ratings that agree, an item each; NaN under two ratings."""
    m = r.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        pairs = (r * (r - 1)).sum(axis=1) / (m * (m - 1))
    pairs = np.where(m >= 2, pairs, np.nan)
    if not np.isfinite(pairs).any():
        raise nothing_to_compare()
    return pairs


def _from_items(
    coefficient: Coefficient,
    pairs: FloatArray,
    pe: float,
    pull: FloatArray,
    *,
    q: int,
    n_blank: int,
) -> Agreement:
    """Put a coefficient together from pair agreement and each item's pull on chance."""
    has_two = np.isfinite(pairs)
    n, n_two = len(pairs), int(has_two.sum())
    pa = float(pairs[has_two].mean())
    left_out = n - n_two + n_blank
    if 1.0 - pe < 1e-12 or n < 2:
        return make_agreement(coefficient, pa, pe, None, n=n_two, q=q, left_out=left_out)
    value = (pa - pe) / (1 - pe)
    own = np.where(has_two, np.nan_to_num(pairs) - pe, 0.0) * (n / n_two) / (1 - pe)
    linear = own - value - (1 - value) * pull / (1 - pe)
    u = math.sqrt(float((linear**2).sum()) / (n * (n - 1)))
    return make_agreement(coefficient, pa, pe, u, n=n_two, q=q, left_out=left_out)


def _conger(ratings: Ratings) -> Agreement:
    """Return Cohen's idea of chance for two observers or more."""
    hits = ratings.hits[(ratings.codes >= 0).any(axis=1)]
    pairs = _pair_agreement(hits.sum(axis=1))
    rated = hits.sum(axis=2)
    hits, rated = hits[:, rated.any(axis=0)], rated[:, rated.any(axis=0)]
    n, k = rated.shape
    shares = hits.sum(axis=0) / rated.sum(axis=0)[:, None]
    others = (shares.sum(axis=0) - shares) / (k * (k - 1))
    pe = float((shares * others).sum())
    away = (hits - rated[:, :, None] * shares) * (n / rated.sum(axis=0))[None, :, None]
    pull = 2.0 * (away * others).sum(axis=(1, 2))
    n_blank = len(ratings.codes) - n
    q = len(ratings.categories)
    return _from_items(Coefficient.CONGER, pairs, pe, pull, q=q, n_blank=n_blank)


def fleiss_by_category(counts: ArrayLike) -> FloatArray:
    r"""
    Return Fleiss' kappa of each category against all others.

    Parameters
    ----------
    counts : array_like of float, shape (items, categories)
        The same number of ratings, two or more, for each item.

    Returns
    -------
    ndarray of float, shape (categories)
        NaN for a category that nobody or everybody used throughout.

    Raises
    ------
    InputError
        ``agreement-table-impossible``.

    Notes
    -----
    :math:`\kappa_j = 1 - \sum_i n_{ij}(m - n_{ij}) / N m (m-1) p_j (1 - p_j)` [1]_.

    References
    ----------
    .. [1] Fleiss, J.L. (1971). Psychol. Bull. 76, 378-382.

    Examples
    --------
    >>> fleiss_by_category([[2, 0], [1, 1], [0, 2]]).round(3).tolist()
    [0.333, 0.333]
    """
    r, m, p = _equal_counts(counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = (r * (m - r)).sum(axis=0) / (len(r) * m * (m - 1) * p * (1 - p))
    return np.asarray(1.0 - apart)


def fleiss_null_u(counts: ArrayLike) -> float:
    r"""
    Return the standard error that Fleiss' kappa would have under chance alone.

    Parameters
    ----------
    counts : array_like of float, shape (items, categories)
        The same number of ratings, two or more, for each item.

    Returns
    -------
    float

    Raises
    ------
    InputError
        ``agreement-table-impossible``.

    Notes
    -----
    With :math:`q_j = 1 - p_j` and :math:`s = \sum p_j q_j`, :math:`\sigma_0 = \sqrt{2/(N m (m-1))}
    \sqrt{s^2 - \sum p_j q_j (q_j - p_j)} / s` [1]_; that of the paper of 1971 is wrong.

    References
    ----------
    .. [1] Fleiss, J.L., Nee, J.C.M. & Landis, J.R. (1979). Psychol. Bull. 86, 974-977.

    Examples
    --------
    >>> print(f"{fleiss_null_u([[2, 0], [1, 1], [0, 2]]):.4f}")
    0.5774
    """
    r, m, p = _equal_counts(counts)
    s = float((p * (1 - p)).sum())
    inner = s**2 - float((p * (1 - p) * (1 - 2 * p)).sum())
    return math.sqrt(2.0 * max(inner, 0.0) / (len(r) * m * (m - 1))) / s if s > 0 else math.nan


def _equal_counts(counts: ArrayLike) -> tuple[FloatArray, float, FloatArray]:
    """Return counts, ratings an item, and category shares, where each item has as many."""
    r = np.asarray(counts, dtype=np.float64)
    m = r.sum(axis=1) if r.ndim == 2 and r.size else np.zeros(1)
    if m.min() < 2 or m.min() != m.max() or r.min() < 0:
        raise InputError(
            "agreement-table-impossible",
            "These figures need the same number of ratings, two or more, for each item.",
            "Take the agreement over all categories, which allows gaps.",
        )
    return r, float(m[0]), np.asarray(r.sum(axis=0) / r.sum())
