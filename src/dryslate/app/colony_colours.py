"""The colour of tagged colonies: measured in each outlined frame, and followed over the visits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dryslate.app.archived_frames import archived_here, camera_of, is_ready, photos_elsewhere
from dryslate.app.colony_records import Colony, ColonyColour, ColonyFrame
from dryslate.app.geometry import geometry_from_dict
from dryslate.app.measure_colour import stored_source
from dryslate.app.measure_project import Bench
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.base.provenance import key_of
from dryslate.core.colour.doubt import lab_with_doubt
from dryslate.core.health.colony_colour import (
    ColourChange,
    ColourFigure,
    FrameColour,
    VisitFigure,
    compare_visits,
    visit_figures,
)
from dryslate.core.measure.colour_area import require_measurable, sample_area
from dryslate.core.measure.white_distance import (
    inner_corners_mm,
    measure_white_distance,
    white_patches,
)
from dryslate.core.scale.plane import project_plane

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import CorrectionRow, DecodedPhoto
    from dryslate.core.colour.fit import ColourFit


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSeries:
    """
    A colony's colour over its visits.

    Parameters
    ----------
    colony : Colony
    first_visit_id : str or None
        The earliest visit with a measured frame: the others are held against it.
    visits : Mapping
        Figures by visit, by date.
    changes : Mapping
        By visit, without the first.
    n_stale : int
        Outlined frames whose colour is not measured yet, or rests on an earlier outline or
        correction; they are left out.
    problems : tuple of Problem
        Why a frame has no colour or no distance from white.
    """

    colony: Colony
    first_visit_id: str | None
    visits: Mapping[str, Mapping[ColourFigure, VisitFigure]]
    changes: Mapping[str, tuple[ColourChange, ...]]
    n_stale: int
    problems: tuple[Problem, ...]


def outline_key(frame: ColonyFrame) -> str:
    """Hash the outline that a colour is measured in."""
    return key_of({"outline": [list(p) for p in frame.outline_px]})


def stale_frames(store: SurveyStore, colony: Colony) -> tuple[ColonyFrame, ...]:
    """Return the frames whose colour is not measured as outline and correction are now."""
    known = {row.photo_id: row for row in store.colony_colours(colony.organism_id)}
    found = []
    for frame in store.colony_frames(colony.organism_id):
        row = known.get(frame.photo_id)
        now = (outline_key(frame), _key_of(store.correction(frame.photo_id)))
        if is_ready(frame) and (row is None or (row.outline_key, row.correction_key) != now):
            found.append(frame)
    return tuple(found)


def frames_to_measure(store: SurveyStore, colony: Colony) -> tuple[ColonyFrame, ...]:
    """
    Return the frames to measure: the stale ones, and those measured before doubt was told apart.

    Parameters
    ----------
    store : SurveyStore
    colony : Colony

    Returns
    -------
    tuple of ColonyFrame
        What was measured before still holds, with a wider doubt of changes than need be.
    """
    stale = stale_frames(store, colony)
    before = {
        row.photo_id
        for row in store.colony_colours(colony.organism_id)
        if "lab" in row.measured and "mismatch_u" not in row.measured
    } - {frame.photo_id for frame in stale}
    frames = store.colony_frames(colony.organism_id)
    return (*stale, *(one for one in frames if one.photo_id in before and is_ready(one)))


def _key_of(row: CorrectionRow | None) -> str:
    """Return the key of a correction; empty without one."""
    return "" if row is None else row.key


def measure_frame(bench: Bench, frame: ColonyFrame, now: str) -> ColonyColour:
    """
    Measure the colour of a colony in one frame; nothing is saved.

    Parameters
    ----------
    bench : Bench
    frame : ColonyFrame
        Outlined.
    now : str

    Returns
    -------
    ColonyColour
        ``measured`` holds what could be measured, and under ``problems`` why the rest could not.

    Raises
    ------
    InputError
        Where the photo cannot be read.
    """
    photo = bench.store.photo(frame.photo_id)
    assert photo is not None  # a frame's photo is on record
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    decoded = bench.reader.read(bench.vault.path_of(file.sha256, file.original_name))
    row = bench.store.correction(frame.photo_id)
    measured: dict[str, Any] = {"problems": []}
    fit = None
    for part in (_corrected, _from_white):
        try:
            found, fit = part(bench, frame, decoded, row, fit)
            measured |= found
        except DryslateError as error:
            measured["problems"].append(problem_of(error, file.original_name).as_dict())
    return ColonyColour(
        organism_id=frame.organism_id,
        photo_id=frame.photo_id,
        outline_key=outline_key(frame),
        correction_key=_key_of(row),
        measured_at=now,
        measured=measured,
    )


def _corrected(
    bench: Bench,
    frame: ColonyFrame,
    decoded: DecodedPhoto,
    row: CorrectionRow | None,
    fit: ColourFit | None,
) -> tuple[dict[str, Any], ColourFit | None]:
    """Corrected colour of the outlined area, with the doubt that the correction states."""
    del bench, fit
    source = None if row is None or not row.colour else stored_source(decoded, row.colour, "")
    if row is None or source is None or source.fit is None:
        raise InputError(
            "measure-colour-no-fit",
            "The photo has no colour correction that can be used.",
            "Correct the project first, or photograph the colony with a card.",
        )
    require_measurable(source.fit)
    area = sample_area(source.pixels, source.linear_lut, frame.outline_px)
    where = (area.mean_linear, area.cov_linear, area.n_px, source.fit, area.centre_px)
    told = lab_with_doubt(*where)
    return {
        "lab": told.lab.tolist(),
        "lab_u": told.lab_u.tolist(),
        "lab_cov": told.lab_cov.tolist(),
        "card_u": list(told.parts["card"]),
        "mismatch_u": list(told.parts["mismatch"]),
        "card_key": str(row.geometry.get("card_key", "")),
        "n_px": area.n_px,
        "flags": [str(flag) for flag in source.fit.flags],
    }, source.fit


def _from_white(
    bench: Bench,
    frame: ColonyFrame,
    decoded: DecodedPhoto,
    row: CorrectionRow | None,
    fit: ColourFit | None,
) -> tuple[dict[str, Any], ColourFit | None]:
    """Distance of the outlined area from the card's white, uncorrected."""
    from dryslate.core.arrays.orientation import upright_view

    plane = None if row is None else geometry_from_dict(row.geometry)
    if row is None or plane is None:
        raise InputError(
            "white-not-readable",
            "The card's white cannot be read in this photo: no card was found in it.",
            "Photograph the colony with the card in the frame.",
        )
    card = bench.tables.card(str(row.geometry.get("card", "")))
    whites = [project_plane(plane, inner_corners_mm(p)) for p in white_patches(card)]
    pixels = upright_view(decoded.pixels, decoded.metadata.orientation)
    light = None if fit is None else fit.light
    picture = (pixels, decoded.linear_lut, np.asarray(decoded.to_srgb))
    found = measure_white_distance(picture, frame.outline_px, whites, light)
    return {
        "white_distance": found.distance,
        "white_distance_u": found.u,
        "white_distance_noise_u": found.noise_u,
        "area_lab_uncorrected": found.area_lab.tolist(),
        "white_lab_uncorrected": found.white_lab.tolist(),
        "n_whites": found.n_whites,
        "is_light_known": light is not None,
    }, fit


def follow_colony(bench: Bench, colony: Colony, now: str) -> tuple[ColonyColour, ...]:
    """
    Measure every frame of a colony that is new or changed, and save it frame by frame.

    Parameters
    ----------
    bench : Bench
        Its store is open for writing.
    colony : Colony
    now : str

    Returns
    -------
    tuple of ColonyColour
        What was measured now; run again, nothing is left to measure.
    """
    done = []
    for frame in frames_to_measure(bench.store, colony):
        found = measure_frame(bench, frame, now)
        bench.store.save_colony_colours([found])
        done.append(found)
    return tuple(done)


def colour_series(store: SurveyStore, colony: Colony) -> ColourSeries:
    """
    Put together a colony's colour over its visits, each against its own first.

    Parameters
    ----------
    store : SurveyStore
    colony : Colony

    Returns
    -------
    ColourSeries

    Notes
    -----
    Photos that are set aside are left out, and so are frames whose colour rests on an earlier
    outline or correction. What an archive brought was measured before, in photos that are not here.
    """
    aside = {one.photo_id for one in store.photos_set_aside()}
    stale = {frame.photo_id for frame in stale_frames(store, colony)}
    ready = {f.photo_id for f in store.colony_frames(colony.organism_id) if is_ready(f)}
    dates = {v.visit_id: v.date for v in store.visits()}
    frames: dict[str, list[FrameColour]] = {}
    problems = []
    for row in store.colony_colours(colony.organism_id):
        photo = store.photo(row.photo_id)
        if photo is None or row.photo_id in aside | stale or row.photo_id not in ready:
            continue
        problems += [Problem(**found) for found in row.measured.get("problems", ())]
        frames.setdefault(photo.visit_id, []).append(frame_colour(row.measured, camera_of(photo)))
    elsewhere = photos_elsewhere(store)
    for one in archived_here(store, colony.organism_id):
        if is_ready(one) and one.measured:
            problems += [Problem(**found) for found in one.measured.get("problems", ())]
            visit_id = elsewhere[one.photo_id].visit_id
            camera = str(one.measured.get("camera", ""))
            frames.setdefault(visit_id, []).append(frame_colour(one.measured, camera))
    by_date = sorted(frames, key=lambda visit_id: dates[visit_id])
    visits = {visit_id: visit_figures(frames[visit_id]) for visit_id in by_date}
    visits = {visit_id: figures for visit_id, figures in visits.items() if figures}
    first = next(iter(visits), None)
    return ColourSeries(
        colony=colony,
        first_visit_id=first,
        visits=visits,
        changes={} if first is None else compare_visits(visits, first),
        n_stale=len(stale),
        problems=tuple(problems),
    )


def frame_colour(measured: Mapping[str, Any], camera: str) -> FrameColour:
    """Read a measured frame."""
    arrays = {
        name: None if measured.get(name) is None else np.asarray(measured[name], dtype=np.float64)
        for name in ("lab", "lab_cov", "card_u", "mismatch_u")
    }
    return FrameColour(
        **arrays,
        card_key=str(measured.get("card_key", "")),
        camera_key=camera,
        white_distance=measured.get("white_distance"),
        white_distance_u=float(measured.get("white_distance_u", 0.0)),
    )
