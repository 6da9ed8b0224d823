"""What is known of the correction matrix before a card is looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.colour.estimate import Belief
from dryslate.core.colour.neutrals import TONE_A_SPREAD, TONE_B_SPREAD, VEIL_SPREAD

FloatArray = NDArray[np.float64]

N_FEATURES = 6
_TIGHT = 1e-5
_PLAIN_SPREAD = {3: 0.2, 6: 0.25}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MatrixPrior:
    """
    Prior of the matrix given the gains of the greys.

    Parameters
    ----------
    mean : Mapping of int to ndarray, shape (6, 3 n)
        By number of terms n: the matrix (row by row) as a linear function of the six features
        of `gain_features`.
    covariance : Mapping of int to ndarray, shape (3 n, 3 n)
        Its covariance about that.
    """

    mean: Mapping[int, FloatArray] = field(default_factory=dict)
    covariance: Mapping[int, FloatArray] = field(default_factory=dict)


def gain_features(gain: FloatArray) -> FloatArray:
    """
    Six features of the gains: 1, r, b, r², b², rb of the clipped log ratios to green.

    Parameters
    ----------
    gain : ndarray of float, shape (3,)

    Returns
    -------
    ndarray of float, shape (6,)

    Examples
    --------
    >>> print(gain_features(np.array([1.0, 1.0, 1.0])))
    [1. 0. 0. 0. 0. 0.]
    """
    safe = np.log(np.maximum(gain, 1e-9))
    r = float(np.clip(safe[0] - safe[1], -1.0, 3.0))
    b = float(np.clip(safe[2] - safe[1], -1.2, 1.5))
    return np.array([1.0, r, b, r * r, b * b, r * b])


def parse_matrix_prior(rows: Sequence[Mapping[str, str]]) -> MatrixPrior:
    """
    Read the prior from the rows of its table.

    Parameters
    ----------
    rows : sequence of Mapping
        Columns ``n_terms``, ``part`` (``mean`` or ``covariance``), ``row``, ``column``, ``value``.
        Covariances may be given by their lower half.

    Returns
    -------
    MatrixPrior

    Raises
    ------
    InputError
        ``colour-table-unreadable`` if a cell is missing or is not a number.

    Examples
    --------
    >>> parse_matrix_prior([]).mean
    {}
    """
    mean: dict[int, FloatArray] = {}
    covariance: dict[int, FloatArray] = {}
    try:
        for line in rows:
            n, i, j = int(line["n_terms"]), int(line["row"]), int(line["column"])
            value = float(line["value"])
            if line["part"] == "mean":
                mean.setdefault(n, np.zeros((N_FEATURES, 3 * n)))[i, j] = value
            else:
                square = covariance.setdefault(n, np.zeros((3 * n, 3 * n)))
                square[i, j] = square[j, i] = value
    except (KeyError, ValueError, IndexError) as reason:
        raise InputError(
            "colour-table-unreadable", f"the table of matrix priors cannot be read: {reason}"
        ) from reason
    return MatrixPrior(mean=mean, covariance=covariance)


def matrix_belief(
    n_terms: int,
    gain: FloatArray,
    to_srgb: FloatArray,
    prior: MatrixPrior | None,
    *,
    has_tone: bool,
) -> Belief:
    """
    Prior of a full matrix fit.

    Parameters
    ----------
    n_terms : int
        3 or 6.
    gain : ndarray of float, shape (3,)
        Gain of the greys.
    to_srgb : ndarray of float, shape (3, 3)
        Linear RGB of the file to linear sRGB.
    prior : MatrixPrior or None
        None: near the plain gain, independently for each element.
    has_tone : bool
        Whether the tone curve may differ from the profile's own.

    Returns
    -------
    Belief

    Examples
    --------
    >>> belief = matrix_belief(3, np.ones(3), np.eye(3), None, has_tone=True)
    >>> print(belief.mean[:9].reshape(3, 3))
    [[1. 0. 0.]
     [0. 1. 0.]
     [0. 0. 1.]]
    """
    q = 3 * n_terms
    if prior is not None and n_terms in prior.mean:
        matrix = (gain_features(gain) @ prior.mean[n_terms]).reshape(3, n_terms)
        covariance = prior.covariance[n_terms]
    else:
        matrix = np.eye(3, n_terms)
        covariance = np.eye(q) * _PLAIN_SPREAD[n_terms] ** 2
    matrix = np.hstack([matrix[:, :3] @ to_srgb, matrix[:, 3:]])
    precision = np.zeros((q + 5, q + 5))
    precision[:q, :q] = np.linalg.inv(covariance)
    _fill_rest(precision, gain, has_veil=True, has_tone=has_tone)
    return Belief(mean=np.concatenate([matrix.ravel(), np.zeros(5)]), precision=precision)


def gain_belief(gain: FloatArray, to_srgb: FloatArray, *, has_veil: bool, has_tone: bool) -> Belief:
    """
    Prior of a fit with one gain per channel.

    Parameters
    ----------
    gain : ndarray of float, shape (3,)
    to_srgb : ndarray of float, shape (3, 3)
    has_veil, has_tone : bool
        Whether veil and tone are free.

    Returns
    -------
    Belief
        The matrix may change by a factor per file channel only.

    Examples
    --------
    >>> gain_belief(np.ones(3), np.eye(3), has_veil=False, has_tone=False).mean.shape
    (14,)
    """
    precision = np.zeros((14, 14))
    free = np.zeros((9, 3))
    for channel in range(3):
        free[channel::3, channel] = to_srgb[:, channel]
    precision[:9, :9] = np.linalg.inv(free @ free.T + np.eye(9) * _TIGHT**2)
    _fill_rest(precision, gain, has_veil=has_veil, has_tone=has_tone)
    return Belief(mean=np.concatenate([to_srgb.ravel(), np.zeros(5)]), precision=precision)


def _fill_rest(precision: FloatArray, gain: FloatArray, *, has_veil: bool, has_tone: bool) -> None:
    """Write the precision of veil and tone into the last five rows."""
    veil = VEIL_SPREAD / np.maximum(gain, 1e-9) if has_veil else np.full(3, _TIGHT)
    tone = [TONE_A_SPREAD, TONE_B_SPREAD] if has_tone else [_TIGHT, _TIGHT]
    last = np.arange(len(precision) - 5, len(precision))
    precision[last, last] = np.concatenate([veil, tone]) ** -2.0
