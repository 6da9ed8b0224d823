"""Rows of photos that an archive of others named: written on, and read."""

from __future__ import annotations

from base64 import urlsafe_b64decode
from collections.abc import Mapping
from typing import TYPE_CHECKING

from dryslate.app.archive_ids import content_address
from dryslate.app.archived_records import ArchivedPhoto

if TYPE_CHECKING:
    from dryslate.app.archive_tables import TableWriter

MEDIA_TERMS = (
    "identifier",
    "format",
    "title",
    "created",
    "creator",
    "license",
    "rightsHolder",
    "source",
)
_START = content_address("00" * 32).rpartition(";")[0] + ";"


def write_elsewhere(media: TableWriter, photo: ArchivedPhoto, event: str) -> None:
    """Write the row of a photo that is not in this project, as an archive named it."""
    media.named(
        {
            "eventID": event,
            "identifier": content_address(photo.photo_id),
            "type": "StillImage",
            "format": photo.media_type,
            "title": photo.file_name,
            "created": photo.taken_at,
            "creator": photo.creator,
            "license": photo.licence,
            "rightsHolder": photo.rights_holder,
        }
    )


def read_photo(cells: Mapping[str, str], visit_id: str) -> ArchivedPhoto:
    """
    Read the row of a photo.

    Raises
    ------
    ValueError
        Where it does not name a file by its hash.
    """
    address = cells["identifier"]
    digest = urlsafe_b64decode(address.removeprefix(_START) + "=")
    if not address.startswith(_START) or len(digest) != 32:
        raise ValueError(f"{address!r} names no file by its hash")
    return ArchivedPhoto(
        photo_id=digest.hex(),
        visit_id=visit_id,
        file_name=cells["title"],
        media_type=cells["format"],
        taken_at=cells["created"],
        creator=cells["creator"],
        licence=cells["license"],
        rights_holder=cells["rightsHolder"],
    )
