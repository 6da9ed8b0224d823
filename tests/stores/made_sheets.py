"""Printed and photographed sheets, conditions of visits and loggers for the tests of the stores."""

from __future__ import annotations

import hashlib

from dryslate.app.archived_records import ArchivedFrame, ArchivedPhoto, ArchivedSketch
from dryslate.app.condition_records import VisitConditions
from dryslate.app.logger_records import LoggerFile, SiteLogger
from dryslate.app.records import MeasurementRow
from dryslate.app.sheet_records import PrintedSheet, SheetPhoto
from dryslate.app.visit_edit_records import VisitEdit
from dryslate.core.sheet.page import SheetContent

MADE = ("printed_sheet", "site_logger", "sheet_photo")


def printed_sheet(**more: object) -> PrintedSheet:
    content = SheetContent(kind="belt", preset={"unit": "T1"}, rows=({"name": "Acropora"},))
    values = {
        "sheet_id": "311689675917",
        "kind": "belt",
        "layout_version": 1,
        "unit": "T1",
        "language": "en",
        "content": content,
        "observer": "Mara",
        "printed_at": "2026-03-13T20:00:00Z",
    } | more
    return PrintedSheet(**values)


def sheet_photo(photo_id: str, unit_id: str | None) -> SheetPhoto:
    return SheetPhoto(
        photo_id=photo_id,
        sheet_id="311689675917",
        unit_id=unit_id,
        to_px=((10.5, 0.25, 80.0), (-0.25, 10.5, 60.0), (1e-5, -2e-5, 1.0)),
        observer="Mara",
        joined_at="2026-03-14T21:00:00Z",
    )


def conditions(visit_id: str, observer: str) -> VisitConditions:
    return VisitConditions(
        visit_id=visit_id,
        tide="rising",
        visibility_m=12.5,
        water_c=27.4,
        weather="thin cloud",
        sea="swell 0.5 m from the south",
        observer=observer,
        stated_at="2026-03-14T20:00:00Z",
    )


CONTENT = "time,temperature_c\n2026-03-01T00:00+07:00,29.5\n"
LOGGER_FILE = LoggerFile(
    sha256=hashlib.sha256(CONTENT.encode()).hexdigest(), size_bytes=len(CONTENT), content=CONTENT
)


def site_logger(**more: object) -> SiteLogger:
    values = {
        "site": "North wall",
        "sha256": LOGGER_FILE.sha256,
        "file_name": "reef.csv",
        "warmest_c": 29.1,
        "warmest_source": "a climatology of 30 years",
        "deployed_from": "2026-03-01T00:00",
        "deployed_to": "2026-03-10",
        "offset_c": 0.2,
        "zone": "+07:00",
        "observer": "Mara",
        "stated_at": "2026-03-14T20:00:00Z",
    } | more
    return SiteLogger(**values)


def archived_photo(**more: object) -> ArchivedPhoto:
    values = {
        "photo_id": "e" * 64,
        "visit_id": "North wall 2026-03-14",
        "file_name": "IMG_0412.JPG",
        "media_type": "image/jpeg",
        "taken_at": "2026-03-14T09:12:04+07:00",
        "creator": "Mara",
        "licence": "CC-BY-4.0",
    } | more
    return ArchivedPhoto(**values)


def archived_frame(**more: object) -> ArchivedFrame:
    values = {
        "photo_id": "e" * 64,
        "is_reference": True,
        "outline_px": ((10.0, 20.0), (40.5, 20.0), (40.5, 60.25)),
        "outline_how": "drawn",
        "is_confirmed": True,
        "area_cm2": 112.5,
        "area_cm2_u": 3.25,
        "diameter_max_mm": 131.0,
        "diameter_max_mm_u": 1.5,
        "measured": {"lab": [52.5, 8.25, 24.0], "card_u": [0.25, 0.5, 0.5]},
        "measured_at": "2026-03-15T07:00:00Z",
        "observer": "Mara",
        "noted_at": "2026-03-14T21:00:00Z",
    } | more
    return ArchivedFrame(**values)


def archived_measurement(colony: str) -> MeasurementRow:
    return MeasurementRow(
        measurement_id="of an archive",
        photo_id="e" * 64,
        colony=colony,
        kind="outline",
        points_px=((10.0, 20.0), (40.5, 20.0), (40.5, 60.25)),
        values={"area_mm2": 11250.123456789, "area_mm2_u": 325.5},
        correction_key="elsewhere",
        observer="Mara",
    )


def visit_edit(**more: object) -> VisitEdit:
    values = {
        "what": "withdrawn",
        "visit_id": "North wal 2026-03-14",
        "reason": "name of the site mistyped",
        "observer": "Mara",
        "edited_at": "2026-03-14T20:00:00Z",
        "first_change": 1,
        "last_change": 2,
    } | more
    return VisitEdit(**values)


def fill(store, visit_id: str, observer: str) -> None:
    """Store a printed sheet, where there is none, a photo of it, and the conditions of a visit."""
    if not store.printed_sheets():
        store.save_printed_sheets([printed_sheet()])
    photo = store.photos(visit_id)[0]
    unit_id = next((unit.unit_id for unit in store.units(visit_id)), None)
    store.save_sheet_photo(sheet_photo(photo.photo_id, unit_id))
    store.save_visit_conditions(conditions(visit_id, observer))
    store.save_site_logger(site_logger(), LOGGER_FILE)
    store.save_archived_photo(archived_photo(visit_id=visit_id))
    if not store.visit_edits():
        store.save_visit_edit(visit_edit())
    for colony in store.colonies()[:1]:
        store.save_archived_frame(archived_frame(organism_id=colony.organism_id))
        sketch = ArchivedSketch(organism_id=colony.organism_id, sha256="f" * 64)
        store.save_archived_sketch(sketch)
    for record in store.records()[:1]:
        store.save_archived_measurement(record.record_id, archived_measurement(record.colony))
