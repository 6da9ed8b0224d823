"""Units as points in a plane: principal coordinates, and non-metric scaling by ranks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.quality import Flag
from dryslate.core.survey.dissimilarity import require_dissimilarities

FloatArray = NDArray[np.float64]
STRESS_HIGH = 0.2
"""Stress over which a plane says little (Clarke 1993)."""
N_STARTS = 40
_SAME = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrincipalCoordinates:
    """
    Units placed by principal coordinates.

    Parameters
    ----------
    xy : ndarray of float, shape (units, axes)
        Axes with an eigenvalue over 0, the largest first.
    eigenvalues : ndarray of float, shape (units,)
        All of them, the largest first; negative ones are the part that no real axis can show.
    imaginary : ndarray of float, shape (units, axes)
        Coordinates on the axes of negative eigenvalues, for distances to centroids.
    """

    xy: FloatArray
    eigenvalues: FloatArray
    imaginary: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ordination:
    """
    Units placed so that distances follow the ranks of their dissimilarities.

    Parameters
    ----------
    xy : ndarray of float, shape (units, axes)
        Centred, turned to their principal axes; scale and direction have no meaning.
    stress : float
        Kruskal's stress, formula 1.
    n_starts : int
    n_reached : int
        Starts that ended within 0.0001 of the least stress.
    flags : tuple of Flag
        ``stress_high`` over 0.2; ``ordination_not_repeated`` where one start alone got there.
    """

    xy: FloatArray
    stress: float
    n_starts: int
    n_reached: int
    flags: tuple[Flag, ...]


def fit_principal_coordinates(dissimilarities: ArrayLike) -> PrincipalCoordinates:
    r"""
    Place units by principal coordinates.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)

    Returns
    -------
    PrincipalCoordinates

    Notes
    -----
    Eigenvectors of :math:`-\tfrac12 J D^2 J` times the root of their eigenvalues [1]_. Bray-Curtis
    is not a straight distance: some eigenvalues are negative and are given as they are, without a
    correction.

    References
    ----------
    .. [1] Gower, J.C. (1966). Biometrika 53, 325-338.

    Examples
    --------
    >>> found = fit_principal_coordinates([[0, 3, 4], [3, 0, 5], [4, 5, 0]])
    >>> print(f"{abs(found.xy[1] - found.xy[2]).max():.2f} {found.eigenvalues[0]:.2f}")
    4.96 12.96
    """
    gower = gower_centred(require_dissimilarities(dissimilarities))
    values, vectors = np.linalg.eigh(gower)
    values, vectors = values[::-1], vectors[:, ::-1]
    vectors = vectors * np.where(
        vectors[np.abs(vectors).argmax(axis=0), range(len(values))] < 0, -1, 1
    )
    tiny = 1e-10 * max(float(np.abs(values).max()), 1e-300)
    up, down = values > tiny, values < -tiny
    return PrincipalCoordinates(
        xy=vectors[:, up] * np.sqrt(values[up]),
        eigenvalues=values,
        imaginary=vectors[:, down] * np.sqrt(-values[down]),
    )


def gower_centred(dissimilarities: FloatArray) -> FloatArray:
    """
    Return minus half the squares, centred by rows and columns (Gower 1966).

    Parameters
    ----------
    dissimilarities : ndarray of float, shape (units, units)

    Returns
    -------
    ndarray of float

    Examples
    --------
    >>> gower_centred(np.array([[0.0, 2.0], [2.0, 0.0]]))
    array([[ 1., -1.],
           [-1.,  1.]])
    """
    half = -0.5 * dissimilarities**2
    rows = half.mean(axis=1)
    return np.asarray(half - rows[:, None] - rows[None, :] + half.mean())


def measure_stress(xy: ArrayLike, dissimilarities: ArrayLike) -> float:
    r"""
    Return Kruskal's stress, formula 1, of units as they are placed.

    Parameters
    ----------
    xy : array_like of float, shape (units, axes)
    dissimilarities : array_like of float, shape (units, units)

    Returns
    -------
    float
        0 where the distances keep the ranks of the dissimilarities.

    Notes
    -----
    :math:`\sqrt{\sum (d - \hat d)^2 / \sum d^2}` with :math:`\hat d` the best values that rise with
    the dissimilarities; equal dissimilarities may have unequal distances (the primary treatment of
    ties) [1]_.

    References
    ----------
    .. [1] Kruskal, J.B. (1964). Psychometrika 29, 1-27 and 115-129.

    Examples
    --------
    >>> measure_stress([[0.0], [1.0], [3.0]], [[0, 1, 5], [1, 0, 2], [5, 2, 0]])
    0.0
    """
    return _Ranked(require_dissimilarities(dissimilarities)).stress(
        np.asarray(xy, dtype=np.float64)
    )


def fit_ordination(
    dissimilarities: ArrayLike,
    rng: np.random.Generator,
    n_axes: int = 2,
    n_starts: int = N_STARTS,
) -> Ordination:
    r"""
    Place units so that the ranks of their distances follow those of their dissimilarities.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)
        Of three or more units.
    rng : numpy.random.Generator
        For the random starts; same seed, same points.
    n_axes, n_starts : int
        The first start is from the principal coordinates.

    Returns
    -------
    Ordination

    Raises
    ------
    ValueError
        If there are too few units for so many axes.

    Notes
    -----
    Stress is brought down from each start by a quasi-Newton search (L-BFGS) with the slope of
    Kruskal 1964; the best end is kept. It is a search: a lower stress can exist. Over 0.2 the plane
    is hardly better than one placed at random and is not to be read into [1]_. Stress rises with
    the number of units, and falls to 0 by itself with very few.

    References
    ----------
    .. [1] Clarke, K.R. (1993). Aust. J. Ecol. 18, 117-143.

    Examples
    --------
    >>> on_line = np.abs(np.subtract.outer([0.0, 1.0, 3.0, 7.0], [0.0, 1.0, 3.0, 7.0]))
    >>> fit_ordination(on_line, np.random.default_rng(1), n_starts=3).stress < 0.01
    True
    """
    from scipy.optimize import minimize

    table = require_dissimilarities(dissimilarities)
    n = len(table)
    if n < n_axes + 1:
        raise ValueError(f"expected more than {n_axes} units for {n_axes} axes, got {n}")
    if not table.any():
        return Ordination(xy=np.zeros((n, n_axes)), stress=0.0, n_starts=0, n_reached=0, flags=())
    ranked = _Ranked(table)
    first = fit_principal_coordinates(table).xy[:, :n_axes]
    scale = max(float(np.std(first)), 1e-6)
    starts = [np.pad(first, ((0, 0), (0, n_axes - first.shape[1])))]
    starts += [rng.normal(scale=scale, size=(n, n_axes)) for _ in range(n_starts - 1)]
    ends: list[tuple[float, FloatArray]] = []
    for start in starts:
        found = minimize(
            ranked.stress_and_slope, start.ravel() / scale, jac=True, method="L-BFGS-B",
            options={"maxiter": 500, "ftol": 1e-9, "gtol": 1e-7},
        )  # fmt: skip
        ends.append((float(found.fun), found.x.reshape(n, n_axes)))
    stress, best = min(ends, key=lambda end: end[0])
    n_reached = sum(end[0] <= stress + _SAME for end in ends)
    flags: tuple[Flag, ...] = (Flag.STRESS_HIGH,) if stress > STRESS_HIGH else ()
    if n_reached < 2 and n_starts > 1:
        flags += (Flag.ORDINATION_NOT_REPEATED,)
    return Ordination(
        xy=_turned(best), stress=stress, n_starts=n_starts, n_reached=n_reached, flags=flags
    )


def _turned(xy: FloatArray) -> FloatArray:
    """Centre, turn to principal axes, scale to a root mean square distance of 1 from the middle."""
    centred = xy - xy.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    turned = centred @ axes.T
    turned = turned * np.where(
        turned[np.abs(turned).argmax(axis=0), range(turned.shape[1])] < 0, -1, 1
    )
    size = float(np.sqrt((turned**2).sum(axis=1).mean()))
    return np.asarray(turned / size if size > 0 else turned)


class _Ranked:
    """Dissimilarities in order, and the stress of points against them."""

    def __init__(self, table: FloatArray) -> None:
        self.n = len(table)
        self.i, self.j = np.triu_indices(self.n, 1)
        self.diss = np.round(table[self.i, self.j], 12)

    def distances(self, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return differences and distances of all pairs."""
        apart = xy[self.i] - xy[self.j]
        return apart, np.sqrt((apart**2).sum(axis=1))

    def fitted(self, d: FloatArray) -> FloatArray:
        """Return the best rising values (monotone regression, ties broken by distance)."""
        from scipy.optimize import isotonic_regression

        order = np.lexsort((d, self.diss))
        hat = np.empty_like(d)
        hat[order] = isotonic_regression(d[order]).x
        return hat

    def stress(self, xy: FloatArray) -> float:
        """Return the stress of points."""
        _, d = self.distances(xy)
        total = float((d**2).sum())
        return float(np.sqrt(((d - self.fitted(d)) ** 2).sum() / total)) if total > 0 else 1.0

    def stress_and_slope(self, flat: FloatArray) -> tuple[float, FloatArray]:
        """Return stress and its slope (Kruskal 1964)."""
        xy = flat.reshape(self.n, -1)
        apart, d = self.distances(xy)
        away = d - self.fitted(d)
        total, off = float((d**2).sum()), float((away**2).sum())
        if total <= 0 or off <= 1e-24 * total:
            return 0.0 if total > 0 else 1.0, np.zeros_like(flat)
        stress = float(np.sqrt(off / total))
        by_d = stress * (away / off - d / total)
        pull = apart * (by_d / np.maximum(d, 1e-12))[:, None]
        slope = np.zeros_like(xy)
        np.add.at(slope, self.i, pull)
        np.add.at(slope, self.j, -pull)
        return stress, slope.ravel()
