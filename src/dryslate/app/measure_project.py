"""Measure what a table of picked points lists, in a project's photos, and save it there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dryslate.app.measure import (
    CardPlane,
    failed_fields,
    find_planes,
    kept_planes,
    measure_one,
    measured_fields,
    nearest,
    no_card,
    several_cards,
)
from dryslate.app.measure_colour import ColourSource, fitted_source, measure_area, stored_source
from dryslate.app.measure_look import look_at
from dryslate.app.measure_request import MeasureOptions, ToMeasure, read_text
from dryslate.app.ports import PhotoReader, PhotoVault, ReferenceTables, SurveyStore
from dryslate.app.project_photos import photos_called
from dryslate.app.records import DecodedPhoto, MeasurementRow, Photo
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
class Scaled:
    """A photo's planes, the correction they come from, and what was said on the way."""

    planes: tuple[CardPlane, ...]
    correction_key: str
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coloured:
    """A photo's colour source, and the correction its fit comes from."""

    source: ColourSource
    correction_key: str


@dataclass(slots=True, kw_only=True, eq=False)
class _Seen:
    """What is known of the photos so far; pixels are kept of the last one only."""

    planes: dict[str, Scaled] = field(default_factory=dict)
    last: tuple[str, Coloured] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A measurement, the card and correction it rests on, and what was said on the way."""

    measurement: Measurement | None
    card: str | None = None
    correction_key: str = ""
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
    hits = photos_called(photos, name)
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
    seen = _Seen()
    for index, pick in enumerate(picks):
        head: dict[str, Any] = {
            "photo": pick.photo,
            "kind": pick.kind,
            "index": index,
            "colony": pick.colony,
        }
        try:
            photo = find_photo(photos, pick.photo)
            done = _measure(photo, pick, (bench, options), seen)
        except DryslateError as error:
            failure = Problem(
                slug=error.slug,
                severity="error",
                place=f"{table}, line {pick.row}",
                message=error.message,
                fix=error.fix,
            )
            yield {**head, **failed_fields(pick.kind, (failure,)), "saved": False}
            continue
        if done.measurement is None:
            yield {**head, **failed_fields(pick.kind, done.problems), "saved": False}
            continue
        fields = measured_fields(done.measurement, done.problems)
        row = MeasurementRow(
            measurement_id=measurement_id(photo.photo_id, pick),
            photo_id=photo.photo_id,
            colony=pick.colony,
            kind=pick.kind,
            points_px=pick.points_px,
            values={**fields, **_said(pick, options)},
            correction_key=done.correction_key,
            observer=pick.observer or observer,
        )
        with bench.store.write():
            bench.store.save_measurements([row])
        yield {
            **head,
            **fields,
            "card": done.card,
            "measurement_id": row.measurement_id,
            "saved": True,
        }


def _said(pick: Pick, options: MeasureOptions) -> dict[str, Any]:
    """Keep how a line was asked for, so that it can be measured again by another correction."""
    said = pick.off_plane or options.off_plane
    kept = None if said is None else {"kind": said.kind, "mm": said.mm, "mm_u": said.mm_u}
    return {"point_u_px": options.point_u_px, "off_plane": kept}


def _measure(photo: Photo, pick: Pick, how: tuple[Bench, MeasureOptions], seen: _Seen) -> Measured:
    """Measure what one line asks, in its photo."""
    bench, options = how
    if pick.kind == "colour":
        if seen.last is None or seen.last[0] != photo.photo_id:
            seen.last = (photo.photo_id, colour_photo(photo, bench, options))
        return measure_coloured(seen.last[1], pick)
    if photo.photo_id not in seen.planes:
        seen.planes[photo.photo_id] = _scale(photo, bench, options)
    return measure_scaled(seen.planes[photo.photo_id], pick, options)


def measure_coloured(coloured: Coloured, pick: Pick) -> Measured:
    """
    Measure the colour of an area in a photo that is ready for it.

    Raises
    ------
    InputError
        As `dryslate.app.measure_colour.measure_area`.
    """
    source = coloured.source
    return Measured(
        measurement=measure_area(source, pick.points_px, pick.photo),
        card=source.card,
        correction_key=coloured.correction_key,
        problems=source.problems,
    )


def measure_scaled(scaled: Scaled, pick: Pick, options: MeasureOptions) -> Measured:
    """
    Measure one thing in the planes of a photo; without any, say that it has no scale.

    Raises
    ------
    InputError
        As the measures of `dryslate.core.measure`.
    """
    if not scaled.planes:
        return Measured(measurement=None, problems=(*scaled.problems, no_card(pick.photo)))
    thing = ToMeasure(kind=pick.kind, points_px=pick.points_px, off_plane=pick.off_plane)
    near = nearest(scaled.planes, thing)
    problems = scaled.problems
    if len(scaled.planes) > 1:
        problems = (*problems, several_cards(pick.photo, scaled.planes, near))
    return Measured(
        measurement=measure_one(near.plane, thing, options),
        card=near.card,
        correction_key=scaled.correction_key,
        problems=problems,
    )


def _original(photo: Photo, bench: Bench) -> tuple[DecodedPhoto, str]:
    """Read a photo's original, and say its name."""
    file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    path = bench.vault.path_of(file.sha256, file.original_name)
    return bench.reader.read(path), file.original_name


def colour_photo(photo: Photo, bench: Bench, options: MeasureOptions) -> Coloured:
    """
    Take the colour fit that the correction kept, or fit the colours anew.

    Raises
    ------
    InputError, FormatError
        When the photo cannot be read, or the kept fit not be rebuilt.
    """
    row = bench.store.correction(photo.photo_id)
    decoded, name = _original(photo, bench)
    if row is not None and row.colour and not options.card_names and options.corners_px is None:
        card = "" if row.colour.get("loan") else str(row.geometry.get("card", ""))
        source = stored_source(decoded, row.colour, card)
        return Coloured(source=source, correction_key=row.key)
    source = fitted_source(look_at(decoded, name, (bench.reader, bench.tables), options))
    return Coloured(source=source, correction_key="")


def _scale(photo: Photo, bench: Bench, options: MeasureOptions) -> Scaled:
    """Take the planes that the correction kept, or find the cards again."""
    row = bench.store.correction(photo.photo_id)
    key = row.key if row is not None else ""
    asked = options.lens is not None or options.port != "unknown" or options.card_names
    if row is not None and not asked and options.corners_px is None:
        kept = kept_planes(row.geometry)
        is_older = "others" not in row.geometry and len(row.result.get("cards", ())) > 1
        if kept and not is_older:  # earlier versions kept only one of several cards
            return Scaled(planes=kept, correction_key=key)
    decoded, name = _original(photo, bench)
    planes, problems = find_planes(look_at(decoded, name, (bench.reader, bench.tables), options))
    return Scaled(planes=planes, correction_key=key, problems=problems)
