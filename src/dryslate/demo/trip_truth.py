"""What is true about a photo of the made-up trip, and what a person would measure in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dryslate.demo.scene import Rendered
from dryslate.demo.spectra import FloatArray
from dryslate.demo.station import ColonyTruth
from dryslate.demo.trip_plan import BAR_MM, GREY_CHIP, StationVisit, TripVisit
from dryslate.demo.trip_shots import Shot

INNER_FRAC = 0.6
"""A person who outlines a chip stays well inside its rim: this share of each side."""

POINTING_U_PX = 1.0
"""How far a picked point lies from where it should, each way, one standard deviation."""


def truth_of(
    there: tuple[TripVisit, StationVisit, int],
    shot: Shot,
    name: str,
    made: Rendered,
    truths: Sequence[ColonyTruth],
) -> dict[str, Any]:
    """
    Everything true about a photo, as plain values.

    `there` is the visit, the station on it, and the trip's seed.
    """
    visit, station, _ = there
    width, height = made.img_srgb.shape[1], made.img_srgb.shape[0]
    colonies = [_colony_doc(t, made, (width, height)) for t in truths]
    water = shot.water or station.water
    doc: dict[str, Any] = {
        "photo": name,
        "site": visit.site,
        "date": visit.date,
        "observer": visit.observer,
        "station": station.station.name,
        "depth_m": water.depth_m,
        "water": water.jerlov,
        "flash": shot.flash is not None,
        "note": shot.note,
        "is_survey": visit.is_survey,
        "shows": shot.shows,
        "size_px": [width, height],
        "card": None,
        "colonies": colonies,
        "controls": _controls(made),
    }
    for card in made.truth.cards:
        doc["card"] = {
            "name": card.name,
            "corners_px": card.corners_px.round(3).tolist(),
            "tilt_deg": round(card.tilt_deg, 3),
            "distance_mm": round(card.distance_mm, 2),
            "patch_lab": {k: [round(v, 3) for v in lab] for k, lab in card.patch_lab.items()},
            "covered_markers": [m.marker_id for m in card.markers if m.covered_frac > 0.1],
        }
    doc["to_measure"] = _measured_rows(there, shot, name, made, truths)
    return doc


def _colony_doc(truth: ColonyTruth, made: Rendered, size_px: tuple[int, int]) -> dict[str, Any]:
    """The truth about one colony in one photo."""
    colony = truth.colony
    outline = made.truth.points_px[f"{colony.name}/outline"]
    health = {k: getattr(colony.health, k) for k in colony.health.__dataclass_fields__}
    return {
        "colony": colony.name,
        "genus": colony.genus,
        "form": colony.form,
        "health": health,
        "whole_in_frame": _inside(outline, size_px),
        "outline_px": outline.round(2).tolist(),
        "diameter_max_mm": _length(truth.longest_mm),
        "diameter_across_mm": _length(truth.across_mm),
        "area_cm2": truth.area_cm2,
        "perimeter_mm": truth.perimeter_mm,
        "lab_d65": [round(v, 3) for v in truth.lab_d65],
    }


def _length(ends_mm: FloatArray) -> float:
    """Distance between two points."""
    return float(np.linalg.norm(ends_mm[1] - ends_mm[0]))


def _inside(points_px: FloatArray, size_px: tuple[int, int], margin: float = 8.0) -> bool:
    """Whether all points lie well inside the picture."""
    high = np.array(size_px) - 1.0 - margin
    return bool((points_px >= margin).all() and (points_px <= high).all())


def _controls(made: Rendered) -> dict[str, Any]:
    """Bar and chip: where they lie and what they are."""
    controls: dict[str, Any] = {}
    if "bar" in made.truth.points_px:
        ends = made.truth.points_px["bar"]
        controls["bar"] = {"length_mm": BAR_MM, "points_px": ends.round(3).tolist()}
    for thing in made.truth.things:
        if thing.name == GREY_CHIP and thing.lab_d65 is not None:
            controls[GREY_CHIP] = {
                "lab_d65": [round(v, 3) for v in thing.lab_d65],
                "centre_px": thing.centre_px.round(2).tolist(),
            }
    return controls


def _measured_rows(
    there: tuple[TripVisit, StationVisit, int],
    shot: Shot,
    name: str,
    made: Rendered,
    truths: Sequence[ColonyTruth],
) -> list[dict[str, Any]]:
    """What a person would click, with an error of about a pixel, beside the true values."""
    visit, _, seed = there
    rng = np.random.default_rng([seed, 60_000 + int(name[4:8])])
    size = (made.img_srgb.shape[1], made.img_srgb.shape[0])
    by_name = {t.colony.name: t for t in truths}
    rows = []
    for colony, kind in shot.measured:
        row = _picked(by_name[colony], kind, made, size)
        if row is not None:
            rows.append(row)
    if "bar" in made.truth.points_px and shot.measured and shot.measured[0][1] == "outline":
        rows.append(
            {
                "colony": "bar",
                "kind": "length",
                "exact_px": made.truth.points_px["bar"],
                "true": {"length_mm": BAR_MM},
                "off_plane_mm": 0.0,
                "off_plane_mm_u": 1.0,
            }
        )
    rows += _picked_chip(made)
    rows = [r for r in rows if _inside(r["exact_px"], size)]
    for row in rows:
        exact = row.pop("exact_px")
        clicked = exact + rng.normal(0.0, POINTING_U_PX, exact.shape)
        row["points_px"] = clicked.round(1).tolist()
        row["photo"] = name
        row["observer"] = visit.observer
    return rows


def _picked_chip(made: Rendered) -> list[dict[str, Any]]:
    """The inner part of the grey chip, in a photo that shows it and a card."""
    if not made.truth.cards:
        return []
    return [
        {
            "colony": GREY_CHIP,
            "kind": "colour",
            "exact_px": thing.centre_px + INNER_FRAC * (thing.corners_px - thing.centre_px),
            "true": {"lab": [round(v, 3) for v in thing.lab_d65]},
        }
        for thing in made.truth.things
        if thing.name == GREY_CHIP and thing.lab_d65 is not None
    ]


def _picked(
    truth: ColonyTruth, kind: str, made: Rendered, size_px: tuple[int, int]
) -> dict[str, Any] | None:
    """One thing to measure in a colony; None where it is not whole in the frame."""
    colony = truth.colony
    row: dict[str, Any] = {"colony": colony.name, "kind": kind}
    seen = made.truth.points_px
    if kind == "corallites":
        return _picked_corallites(truth, row, made, size_px)
    row["card_stood"] = "base" if colony.form == "branching" else "edge"
    if kind == "length":
        row["exact_px"] = seen[f"{colony.name}/longest"]
        row["true"] = {"length_mm": _length(truth.longest_mm)}
    else:
        outline = seen[f"{colony.name}/outline"]
        row["exact_px"] = outline[:: max(len(outline) // 36, 1)]
        row["true"] = {
            "diameter_max_mm": _length(truth.longest_mm),
            "diameter_across_mm": _length(truth.across_mm),
            "area_cm2": truth.area_cm2,
            "perimeter_mm": truth.perimeter_mm,
        }
    return row if _inside(row["exact_px"], size_px) else None


def _picked_corallites(
    truth: ColonyTruth, row: dict[str, Any], made: Rendered, size_px: tuple[int, int]
) -> dict[str, Any] | None:
    """Eight corallites seen from straight above, with the height that a person would estimate."""
    colony = truth.colony
    ends = truth.corallites_mm
    if len(ends) < 6:
        return None
    chosen = np.sort(np.argsort(_slant(ends, made))[:8])
    pixels = made.truth.points_px[f"{colony.name}/corallites"].reshape(-1, 2, 2)[chosen]
    lengths = np.linalg.norm(ends[chosen, 1] - ends[chosen, 0], axis=1)
    height = float(-ends[chosen, :, 2].mean())
    row["exact_px"] = pixels.reshape(-1, 2)
    row["true"] = {"corallite_mm": float(lengths.mean())}
    row["off_plane_mm"] = 5.0 * round(height / 5.0)
    row["off_plane_mm_u"] = 4.0
    return row if _inside(row["exact_px"], size_px) else None


def _slant(ends_mm: FloatArray, made: Rendered) -> FloatArray:
    """
    How far the surface at each corallite is turned away from the camera (1 - cosine).

    The surface is the plane through the ends of the twelve nearest corallites: people pick
    corallites that they look straight into.
    """
    centres = ends_mm.mean(axis=1)
    pose = made.truth.pose
    eye = -pose.turn.T @ pose.shift_mm
    slants = []
    for centre in centres:
        near = np.argsort(np.linalg.norm(centres - centre, axis=1))[:12]
        spots = ends_mm[near].reshape(-1, 3)
        normal = np.linalg.svd(spots - spots.mean(axis=0))[2][2]
        view = (centre - eye) / np.linalg.norm(centre - eye)
        slants.append(1.0 - abs(float(normal @ view)))
    return np.array(slants)
