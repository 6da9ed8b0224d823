"""The mean size of several corallites, and how much they differ."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.arrays.propagation import effective_degrees
from dryslate.core.measure.budget import K95, Reading, find_interval95, state_value
from dryslate.core.measure.result import (
    Measurement,
    MeasureSettings,
    budget_fields,
    check_picked,
    plane_height,
    require_picked,
    stated_fields,
)
from dryslate.core.scale.plane import Plane, apply_plane

FloatArray = NDArray[np.float64]

FEW_CORALLITES = 5


def _pair_slopes(xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distances of consecutive pairs, and the slope of their mean by each point."""
    gap = xy[1::2] - xy[0::2]
    size = np.hypot(gap[:, 0], gap[:, 1])
    if np.any(size <= 1e-9):
        raise InputError(
            "measure-points-coincide",
            "The two points of a corallite are one and the same.",
            "Pick two points on opposite sides of the rim.",
        )
    slopes = np.zeros_like(xy)
    slopes[1::2] = gap / size[:, None] / len(size)
    slopes[0::2] = -slopes[1::2]
    return size, slopes


def measure_corallites(
    plane: Plane, points_px: ArrayLike, settings: MeasureSettings
) -> Measurement:
    r"""
    Measure the mean diameter of several corallites.

    Parameters
    ----------
    plane : Plane
        Of the card in the same photo.
    points_px : array_like of float, shape (2 n, 2)
        Two points a corallite, one after the other, in pixels of the upright original.
    settings : MeasureSettings

    Returns
    -------
    Measurement
        With ``corallite_mm`` (the mean) and its ``_u``, ``_lo95``, ``_hi95``;
        ``corallite_sd_mm`` (standard deviation between them as measured),
        ``corallite_sd_between_mm`` (the same with the pointing taken out), ``n_corallites``,
        ``corallites_mm`` (each), and the budget in millimetres.

    Raises
    ------
    InputError
        ``measure-points-odd``, ``measure-points-coincide``, ``measure-too-few-points``,
        ``measure-point-not-finite``, ``measure-point-outside-photo``,
        ``measure-point-u-impossible``, ``measure-misses-plane`` or
        ``measure-off-plane-impossible``.

    Notes
    -----
    The standard error is that of the spread between corallites (which holds the pointing, and is
    never taken as less than it: few picked alike are alike by chance), with n - 1 degrees of
    freedom; the interval takes Student's factor for the effective degrees of freedom of the
    whole [1]_. Plane, lens, print scale and height are common to all and do not average away. An
    unstated height is a quarter of the extent of all corallites picked, since they share the
    coral's surface. The interval is that of the mean, for corallites picked at random; it does not
    hold a single corallite.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.3 (standard deviation of the mean) and G.4 (Student's factor).
    """
    px = require_picked(plane, points_px, settings, 2)
    if len(px) % 2:
        raise InputError(
            "measure-points-odd",
            f"{len(px)} points were given for corallites: an odd number, where each takes two.",
            "Give two points on opposite sides of each corallite.",
        )
    located = apply_plane(plane, px)
    size, slopes = _pair_slopes(located.xy_mm)
    n, mean = len(size), float(np.mean(size))
    reach = located.xy_mm[:, None] - located.xy_mm[None, :]
    height = plane_height(plane, settings, float(np.max(np.hypot(reach[..., 0], reach[..., 1]))))
    sd = float(np.std(size, ddof=1)) if n > 1 else 0.0
    per_px = np.einsum("ni,nij->nj", slopes * n, located.per_px)
    pointing2 = settings.point_u_px**2 * float(np.sum(per_px**2)) / n
    error = max(sd, float(np.sqrt(pointing2)), 1e-9) / float(np.sqrt(n)) if n > 1 else 0.0
    reading = Reading(plane=plane, points=located, height=height, point_u_px=settings.point_u_px)
    stated = state_value(reading, mean, slopes, spread=error)
    if n > 1:
        within = stated.parts.without_off_plane / height.factor
        others = float(np.sqrt(max(within**2 - error**2, 0.0)))
        wide = within * float(stdtrit(effective_degrees([error, others], [n - 1, None]), 0.975))
        lo95, hi95 = find_interval95(mean, wide / K95, height)
        stated = replace(stated, lo95=lo95, hi95=hi95)
    flags, problems = check_picked(plane, px, located.xy_mm, height)
    factor = height.factor
    return Measurement(
        kind="corallites",
        values={
            **stated_fields("corallite_mm", stated),
            "corallite_sd_mm": sd * factor if n > 1 else None,
            "corallite_sd_between_mm": (
                float(np.sqrt(max(sd**2 - pointing2, 0.0))) * factor if n > 1 else None
            ),
            "n_corallites": n,
            "corallites_mm": [float(v) * factor for v in size],
        },
        budget=budget_fields("mm", stated),
        flags=flags,
        problems=(*problems, *_few(n)),
    )


def _few(n: int) -> tuple[Problem, ...]:
    """Warn where the spread between corallites is hardly known."""
    if n >= FEW_CORALLITES:
        return ()
    return (
        Problem(
            slug="measure-few-corallites",
            severity="warning",
            place="points",
            message=f"Only {n} corallites were measured; the spread between them is hardly known."
            if n > 1
            else "Only one corallite was measured: how much they differ is not known, and the "
            "interval holds this one alone.",
            fix=f"Measure {FEW_CORALLITES} or more, picked at random.",
        ),
    )
