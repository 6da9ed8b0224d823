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
from dryslate.app.correct_request import read_lens as read_lens_file
from dryslate.app.correction_records import CorrectSettings
from dryslate.app.geometry import lens_of, plane_of
from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.base.errors import InputError
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.card import finding
from dryslate.core.card.definition import CardDefinition
from dryslate.core.card.found import CardSearch, FoundCard
from dryslate.core.card.patches import sample_card
from dryslate.core.colour import apply, fit, spaces
from dryslate.core.colour.outcome import ColourFit
from dryslate.core.measure import colour_area, corallites, lengths, outline
from dryslate.core.measure.result import Measurement, MeasureSettings
from dryslate.core.scale.lens import Lens, Port, fit_lens_to_size, turn_lens
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
    img_srgb : array_like of uint8 or uint16, shape (height, width, 3)
        sRGB code values (0 to 255, or 0 to 65535), the right way up.

    Returns
    -------
    OpenPhoto

    Raises
    ------
    ValueError
        If the shape or type is another, or there are no pixels.

    Examples
    --------
    >>> import numpy as np
    >>> import dryslate
    >>> dryslate.photo_from_array(np.zeros((60, 80, 3), np.uint8)).size_px
    (80, 60)
    """
    pixels = np.asarray(img_srgb)
    is_rgb = pixels.ndim == 3 and pixels.shape[2] == 3 and pixels.size > 0
    if pixels.dtype not in (np.uint8, np.uint16) or not is_rgb:
        raise ValueError(
            "expected uint8 or uint16 of shape (height, width, 3), "
            f"got {pixels.dtype} {pixels.shape}"
        )
    top = int(np.iinfo(pixels.dtype).max)
    curve = spaces.srgb_to_linear(np.arange(top + 1) / top)
    return _open(
        DecodedPhoto(
            pixels=pixels,
            linear_lut=np.repeat(curve[:, None], 3, axis=1).astype(np.float32),
            to_srgb=np.eye(3),
            kind="png",
            metadata=PhotoMetadata(),
        )
    )


def cards(project: str | Path | None = None) -> tuple[CardDefinition, ...]:
    """
    List the cards that are known.

    Parameters
    ----------
    project : str or Path, optional
        Folder of a project: its own cards too, with the values measured of them.

    Returns
    -------
    tuple of CardDefinition
        For `find_cards`; a project's own card stands in place of a built-in one of its name or
        markers.

    Raises
    ------
    InputError, FormatError
        For a card file of the project that cannot be read.

    Examples
    --------
    >>> import dryslate
    >>> [card.name for card in dryslate.cards()][:3]
    ['field', 'large', 'stick']
    """
    return wiring.reference_tables(None if project is None else Path(project)).cards()


def find_cards(photo: OpenPhoto, known: Sequence[CardDefinition] | None = None) -> CardSearch:
    """
    Find every reference card with markers in a photo.

    Parameters
    ----------
    photo : OpenPhoto
    known : sequence of CardDefinition, optional
        The cards to look for, from `cards`; the built-in ones unless given.

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
        A usable one, or one that is for looking only (``colour-looking-only`` among its problems).

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        sRGB (D65), the right way up; true only near the card's distance.

    Raises
    ------
    InputError
        With the slug of the reason, for a fit that was refused.
    """
    if not colour.can_be_shown:
        reason = next(p for p in colour.problems if p.severity == "error")
        raise InputError(reason.slug, reason.message, reason.fix)
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


def read_lens(path: str | Path) -> Lens:
    """
    Read a lens calibration that ``dryslate lens`` wrote.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Lens
        For `fit_plane`.

    Raises
    ------
    InputError
        ``lens-file-missing``.
    FormatError
        If it is no lens file.
    """
    return read_lens_file(Path(path))


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
        A calibration, from `read_lens`; without one a prior from the file's focal length is used.
    port : {"none", "flat", "dome", "unknown"}
        What stood between lens and water, where there is no calibration; ``none`` in air.

    Returns
    -------
    Plane

    Raises
    ------
    InputError
        If the card's points do not carry a plane, or the calibration is of photos of another shape.
    ValueError
        If the port is another.
    """
    metadata = photo.decoded.metadata
    if lens is None:
        assumed, _ = lens_of(metadata, photo.size_px, None, port)
        return plane_of(card, photo.size_px, assumed)
    turned = fit_lens_to_size(turn_lens(lens, metadata.orientation), photo.size_px)
    return plane_of(card, photo.size_px, turned)


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
        Pointing uncertainty and distance from the card's plane; without it 1 pixel, and a
        distance of a quarter of what is measured either way.

    Returns
    -------
    Measurement
        With ``length_mm``, ``length_mm_u`` (one standard uncertainty), ``length_mm_lo95`` and
        ``length_mm_hi95``.

    Raises
    ------
    InputError
        For points that are too few, the same, or outside the photo.
    ValueError
        For points of another shape.
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
        As for `measure_length`.

    Returns
    -------
    Measurement
        With ``area_cm2``, ``perimeter_mm``, ``diameter_max_mm`` and ``diameter_across_mm``, each
        with its ``_u``, ``_lo95`` and ``_hi95``.

    Raises
    ------
    InputError
        As `measure_length`, and for an outline that crosses itself.
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
        As for `measure_length`.

    Returns
    -------
    Measurement
        With ``corallite_mm`` (the mean), its ``_u``, ``_lo95`` and ``_hi95``, and
        ``corallite_sd_mm`` between them.

    Raises
    ------
    InputError
        As `measure_length`, and for an odd number of points.
    """
    return corallites.measure_corallites(plane, points_px, settings or MeasureSettings())


def _open(decoded: DecodedPhoto) -> OpenPhoto:
    """Look at decoded pixels the right way up."""
    return OpenPhoto(
        pixels=upright_view(decoded.pixels, decoded.metadata.orientation), decoded=decoded
    )
