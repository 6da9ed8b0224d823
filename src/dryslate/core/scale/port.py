"""What water in front of a flat port does to a lens."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

_QUAN_FRY = (1.31405, 1.779e-4, -1.05e-6, 1.6e-8, -2.02e-6, 15.868, 0.01155, -0.00423, -4382.0)
_QUAN_FRY_CUBE = 1.1455e6


def refractive_index_water(
    salinity_psu: float, temperature_deg_c: float, wavelength_nm: float
) -> float:
    """
    Give the refractive index of water against air.

    Parameters
    ----------
    salinity_psu : float
        Practical salinity, 0 to 35.
    temperature_deg_c : float
        0 to 30.
    wavelength_nm : float
        400 to 700.

    Returns
    -------
    float

    Notes
    -----
    Empirical equation of Quan & Fry [1]_ (3), at atmospheric pressure.

    References
    ----------
    .. [1] Quan & Fry 1995, Appl. Opt. 34(18):3477-3480.

    Examples
    --------
    >>> round(refractive_index_water(35.0, 27.0, 550.0), 4)
    1.34
    """
    s, t, wl = salinity_psu, temperature_deg_c, wavelength_nm
    n0, n1, n2, n3, n4, n5, n6, n7, n8 = _QUAN_FRY
    return (
        n0
        + (n1 + n2 * t + n3 * t * t) * s
        + n4 * t * t
        + (n5 + n6 * s + n7 * t) / wl
        + n8 / wl**2
        + _QUAN_FRY_CUBE / wl**3
    )


def flat_port_ratio(tan_in_air: ArrayLike, n_water: float = 1.34) -> NDArray[np.float64]:
    r"""
    Tell how much larger a flat port makes things, by how far off axis they appear.

    Parameters
    ----------
    tan_in_air : array_like of float
        Tangent of the angle to the axis inside the housing (image radius over focal length).
    n_water : float
        Refractive index of the water.

    Returns
    -------
    ndarray of float
        :math:`\tan\theta_a / \tan\theta_w`; `n_water` on the axis, more off it.

    Notes
    -----
    Snell's law at a thin flat port at right angles to the axis, entrance pupil at the port.
    The growth off axis is a pincushion distortion.

    References
    ----------
    .. [1] Hecht, Optics, section 4.4 (Snell's law at a plane interface).

    Examples
    --------
    >>> flat_port_ratio([0.0, np.tan(np.radians(30.0))]).round(3).tolist()
    [1.34, 1.436]
    """
    t = np.asarray(tan_in_air, dtype=np.float64)
    sin_air = t / np.sqrt(1.0 + t * t)
    sin_water = sin_air / n_water
    tan_water = sin_water / np.sqrt(1.0 - sin_water**2)
    safe = np.where(tan_water > 0, tan_water, 1.0)
    return np.where(tan_water > 0, t / safe, n_water)
