"""Photos, their cards and colours, and measuring in them: numpy in, records out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dryslate import wiring
from dryslate.app.card_reading import eight_bit_view
from dryslate.app.correct import colour_settings
from dryslate.app.correction_records import CorrectSettings
from dryslate.app.geometry import lens_of, plane_of
from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card import finding
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSearch, FoundCard
from dryslate.core.card.patches import sample_card
from dryslate.core.colour import apply, fit, spaces
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.measure import colour_area, corallites, lengths, outline
from dryslate.core.measure.result import Measurement, MeasureSettings
from dryslate.core.scale.lens import Lens, Port
from dryslate.core.scale.plane import Plane


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenPhoto:
    """
    A photo in memory, the right way up.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (height, width, 3)
        RGB code values of the upright photo; a view, not to be changed.
    decoded : DecodedPhoto
        The pixels as stored, and how to read them.
    """

    pixels: NDArray[Any]
    decoded: DecodedPhoto

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.pixels.shape[1], self.pixels.shape[0]


def read_photo(path: str | Path, *, largest_mp: float = 100.0) -> OpenPhoto:
    """
    Read a photo file; it is never changed.

    Parameters
    ----------
    path : str or Path
    largest_mp : float
        Larger photos, in megapixels, are refused before they are decoded.

    Returns
    -------
    OpenPhoto

    Raises
    ------
    InputError, FormatError
        With the reason, for a file that cannot be read.
    """
    return _open(wiring.photo_reader(largest_mp).read(Path(path)))


def photo_from_array(img_srgb: ArrayLike) -> OpenPhoto:
    """
    Take an array for a photo.

    Parameters
    ----------
    img_srgb : array_like of uint8, shape (height, width, 3)
        sRGB code values, the right way up.

    Returns
    -------
    OpenPhoto

    Raises
    ------
    ValueError
        If the shape or type is another.
    """
    pixels = np.asarray(img_srgb)
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3:
        raise ValueError(
            f"expected uint8 of shape (height, width, 3), got {pixels.dtype} {pixels.shape}"
        )
    curve = spaces.srgb_to_linear(np.arange(256) / 255.0)
    return _open(
        DecodedPhoto(
            pixels=pixels,
            linear_lut=np.repeat(curve[:, None], 3, axis=1).astype(np.float32),
            to_srgb=np.eye(3),
            kind="png",
            metadata=PhotoMetadata(),
        )
    )


def cards() -> tuple[CardDefinition, ...]:
    """
    List the built-in cards.

    Returns
    -------
    tuple of CardDefinition

    Examples
    --------
    >>> import dryslate
    >>> [card.name for card in dryslate.cards()][:3]
    ['field', 'large', 'stick']
    """
    return wiring.reference_tables().cards()


def find_cards(photo: OpenPhoto, known: Sequence[CardDefinition] | None = None) -> CardSearch:
    """
    Find every reference card with markers in a photo.

    Parameters
    ----------
    photo : OpenPhoto
    known : sequence of CardDefinition, optional
        The cards to look for; the built-in ones unless given.

    Returns
    -------
    CardSearch
        Its `cards` is empty when there is none.
    """
    wanted = [card for card in (cards() if known is None else known) if card.markers]
    coded, lut = eight_bit_view(photo.pixels, photo.decoded.linear_lut)
    return finding.find_cards(
        coded, wanted, linear_lut=None if lut is None else lut.astype(np.float64)
    )


def fit_colour(
    photo: OpenPhoto, card: FoundCard, *, nominal_as_measured: bool = False
) -> ColourFit:
    """
    Fit the colour correction of a photo to a card found in it.

    Parameters
    ----------
    photo : OpenPhoto
    card : FoundCard
        From `find_cards`.
    nominal_as_measured : bool
        Trust nominal patch values as if they had been measured.

    Returns
    -------
    ColourFit
        With `usable` False and the reason among its problems where it is refused.
    """
    settings = colour_settings(
        wiring.reference_tables(), CorrectSettings(nominal_as_measured=nominal_as_measured)
    )
    settings = replace(settings, is_encoded=photo.decoded.kind != "raw")
    samples = sample_card(photo.pixels, card, photo.decoded.linear_lut.astype(np.float64))
    return fit.fit_colour(samples, card.card, settings, photo.decoded.to_srgb)


def apply_correction(photo: OpenPhoto, colour: ColourFit) -> NDArray[np.uint8]:
    """
    Correct a photo.

    Parameters
    ----------
    photo : OpenPhoto
    colour : ColourFit
        A usable one.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB (D65), the right way up; true only near the card's distance.
    """
    orientation = photo.decoded.metadata.orientation
    stored = apply.apply_correction(
        photo.decoded.pixels, photo.decoded.linear_lut, colour.correction, orientation=orientation
    )
    return upright_view(stored, orientation)


def measure_colour(photo: OpenPhoto, colour: ColourFit, outline_px: ArrayLike) -> Measurement:
    """
    Measure the corrected colour of an area, with its doubt.

    Parameters
    ----------
    photo : OpenPhoto
    colour : ColourFit
        A usable one.
    outline_px : array_like of float, shape (n, 2)
        Corners in order, in pixels of the upright photo.

    Returns
    -------
    Measurement
        With ``lab`` (L*, a*, b*, D65), ``lab_u``, ``lab_lo95`` and ``lab_hi95``.

    Raises
    ------
    InputError
        ``measure-colour-few-pixels``, ``measure-colour-clipped`` or ``measure-colour-no-fit``.
    """
    return colour_area.measure_colour(photo.pixels, photo.decoded.linear_lut, outline_px, colour)


def fit_plane(
    photo: OpenPhoto, card: FoundCard, *, lens: Lens | None = None, port: Port = "unknown"
) -> Plane:
    """
    Fit the plane of a card found in a photo: scale, tilt and their doubt.

    Parameters
    ----------
    photo : OpenPhoto
    card : FoundCard
    lens : Lens, optional
        A calibration; without one a prior from the file's focal length is used.
    port : {"none", "flat", "dome", "unknown"}
        What stood between lens and water; ``none`` in air.

    Returns
    -------
    Plane

    Raises
    ------
    InputError
        If the card's points do not carry a plane.
    """
    chosen, _ = lens_of(photo.decoded.metadata, photo.size_px, lens, port)
    return plane_of(card, photo.size_px, chosen)


def measure_length(
    plane: Plane, points_px: ArrayLike, settings: MeasureSettings | None = None
) -> Measurement:
    """
    Measure between two points, or along several.

    Parameters
    ----------
    plane : Plane
    points_px : array_like of float, shape (n, 2)
        In pixels of the upright photo.
    settings : MeasureSettings, optional
        Pointing uncertainty and distance from the card's plane.

    Returns
    -------
    Measurement
    """
    return lengths.measure_length(plane, points_px, settings or MeasureSettings())


def measure_outline(
    plane: Plane, points_px: ArrayLike, settings: MeasureSettings | None = None
) -> Measurement:
    """
    Measure a closed outline: area, perimeter, longest diameter and the widest across it.

    Parameters
    ----------
    plane : Plane
    points_px : array_like of float, shape (n, 2)
        Corners in order, in pixels of the upright photo.
    settings : MeasureSettings, optional

    Returns
    -------
    Measurement
    """
    return outline.measure_outline(plane, points_px, settings or MeasureSettings())


def measure_corallites(
    plane: Plane, points_px: ArrayLike, settings: MeasureSettings | None = None
) -> Measurement:
    """
    Measure the mean of several corallites and the spread between them.

    Parameters
    ----------
    plane : Plane
    points_px : array_like of float, shape (2 n, 2)
        Two points a corallite, one after the other, in pixels of the upright photo.
    settings : MeasureSettings, optional

    Returns
    -------
    Measurement
    """
    return corallites.measure_corallites(plane, points_px, settings or MeasureSettings())


def _open(decoded: DecodedPhoto) -> OpenPhoto:
    """Look at decoded pixels the right way up."""
    return OpenPhoto(
        pixels=upright_view(decoded.pixels, decoded.metadata.orientation), decoded=decoded
    )
