"""Does a board float or sink in sea water, and which stainless weight makes it just sink."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryslate.base.errors import InputError

NET_DOWN_LO_G = 5.0
NET_DOWN_HI_G = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """
    One piece of one material.

    Parameters
    ----------
    volume_cm3, volume_cm3_u : float
        Volume and one standard uncertainty.
    density_g_cm3, density_g_cm3_u : float
        Density and one standard uncertainty.
    """

    volume_cm3: float
    volume_cm3_u: float
    density_g_cm3: float
    density_g_cm3_u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Buoyancy:
    """
    How a board behaves in the water, in grams of force (grams as a spring scale shows them).

    Parameters
    ----------
    lift_g, lift_g_u : float
        Net lift of the board with what is on it already; positive floats, negative sinks.
    weight_lo_g, weight_hi_g : float
        Mass of stainless steel, weighed in air, that makes it hang 5 g and 20 g negative.
    weight_g, weight_g_u : float
        The mass to take: the middle of that range, kept so that the board sinks even where its
        lift is two standard uncertainties greater than computed.
    net_down_g : float
        How far negative it then hangs, as computed.
    water_density_kg_m3 : float
    """

    lift_g: float
    lift_g_u: float
    weight_lo_g: float
    weight_hi_g: float
    weight_g: float
    weight_g_u: float
    net_down_g: float
    water_density_kg_m3: float


def measure_seawater_density(salinity: float, temperature_deg_c: float, depth_m: float) -> float:
    r"""
    Compute the density of sea water from its salinity, temperature and depth.

    Parameters
    ----------
    salinity : float
        Practical salinity, 0 to 42.
    temperature_deg_c : float
        Temperature in degrees Celsius, -2 to 40.
    depth_m : float
        Depth in metres, 0 to 10,000; taken as 1.01 decibars a metre.

    Returns
    -------
    float
        Density in kg/m³.

    Raises
    ------
    InputError
        ``seawater-out-of-range`` outside the range of the formula.

    Notes
    -----
    The international equation of state of 1980, equations 14 to 17 of [1]_:
    :math:`\rho(S, t, p) = \rho(S, t, 0) / (1 - p / K(S, t, p))`. It differs from the equation
    of 2010 by less than 0.05 kg/m³ in the sea's upper metres: of no weight for a board.

    References
    ----------
    .. [1] Fofonoff & Millard 1983, UNESCO technical papers in marine science 44.

    Examples
    --------
    >>> print(f"{measure_seawater_density(35, 25, 0):.3f}")
    1023.343
    """
    inside = 0 <= salinity <= 42 and -2 <= temperature_deg_c <= 40 and 0 <= depth_m <= 10_000
    if not inside:
        raise InputError(
            "seawater-out-of-range",
            f"Salinity {salinity:g}, {temperature_deg_c:g} °C, {depth_m:g} m is outside the "
            "formula's range (salinity 0 to 42, -2 to 40 °C, 0 to 10000 m).",
            "Give the water's salinity, temperature and depth within that range.",
        )
    s, t = salinity, temperature_deg_c
    pressure_bar = 0.101 * depth_m
    surface = _surface_density(s, t)
    return surface / (1.0 - pressure_bar / _secant_bulk_modulus(s, t, pressure_bar))


def _surface_density(s: float, t: float) -> float:
    """Density at the surface, kg/m³: equations 13 and 14 of UNESCO 44."""
    pure = (
        999.842594
        + 6.793952e-2 * t
        - 9.095290e-3 * t**2
        + 1.001685e-4 * t**3
        - 1.120083e-6 * t**4
        + 6.536332e-9 * t**5
    )
    linear = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    half = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return pure + linear * s + half * s * math.sqrt(s) + 4.8314e-4 * s**2


def _secant_bulk_modulus(s: float, t: float, p_bar: float) -> float:
    """Secant bulk modulus, bar: equations 15 to 19 of UNESCO 44."""
    pure = 19652.21 + 148.4206 * t - 2.327105 * t**2 + 1.360477e-2 * t**3 - 5.155288e-5 * t**4
    at_surface = (
        pure
        + (54.6746 - 0.603459 * t + 1.09987e-2 * t**2 - 6.1670e-5 * t**3) * s
        + (7.944e-2 + 1.6483e-2 * t - 5.3009e-4 * t**2) * s * math.sqrt(s)
    )
    a = (
        3.239908
        + 1.43713e-3 * t
        + 1.16092e-4 * t**2
        - 5.77905e-7 * t**3
        + (2.2838e-3 - 1.0981e-5 * t - 1.6078e-6 * t**2) * s
        + 1.91075e-4 * s * math.sqrt(s)
    )
    b = (
        8.50935e-5
        - 6.12293e-6 * t
        + 5.2787e-8 * t**2
        + (-9.9348e-7 + 2.0816e-8 * t + 9.1697e-10 * t**2) * s
    )
    return at_surface + a * p_bar + b * p_bar**2


def measure_lift(part: Part, water_g_cm3: float) -> tuple[float, float]:
    r"""
    Compute the net lift of one piece in water.

    Parameters
    ----------
    part : Part
        Volume and density with their standard uncertainties.
    water_g_cm3 : float
        Density of the water in g/cm³.

    Returns
    -------
    lift_g : float
        Net lift in grams of force: positive floats, negative sinks.
    lift_g_u : float
        Its standard uncertainty (k = 1).

    Notes
    -----
    Archimedes: :math:`F = V (\rho_w - \rho)`; volume and density independent [1]_. Air under a
    foil or in a hollow makes the piece float better than computed.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, equation (10).

    Examples
    --------
    >>> sheet = Part(volume_cm3=100, volume_cm3_u=3, density_g_cm3=0.9, density_g_cm3_u=0.005)
    >>> lift_g, lift_g_u = measure_lift(sheet, 1.025)
    >>> print(f"{lift_g:.2f} ± {lift_g_u:.2f} g")
    12.50 ± 0.62 g
    """
    lift_g = part.volume_cm3 * (water_g_cm3 - part.density_g_cm3)
    lift_g_u = math.hypot(
        (water_g_cm3 - part.density_g_cm3) * part.volume_cm3_u,
        part.volume_cm3 * part.density_g_cm3_u,
    )
    return lift_g, lift_g_u


def measure_buoyancy(
    parts: tuple[Part, ...], steel_g_cm3: float, steel_g_cm3_u: float, water_kg_m3: float
) -> Buoyancy:
    r"""
    Compute the net lift of a board and the steel that makes it slightly negative.

    Parameters
    ----------
    parts : tuple of Part
        The board and whatever is fixed to it already.
    steel_g_cm3, steel_g_cm3_u : float
        Density of the stainless steel and its standard uncertainty.
    water_kg_m3 : float
        Density of the water.

    Returns
    -------
    Buoyancy

    Raises
    ------
    InputError
        ``board-sinks-already`` if the board alone hangs more than 20 g negative: then no steel
        helps.

    Notes
    -----
    Steel of mass :math:`m` pulls down with :math:`m (1 - \rho_w / \rho_s)`. Slightly negative is
    taken as 5 to 20 g, common practice among divers: enough to stay where it is laid, too little
    to fall hard on a coral. The mass returned lies in the middle of the range (12.5 g negative),
    or lower or higher only as far as the range allows for the doubt in the lift. The parts'
    uncertainties are treated as independent.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, equation (10).
    """
    water = water_kg_m3 / 1000.0
    lifts = [measure_lift(p, water) for p in parts]
    lift_g = sum(lift for lift, _ in lifts)
    lift_g_u = math.sqrt(sum(u**2 for _, u in lifts))
    if lift_g < -NET_DOWN_HI_G:
        raise InputError(
            "board-sinks-already",
            f"The board sinks by itself: {-lift_g:.0f} ± {lift_g_u:.0f} g negative, more than "
            f"the {NET_DOWN_HI_G:.0f} g wished for.",
            "Add no steel. Make it lighter or thinner, or fix a piece of foam that does not "
            "crush at depth.",
        )
    pull = 1.0 - water / steel_g_cm3
    down_g = min(max((NET_DOWN_LO_G + NET_DOWN_HI_G) / 2, 2 * lift_g_u), NET_DOWN_HI_G)
    weight_g = max((lift_g + down_g) / pull, 0.0)
    weight_g_u = math.hypot(
        lift_g_u / pull, weight_g * water / (steel_g_cm3**2 * pull) * steel_g_cm3_u
    )
    return Buoyancy(
        lift_g=lift_g,
        lift_g_u=lift_g_u,
        weight_lo_g=max((lift_g + NET_DOWN_LO_G) / pull, 0.0),
        weight_hi_g=max((lift_g + NET_DOWN_HI_G) / pull, 0.0),
        weight_g=weight_g,
        weight_g_u=weight_g_u,
        net_down_g=weight_g * pull - lift_g,
        water_density_kg_m3=water_kg_m3,
    )
