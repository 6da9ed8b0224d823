"""A survey figure with its doubt: what every estimator hands back."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryslate.base.quality import Flag
from dryslate.core.survey.methods import Method


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """
    One figure of a survey.

    Parameters
    ----------
    what : str
        The figure, with its unit at the end: ``cover_frac``, ``density_per_m2``.
    estimate : float or None
        None where nothing can be said.
    u : float or None
        One standard uncertainty, same unit; None without spread between units.
    lo95, hi95 : float or None
        95 % interval; one end alone is a one-sided 95 % limit.
    method : Method
        Which interval; fixed for each figure in `methods.RULES`.
    n_units : int
        Units (replicates) that carry the figure.
    df : float or None
        Degrees of freedom of the interval, where it has any.
    flags : tuple of Flag
    n_blank : int
        Units left out because they were blank; blank is not zero.
    weights : tuple of (str, float)
        Of a site from zones: each zone's share.
    """

    what: str
    estimate: float | None
    u: float | None = None
    lo95: float | None = None
    hi95: float | None = None
    method: Method = Method.NONE
    n_units: int = 0
    df: float | None = None
    flags: tuple[Flag, ...] = ()
    n_blank: int = 0
    weights: tuple[tuple[str, float], ...] = ()


def or_none(value: float) -> float | None:
    """
    Turn a number that is not one into None.

    Parameters
    ----------
    value : float

    Returns
    -------
    float or None

    Examples
    --------
    >>> or_none(float("nan")) is None
    True
    """
    return float(value) if math.isfinite(value) else None
