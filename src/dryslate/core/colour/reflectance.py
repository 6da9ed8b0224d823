"""From a measured reflectance spectrum to CIELAB for D65 and the 2 degree observer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.colour.spaces import xyz_to_lab

FloatArray = NDArray[np.float64]

NEEDED_NM = (400.0, 700.0)
WIDEST_STEP_NM = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewingTables:
    """
    The standard observer and the daylight components, on common wavelengths.

    Parameters
    ----------
    wavelengths_nm : ndarray of float, shape (n,)
        Evenly spaced.
    observer : ndarray of float, shape (n, 3)
        Colour-matching functions of the 2 degree observer.
    daylight : ndarray of float, shape (n, 3)
        Mean and the two components of daylight.
    """

    wavelengths_nm: FloatArray
    observer: FloatArray
    daylight: FloatArray


def fit_d65(tables: ViewingTables) -> FloatArray:
    """
    Build the spectrum of D65 from the daylight components.

    Parameters
    ----------
    tables : ViewingTables

    Returns
    -------
    ndarray of float, shape (n,)
        Relative power.

    Notes
    -----
    Equations of CIE daylight at 6504 K, the correlated colour temperature of D65 [1]_.

    References
    ----------
    .. [1] CIE 15:2004, section 3.1, and Judd, MacAdam & Wyszecki 1964.
    """
    kelvin = 6504.0
    x = -4.6070e9 / kelvin**3 + 2.9678e6 / kelvin**2 + 99.11 / kelvin + 0.244063
    y = -3.0 * x**2 + 2.870 * x - 0.275
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m1 = (-1.3515 - 1.7703 * x + 5.9114 * y) / m
    m2 = (0.0300 - 31.4424 * x + 30.0717 * y) / m
    return np.asarray(tables.daylight @ np.array([1.0, m1, m2]))


def lab_from_reflectance(
    wavelengths_nm: ArrayLike, reflectance: ArrayLike, tables: ViewingTables
) -> FloatArray:
    """
    Compute CIELAB for D65 from a reflectance spectrum.

    Parameters
    ----------
    wavelengths_nm : array_like of float, shape (n,)
        Rising; must cover 400 to 700 nm in steps of 20 nm or less.
    reflectance : array_like of float, shape (n,)
        0 to 1.
    tables : ViewingTables

    Returns
    -------
    ndarray of float, shape (3,)
        L*, a*, b*.

    Raises
    ------
    InputError
        ``spectrum-too-narrow`` if the range or the steps do not suffice.

    Notes
    -----
    Sum over the tables' wavelengths [1]_, the spectrum interpolated linearly and kept constant
    beyond its ends; the white is the perfect diffuser under the same sums.

    References
    ----------
    .. [1] CIE 15:2004, equations 7.1 to 7.3.
    """
    nm = np.asarray(wavelengths_nm, dtype=np.float64)
    values = np.asarray(reflectance, dtype=np.float64)
    is_fine = (
        nm.size >= 2
        and nm[0] <= NEEDED_NM[0]
        and nm[-1] >= NEEDED_NM[1]
        and np.diff(nm).min() > 0
        and np.diff(nm).max() <= WIDEST_STEP_NM
    )
    if not is_fine:
        raise InputError(
            "spectrum-too-narrow",
            f"The spectra run over {nm.size} wavelengths"
            + (f" from {nm[0]:g} to {nm[-1]:g} nm" if nm.size else "")
            + "; 400 to 700 nm in rising steps of 20 nm or less are needed.",
            "Export spectra from 380 or 400 to 700 or 730 nm, or export L*, a*, b*.",
        )
    power = fit_d65(tables)
    weights = tables.observer * power[:, None]
    at_tables = np.interp(tables.wavelengths_nm, nm, values)
    white = weights.sum(axis=0)
    return np.asarray(xyz_to_lab(at_tables @ weights / white[1], white / white[1]))
