"""Carry a colour fit from one photo to another: other exposure, other path of water, more doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from dryslate.base.quality import Flag
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.fit import ColourFit
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_srgb_to_lab

FloatArray = NDArray[np.float64]

KD_RGB_PER_M = (0.30, 0.089, 0.062)
"""Attenuation of downwelling light, per metre, in the middle of the three channels' bands."""


def water_log_gain_cov(path_u_m: float, lightness_u_ln: float = 0.0) -> FloatArray:
    r"""
    State how far the gains of two photos may differ by an unknown stretch of water.

    Parameters
    ----------
    path_u_m : float
        Standard uncertainty of the difference in path, in metres.
    lightness_u_ln : float
        Standard uncertainty of the logarithm of a factor common to all channels.

    Returns
    -------
    ndarray of float, shape (3, 3)
        Covariance of the natural logarithms of the three channels' gains.

    Notes
    -----
    :math:`C = (k k^T) u_z^2 + u_s^2`, with k the attenuation of ocean water type II at 600 to
    625 nm (mean of the two), 550 nm and 475 nm [1]_; one path for all channels. In coastal
    water green and blue differ more, so lightness there errs more than stated.

    References
    ----------
    .. [1] Jerlov 1976, Marine Optics, 2nd edition, Table XXVII.

    Examples
    --------
    >>> print(np.round(np.sqrt(np.diag(water_log_gain_cov(1.0))), 3))
    [0.3   0.089 0.062]
    """
    k = np.array(KD_RGB_PER_M)
    return np.asarray(np.outer(k, k) * path_u_m**2 + lightness_u_ln**2, dtype=np.float64)


def gain_doubt_de00_p95(log_gain_cov: ArrayLike) -> float:
    """
    Say how large a colour difference an unknown gain makes.

    Parameters
    ----------
    log_gain_cov : array_like of float, shape (3, 3)
        Covariance of the logarithms of the gains, in linear sRGB.

    Returns
    -------
    float
        95th percentile of CIEDE2000 over 27 colours (L* 30, 50, 70; C* 0 and 25 in eight hues)
        and the distribution of the gains, by its quantiles along each principal axis.

    Examples
    --------
    >>> gain_doubt_de00_p95(np.zeros((3, 3)))
    0.0
    """
    cov = np.asarray(log_gain_cov, dtype=np.float64)
    hues = np.deg2rad(np.arange(8) * 45.0)
    around = [(0.0, 0.0), *zip(25.0 * np.cos(hues), 25.0 * np.sin(hues), strict=True)]
    lab = np.array([(lightness, a, b) for lightness in (30.0, 50.0, 70.0) for a, b in around])
    linear = lab_to_linear_srgb(lab)
    values, axes = np.linalg.eigh(cov)
    quantiles = ndtri((np.arange(20) + 0.5) / 20)
    steps = [
        quantile * np.sqrt(value) * axis
        for value, axis in zip(values, axes.T, strict=True)
        for quantile in quantiles
        if value > 1e-12
    ]
    if not steps:
        return 0.0
    moved = np.array([linear * np.exp(step) for step in steps])
    errors = ciede2000(linear_srgb_to_lab(moved), np.broadcast_to(lab, moved.shape))
    squares = np.asarray(errors).reshape(-1, len(quantiles), len(lab)) ** 2
    # Axes are independent: add a quantile of one axis to each of the others, in squares.
    total: FloatArray = squares[0]
    for other in squares[1:]:
        total = (total[:, None, :] + other[None, :, :]).reshape(-1, len(lab))
    return float(np.sqrt(np.quantile(total, 0.95)))


def lend_fit(fit: ColourFit, exposure_ratio: float, log_gain_cov: ArrayLike) -> ColourFit:
    r"""
    Adapt a colour fit to another photo of the same camera and light.

    Parameters
    ----------
    fit : ColourFit
        Of the photo that has the card.
    exposure_ratio : float
        Exposure (time times ISO over aperture squared) of the other photo over that of the
        first.
    log_gain_cov : array_like of float, shape (3, 3)
        Further doubt of the gains, as covariance of their logarithms.

    Returns
    -------
    ColourFit
        Matrix divided and veil multiplied by the ratio; covariance, `off_card_de00_p95` and
        flags widened. Never with a light field, since it belongs to the other photo's card.

    Raises
    ------
    ValueError
        If `exposure_ratio` is not positive.

    Notes
    -----
    Every term is of degree one in the light, so a ratio e is exact for linear values:
    :math:`M ((t - e v) / e)`. The gains' doubt enters the covariance of the matrix to first
    order, :math:`J C J^T` with :math:`\partial M_{ij} / \partial \ln g_c = M_{ij} d_{jc}`,
    d being 1 for a channel's own term and 1/2 for each channel under a root.

    References
    ----------
    .. [1] JCGM 102:2011, 6.2.1, equation (3).
    """
    if not exposure_ratio > 0:
        raise ValueError(f"exposure_ratio: expected a positive number, got {exposure_ratio}")
    old, n_terms = fit.correction, fit.correction.n_terms
    matrix, veil = old.matrix / exposure_ratio, old.veil * exposure_ratio
    n = 3 * n_terms
    scale = np.ones(fit.covariance.shape[0])
    scale[:n] /= exposure_ratio
    scale[n : n + 3] *= exposure_ratio
    covariance = fit.covariance * np.outer(scale, scale)
    share = np.eye(3)
    if n_terms == 6:
        share = np.vstack([share, [[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]]])
    jacobian = (matrix[:, :, None] * share[None, :, :]).reshape(n, 3)
    gains = np.asarray(log_gain_cov, dtype=np.float64)
    covariance[:n, :n] += jacobian @ gains @ jacobian.T
    own = fit.off_card_de00_p95
    widened = None if own is None else float(np.hypot(own, gain_doubt_de00_p95(gains)))
    return replace(
        fit,
        correction=replace(old, matrix=matrix, veil=veil, field=None),
        gain=fit.gain / exposure_ratio,
        veil=veil,
        off_card_de00_p95=widened,
        covariance=covariance,
        problems=(),
        flags=tuple(dict.fromkeys((*fit.flags, Flag.BORROWED))),
    )
