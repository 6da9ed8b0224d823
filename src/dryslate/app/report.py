"""Collect everything a report shows from a project's records."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.control_objects import compare_controls
from dryslate.app.patch_wear import find_worn_patches
from dryslate.app.ports import (
    DocumentWriter,
    PhotoReader,
    PhotoVault,
    Progress,
    ReferenceTables,
    Runner,
    SurveyStore,
)
from dryslate.app.records import CorrectionRow, Photo, Visit
from dryslate.app.report_identified import identified_corals
from dryslate.app.report_measured import measured_corals, patches_over_trip
from dryslate.app.report_pictures import PictureJob, make_pictures
from dryslate.app.report_records import PhotoPart, Picture, Points, Report, VisitPart
from dryslate.app.report_words import OUTCOMES, flag_words
from dryslate.app.review_state import count_looks
from dryslate.app.set_aside import standing_photos
from dryslate.app.taxon_words import genus_names
from dryslate.base.errors import SettingsError

PICTURE_PX = 900
SMALL_PICTURE_PX = 480
MANY_PHOTOS = 120
PICTURE_RANGE_PX = (160, 2400)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportBench:
    """
    What making a report works with.

    Parameters
    ----------
    folder : Path
        The project.
    store, vault, reader, tables, documents, runner, progress
        Ports.
    """

    folder: Path
    store: SurveyStore
    vault: PhotoVault
    reader: PhotoReader
    tables: ReferenceTables
    documents: DocumentWriter
    runner: Runner
    progress: Progress


def write_report(
    bench: ReportBench, out: Path | None, picture_px: int | None = None
) -> dict[str, Any]:
    """
    Write a project's report.

    Parameters
    ----------
    bench : ReportBench
    out : Path or None
        None for ``reports/report.html`` in the project.
    picture_px : int or None
        Longest side of the pictures; None for 900, or 480 with more than 120 photos.

    Returns
    -------
    dict
        ``report``, ``n_visits``, ``n_photos``, ``outcomes``, ``n_measurements``, ``problems``.

    Raises
    ------
    SettingsError
        ``picture-size-wrong``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    """
    report = collect_report(bench, picture_px)
    path = out if out is not None else bench.folder / "reports" / "report.html"
    bench.documents.report_html(report, path)
    return {
        "report": str(path),
        "n_visits": len(report.visits),
        "n_photos": sum(report.outcomes.values()),
        "outcomes": dict(report.outcomes),
        "n_measurements": len(report.corals),
        "problems": [dict(p) for p in report.problems],
    }


def collect_report(bench: ReportBench, picture_px: int | None = None) -> Report:
    """
    Collect everything a report shows; the same records give the same report.

    Parameters
    ----------
    bench : ReportBench
    picture_px : int or None

    Returns
    -------
    Report

    Raises
    ------
    SettingsError
        ``picture-size-wrong``.
    """
    store = bench.store
    photos = standing_photos(store)
    size_px = _picture_size(picture_px, len(photos))
    standing = {photo.photo_id for photo in photos}
    rows = {r.photo_id: r for r in store.corrections() if r.photo_id in standing}
    residuals = [r for r in store.patch_residuals() if r.photo_id in standing]
    pictures = _pictures(bench, photos, rows, size_px)
    names = {f.sha256: f.original_name for p in store.photos() for f in p.files}
    visits: list[VisitPart] = []
    number = 0
    for visit in store.visits():
        parts = []
        for photo in (p for p in photos if p.visit_id == visit.visit_id):
            number += 1
            row = rows.get(photo.photo_id)
            parts.append(_photo_part(photo, number, row, pictures[photo.photo_id], names))
        visits.append(_visit_part(visit, parts))
    controls = compare_controls(store)
    trip = [p.as_dict() for p in find_worn_patches(residuals)]
    trip += [p.as_dict() for c in controls for p in c.problems]
    changes = store.changes()
    named = identified_corals(
        store, bench.tables, {p.photo_id: p.files[0].original_name for p in photos}
    )
    return Report(
        title=bench.folder.resolve().name,
        state_utc=changes[-1].changed_utc if changes else "",
        visits=tuple(visits),
        corals=measured_corals(store, photos, rows),
        patches=patches_over_trip(residuals, rows),
        controls=tuple(
            c.as_dict() | {"problems": [p.as_dict() for p in c.problems]} for c in controls
        ),
        problems=tuple(trip),
        outcomes=_outcomes(photos, rows),
        versions=_versions(store, rows),
        cards=_cards(rows),
        copies=_copies(store),
        picture_px=size_px,
        aside=dict(Counter(one.reason for one in store.photos_set_aside())),
        named=named,
        genus_names=genus_names(bench.tables.taxa()[0]) if named else frozenset(),
        looks=count_looks(store).words() if store.review_outcomes() else "",
    )


def _picture_size(wished: int | None, n_photos: int) -> int:
    """Choose the pictures' longest side."""
    if wished is None:
        return PICTURE_PX if n_photos <= MANY_PHOTOS else SMALL_PICTURE_PX
    if not PICTURE_RANGE_PX[0] <= wished <= PICTURE_RANGE_PX[1]:
        raise SettingsError(
            "picture-size-wrong",
            f"Pictures of {wished} pixels cannot be put into the report.",
            f"Give {PICTURE_RANGE_PX[0]} to {PICTURE_RANGE_PX[1]}.",
        )
    return wished


def _pictures(
    bench: ReportBench,
    photos: Sequence[Photo],
    rows: Mapping[str, CorrectionRow],
    size_px: int,
) -> dict[str, tuple[Picture, Picture]]:
    """Make the small pictures of every photo, on all cores."""
    jobs = []
    for photo in photos:
        file = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
        jobs.append(
            PictureJob(
                photo_id=photo.photo_id,
                original=bench.vault.path_of(file.sha256, file.original_name),
                corrected=_corrected_file(bench.folder, rows.get(photo.photo_id)),
                longest_px=size_px,
                reader=bench.reader,
                documents=bench.documents,
            )
        )
    bench.progress.start("Pictures for the report", len(jobs))
    found: dict[str, tuple[Picture, Picture]] = {}
    for job, answer in bench.runner.run(make_pictures, jobs):
        if isinstance(answer, BaseException):
            lost = Picture(why_not=f"The picture could not be made ({answer}).")
            found[job.photo_id] = (lost, lost)
        else:
            found[job.photo_id] = answer
        bench.progress.step()
    bench.progress.done()
    return found


def _corrected_file(folder: Path, row: CorrectionRow | None) -> Path | None:
    """Return the preview of a corrected photo, or the photo itself."""
    if row is None:
        return None
    for path in (row.result.get("preview"), row.corrected_path):
        if path and (folder / str(path)).is_file():
            return folder / str(path)
    return folder / row.corrected_path if row.corrected_path else None


def _visit_part(visit: Visit, parts: Sequence[PhotoPart]) -> VisitPart:
    """Build the part of one visit."""
    notes = tuple(
        f"{camera}: {offset:+.0f} s added to the camera's clock"
        for camera, offset in sorted(visit.clock_offset_s.items())
    )
    return VisitPart(
        visit_id=visit.visit_id,
        site=visit.site,
        date=visit.date,
        observer=visit.observer,
        photos=tuple(parts),
        clock_notes=notes,
    )


def _photo_part(
    photo: Photo,
    number: int,
    row: CorrectionRow | None,
    pictures: tuple[Picture, Picture],
    names: Mapping[str, str],
) -> PhotoPart:
    """Build the part of one photo."""
    result = dict(row.result) if row is not None else {}
    first = next((f for f in photo.files if f.sha256 == photo.photo_id), photo.files[0])
    flags = [*result.get("colour", {}).get("flags", ()), *result.get("scale", {}).get("flags", ())]
    lender = result.get("borrowed_from") or ""
    return PhotoPart(
        photo_id=photo.photo_id,
        name=first.original_name,
        number=number,
        taken=_taken(photo),
        depth_m=photo.depth_m if photo.depth_m is not None else photo.metadata.water_depth_m,
        camera=" ".join(
            part for part in (photo.metadata.camera_make, photo.metadata.camera_model) if part
        ),
        outcome=row.outcome if row is not None else "not_yet",
        result=result,
        borrowed_from=names.get(lender, lender[:12]),
        before=pictures[0],
        after=pictures[1],
        corners_px=_corners(result),
        problems=tuple(result.get("problems", ())),
        flags=tuple(flag_words(f) for f in dict.fromkeys(flags)),
        key=row.key if row is not None else "",
        card_key=str(row.geometry.get("card_key", "")) if row is not None else "",
        files=tuple((f.original_name, f.kind, f.sha256) for f in photo.files),
    )


def _taken(photo: Photo) -> str:
    """Say when a photo was taken, and how far that is known."""
    if photo.taken_corrected:
        return f"{photo.taken_corrected.replace('T', ' ')} (clock set right)"
    local = photo.metadata.taken_local
    if not local:
        return "time not known"
    return f"{local.replace('T', ' ')} ({photo.metadata.utc_offset or 'no offset'})"


def _corners(result: Mapping[str, Any]) -> tuple[Points, ...]:
    """Return the corners of every card that was found."""
    cards = [c for c in result.get("cards", ()) if c.get("corners_px")]
    return tuple(tuple((float(x), float(y)) for x, y in c["corners_px"]) for c in cards)


def _outcomes(photos: Sequence[Photo], rows: Mapping[str, CorrectionRow]) -> dict[str, int]:
    """Count photos by outcome, in the order of the words."""
    counts = Counter(rows[p.photo_id].outcome if p.photo_id in rows else "not_yet" for p in photos)
    return {outcome: counts[outcome] for outcome in OUTCOMES if counts[outcome]}


def _versions(store: SurveyStore, rows: Mapping[str, CorrectionRow]) -> dict[str, str]:
    """Return the versions behind the current corrections; several are named side by side."""
    keys = {row.key for row in rows.values()}
    found: dict[str, set[str]] = {}
    for derived in store.derived_files():
        if derived.key in keys:
            for name, version in dict(derived.steps.get("versions", {})).items():
                found.setdefault(name, set()).add(str(version))
    return {name: ", ".join(sorted(v)) for name, v in sorted(found.items()) if v != {"-"}}


def _cards(rows: Mapping[str, CorrectionRow]) -> tuple[dict[str, Any], ...]:
    """Return the printed cards that corrections rest on."""
    found: dict[str, dict[str, Any]] = {}
    for row in rows.values():
        card = row.result.get("card") or {}
        key = str(row.geometry.get("card_key", ""))
        if not card.get("found"):
            continue
        values = card.get("values") or {}
        entry = found.setdefault(
            key,
            {
                "name": card["name"],
                "serial": card.get("serial") or "",
                "status": values.get("status", ""),
                "medium": values.get("medium", ""),
                "key": key,
                "n_photos": 0,
            },
        )
        entry["n_photos"] += 1
    return tuple(sorted(found.values(), key=lambda c: (c["name"], c["key"])))


def _copies(store: SurveyStore) -> dict[str, int]:
    """Count originals, and those read back from one and from two drives."""
    drives: dict[str, set[str]] = {o.sha256: set() for o in store.originals()}
    for copy in store.copies():
        if copy.is_proved and copy.sha256 in drives:
            drives[copy.sha256].add(copy.drive)
    return {
        "n_originals": len(drives),
        "n_proved_once": sum(len(d) >= 1 for d in drives.values()),
        "n_proved_twice": sum(len(d) >= 2 for d in drives.values()),
    }
