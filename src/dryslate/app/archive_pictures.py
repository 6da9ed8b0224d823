"""Copies of photos for an archive: corrected or as the camera wrote them, without places."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from dryslate.base.errors import FormatError
from dryslate.formats.jpeg_places import without_places

if TYPE_CHECKING:
    from dryslate.app.archive_make import Photos
    from dryslate.app.ports import PhotoVault
    from dryslate.app.records import Photo

ENDINGS = {"jpeg": ".jpg", "png": ".png", "heic": ".heic", "tiff": ".tif"}


def picture_for_archive(
    corrected_of: Callable[[str], str | None], project: Path, vault: PhotoVault
) -> Callable[[Photo, Photos, bool], tuple[str, bytes] | None]:
    """
    Return what fetches a copy of a photo.

    Parameters
    ----------
    corrected_of : callable
        Photo to the path of its corrected copy below the project; None where there is none.
    project : Path
    vault : PhotoVault

    Returns
    -------
    callable
        Photo, which copy, whether its places must go, to ending and bytes. None where the copy is
        not there, or where places must go and the file is no JPEG that can be followed.
    """

    def fetch(photo: Photo, which: Photos, is_sensitive: bool) -> tuple[str, bytes] | None:
        preferred = photo.files[0]
        if which == "corrected":
            below = corrected_of(photo.photo_id)
            path, kind = project / (below or "-"), "jpeg"
        else:
            path, kind = vault.path_of(preferred.sha256, preferred.original_name), preferred.kind
        try:
            data = path.read_bytes()
        except OSError:
            return None
        if data[:2] == b"\xff\xd8":
            kind = "jpeg"
        if not is_sensitive:
            return ENDINGS.get(kind, path.suffix.lower()), data
        try:
            return (".jpg", without_places(data)) if kind == "jpeg" else None
        except (ValueError, FormatError):
            return None

    return fetch
