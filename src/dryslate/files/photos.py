"""Photo files, whatever their kind, behind one reader."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.files.photo_carry import read_bytes
from dryslate.files.photo_head import read_metadata
from dryslate.files.photo_jpeg import read_jpeg, require_whole_jpeg
from dryslate.files.photo_kind import Kind, kind_of
from dryslate.files.photo_preview import photo_size_px, write_preview
from dryslate.files.photo_write import write_corrected


@dataclass(frozen=True, slots=True, kw_only=True)
class FilePhotoReader:
    """
    Reads and writes photo files (implements `PhotoReader`); holds no state and no open file.

    Parameters
    ----------
    max_megapixels : float
        Larger frames are refused before any pixel is decoded.
    """

    max_megapixels: float = 100.0

    def read(self, path: Path) -> DecodedPhoto:
        """
        Decode a photo; its pixels lie as stored in the file.

        Parameters
        ----------
        path : Path

        Returns
        -------
        DecodedPhoto

        Raises
        ------
        InputError, FormatError
            ``photo-missing``, ``photo-is-folder``, ``photo-unreadable``, ``photo-empty``,
            ``photo-not-a-photo``, ``photo-unsupported``, ``photo-truncated``,
            ``photo-damaged``, ``photo-too-large``, ``photo-grey``, ``photo-cmyk``.
        """
        return _reader(kind_of(read_bytes(path, 64), path))(path, self.max_megapixels)

    def write_corrected(
        self, path: Path, pixels: Any, source: DecodedPhoto, description: dict[str, str]
    ) -> None:
        """Write corrected pixels (sRGB) as JPEG or TIFF by the ending; see `write_corrected`."""
        write_corrected(path, pixels, source, description)

    def write_preview(self, path: Path, img_srgb: Any) -> None:
        """Write a small upright picture (sRGB) as JPEG, without metadata."""
        write_preview(path, img_srgb)

    def size_px(self, path: Path) -> tuple[int, int]:
        """Return width and height as stored, without decoding the pixels."""
        return photo_size_px(path)

    def require_whole(self, path: Path) -> None:
        """
        Refuse a file that plainly breaks off, without decoding it; of JPEG only it is told.

        Raises
        ------
        FormatError, InputError
            ``photo-truncated``, ``photo-damaged``, and what `read` raises for a file that is no
            photo.
        """
        if kind_of(read_bytes(path, 64), path) == "jpeg":
            require_whole_jpeg(path)

    def read_metadata(self, path: Path) -> PhotoMetadata:
        """
        Read what a photo's file says of itself, without decoding the pixels.

        Raises
        ------
        InputError
            ``photo-missing``, ``photo-is-folder``, ``photo-unreadable`` or ``photo-empty``;
            a file that can be opened is never refused.
        """
        return read_metadata(path)


def _reader(kind: Kind) -> Callable[[Path, float], DecodedPhoto]:
    """Return the reader of a kind, imported only when it is needed."""
    if kind == "jpeg":
        return read_jpeg
    if kind == "png":
        from dryslate.files.photo_png import read_png

        return read_png
    if kind == "tiff":
        from dryslate.files.photo_tiff import read_tiff

        return read_tiff
    if kind == "heic":
        from dryslate.files.photo_heic import read_heic

        return read_heic
    from dryslate.files.photo_raw import read_raw

    return read_raw
