"""How far an area is from the card's white in the same uncorrected frame, in CIELAB."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate.base.errors import InputError
from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.core.colour.light import LightDoubt
from dryslate.core.colour.spaces import lab_jacobian, linear_srgb_to_lab
from dryslate.core.measure.colour_area import AreaPixels, sample_area

FloatArray = NDArray[np.float64]

WHITE_LAB_L = 85.0
"""A card's brightest neutral that is darker than this L* is no white."""
INNER_FRAC = 0.6
"""How much of a patch's width and height is looked at, so that its edges stay out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhiteDistance:
    """
    An area against the white of the card.

    Parameters
    ----------
    distance : float
        Euclidean in CIELAB (CIE 1976), both as the camera rendered them.
    u : float
        Standard uncertainty that all frames of one set-up share: light that differs between card
        and area.
    noise_u : float
        Of the two means' pixels.
    area_lab, white_lab : ndarray of float, shape (3,)
        Uncorrected, D65.
    n_whites : int
        White patches that could be read.
    """

    distance: float
    u: float
    noise_u: float
    area_lab: FloatArray
    white_lab: FloatArray
    n_whites: int


def white_patches(card: CardDefinition) -> tuple[Patch, ...]:
    """Return the card's brightest neutral with its twins; none where it has no white."""
    neutrals = [p for p in card.patches if p.role == "neutral"]
    brightest = max(neutrals, key=lambda p: p.lab_d65[0], default=None)
    if brightest is None or brightest.lab_d65[0] < WHITE_LAB_L:
        return ()
    names = {brightest.patch_id, brightest.twin_of} - {""}
    return tuple(p for p in neutrals if p.patch_id in names or p.twin_of in names)


def inner_corners_mm(patch: Patch) -> FloatArray:
    """Return the corners of a patch's inner part, clockwise, in millimetres of the card."""
    middle = np.array([patch.x_mm + patch.width_mm / 2, patch.y_mm + patch.height_mm / 2])
    half = np.array([patch.width_mm, patch.height_mm]) * INNER_FRAC / 2
    return np.asarray(middle + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]))


def measure_white_distance(
    picture: tuple[NDArray[Any], NDArray[Any], FloatArray],
    outline_px: ArrayLike,
    whites_px: Sequence[ArrayLike],
    light: LightDoubt | None = None,
) -> WhiteDistance:
    r"""
    Measure the distance of an area's colour from the card's white.

    Parameters
    ----------
    picture : (ndarray, ndarray, ndarray)
        Upright pixels, the table from their codes to linear light, and the file's linear RGB to
        linear sRGB.
    outline_px : array_like of float, shape (n, 2)
    whites_px : sequence of array_like, each of shape (4, 2)
        Where white patches lie; those that cannot be read are left out.
    light : LightDoubt or None
        What the photo's correction says of the light away from the card.

    Returns
    -------
    WhiteDistance

    Raises
    ------
    InputError
        ``white-not-readable`` where no white patch can be read (blown out, too small, outside);
        those of `sample_area` for the area itself.

    Notes
    -----
    :math:`d = \lVert Lab(area) - Lab(white) \rVert_2`. Nothing is corrected, so d depends on
    exposure and water: only the same card, near the same distance and light, makes visits
    comparable. An under-exposed frame makes d too small.
    """
    img, lut, to_srgb = picture
    area = sample_area(img, lut, outline_px)
    whites: list[AreaPixels] = []
    reasons: list[str] = []
    for corners in whites_px:
        try:
            whites.append(sample_area(img, lut, corners))
        except InputError as error:
            reasons.append(error.message)
    if not whites:
        raise InputError(
            "white-not-readable",
            "The card's white cannot be read in this photo"
            + (f": {reasons[0]}" if reasons else ": the card has none that can be found."),
            "Photograph the card whole and without glare; expose so that its white is not blown "
            "out.",
        )
    area_linear = to_srgb @ area.mean_linear
    white_linear = to_srgb @ np.mean([w.mean_linear for w in whites], axis=0)
    area_lab, white_lab = linear_srgb_to_lab(area_linear), linear_srgb_to_lab(white_linear)
    away = area_lab - white_lab
    distance = float(np.linalg.norm(away))
    direction = away / distance if distance > 0 else np.array([-1.0, 0.0, 0.0])
    by_light = float(direction @ lab_jacobian(area_linear) @ area_linear)
    log_u = 0.0 if light is None else float(light.log_light_u(area.centre_px.reshape(1, 2))[0])
    n_whites = len(whites)
    by_area = direction @ lab_jacobian(area_linear) @ to_srgb
    by_white = direction @ lab_jacobian(white_linear) @ to_srgb
    noise = float(by_area @ area.cov_linear @ by_area) / area.n_px
    noise += sum(float(by_white @ w.cov_linear @ by_white) / w.n_px / n_whites**2 for w in whites)
    return WhiteDistance(
        distance=distance,
        u=abs(by_light) * log_u,
        noise_u=float(np.sqrt(noise)),
        area_lab=area_lab,
        white_lab=white_lab,
        n_whites=n_whites,
    )
