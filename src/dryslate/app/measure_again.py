"""Measurements that rest on an earlier correction of their photo: told, and measured again."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from dryslate.app.measure import measured_fields
from dryslate.app.measure_request import off_plane_of
from dryslate.app.measure_saved import require_standing
from dryslate.app.measure_try import Asked, Prepared, measure_prepared, pick_of
from dryslate.app.ports import SurveyStore
from dryslate.app.records import MeasurementRow, Photo, rests_on_earlier
from dryslate.app.visits import require_observer
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem, problem_of
from dryslate.core.measure.off_plane import OffPlane

KEPT = ("card_stood", "point_u_px", "off_plane")
"""What a stored measurement keeps of how it was asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """
    A measurement that rests on an earlier correction, and what it gives by the latest.

    Parameters
    ----------
    row : MeasurementRow
    values : Mapping or None
        As it would be stored now; None where the latest correction cannot measure it.
    problem : Problem or None
        Why not.
    """

    row: MeasurementRow
    values: Mapping[str, Any] | None
    problem: Problem | None = None


def resting_on_earlier(store: SurveyStore, photo: Photo) -> tuple[MeasurementRow, ...]:
    """
    Return the standing measurements of a photo that rest on an earlier correction.

    Parameters
    ----------
    store : SurveyStore
    photo : Photo

    Returns
    -------
    tuple of MeasurementRow
    """
    latest = store.correction(photo.photo_id)
    rows = store.measurements(photo.photo_id)
    return tuple(m for m in rows if rests_on_earlier(m, latest))


def try_again(row: MeasurementRow, prepared: Prepared) -> Again:
    """
    Measure the points of a stored measurement by the photo's latest correction; nothing is saved.

    Parameters
    ----------
    row : MeasurementRow
    prepared : Prepared

    Returns
    -------
    Again
    """
    try:
        off_plane = _off_plane(row, prepared.name)
        u = row.values.get("point_u_px")
        asked = Asked(
            kind=row.kind,  # type: ignore[arg-type]  # stored as one of the kinds
            points_px=row.points_px,
            point_u_px=1.0 if u is None else float(u),
        )
        pick = replace(pick_of(prepared, asked, row.colony, row.observer), off_plane=off_plane)
        done = measure_prepared(prepared, asked, pick)
    except DryslateError as error:
        return Again(row=row, values=None, problem=problem_of(error, prepared.name))
    if done.measurement is None:
        return Again(row=row, values=None, problem=done.problems[-1])
    kept = {name: row.values[name] for name in KEPT if name in row.values}
    values = {**measured_fields(done.measurement, done.problems), **kept}
    return Again(row=row, values=values)


def measure_again(
    store: SurveyStore, prepared: Mapping[bool, Prepared], ids: Collection[str], observer: str
) -> tuple[dict[str, str], tuple[Problem, ...]]:
    """
    Take the values by the latest correction for measurements that rest on an earlier one.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    prepared : Mapping
        The photo ready for lengths (False) and, where any is among them, for colours (True).
    ids : collection of str
        Of the measurements.
    observer : str
        Who asks for it; who set the points stays with them.

    Returns
    -------
    before : dict
        The correction that each one rested on before, by measurement.
    problems : tuple of Problem
        One for each that stays as it was.

    Raises
    ------
    InputError
        ``measure-not-standing``; where none can be measured again, why not. Then none is changed.
    """
    require_observer(store, observer)
    before, rows, problems = {}, [], []
    for row_id in dict.fromkeys(ids):
        row = require_standing(store, row_id)
        now = prepared[row.kind == "colour"]
        again = try_again(row, now)
        if again.values is None:
            assert again.problem is not None  # one of the two is always there
            problems.append(replace(again.problem, place=row.colony))
            continue
        before[row_id] = row.correction_key
        rows.append(replace(row, values=again.values, correction_key=now.correction_key))
    if not rows:
        said = problems[0]
        raise InputError(said.slug, f"{said.place}: {said.message}", said.fix)
    store.save_measurements(rows)
    return before, tuple(problems)


def as_before(
    store: SurveyStore, photo: Photo, keys: Mapping[str, str], observer: str
) -> tuple[MeasurementRow, ...]:
    """
    Let measurements have the values again that they had by earlier corrections.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    photo : Photo
    keys : Mapping
        The correction whose values are to hold, by measurement; as `measure_again` returns it.
    observer : str

    Returns
    -------
    tuple of MeasurementRow

    Raises
    ------
    InputError
        ``measure-not-standing``.
    """
    require_observer(store, observer)
    entries = store.photo_measurements(photo.photo_id)
    rows = []
    for row_id, key in keys.items():
        require_standing(store, row_id)
        found = [
            m
            for m in entries
            if (m.measurement_id, m.correction_key) == (row_id, key) and not m.is_taken_back
        ]
        rows += found[-1:]
    store.save_measurements(rows)
    return tuple(rows)


def _off_plane(row: MeasurementRow, name: str) -> OffPlane | None:
    """Return what was said about the distance from the card's plane when it was measured."""
    said = row.values.get("off_plane")
    if said:
        return OffPlane(kind=said["kind"], mm=float(said["mm"]), mm_u=float(said["mm_u"]))
    if any(name in row.values for name in ("off_plane", "card_stood")):
        stood = row.values.get("card_stood") or None
        return off_plane_of(None, None, stood, in_plane=False)
    if row.kind == "colour" or "assumed" in row.values.get("flags", ()):
        return None
    raise InputError(
        "measure-again-unknown",
        f"{name}: it was measured from a table, and what that said about the distance from the "
        "card's plane is not on record.",
        "Measure from the table again: dryslate measure --project FOLDER --from TABLE.",
    )
