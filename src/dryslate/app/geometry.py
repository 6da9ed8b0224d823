"""The plane of a card in a photo, from what was found and what is known of the lens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dryslate.app.records import PhotoMetadata
from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem
from dryslate.core.card.found import FoundCard
from dryslate.core.scale.lens import (
    Lens,
    LensPrior,
    Port,
    fit_lens_to_size,
    lens_prior,
    turn_lens,
)
from dryslate.core.scale.plane import (
    Plane,
    ViewSettings,
    fit_plane,
    plane_from_dict,
    plane_to_dict,
)

SHORTEST_MM, LONGEST_MM = 7.0, 300.0
"""Focal lengths (35 mm equivalent) that are believed: from fisheyes to long macro lenses."""


def lens_of(
    metadata: PhotoMetadata,
    image_size_px: tuple[int, int],
    lens: Lens | None,
    port: Port = "unknown",
) -> tuple[Lens | LensPrior, tuple[Problem, ...]]:
    """
    Choose the lens for a photo: its calibration, or a prior from the file.

    Parameters
    ----------
    metadata : PhotoMetadata
    image_size_px : tuple of int
        Width and height of the upright photo.
    lens : Lens or None
        A calibration, in the frame as the sensor stores it.
    port : {"none", "flat", "dome", "unknown"}
        What stood between lens and water, for the prior; ``none`` for photos in air.

    Returns
    -------
    lens : Lens or LensPrior
        In the frame of the upright photo.
    problems : tuple of Problem
        Why the calibration could not be used, where it could not.
    """
    problems: tuple[Problem, ...] = ()
    if lens is not None:
        try:
            return fit_lens_to_size(turn_lens(lens, metadata.orientation), image_size_px), ()
        except DryslateError as error:
            problems = (
                Problem(
                    slug=error.slug,
                    severity="warning",
                    place="lens",
                    message=f"{error.message} The stated prior was used instead.",
                    fix=error.fix,
                ),
            )
    focal = metadata.focal_35mm_mm
    if focal is not None and not SHORTEST_MM <= focal <= LONGEST_MM:
        problems = (*problems, _odd_focal(focal))
        focal = None
    under_water = port != "none"
    return lens_prior(focal, image_size_px, under_water, port), problems


def _odd_focal(focal_35mm_mm: float) -> Problem:
    """Say that a focal length is not believed: it would put the camera where it cannot be."""
    return Problem(
        slug="lens-focal-odd",
        severity="warning",
        place="lens",
        message=f"The file states a focal length of {focal_35mm_mm:g} mm (35 mm equivalent), which "
        f"is not believed ({SHORTEST_MM:g} to {LONGEST_MM:g} mm are); it is taken as not stated.",
        fix="Calibrate the lens (dryslate lens).",
    )


def plane_of(found: FoundCard, image_size_px: tuple[int, int], lens: Lens | LensPrior) -> Plane:
    """
    Fit the plane of a found card.

    Parameters
    ----------
    found : FoundCard
    image_size_px : tuple of int
        Width and height of the upright photo.
    lens : Lens or LensPrior
        From `lens_of`.

    Returns
    -------
    Plane

    Raises
    ------
    InputError
        As `fit_plane`.
    """
    card = found.card
    view = ViewSettings(
        image_size_px=image_size_px,
        lens=lens,
        print_scale_u_frac=card.print_scale_u_frac,
        centre_mm=(card.width_mm / 2.0, card.height_mm / 2.0),
        size_mm=(card.width_mm, card.height_mm),
    )
    return fit_plane(found.points_mm, found.points_px, found.points_u_px, view)


def geometry_to_dict(found: FoundCard, plane: Plane | None) -> dict[str, Any]:
    """
    Write what the store keeps so that a photo can be measured without another search.

    Parameters
    ----------
    found : FoundCard
    plane : Plane or None

    Returns
    -------
    dict
        Plain values for JSON.
    """
    return {
        "card": found.card.name,
        "how": found.how,
        "corners_px": found.corners_px.tolist(),
        "points_mm": found.points_mm.tolist(),
        "points_px": found.points_px.tolist(),
        "points_u_px": found.points_u_px.tolist(),
        "plane": None if plane is None else plane_to_dict(plane),
    }


def geometry_from_dict(geometry: Mapping[str, Any]) -> Plane | None:
    """
    Make the plane of what the store kept.

    Parameters
    ----------
    geometry : Mapping
        As `CorrectionRow.geometry`.

    Returns
    -------
    Plane or None
        None where no card was found, or no plane fitted it.

    Raises
    ------
    FormatError
        ``scale-plane-broken`` when what was kept cannot be read.
    """
    kept = geometry.get("plane")
    return plane_from_dict(kept) if kept else None
