"""Measure in one photo: find the card, take picked points to its plane, state the doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from dryslate.app.geometry import geometry_from_dict, lens_of, plane_of
from dryslate.app.measure_colour import ColourSource, fitted_source, measure_area
from dryslate.app.measure_look import Look, look_at
from dryslate.app.measure_request import MeasureOptions, ToMeasure
from dryslate.app.ports import PhotoReader, ReferenceTables
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.arrays.orientation import upright_view
from dryslate.core.measure.lengths import (
    Measurement,
    MeasureSettings,
    measure_corallites,
    measure_length,
    measure_outline,
)
from dryslate.core.measure.result import Kind
from dryslate.core.scale.plane import Plane, project_plane

VALUE_NAMES: dict[Kind, tuple[str, ...]] = {
    "length": ("length_mm",),
    "polyline": ("length_mm",),
    "outline": ("area_cm2", "perimeter_mm", "diameter_max_mm", "diameter_across_mm"),
    "corallites": ("corallite_mm",),
    "colour": ("lab",),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CardPlane:
    """A card found in a photo and its plane."""

    card: str
    plane: Plane


def kept_planes(geometry: Mapping[str, Any]) -> tuple[CardPlane, ...]:
    """
    Make the planes of what a correction kept of the cards in its photo.

    Parameters
    ----------
    geometry : Mapping
        As `CorrectionRow.geometry`.

    Returns
    -------
    tuple of CardPlane
        The card that the correction rests on first; empty where no plane fitted it.

    Raises
    ------
    FormatError
        ``scale-plane-broken`` when what was kept cannot be read.
    """
    first = geometry_from_dict(geometry)
    if first is None:
        return ()
    others = [(other, geometry_from_dict(other)) for other in geometry.get("others", ())]
    return (
        CardPlane(card=str(geometry.get("card", "")), plane=first),
        *(CardPlane(card=str(o["card"]), plane=plane) for o, plane in others if plane is not None),
    )


def find_planes(look: Look) -> tuple[tuple[CardPlane, ...], tuple[Problem, ...]]:
    """
    Fit the plane of each card in a photo.

    Parameters
    ----------
    look : Look

    Returns
    -------
    planes : tuple of CardPlane
        Largest card first.
    problems : tuple of Problem
        Of the search, of the lens, and of planes that could not be fitted.
    """
    height, width = upright_view(look.photo.pixels, look.photo.metadata.orientation).shape[:2]
    lens, lens_problems = lens_of(
        look.photo.metadata, (width, height), look.job.lens, look.job.settings.port
    )
    problems = [*look.search.problems, *lens_problems]
    planes = []
    for found in look.search.cards:
        try:
            plane = plane_of(found, (width, height), lens)
            planes.append(CardPlane(card=found.card.name, plane=plane))
        except DryslateError as error:
            problems.append(problem_of(error, f"card {found.card.name}", "warning"))
    return tuple(planes), tuple(problems)


def measure_one(plane: Plane, wanted: ToMeasure, options: MeasureOptions) -> Measurement:
    """
    Measure one thing in a plane.

    Parameters
    ----------
    plane : Plane
    wanted : ToMeasure
    options : MeasureOptions

    Returns
    -------
    Measurement

    Raises
    ------
    InputError
        As the measures of `dryslate.core.measure`.
    """
    off_plane = wanted.off_plane if wanted.off_plane is not None else options.off_plane
    settings = MeasureSettings(point_u_px=options.point_u_px, off_plane=off_plane)
    points = np.array(wanted.points_px, dtype=np.float64).reshape(-1, 2)
    if wanted.kind == "outline":
        return measure_outline(plane, points, settings)
    if wanted.kind == "corallites":
        return measure_corallites(plane, points, settings)
    return measure_length(plane, points, settings)


def nearest(planes: Sequence[CardPlane], wanted: ToMeasure) -> CardPlane:
    """
    Choose the card whose centre lies nearest to the points.

    Parameters
    ----------
    planes : sequence of CardPlane
        At least one.
    wanted : ToMeasure

    Returns
    -------
    CardPlane
    """
    if len(planes) == 1:
        return planes[0]
    middle = np.mean(np.array(wanted.points_px, dtype=np.float64).reshape(-1, 2), axis=0)

    def gap(seen: CardPlane) -> float:
        centre = project_plane(seen.plane, seen.plane.origin_mm)[0]
        return float(np.hypot(*(centre - middle)))

    return min(planes, key=gap)


def measure_photo(
    photo: Path,
    wanted: Sequence[ToMeasure],
    reader: PhotoReader,
    tables: ReferenceTables,
    options: MeasureOptions,
) -> list[dict[str, Any]]:
    """
    Measure things in one photo that belongs to no project.

    Parameters
    ----------
    photo : Path
    wanted : sequence of ToMeasure
    reader, tables
        Ports.
    options : MeasureOptions

    Returns
    -------
    list of dict
        One document a thing: photo, kind, index (its place in the order asked, from 0), the
        values with ``_u``, ``_lo95`` and ``_hi95`` (null where it could not be measured),
        budget, card, flags and problems. A colour's value is ``lab``, a list of L*, a*, b*.

    Raises
    ------
    InputError, SettingsError
        When the options contradict each other. That a photo cannot be read is in each document.
    """
    name = str(photo)
    try:
        decoded = reader.read(photo)
    except DryslateError as error:
        fault = (problem_of(error, name),)
        return [
            {"photo": name, "kind": thing.kind, "index": index, **failed_fields(thing.kind, fault)}
            for index, thing in enumerate(wanted)
        ]
    planes: tuple[CardPlane, ...] = ()
    problems: tuple[Problem, ...] = ()
    colours: ColourSource | None = None
    look = look_at(decoded, name, (reader, tables), options)
    if any(thing.kind != "colour" for thing in wanted):
        planes, problems = find_planes(look)
    if any(thing.kind == "colour" for thing in wanted):
        colours = fitted_source(look)
    return [
        measure_thing(name, index, thing, planes, options, problems)
        if colours is None or thing.kind != "colour"
        else measure_colour_thing(name, index, thing, colours)
        for index, thing in enumerate(wanted)
    ]


def measure_thing(
    photo: str,
    index: int,
    wanted: ToMeasure,
    planes: Sequence[CardPlane],
    options: MeasureOptions,
    problems: tuple[Problem, ...] = (),
) -> dict[str, Any]:
    """
    Measure one thing and put its document together, whatever comes of it.

    Parameters
    ----------
    photo : str
        What to call the photo.
    index : int
    wanted : ToMeasure
    planes : sequence of CardPlane
        Of the cards in the photo; may be empty.
    options : MeasureOptions
    problems : tuple of Problem
        What was said on the way to the planes.

    Returns
    -------
    dict
        As `measure_photo` says.
    """
    head: dict[str, Any] = {"photo": photo, "kind": wanted.kind, "index": index}
    if not planes:
        return {**head, **failed_fields(wanted.kind, (*problems, no_card(photo)))}
    seen = nearest(planes, wanted)
    if len(planes) > 1:
        problems = (*problems, several_cards(photo, planes, seen))
    try:
        measured = measure_one(seen.plane, wanted, options)
    except InputError as error:
        failure = problem_of(error, photo)
        return {**head, **failed_fields(wanted.kind, (*problems, failure)), "card": seen.card}
    return {**head, **measured_fields(measured, problems), "card": seen.card}


def measure_colour_thing(
    photo: str, index: int, wanted: ToMeasure, source: ColourSource
) -> dict[str, Any]:
    """
    Measure the colour of an area and put its document together, whatever comes of it.

    Parameters
    ----------
    photo : str
        What to call the photo.
    index : int
    wanted : ToMeasure
        Of the kind ``colour``.
    source : ColourSource

    Returns
    -------
    dict
        As `measure_photo` says.
    """
    head: dict[str, Any] = {"photo": photo, "kind": wanted.kind, "index": index}
    try:
        measured = measure_area(source, wanted.points_px, photo)
    except InputError as error:
        problems = (*source.problems, problem_of(error, photo))
        return {**head, **failed_fields(wanted.kind, problems), "card": source.card}
    return {**head, **measured_fields(measured, source.problems), "card": source.card}


def measured_fields(measured: Measurement, problems: tuple[Problem, ...]) -> dict[str, Any]:
    """
    Spell a measurement out for JSON.

    Parameters
    ----------
    measured : Measurement
    problems : tuple of Problem
        To be said besides its own.

    Returns
    -------
    dict
    """
    return {
        **measured.values,
        "budget": dict(measured.budget),
        "flags": [str(flag) for flag in measured.flags],
        "problems": [p.as_dict() for p in (*problems, *measured.problems)],
    }


def failed_fields(kind: Kind, problems: tuple[Problem, ...]) -> dict[str, Any]:
    """
    Spell a measurement out that could not be made.

    Parameters
    ----------
    kind : {"length", "polyline", "outline", "corallites", "colour"}
    problems : tuple of Problem
        At least one error among them.

    Returns
    -------
    dict
    """
    empty = {
        f"{name}{ending}": None
        for name in VALUE_NAMES[kind]
        for ending in ("", "_u", "_lo95", "_hi95")
    }
    if kind == "colour":
        empty["n_px"] = None
    return {**empty, "budget": {}, "flags": [], "problems": [p.as_dict() for p in problems]}


def no_card(photo: str) -> Problem:
    """
    Say that a photo shows no card.

    Parameters
    ----------
    photo : str

    Returns
    -------
    Problem
    """
    return Problem(
        slug="measure-no-card",
        severity="error",
        place=photo,
        message="no card was found, so nothing in this photo has a scale.",
        fix="Give the card's corners (--card NAME --corners), or measure in a photo with a card.",
    )


def several_cards(photo: str, planes: Sequence[CardPlane], seen: CardPlane) -> Problem:
    """
    Say which of several cards was used.

    Parameters
    ----------
    photo : str
    planes : sequence of CardPlane
        Of all cards in the photo.
    seen : CardPlane
        The one that was used.

    Returns
    -------
    Problem
    """
    names = ", ".join(p.card for p in planes)
    return Problem(
        slug="measure-several-cards",
        severity="note",
        place=photo,
        message=f"{len(planes)} cards are in the photo ({names}); the {seen.card} card, nearest "
        "to the points, was used.",
        fix="Name one with --card.",
    )
