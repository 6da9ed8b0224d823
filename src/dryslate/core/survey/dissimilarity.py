"""How unlike units are in what they hold: a table of units and things, and its dissimilarities."""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]


class Dissimilarity(StrEnum):
    """How two units are compared."""

    BRAY_CURTIS = "bray_curtis"
    JACCARD = "jaccard"
    EUCLIDEAN = "euclidean"
    CANBERRA = "canberra"
    CHORD = "chord"

    @property
    def words(self) -> str:
        """Its name as it is written: of a person with a capital."""
        return self.value if self is Dissimilarity.CHORD else self.value.replace("_", "-").title()


class Transform(StrEnum):
    """What is done to amounts before units are compared; fixed beforehand."""

    NONE = "none"
    SQUARE_ROOT = "square_root"
    FOURTH_ROOT = "fourth_root"
    PRESENCE = "presence"

    @property
    def words(self) -> str:
        """Its name as it is written."""
        return self.value.replace("_", " ")


_POWER = {Transform.NONE: 1.0, Transform.SQUARE_ROOT: 0.5, Transform.FOURTH_ROOT: 0.25}


def require_amounts(amounts: ArrayLike) -> FloatArray:
    """
    Check a table of units and things.

    Parameters
    ----------
    amounts : array_like of float, shape (units, things)
        Cover, density or counts; none is 0, and blank is not allowed here.

    Returns
    -------
    ndarray of float

    Raises
    ------
    ValueError
        If it is no table of at least two units and one thing.
    InputError
        ``community-amount-impossible`` for a negative or blank amount; ``community-unit-empty`` for
        a unit that holds nothing: how unlike two empty units are is not defined.

    Examples
    --------
    >>> require_amounts([[1, 0], [2, 3]]).shape
    (2, 2)
    """
    table = np.array(amounts, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 1:
        raise ValueError(f"expected two or more units by one or more things, got {table.shape}")
    if not np.isfinite(table).all() or (table < 0).any():
        unit = 1 + int(np.argmax((~np.isfinite(table) | (table < 0)).any(axis=1)))
        raise InputError(
            "community-amount-impossible",
            f"Unit {unit} has a blank or negative amount.",
            "Leave the unit out, or correct its record; what was looked for and not seen is 0.",
        )
    if (table.sum(axis=1) == 0).any():
        unit = 1 + int(np.argmax(table.sum(axis=1) == 0))
        raise InputError(
            "community-unit-empty",
            f"Unit {unit} holds nothing that is compared.",
            "Leave it out and say so: how unlike two empty units are is not defined.",
        )
    return table


def apply_transform(amounts: ArrayLike, transform: Transform) -> FloatArray:
    """
    Damp large amounts.

    Parameters
    ----------
    amounts : array_like of float
    transform : Transform

    Returns
    -------
    ndarray of float

    Examples
    --------
    >>> apply_transform([[16.0, 0.0]], Transform.FOURTH_ROOT)
    array([[2., 0.]])
    """
    table = np.asarray(amounts, dtype=np.float64)
    if transform is Transform.PRESENCE:
        return np.asarray(table > 0, dtype=np.float64)
    return np.asarray(table ** _POWER[transform])


def measure_dissimilarity(
    amounts: ArrayLike, measure: Dissimilarity = Dissimilarity.BRAY_CURTIS
) -> FloatArray:
    r"""
    Return how unlike each two units are.

    Parameters
    ----------
    amounts : array_like of float, shape (units, things)
    measure : Dissimilarity

    Returns
    -------
    ndarray of float, shape (units, units)
        Symmetrical, 0 on the diagonal.

    Raises
    ------
    InputError
        As `require_amounts`.

    Notes
    -----
    Bray-Curtis [1]_ is :math:`\sum |x_i - y_i| / \sum (x_i + y_i)`: things that both units lack
    count for nothing, and common things count most. Jaccard is of presence alone. Chord is the
    straight distance between units scaled to length 1. Euclidean distance takes shared absences
    for likeness, which is seldom meant for what grows on a reef.

    References
    ----------
    .. [1] Bray, J.R. & Curtis, J.T. (1957). Ecol. Monogr. 27, 325-349.

    Examples
    --------
    >>> print(f"{measure_dissimilarity([[1, 3], [3, 1]])[0, 1]:.2f}")
    0.50
    """
    from scipy.spatial.distance import pdist, squareform

    table = require_amounts(amounts)
    if measure is Dissimilarity.JACCARD:
        pairs = pdist(table > 0, "jaccard")
    elif measure is Dissimilarity.CHORD:
        shares = table / table.max(axis=1, keepdims=True)  # squares of the smallest would be 0
        pairs = pdist(shares / np.linalg.norm(shares, axis=1, keepdims=True), "euclidean")
    elif measure is Dissimilarity.EUCLIDEAN:
        pairs = pdist(table, "euclidean")
    elif measure is Dissimilarity.CANBERRA:
        pairs = pdist(table, "canberra")
    else:
        pairs = pdist(table, "braycurtis")
    return np.asarray(squareform(pairs), dtype=np.float64)


def require_dissimilarities(dissimilarities: ArrayLike) -> FloatArray:
    """
    Check a table of dissimilarities.

    Parameters
    ----------
    dissimilarities : array_like of float, shape (units, units)

    Returns
    -------
    ndarray of float

    Raises
    ------
    ValueError
        If it is not square, symmetrical, zero on the diagonal and nowhere negative.

    Examples
    --------
    >>> require_dissimilarities([[0, 1], [1, 0]]).shape
    (2, 2)
    """
    table = np.array(dissimilarities, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or len(table) < 2:
        raise ValueError(f"expected a square table of two or more units, got {table.shape}")
    is_sound = np.isfinite(table).all() and (table >= 0).all() and (np.diag(table) == 0).all()
    if not is_sound or not np.allclose(table, table.T, rtol=0, atol=1e-9):
        raise ValueError("expected dissimilarities: symmetrical, none negative, 0 on the diagonal")
    return table
