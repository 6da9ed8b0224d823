"""The colour of an area in one photo: pixels of the original, and the photo's colour fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from numpy.typing import NDArray

from dryslate.app.card_reading import read_cards
from dryslate.app.measure_look import Look
from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.colour.fit import ColourFit, fit_from_dict
from dryslate.core.measure.colour_area import measure_colour
from dryslate.core.measure.result import Measurement

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ColourSource:
    """
    What the colours of one photo are measured from.

    Parameters
    ----------
    pixels : ndarray of uint8 or uint16, shape (h, w, 3)
        The original, upright.
    linear_lut : ndarray of float, shape (n, 3)
    fit : ColourFit or None
        None where the photo has none.
    card : str or None
        Name of the card the fit rests on, where it is the photo's own.
    problems : tuple of Problem
        What was said on the way to the fit; its own are not among them.
    """

    pixels: NDArray[Any]
    linear_lut: NDArray[Any]
    fit: ColourFit | None
    card: str | None = None
    problems: tuple[Problem, ...] = ()


def fitted_source(look: Look) -> ColourSource:
    """
    Fit the colours of a photo anew by the cards found in it, as correcting does.

    Parameters
    ----------
    look : Look

    Returns
    -------
    ColourSource
    """
    photo = look.photo
    reading = read_cards(photo, look.job, look.search)
    own = () if reading.fit is None else reading.fit.problems
    return ColourSource(
        pixels=upright_view(photo.pixels, photo.metadata.orientation),
        linear_lut=photo.linear_lut,
        fit=reading.fit,
        card=None if reading.card is None else reading.card.card.name,
        problems=tuple(p for p in reading.problems if p not in own),
    )


def stored_source(photo: DecodedPhoto, colour: Mapping[str, Any], card: str) -> ColourSource:
    """
    Rebuild the colour fit that the correction kept.

    Parameters
    ----------
    photo : DecodedPhoto
        The original.
    colour : Mapping
        As in `CorrectionRow.colour`.
    card : str
        Empty where the correction rests on no card in this photo.

    Returns
    -------
    ColourSource

    Raises
    ------
    InputError
        ``colour-fit-unreadable``.
    """
    return ColourSource(
        pixels=upright_view(photo.pixels, photo.metadata.orientation),
        linear_lut=photo.linear_lut,
        fit=fit_from_dict(colour),
        card=card or None,
    )


def measure_area(source: ColourSource, outline_px: Points, place: str) -> Measurement:
    """
    Measure the colour of one area.

    Parameters
    ----------
    source : ColourSource
    outline_px : tuple of points
        In pixels of the upright original.
    place : str
        What to call the photo.

    Returns
    -------
    Measurement
        Problems have their place filled in.

    Raises
    ------
    InputError
        ``measure-colour-no-fit`` without a usable correction; else as
        `dryslate.core.measure.colour_area.measure_colour`.
    """
    if source.fit is None:
        raise InputError(
            "measure-colour-no-fit",
            "The photo has no colour correction that can be used.",
            "Measure colours in a photo with a card, or correct the project first so that the "
            "photo can borrow a neighbour's card.",
        )
    measured = measure_colour(source.pixels, source.linear_lut, outline_px, source.fit)
    problems = tuple(p if p.place else replace(p, place=place) for p in measured.problems)
    return replace(measured, problems=problems)
