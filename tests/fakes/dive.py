"""A made-up dive: photos of a visit at given minutes, by one camera or more, without files."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from dryslate.app.project_records import Original
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata, Visit

SITE, DATE, OBSERVER = "Quiet Ledge", "2024-05-19", "Ines Varro"
VISIT = f"{SITE} {DATE}"
NINE = datetime(2024, 5, 19, 9)


def sha_of(name: str, visit_id: str = VISIT) -> str:
    """The id of a photo of that name."""
    return hashlib.sha256(f"{visit_id} {name}".encode()).hexdigest()


def add_visit(store: Any, site: str = SITE, date: str = DATE) -> str:
    """Make a visit."""
    visit_id = f"{site} {date}"
    store.save_visit(Visit(visit_id=visit_id, site=site, date=date, observer=OBSERVER))
    return visit_id


def add_photos(
    store: Any,
    shots: Iterable[tuple[str, float | None]],
    *,
    camera: str = "One",
    serial: str | None = None,
    visit_id: str = VISIT,
    with_raw: bool = False,
) -> list[str]:
    """Make photos with a name and a minute after nine (None: no time); returns their ids."""
    ids = []
    with store.write():
        for name, minute in shots:
            files = []
            for ending in ("JPG", "NEF") if with_raw else ("JPG",):
                sha256 = sha_of(name if ending == "JPG" else f"{name}.NEF", visit_id)
                kind = "jpeg" if ending == "JPG" else "raw"
                store.save_original(
                    Original(sha256=sha256, size_bytes=1, kind=kind, kept_path=f"o/{sha256}")
                )
                files.append(
                    PhotoFile(
                        sha256=sha256, original_name=f"{name}.{ending}", size_bytes=1, kind=kind
                    )
                )
            taken = None if minute is None else (NINE + timedelta(minutes=minute)).isoformat()
            metadata = PhotoMetadata(
                taken_local=taken, camera_make="Made", camera_model=camera, camera_serial=serial
            )
            store.save_photo(
                Photo(
                    photo_id=files[0].sha256,
                    visit_id=visit_id,
                    files=tuple(files),
                    metadata=metadata,
                    observer=OBSERVER,
                )
            )
            ids.append(files[0].sha256)
    return ids
