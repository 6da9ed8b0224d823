"""Measure what a table of picked points lists, in a project's photos, and save it there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.geometry import geometry_from_dict
from dryslate.app.measure import (
    CardPlane,
    failed_fields,
    find_planes,
    measure_one,
    measured_fields,
    nearest,
    no_card,
)
from dryslate.app.measure_request import MeasureOptions, ToMeasure, read_text
from dryslate.app.ports import PhotoReader, PhotoVault, ReferenceTables, SurveyStore
from dryslate.app.records import MeasurementRow, Photo
from dryslate.base.errors import DryslateError, InputError
from dryslate.base.problems import Problem
from dryslate.base.provenance import key_of
from dryslate.core.measure.result import Measurement
from dryslate.formats.points_csv import Pick, parse_picks


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """
    What measuring in a project works with.

    Parameters
    ----------
    store : SurveyStore
    vault : PhotoVault
    reader : PhotoReader
    tables : ReferenceTables
    """

    store: SurveyStore
    vault: PhotoVault
    reader: PhotoReader
    tables: ReferenceTables


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scaled:
    """A photo's planes, the correction they come from, and what was said on the way."""

    planes: tuple[CardPlane, ...]
    correction_key: str
    problems: tuple[Problem, ...] = ()


def measurement_id(photo_id: str, pick: Pick) -> str:
    """
    Name a measurement by what it is of, so that the same line twice is one row.

    Parameters
    ----------
    photo_id : str
    pick : Pick

    Returns
    -------
    str
    """
    return key_of(
        {
            "photo": photo_id,
            "colony": pick.colony,
            "kind": pick.kind,
            "points": [list(point) for point in pick.points_px],
        }
    )


def find_photo(photos: Sequence[Photo], name: str) -> Photo:
    """
    Find a project's photo by file name or by hash.

    Parameters
    ----------
    photos : sequence of Photo
    name : str
        The original file name, in any case, or at least the first eight digits of a hash.

    Returns
    -------
    Photo

    Raises
    ------
    InputError
        ``measure-photo-unknown`` or ``measure-photo-ambiguous``.
    """
    wanted = name.strip().lower()
    bare = wanted.replace("\\", "/").rsplit("/", 1)[-1]
    hits = [
        photo
        for photo in photos
        if any(
            file.original_name.replace("\\", "/").rsplit("/", 1)[-1].lower() == bare
            or (len(wanted) >= 8 and file.sha256.startswith(wanted))
            for file in photo.files
        )
    ]
    if not hits:
        raise InputError(
            "measure-photo-unknown",
            f"The project has no photo {name!r}.",
            "Give the file's original name, or its hash; take the photo in first.",
        )
    if len(hits) > 1:
        hashes = ", ".join(photo.photo_id[:12] for photo in hits)
        raise InputError(
            "measure-photo-ambiguous",
            f"The project has {len(hits)} photos called {name!r} ({hashes}).",
            "Give the hash of the one that is meant instead of its name.",
        )
    return hits[0]


def measure_project(
    table: Path, observer: str, bench: Bench, options: MeasureOptions
) -> Iterator[dict[str, Any]]:
    """
    Measure what a table lists and save it, each line by itself.

    Parameters
    ----------
    table : Path
        CSV: photo, colony, kind, points.
    observer : str
        Who picked the points, where the table does not say.
    bench : Bench
    options : MeasureOptions
        A lens or port given here replaces what the correction used.

    Yields
    ------
    dict
        As `measure_photo`, with ``colony``, ``measurement_id`` and ``saved``; a line that cannot
        be used has an error among its problems, and the others go on.

    Raises
    ------
    InputError, FormatError
        When the table cannot be read at all.
    """
    picks, bad = parse_picks(read_text(table, "points"), str(table))
    for problem in bad:
        yield {
            "photo": None,
            "kind": None,
            "index": None,
            "saved": False,
            "problems": [problem.as_dict()],
        }
    photos = bench.store.photos()
    known: dict[str, _Scaled] = {}
    for index, pick in enumerate(picks):
        place = f"{table}, line {pick.row}"
        head: dict[str, Any] = {
            "photo": pick.photo,
            "kind": pick.kind,
            "index": index,
            "colony": pick.colony,
        }
        try:
            photo = find_photo(photos, pick.photo)
            if photo.photo_id not in known:
                known[photo.photo_id] = _scale(photo, bench, options)
            scaled = known[photo.photo_id]
            if not scaled.planes:
                missing = no_card(pick.photo)
                fields = failed_fields(pick.kind, (*scaled.problems, missing))
                yield {**head, **fields, "saved": False}
                continue
            thing = ToMeasure(kind=pick.kind, points_px=pick.points_px, off_plane=pick.off_plane)
            seen = nearest(scaled.planes, thing)
            measured = measure_one(seen.plane, thing, options)
        except DryslateError as error:
            failure = Problem(
                slug=error.slug,
                severity="error",
                place=place,
                message=error.message,
                fix=error.fix,
            )
            yield {**head, **failed_fields(pick.kind, (failure,)), "saved": False}
            continue
        row = _row(photo, pick, measured, scaled, observer)
        with bench.store.write():
            bench.store.save_measurements([row])
        yield {
            **head,
            **measured_fields(measured, scaled.problems),
            "card": seen.card,
            "measurement_id": row.measurement_id,
            "saved": True,
        }


def _scale(photo: Photo, bench: Bench, options: MeasureOptions) -> _Scaled:
    """Take the plane that the correction kept, or find the card again."""
    row = bench.store.correction(photo.photo_id)
    key = row.key if row is not None else ""
    asked = options.lens is not None or options.port != "unknown" or options.card_names
    if row is not None and not asked and options.corners_px is None:
        plane = geometry_from_dict(row.geometry)
        if plane is not None:
            card = str(row.geometry.get("card", ""))
            return _Scaled(planes=(CardPlane(card=card, plane=plane),), correction_key=key)
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    path = bench.vault.path_of(file.sha256, file.original_name)
    decoded = bench.reader.read(path)
    planes, problems = find_planes(decoded, file.original_name, bench.reader, bench.tables, options)
    return _Scaled(planes=planes, correction_key=key, problems=problems)


def _row(
    photo: Photo, pick: Pick, measured: Measurement, scaled: _Scaled, observer: str
) -> MeasurementRow:
    """Build the row that the store keeps."""
    return MeasurementRow(
        measurement_id=measurement_id(photo.photo_id, pick),
        photo_id=photo.photo_id,
        colony=pick.colony,
        kind=measured.kind,
        points_px=pick.points_px,
        values=measured_fields(measured, scaled.problems),
        correction_key=scaled.correction_key,
        observer=pick.observer or observer,
    )
