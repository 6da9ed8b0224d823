"""What is known of the correction matrix before a card is looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dryslate.base.errors import InputError
from dryslate.core.colour.estimate import N_REST, Belief
from dryslate.core.colour.neutrals import (
    TONE_A_SPREAD,
    TONE_B_SPREAD,
    VEIL_SPREAD,
    GreyFit,
)

FloatArray = NDArray[np.float64]

N_FEATURES = 6
_TIGHT = 1e-5
_UNSEEN_SLOPE = 0.15
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
    greys: GreyFit,
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
    greys : GreyFit
        What greys and ground say.
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
    >>> even = GreyFit(
    ...     gain=np.ones(3), veil=np.zeros(3), tone=(0.0, 0.0), slope=np.zeros(2),
    ...     slope_cov=np.eye(2), corrected=np.zeros((0, 3)), has_slope=True,
    ... )
    >>> belief = matrix_belief(3, even, np.eye(3), None, has_tone=True)
    >>> print(belief.mean[:9].reshape(3, 3))
    [[1. 0. 0.]
     [0. 1. 0.]
     [0. 0. 1.]]
    """
    q = 3 * n_terms
    if prior is not None and n_terms in prior.mean:
        matrix = (gain_features(greys.gain) @ prior.mean[n_terms]).reshape(3, n_terms)
        covariance = prior.covariance[n_terms]
    else:
        matrix = np.eye(3, n_terms)
        covariance = np.eye(q) * _PLAIN_SPREAD[n_terms] ** 2
    matrix = np.hstack([matrix[:, :3] @ to_srgb, matrix[:, 3:]])
    precision = np.zeros((q + N_REST, q + N_REST))
    precision[:q, :q] = np.linalg.inv(covariance)
    slope_cov = greys.slope_cov + _UNSEEN_SLOPE**2 * np.eye(2) * (not greys.has_slope)
    _fill_rest(precision, greys.gain, slope_cov, has_veil=True, has_tone=has_tone)
    return Belief(mean=_mean(matrix, greys), precision=precision)


def gain_belief(greys: GreyFit, to_srgb: FloatArray, *, has_veil: bool, has_tone: bool) -> Belief:
    """
    Prior of a fit with one gain per channel.

    Parameters
    ----------
    greys : GreyFit
    to_srgb : ndarray of float, shape (3, 3)
    has_veil, has_tone : bool
        Whether veil and tone are free.

    Returns
    -------
    Belief
        The matrix may change by a factor per file channel only.

    Examples
    --------
    >>> even = GreyFit(
    ...     gain=np.ones(3), veil=np.zeros(3), tone=(0.0, 0.0), slope=np.zeros(2),
    ...     slope_cov=np.eye(2), corrected=np.zeros((0, 3)), has_slope=True,
    ... )
    >>> gain_belief(even, np.eye(3), has_veil=False, has_tone=False).mean.shape
    (16,)
    """
    precision = np.zeros((9 + N_REST, 9 + N_REST))
    free = np.zeros((9, 3))
    for channel in range(3):
        free[channel::3, channel] = to_srgb[:, channel]
    precision[:9, :9] = np.linalg.inv(free @ free.T + np.eye(9) * _TIGHT**2)
    _fill_rest(precision, greys.gain, greys.slope_cov, has_veil=has_veil, has_tone=has_tone)
    return Belief(mean=_mean(to_srgb, greys), precision=precision)


def _mean(matrix: FloatArray, greys: GreyFit) -> FloatArray:
    """Prior mean: the matrix, no veil, no bend, the slope of the greys and the ground."""
    return np.concatenate([matrix.ravel(), np.zeros(5), greys.slope])


def _fill_rest(
    precision: FloatArray,
    gain: FloatArray,
    slope_cov: FloatArray,
    *,
    has_veil: bool,
    has_tone: bool,
) -> None:
    """Write the precision of veil, tone and slope into the last rows."""
    veil = VEIL_SPREAD / np.maximum(gain, 1e-9) if has_veil else np.full(3, _TIGHT)
    tone = [TONE_A_SPREAD, TONE_B_SPREAD] if has_tone else [_TIGHT, _TIGHT]
    precision[-2:, -2:] = np.linalg.inv(slope_cov)
    last = np.arange(len(precision) - N_REST, len(precision) - 2)
    precision[last, last] = np.concatenate([veil, tone]) ** -2.0
