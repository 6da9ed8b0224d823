"""Wavelengths, daylight, the standard observer, and colours of reflectance spectra."""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError

FloatArray = NDArray[np.float64]

WAVELENGTHS_NM: FloatArray = np.arange(400.0, 701.0, 10.0)
WAVELENGTHS_NM.setflags(write=False)
N_BANDS = WAVELENGTHS_NM.size
D65_XY = (0.3127, 0.3290)
D65_WHITE_XYZ: FloatArray = np.array([0.95047, 1.0, 1.08883])
_XYZ_TO_SRGB: FloatArray = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)


@lru_cache(maxsize=8)
def table(name: str) -> tuple[tuple[str, ...], FloatArray]:
    """
    Read the numbers of a built-in table of spectra.

    Parameters
    ----------
    name : str
        File name without ending, for example ``"water_absorption"``.

    Returns
    -------
    columns : tuple of str
        Names of the columns of numbers; the first is ``wavelength_nm``.
    values : ndarray of float, shape (n_rows, n_columns)
        Read-only.
    """
    path = resources.files("dryslate").joinpath("data", "tables", f"{name}.csv")
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    columns = tuple(c for c in rows[0] if c != "source")
    values = np.array([[float(cell) for cell in row[: len(columns)]] for row in rows[1:]])
    values.setflags(write=False)
    return columns, values


def column(name: str, which: str) -> tuple[FloatArray, FloatArray]:
    """Return wavelengths and one column of a built-in table, or raise ``spectrum-unknown``."""
    columns, values = table(name)
    if which not in columns:
        raise InputError(
            "spectrum-unknown",
            f"table {name}: no column {which} · has {', '.join(columns[1:])}.",
            "Give one of the columns that the table has.",
        )
    return values[:, 0], values[:, columns.index(which)]


def on_grid(wavelengths_nm: ArrayLike, values: ArrayLike) -> FloatArray:
    """Bring a spectrum to `WAVELENGTHS_NM` by straight lines between its points."""
    nodes_nm, at_nodes = np.asarray(wavelengths_nm, float), np.asarray(values, float)
    return np.asarray(np.interp(WAVELENGTHS_NM, nodes_nm, at_nodes))


@lru_cache(maxsize=32)
def daylight(x: float = D65_XY[0], y: float = D65_XY[1]) -> FloatArray:
    r"""
    Relative spectral power of daylight of a given chromaticity.

    Parameters
    ----------
    x, y : float
        CIE 1931 chromaticity; D65 by default.

    Returns
    -------
    ndarray of float, shape (31,)
        About 100 at 560 nm; read-only.

    Notes
    -----
    :math:`S = S_0 + M_1 S_1 + M_2 S_2` with the components S0, S1 and S2 [1]_.

    References
    ----------
    .. [1] CIE 15:2004, Colorimetry, section 3.1 and table T.2.

    Examples
    --------
    >>> print(round(float(daylight()[16]), 1))  # at 560 nm
    100.0
    """
    down = 0.0241 + 0.2562 * x - 0.7341 * y
    m1 = (-1.3515 - 1.7703 * x + 5.9114 * y) / down
    m2 = (0.0300 - 31.4424 * x + 30.0717 * y) / down
    s0, s1, s2 = (on_grid(*column("light_daylight", name)) for name in ("s0", "s1", "s2"))
    power = s0 + m1 * s1 + m2 * s2
    power.setflags(write=False)
    return power


def planck(temperature_k: float) -> FloatArray:
    """Relative spectral power of a full radiator (1 at 560 nm), for lamps; shape (31,)."""
    metres = WAVELENGTHS_NM * 1e-9

    def radiance(at: FloatArray) -> FloatArray:
        return at**-5.0 / np.expm1(1.438777e-2 / (at * temperature_k))

    return np.asarray(radiance(metres) / radiance(np.array([560e-9])))


@lru_cache(maxsize=1)
def observer() -> FloatArray:
    """Colour matching functions of the CIE 1931 observer, shape (31, 3); read-only."""
    bars = np.stack(
        [on_grid(*column("light_observer", name)) for name in ("x_bar", "y_bar", "z_bar")], axis=1
    )
    bars.setflags(write=False)
    return bars


def xyz_of(reflectance: ArrayLike) -> FloatArray:
    """
    Tristimulus values under D65 of reflectance spectra.

    Parameters
    ----------
    reflectance : array_like of float, shape (..., 31)
        On `WAVELENGTHS_NM`; 1 is a perfect matt white.

    Returns
    -------
    ndarray of float, shape (..., 3)
        A perfect matt white has exactly the D65 white point (each axis is scaled to it,
        which takes up the cut of the spectrum at 400 and 700 nm).
    """
    weights = observer() * daylight()[:, None]
    scale = D65_WHITE_XYZ / weights.sum(axis=0)
    return np.asarray(np.asarray(reflectance, float) @ (weights * scale))


def lab_of(reflectance: ArrayLike) -> FloatArray:
    """CIELAB (D65, 2 degrees) of reflectance spectra; shape (..., 31) to (..., 3)."""
    ratio = xyz_of(reflectance) / D65_WHITE_XYZ
    f = np.where(
        ratio > 216.0 / 24389.0,
        np.cbrt(np.maximum(ratio, 1e-12)),
        (24389.0 / 27.0 * ratio + 16.0) / 116.0,
    )
    return np.stack(
        [
            116.0 * f[..., 1] - 16.0,
            500.0 * (f[..., 0] - f[..., 1]),
            200.0 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def linear_srgb_of(reflectance: ArrayLike) -> FloatArray:
    """Linear sRGB under D65 of reflectance spectra, not clipped; shape (..., 31) to (..., 3)."""
    return np.asarray(xyz_of(reflectance) @ _XYZ_TO_SRGB.T)
