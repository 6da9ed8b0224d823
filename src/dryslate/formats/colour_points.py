"""
Colour stated by numbers instead of a profile: code points, or primaries with an exponent.

ITU-T H.273 (07/2024), tables 2 and 3, as used by HEIC (nclx) and PNG (cICP); PNG's gAMA, cHRM.
"""

from __future__ import annotations

import numpy as np

from dryslate.base.errors import FormatError
from dryslate.formats.icc import RgbProfile, profile_from_primaries, srgb_to_linear_grid

_D65 = (0.3127, 0.3290)
#: Code point to primaries (red, green, blue) and white.
_PRIMARIES = {
    1: (((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)), _D65),
    5: (((0.640, 0.330), (0.290, 0.600), (0.150, 0.060)), _D65),
    6: (((0.630, 0.340), (0.310, 0.595), (0.155, 0.070)), _D65),
    9: (((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), _D65),
    11: (((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), (0.314, 0.351)),
    12: (((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), _D65),
}
_UNSTATED, _LINEAR, _SRGB = 2, 8, 13
_BROADCAST = {1, 6, 14, 15}
_EXPONENTS = {4: 2.2, 5: 2.8}
_HIGH_RANGE = {16: "PQ", 18: "HLG"}


def profile_from_code_points(primaries: int, transfer: int, place: str) -> RgbProfile:
    """
    Return the profile that code points stand for.

    Parameters
    ----------
    primaries, transfer : int
        H.273 colour primaries and transfer characteristics; 2 (unspecified) is taken as sRGB's.
    place : str
        What to call the file in a message.

    Returns
    -------
    RgbProfile

    Raises
    ------
    FormatError
        ``colour-code-unknown`` for primaries or transfers outside the tables used;
        ``photo-high-range`` for pictures coded for high dynamic range displays.

    Examples
    --------
    >>> profile_from_code_points(1, 13, "a.heic").is_srgb_like
    True
    """
    if transfer in _HIGH_RANGE:
        raise FormatError(
            "photo-high-range",
            f"{place}: it is coded for displays of high dynamic range ({_HIGH_RANGE[transfer]}), "
            "not in proportion to the camera's light.",
            "Switch that off in the camera, or use its JPEG or raw file.",
        )
    found = _PRIMARIES.get(1 if primaries == _UNSTATED else primaries)
    grid = np.linspace(0.0, 1.0, 4096)
    if transfer in (_UNSTATED, _SRGB):
        curve = srgb_to_linear_grid()
    elif transfer == _LINEAR:
        curve = grid
    elif transfer in _BROADCAST:
        # H.273, table 3: the inverse of the camera's own curve
        curve = np.where(grid < 0.081, grid / 4.5, ((grid + 0.099) / 1.099) ** (1 / 0.45))
    elif transfer in _EXPONENTS:
        curve = grid ** _EXPONENTS[transfer]
    else:
        found = None
        curve = grid
    if found is None:
        raise FormatError(
            "colour-code-unknown",
            f"{place}: code points {primaries}/{transfer} for its colours are not known.",
        )
    return profile_from_primaries(f"code points {primaries}/{transfer}", *found, curve)


def profile_from_gamma(
    gamma: float, white_primaries_xy: tuple[float, ...], place: str
) -> RgbProfile:
    """
    Return the profile that PNG's gAMA and cHRM stand for.

    Parameters
    ----------
    gamma : float
        Exponent of encoding (about 0.45455).
    white_primaries_xy : tuple of 8 float
        White, red, green, blue; empty for those of sRGB.
    place : str
        What to call the file in a message.

    Returns
    -------
    RgbProfile

    Raises
    ------
    FormatError
        ``profile-damaged`` for values that no display can have.
    """
    xy = white_primaries_xy or (*_D65, *(v for p in _PRIMARIES[1][0] for v in p))
    pairs = tuple(zip(xy[0::2], xy[1::2], strict=True))
    green, blue = (np.array(p) - pairs[1] for p in pairs[2:])
    area = abs(green[0] * blue[1] - green[1] * blue[0])
    if not 0.1 <= gamma <= 1.0 or area < 0.01 or min(y for _, y in pairs) <= 0:
        raise FormatError(
            "profile-damaged", f"{place}: it states primaries or an exponent that cannot be."
        )
    grid = np.linspace(0.0, 1.0, 4096)
    is_about_srgb = abs(gamma - 0.45455) < 0.0005  # what writers of 1/2.2 mean as a rule
    curve = srgb_to_linear_grid() if is_about_srgb else grid ** (1.0 / gamma)
    return profile_from_primaries("stated primaries", pairs[1:], pairs[0], curve)
