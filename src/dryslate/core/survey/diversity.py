"""Diversity of what was found: the sample, its indices, Hill numbers and coverage as observed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]
ORDERS = (0, 1, 2)


class Counted(StrEnum):
    """What the counts of a genus are counts of."""

    COLONIES = "colonies"
    UNITS = "units"
    POINTS = "points"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """
    Counts of each genus, ready for any figure of diversity.

    Parameters
    ----------
    counted : Counted
        ``colonies`` (abundance) or ``units`` (incidence).
    counts : ndarray of float
        Colonies of each genus found, or units that hold it; none is 0.
    n : int
        Colonies, or units surveyed.
    seen : ndarray of float or None, shape (units, genera)
        Of units: 1 where a unit holds a genus found.
    """

    counted: Counted
    counts: FloatArray
    n: int
    seen: FloatArray | None = None

    @property
    def total(self) -> float:
        """Sum of the counts: colonies, or genera seen summed over units."""
        return float(self.counts.sum())

    @property
    def richness(self) -> int:
        """Genera found."""
        return len(self.counts)

    def held(self, k: int) -> int:
        """
        Return how many genera have a count of k.

        Parameters
        ----------
        k : int

        Returns
        -------
        int
        """
        return int((self.counts == k).sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Indices:
    """
    What the sample itself shows; about these colonies or units, not about the reef.

    Parameters
    ----------
    n : int
    richness : int
    shannon : float
        Natural logarithm.
    gini_simpson, inverse_simpson : float
    pielou : float or None
        Shannon over log richness; None with one genus.
    fisher_alpha : float or None
        Of colonies only; None where each colony is a genus of its own, and for units.
    hill : tuple of float
        Effective numbers of genera of order 0, 1 and 2.
    estimand : str
    """

    n: int
    richness: int
    shannon: float
    gini_simpson: float
    inverse_simpson: float
    pielou: float | None
    fisher_alpha: float | None
    hill: tuple[float, float, float]
    estimand: str


def read_counts(counts: ArrayLike, counted: Counted) -> Sample:
    """
    Take counts of colonies by genus.

    Parameters
    ----------
    counts : array_like of int, shape (genera)
    counted : Counted
        What they are counts of, as the caller knows; only colonies are taken.

    Returns
    -------
    Sample

    Raises
    ------
    InputError
        ``diversity-not-from-points``, ``diversity-counts-impossible``, ``diversity-nothing-found``.

    Examples
    --------
    >>> read_counts([12, 5, 0, 1], Counted.COLONIES).richness
    3
    """
    if counted is Counted.POINTS:
        raise InputError(
            "diversity-not-from-points",
            "Points are not colonies: a large colony catches many points, and their counts say "
            "nothing of individuals.",
            "Take the units in which each genus was seen instead.",
        )
    x = _whole(counts)
    if counted is not Counted.COLONIES or x.ndim != 1:
        raise _impossible()
    return _sample(counted, x[x > 0], round(float(x.sum())), None)


def read_units(seen: ArrayLike) -> Sample:
    """
    Take which genera each unit holds.

    Parameters
    ----------
    seen : array_like, shape (units, genera)
        Above 0 where the unit holds the genus, be it a count, points or a yes. A unit in which
        nothing was found stays as a row of zeros; a blank unit is left out by the caller.

    Returns
    -------
    Sample

    Raises
    ------
    InputError
        ``diversity-counts-impossible`` or ``diversity-nothing-found``.

    Examples
    --------
    >>> read_units([[1, 0, 1], [1, 1, 0]]).counts.tolist()
    [2.0, 1.0, 1.0]
    """
    table = np.asarray(seen, dtype=np.float64)
    if table.ndim != 2 or not np.isfinite(table).all() or table.min(initial=0.0) < 0:
        raise _impossible()
    held = np.asarray(table > 0, dtype=np.float64)
    held = held[:, held.any(axis=0)]
    return _sample(Counted.UNITS, held.sum(axis=0), len(held), held)


def _sample(counted: Counted, x: FloatArray, n: int, seen: FloatArray | None) -> Sample:
    """Put a sample together, unless there is nothing in it."""
    if len(x) == 0 or n < 2:
        raise InputError(
            "diversity-nothing-found",
            "Diversity needs two colonies or two units at least, and something found in them.",
            "State that nothing was found, with how much was surveyed.",
        )
    return Sample(counted=counted, counts=x, n=n, seen=seen)


def _whole(counts: ArrayLike) -> FloatArray:
    """Return counts, refusing what cannot be one."""
    x = np.asarray(counts, dtype=np.float64)
    if not np.isfinite(x).all() or x.min(initial=0.0) < 0 or (x != np.round(x)).any():
        raise _impossible()
    return x


def _impossible() -> InputError:
    """Return the refusal of counts that cannot be."""
    return InputError(
        "diversity-counts-impossible",
        "A count of colonies or units is below 0, or not whole.",
        "Diversity of individuals needs whole counts of colonies; of units, how many units hold "
        "each genus.",
    )


def measure_indices(sample: Sample) -> Indices:
    r"""
    Return the indices of a sample as found.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    Indices

    Notes
    -----
    :math:`H = -\sum p \ln p`, :math:`1 - \sum p^2`, :math:`1/\sum p^2`, :math:`H / \ln S`, Hill
    numbers :math:`S, e^H, 1/\sum p^2` [1]_ [2]_; Fisher's alpha solves
    :math:`S = \alpha \ln(1 + N/\alpha)` [3]_. All but the last grow with effort: compare them
    at equal size or coverage only (`rarefaction`). For units p is each genus' share of all
    incidences.

    References
    ----------
    .. [1] Hill, M.O. (1973). Ecology 54, 427-432.
    .. [2] Jost, L. (2006). Oikos 113, 363-375.
    .. [3] Fisher, R.A., Corbet, A.S. & Williams, C.B. (1943). J. Anim. Ecol. 12, 42-58.

    Examples
    --------
    >>> found = measure_indices(read_counts([10, 10, 10, 10], Counted.COLONIES))
    >>> print([round(d, 6) for d in found.hill])
    [4.0, 4.0, 4.0]
    """
    p = sample.counts / sample.total
    s = sample.richness
    shannon = max(0.0, float(-(p * np.log(p)).sum()))  # of one genus 0, never -0
    squares = float((p**2).sum())
    is_units = sample.counted is Counted.UNITS
    return Indices(
        n=sample.n,
        richness=s,
        shannon=shannon,
        gini_simpson=1.0 - squares,
        inverse_simpson=1.0 / squares,
        pielou=shannon / math.log(s) if s > 1 else None,
        fisher_alpha=None if is_units else _fisher_alpha(s, sample.n),
        hill=(float(s), math.exp(shannon), 1.0 / squares),
        estimand=f"of these {sample.counted.value} as found",
    )


def _fisher_alpha(s: int, n: int) -> float | None:
    """Return Fisher's alpha."""
    if s >= n:
        return None
    from scipy.optimize import brentq

    def gap(log_alpha: float) -> float:
        alpha = math.exp(log_alpha)
        return alpha * math.log1p(n / alpha) - s

    low, high = -40.0, math.log(n) + 40.0
    return math.exp(brentq(gap, low, high, xtol=1e-14)) if gap(low) < 0 < gap(high) else None


def sample_coverage(sample: Sample) -> float:
    r"""
    Return the estimated coverage: the share of the reef's colonies (or incidences) whose genus
    was found.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    float

    Notes
    -----
    :math:`1 - \frac{f_1}{N} \frac{(n-1) f_1}{(n-1) f_1 + 2 f_2}` after Good and Turing [1]_, with
    the counts of units and their sum for incidence [2]_; with no doubletons
    :math:`(n-1)(f_1-1)/[(n-1)(f_1-1)+2]`.

    References
    ----------
    .. [1] Chao, A. & Jost, L. (2012). Ecology 93, 2533-2547, eq. 4a.
    .. [2] Chao, A. et al. (2014). Ecol. Monogr. 84, 45-67.

    Examples
    --------
    >>> print(f"{sample_coverage(read_counts([9, 4, 2, 1, 1], Counted.COLONIES)):.3f}")
    0.889
    """
    return 1.0 - sample.held(1) / sample.total * unseen_decay(sample)


def unseen_decay(sample: Sample) -> float:
    """
    Return by how much each further colony or unit shrinks the share that is still unseen.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    float
        0 where nothing is left to be found.

    Examples
    --------
    >>> unseen_decay(read_counts([9, 4, 2], Counted.COLONIES))
    0.0
    """
    f1, f2, n = sample.held(1), sample.held(2), sample.n
    up = (n - 1) * f1 if f2 else (n - 1) * (f1 - 1)
    down = up + (2 * f2 if f2 else 2)
    return up / down if f1 and up > 0 else 0.0
