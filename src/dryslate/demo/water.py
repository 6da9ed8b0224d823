"""What sea water does to light on its way down and on its way to the camera."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from dryslate.demo.spectra import WAVELENGTHS_NM, FloatArray, column, on_grid

JerlovType = Literal["I", "IA", "IB", "II", "III", "1C", "3C", "5C", "7C", "9C"]
JERLOV_TYPES: tuple[JerlovType, ...] = ("I", "IA", "IB", "II", "III", "1C", "3C", "5C", "7C", "9C")


def transmittance(attenuation_per_m: ArrayLike, path_m: ArrayLike) -> FloatArray:
    """
    Share of light left after a path, by the exponential law.

    Examples
    --------
    >>> print(round(float(transmittance(0.1, 10.0)), 4))
    0.3679
    """
    return np.asarray(np.exp(-np.asarray(attenuation_per_m, float) * np.asarray(path_m, float)))


def apply_veil(
    img_linear: ArrayLike, beta_per_m: ArrayLike, range_m: ArrayLike, veil_linear: ArrayLike
) -> FloatArray:
    r"""
    Add the haze of a path through water: :math:`I = J t + B (1 - t)`.

    Parameters
    ----------
    img_linear : array_like of float, shape (..., n)
        Light without water between, J.
    beta_per_m : array_like of float, shape (n,)
        Attenuation of the path, in 1/m.
    range_m : array_like of float
        Length of the path; broadcast against `img_linear`.
    veil_linear : array_like of float, shape (n,)
        Light of an endless path, B.

    Returns
    -------
    ndarray of float, shape (..., n)

    References
    ----------
    .. [1] Schechner & Karpel 2005, IEEE J. Oceanic Eng. 30(3):570-587.
    """
    t = transmittance(beta_per_m, range_m)
    return np.asarray(img_linear, float) * t + np.asarray(veil_linear, float) * (1.0 - t)


@lru_cache(maxsize=1)
def pure_water_absorption() -> FloatArray:
    """Absorption of pure water in 1/m (Pope & Fry 1997), shape (31,); read-only."""
    values = on_grid(*column("water_absorption", "absorption_per_m"))
    values.setflags(write=False)
    return values


@lru_cache(maxsize=16)
def jerlov_kd(water: JerlovType) -> FloatArray:
    """
    Downward attenuation of a Jerlov water type in 1/m, shape (31,); read-only.

    Notes
    -----
    The table has a step of 25 nm. Between its rows the part above pure water is taken as
    straight, so that the steep rise of water's own absorption near 600 nm keeps its shape; on
    its rows the printed values are met exactly.
    """
    nodes_nm, kd = column("water_jerlov_kd", f"kd_{water.lower()}_per_m")
    inside = nodes_nm >= WAVELENGTHS_NM[0]
    a_nm, a = column("water_absorption", "absorption_per_m")
    rest = kd[inside] - np.interp(nodes_nm[inside], a_nm, a)
    values = np.interp(WAVELENGTHS_NM, a_nm, a) + on_grid(nodes_nm[inside], rest)
    values.setflags(write=False)
    return values


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """
    A body of water.

    Parameters
    ----------
    jerlov : str
        Water type of the table, coastal ones with a C.
    blend : str
        A second type to mix in, for waters between two rows.
    blend_frac : float
        Share of the second.
    scatter_per_m : float
        Scattering at 550 nm that turns light out of the path to the camera.
    scatter_power : float
        Scattering falls with wavelength to this power.
    veil_gain : float
        How bright the haze is against plain single scattering.
    depth_m : float
        Depth of the subject below the surface.
    """

    jerlov: JerlovType = "IB"
    blend: JerlovType = "II"
    blend_frac: float = 0.0
    scatter_per_m: float = 0.12
    scatter_power: float = 0.6
    veil_gain: float = 1.0
    depth_m: float = 6.0

    @property
    def kd_per_m(self) -> FloatArray:
        """Downward attenuation, shape (31,)."""
        mixed = (1.0 - self.blend_frac) * jerlov_kd(self.jerlov)
        return np.asarray(mixed + self.blend_frac * jerlov_kd(self.blend))

    @property
    def absorption_per_m(self) -> FloatArray:
        """Absorption: Kd times a mean cosine of 0.85, never below pure water's; shape (31,)."""
        return np.maximum(0.85 * self.kd_per_m, pure_water_absorption())

    @property
    def scattering_per_m(self) -> FloatArray:
        """Scattering out of the path, shape (31,)."""
        return np.asarray(self.scatter_per_m * (550.0 / WAVELENGTHS_NM) ** self.scatter_power)

    @property
    def beam_per_m(self) -> FloatArray:
        """Attenuation of the path to the camera, shape (31,)."""
        return self.absorption_per_m + self.scattering_per_m

    def light_at(self, surface_light: FloatArray, depth_m: float | None = None) -> FloatArray:
        """Light that falls on a level surface at depth, shape (31,)."""
        depth = self.depth_m if depth_m is None else depth_m
        return surface_light * transmittance(self.kd_per_m, depth)

    def veil_light(self, surface_light: FloatArray) -> FloatArray:
        r"""
        Light of an endless level path, in units of a perfect matt white, shape (31,).

        Notes
        -----
        Single scattering: each metre of path sends a share of the light there on towards
        the camera, and the path takes it away again, so that
        :math:`B = g\,\tilde\beta\,E / c` with :math:`\tilde\beta` about a quarter of the
        scattering for looks across and down. A modelling choice, checked by eye only.
        """
        share = 0.25 * self.scattering_per_m / self.beam_per_m
        return np.asarray(self.veil_gain * share * self.light_at(surface_light))
