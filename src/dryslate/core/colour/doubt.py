"""A corrected colour with its doubt: the function that every later use of colour rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dryslate.core.colour.correction import correct_linear
from dryslate.core.colour.estimate import Observations, predict
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.colour.spaces import lab_jacobian, linear_srgb_to_lab, linear_to_srgb

FloatArray = NDArray[np.float64]

CLIPPED_FROM = 0.985
CLIPPED_U_FRAC = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColourWithDoubt:
    """
    A corrected colour.

    Parameters
    ----------
    lab : ndarray of float, shape (3,)
        L*, a*, b* (D65).
    lab_cov : ndarray of float, shape (3, 3)
        Its covariance, all parts together.
    lab_u : ndarray of float, shape (3,)
        One standard uncertainty of each.
    lab_lo95, lab_hi95 : ndarray of float, shape (3,)
        95 % interval of each.
    parts : Mapping
        Standard uncertainties of L*, a*, b* by part: ``fit``, ``noise``, ``card``,
        ``mismatch``, ``light``, ``clipped``.
    """

    lab: FloatArray
    lab_cov: FloatArray
    lab_u: FloatArray
    lab_lo95: FloatArray
    lab_hi95: FloatArray
    parts: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)


def lab_with_doubt(
    mean_linear: FloatArray,
    cov_linear: FloatArray,
    n_px: int,
    fit: ColourFit,
    xy_px: FloatArray,
    *,
    is_flat_grey: bool = False,
) -> ColourWithDoubt:
    r"""
    Correct the mean colour of an area and state its doubt.

    Parameters
    ----------
    mean_linear : ndarray of float, shape (3,)
        Mean of the area's pixels in file-linear light.
    cov_linear : ndarray of float, shape (3, 3)
        Covariance of one pixel about it.
    n_px : int
        Pixels of the area, taken as independent.
    fit : ColourFit
    xy_px : ndarray of float, shape (2,)
        Centre of the area in the upright photo.
    is_flat_grey : bool
        The thing is known to be a spectrally flat grey, as a grey chip is: it has hardly any
        spectral mismatch. What merely looks grey may be anything.

    Returns
    -------
    ColourWithDoubt

    Raises
    ------
    ValueError
        If `n_px` is less than 1.

    Notes
    -----
    :math:`C = J_\theta C_\theta J_\theta^T + J_x C_x J_x^T / n + C_{card} + C_{mismatch} +
    l l^T u_l^2`, with l the derivative of the colour by the logarithm of the light and u_l as in
    `dryslate.core.colour.light`, parts taken as independent [1]_. u_l grows with the distance
    from the card and holds the doubt of the fitted gradient, so :math:`J_\theta` leaves that
    out. The mismatch term is the larger part: it is scaled so that ``lab ± 1.96 lab_u`` holds
    about 95 % of simulated reef colours, whose errors have heavier tails than a normal
    distribution. Holds in the card's plane and near it; a distance from that plane
    is not contained. A channel above 0.985 of its range is blown out: the true value is higher by
    an unknown amount, taken as a standard uncertainty of a quarter of it (a judgement; the colour
    then errs towards dark). Differences between two areas of one photo share the fit's and the
    card's part, so they are surer than the two doubts suggest.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 and 5.2.2 (law of propagation of uncertainty).
    """
    if n_px < 1:
        raise ValueError(f"n_px must be 1 or more, got {n_px}")
    mean = np.asarray(mean_linear, dtype=np.float64).reshape(1, 3)
    point = np.asarray(xy_px, dtype=np.float64).reshape(1, 2)
    correction = fit.correction
    linear = correct_linear(mean, point, correction)[0]
    lab = linear_srgb_to_lab(linear)
    to_lab = lab_jacobian(linear)
    seen = Observations(
        encoded=linear_to_srgb(mean),
        place=np.zeros((1, 2)),
        reference=np.zeros((1, 3)),
        whitener=np.eye(3)[None],
        gain=np.ones(3),
    )
    in_even = np.concatenate(
        [correction.matrix.ravel(), correction.veil, correction.tone, np.zeros(2)]
    )
    _, jacobian = predict(in_even[None], seen, correction.n_terms)
    light = 0.0 if correction.field is None else float(correction.field.log_light(point)[0])
    # All terms are of degree one in the light; the slope's own doubt is in the part ``light``.
    by_theta = to_lab @ jacobian[0, 0] * np.exp(-light)
    step = np.maximum(mean[0] * 1e-3, 1e-6)
    ahead = correct_linear(mean + np.diag(step), np.repeat(point, 3, axis=0), correction)
    by_file = to_lab @ ((ahead - linear) / step[:, None]).T
    by_light = to_lab @ linear
    blown = np.where(mean[0] > CLIPPED_FROM, CLIPPED_U_FRAC * mean[0], 0.0)
    light_u = float(fit.light.log_light_u(point)[0]) if fit.light is not None else 0.0
    tint_u = fit.light.tint_u(point)[0] if fit.light is not None else np.zeros(3)
    by_channel = to_lab * (linear * tint_u)
    covariances = {
        "fit": by_theta @ fit.covariance @ by_theta.T,
        "noise": by_file @ np.asarray(cov_linear, dtype=np.float64) @ by_file.T / n_px,
        "card": np.diag(fit.common_u**2),
        "mismatch": (
            fit.mismatch.flat_grey_covariance(lab)
            if is_flat_grey
            else fit.mismatch.covariance_at(lab)
        ),
        "light": np.outer(by_light, by_light) * light_u**2 + by_channel @ by_channel.T,
        "clipped": by_file @ np.diag(blown**2) @ by_file.T,
    }
    total = np.sum(list(covariances.values()), axis=0)
    lab_u = np.sqrt(np.diagonal(total))
    return ColourWithDoubt(
        lab=lab,
        lab_cov=total,
        lab_u=lab_u,
        lab_lo95=lab - 1.96 * lab_u,
        lab_hi95=lab + 1.96 * lab_u,
        parts={
            name: (float(u[0]), float(u[1]), float(u[2]))
            for name, u in (
                (k, np.sqrt(np.maximum(np.diagonal(c), 0.0))) for k, c in covariances.items()
            )
        },
    )
