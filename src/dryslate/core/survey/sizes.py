"""Sizes of colonies nested in units: weights of unequal chances, moments."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.base.quality import Flag
from dryslate.core.survey.estimate import Estimate
from dryslate.core.survey.resampling import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColonySizes:
    """
    Sizes of colonies with the unit each was found in.

    Parameters
    ----------
    size_cm : ndarray of float, shape (n,)
    weight : ndarray of float, shape (n,)
        In proportion to one over the colony's chance of having been met.
    unit : ndarray of int, shape (n,)
    n_units : int
        Units searched, those without colonies too.
    cut_off_cm : float
    n_below_cut_off : int
    """

    size_cm: FloatArray
    weight: FloatArray
    unit: NDArray[np.intp]
    n_units: int
    cut_off_cm: float
    n_below_cut_off: int

    @property
    def is_weighted(self) -> bool:
        """Whether colonies had unequal chances."""
        return bool(len(self.weight)) and not np.allclose(self.weight, self.weight[0])

    def unit_sums(self, values: ArrayLike) -> FloatArray:
        """Return the weighted sum of a colony's value for each unit, shape (n_units,)."""
        weighed = self.weight * np.asarray(values, dtype=np.float64)
        sums = np.bincount(self.unit, weighed, minlength=self.n_units)
        return np.asarray(sums, dtype=np.float64)


_OF_COVERAGE = {Flag.COVERAGE_LOW, Flag.COVERAGE_HIGH, Flag.COVERAGE_NOT_SIMULATED}


def flag_weighted(found: Estimate, *groups: ColonySizes) -> Estimate:
    """
    Flag an interval of weighted sizes that no simulation covers.

    Parameters
    ----------
    found : Estimate
    *groups : ColonySizes
        What it is of.

    Returns
    -------
    Estimate
        With ``coverage_not_simulated`` where it has an interval, colonies of a group were weighed,
        and nothing is said of its coverage yet.
    """
    has_interval = found.lo95 is not None and found.hi95 is not None
    if not has_interval or not any(one.is_weighted for one in groups):
        return found
    if _OF_COVERAGE & set(found.flags):
        return found
    return replace(found, flags=(*found.flags, Flag.COVERAGE_NOT_SIMULATED))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """
    Moments of values.

    Parameters
    ----------
    mean, sd : float
    skewness_g1, skewness : float
        Plain, and corrected for small samples (G1).
    kurtosis_g2, kurtosis : float
        Excess over the normal's; plain, and corrected for small samples (G2).
    """

    mean: float
    sd: float
    skewness_g1: float
    skewness: float
    kurtosis_g2: float
    kurtosis: float


def require_sizes(
    sizes_cm: Sequence[ArrayLike],
    weights: Sequence[ArrayLike] | None = None,
    *,
    cut_off_cm: float = 0.0,
) -> ColonySizes:
    """
    Gather sizes of colonies from units.

    Parameters
    ----------
    sizes_cm : sequence of array_like of float
        For each unit the sizes of its colonies; empty: none there.
    weights : sequence of array_like of float or None
        As `line_weights` or `point_weights` give; None: every colony had the same chance.
    cut_off_cm : float
        Smaller colonies are left out, and counted.

    Returns
    -------
    ColonySizes

    Raises
    ------
    InputError
        ``survey-value-impossible`` for a size or weight of zero or less, or that is no number.

    Examples
    --------
    >>> require_sizes([[3, 8], [], [12.5]], cut_off_cm=5).n_below_cut_off
    1
    """
    per_unit = [np.asarray(s, dtype=np.float64).reshape(-1) for s in sizes_cm]
    size = np.concatenate([*per_unit, np.empty(0)])
    unit = np.repeat(np.arange(len(per_unit)), [len(s) for s in per_unit])
    weight = np.ones_like(size)
    if weights is not None:
        given = [np.asarray(w, dtype=np.float64).reshape(-1) for w in weights]
        if [len(w) for w in given] != [len(s) for s in per_unit]:
            raise ValueError("expected one weight for each size of each unit")
        weight = np.concatenate([*given, np.empty(0)])
    bad = ~((size > 0) & (weight > 0) & np.isfinite(size) & np.isfinite(weight))
    if bad.any():
        at = int(np.argmax(bad))
        where, found, drawn = unit[at] + 1, size[at], weight[at]
        raise InputError(
            "survey-value-impossible",
            f"Unit {where}: a colony of {found:g} cm (weight {drawn:g}) is not possible.",
            "Correct its size, or leave the colony out of the sizes.",
        )
    keep = size >= cut_off_cm
    return ColonySizes(
        size_cm=size[keep],
        weight=weight[keep],
        unit=unit[keep],
        n_units=len(per_unit),
        cut_off_cm=cut_off_cm,
        n_below_cut_off=int((~keep).sum()),
    )


def line_weights(widths_cm: Sequence[ArrayLike]) -> list[FloatArray]:
    r"""
    Return the weights of colonies that a line crossed.

    Parameters
    ----------
    widths_cm : sequence of array_like of float
        For each line, each colony's extent at right angles to it.

    Returns
    -------
    list of ndarray of float
        :math:`1/w`.

    Notes
    -----
    The chance of being crossed is in proportion to the width [1]_. Without weights large colonies
    are too many, and the mean reads high.

    References
    ----------
    .. [1] Kaiser, L. (1983). Unbiased estimation in line-intercept sampling. Biometrics 39,
       965-976.

    Examples
    --------
    >>> line_weights([[20, 40]])[0].tolist()
    [0.05, 0.025]
    """
    return [1.0 / np.asarray(w, dtype=np.float64) for w in widths_cm]


def point_weights(
    lengths_cm: Sequence[ArrayLike], widths_cm: Sequence[ArrayLike]
) -> list[FloatArray]:
    r"""
    Return the weights of colonies that points fell on.

    Parameters
    ----------
    lengths_cm, widths_cm : sequence of array_like of float
        Longest diameter, and the one at right angles to it.

    Returns
    -------
    list of ndarray of float
        One over the area of the ellipse, :math:`4/(\pi d_1 d_2)`.

    Notes
    -----
    The chance of being hit is in proportion to the area seen from above [1]_, so that points favour
    large colonies even more than lines do. A colony hit by several points is entered once for each.

    References
    ----------
    .. [1] Horvitz, D.G. & Thompson, D.J. (1952). J. Am. Stat. Assoc. 47, 663-685.

    Examples
    --------
    >>> print(f"{point_weights([[30]], [[20]])[0][0]:.6f}")
    0.002122
    """
    return [1.0 / ellipse_area_cm2(a, b) for a, b in zip(lengths_cm, widths_cm, strict=True)]


def ellipse_area_cm2(length_cm: ArrayLike, width_cm: ArrayLike) -> FloatArray:
    r"""
    Return the area of an ellipse with these diameters.

    Parameters
    ----------
    length_cm, width_cm : array_like of float

    Returns
    -------
    ndarray of float
        :math:`\pi d_1 d_2/4`.

    Notes
    -----
    Takes the outline as an ellipse: a ragged one has less area.

    Examples
    --------
    >>> print(f"{ellipse_area_cm2(30, 20):.3f}")
    471.239
    """
    return np.asarray(np.pi / 4 * np.multiply(length_cm, width_cm), dtype=np.float64)


def measure_shape(values: ArrayLike, weights: ArrayLike | None = None, n: float = 0.0) -> Shape:
    r"""
    Return mean, spread, skewness and kurtosis of values.

    Parameters
    ----------
    values : array_like of float, shape (m,)
    weights : array_like of float or None
        Frequencies, or weights.
    n : float
        Number of values for the small-sample corrections; 0: the effective number
        :math:`(\sum w)^2/\sum w^2`.

    Returns
    -------
    Shape
        NaN where there are too few values (4 for kurtosis).

    Notes
    -----
    :math:`g_1 = m_3/m_2^{3/2}`, :math:`G_1 = g_1 \sqrt{n(n-1)}/(n-2)`, :math:`g_2 = m_4/m_2^2 - 3`,
    :math:`G_2 = \frac{n-1}{(n-2)(n-3)}((n+1) g_2 + 6)` [1]_.

    References
    ----------
    .. [1] Joanes, D.N. & Gill, C.A. (1998). Comparing measures of sample skewness and kurtosis.
       The Statistician 47, 183-189.

    Examples
    --------
    >>> found = measure_shape([61, 64, 67, 70, 73], [5, 18, 42, 27, 8], n=100)
    >>> print(f"{found.mean:.2f} {found.skewness:.4f} {found.kurtosis:.4f}")
    67.45 -0.1098 -0.2091
    """
    x = np.asarray(values, dtype=np.float64)
    w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=np.float64)
    n = n or float(w.sum() ** 2 / (w**2).sum())
    mean = float((w * x).sum() / w.sum())
    m2, m3, m4 = (float((w * (x - mean) ** k).sum() / w.sum()) for k in (2, 3, 4))
    if n <= 1 or m2 <= 0:
        return Shape(mean=mean, sd=math.nan if n <= 1 else 0.0, **_NO_SHAPE)
    g1, g2 = m3 / m2**1.5, m4 / m2**2 - 3
    return Shape(
        mean=mean,
        sd=math.sqrt(m2 * n / (n - 1)),
        skewness_g1=g1,
        skewness=g1 * math.sqrt(n * (n - 1)) / (n - 2) if n > 2 else math.nan,
        kurtosis_g2=g2,
        kurtosis=(n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * g2 + 6) if n > 3 else math.nan,
    )


_NO_SHAPE = dict.fromkeys(("skewness_g1", "skewness", "kurtosis_g2", "kurtosis"), math.nan)
