"""What kind of file a photo is, told by its first bytes; its name decides only between raws."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Literal

from dryslate.base.errors import InputError

Kind = Literal["jpeg", "png", "tiff", "heic", "raw"]

SUPPORTED: Final = (
    "JPEG, PNG (8 and 16 bit), TIFF (8 and 16 bit), HEIC, and camera raw "
    "(DNG, CR2, CR3, NEF, NRW, ARW, SR2, ORF, RAF, RW2, PEF, SRW, 3FR, IIQ, MRW)"
)
RAW_ENDINGS: Final = frozenset(
    (
        ".dng",
        ".gpr",
        ".cr2",
        ".cr3",
        ".crw",
        ".nef",
        ".nrw",
        ".arw",
        ".sr2",
        ".srf",
        ".orf",
        ".ori",
        ".raf",
        ".rw2",
        ".rwl",
        ".pef",
        ".srw",
        ".3fr",
        ".fff",
        ".iiq",
        ".mos",
        ".mef",
        ".mrw",
        ".kdc",
        ".dcr",
        ".erf",
        ".x3f",
    )
)
#: Endings by which a photo of a readable kind usually goes; for listing folders.
PHOTO_ENDINGS: Final = RAW_ENDINGS | frozenset(
    (".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".heic", ".heif", ".hif")
)

_RAW_HEADS = (b"FUJIFILMCCD-RAW", b"IIU\x00", b"IIRO", b"IIRS", b"MMOR", b"\x00MRM", b"FOVb")
_TIFF_HEADS = (b"II*\x00", b"MM\x00*")
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"mif2"}
#: Kinds that are known and not read, so that the message can name what was found.
_OTHER_HEADS: Final = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xffO\xffQ", "a JPEG 2000 picture"),
    (b"\xff\n", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered picture of an image editor"),
    (b"II+\x00", "a BigTIFF picture"),
    (b"MM\x00+", "a BigTIFF picture"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"PK\x03\x04", "an archive"),
)


def kind_of(head: bytes, path: Path) -> Kind:
    """
    Tell a photo's kind.

    Parameters
    ----------
    head : bytes
        The first 64 bytes of the file or more.
    path : Path
        Its name, for the message and for telling raw from TIFF.

    Returns
    -------
    {"jpeg", "png", "tiff", "heic", "raw"}

    Raises
    ------
    InputError
        ``photo-unsupported`` if it is a known kind that is not read;
        ``photo-not-a-photo`` if it is nothing known.
    """
    if head.startswith(b"\xff\xd8"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(_RAW_HEADS):
        return "raw"
    if head.startswith(_TIFF_HEADS):
        return "raw" if path.suffix.lower() in RAW_ENDINGS else "tiff"
    if head[4:8] == b"ftyp":
        return _boxed_kind(head, path)
    for start, name in _OTHER_HEADS:
        if head.startswith(start):
            raise _unsupported(path, name)
    if head[:4] == b"RIFF":
        raise _unsupported(path, "a WebP picture" if head[8:12] == b"WEBP" else "a video or sound")
    raise InputError(
        "photo-not-a-photo",
        f"{path.name}: expected a photo, found neither the beginning of one nor of anything known.",
        f"Files that are read: {SUPPORTED}.",
    )


def _boxed_kind(head: bytes, path: Path) -> Kind:
    """Tell HEIC, CR3 and others apart by the brands of an ISO box file."""
    major = head[8:12]
    if major == b"crx ":
        return "raw"
    size = min(int.from_bytes(head[:4], "big"), len(head))
    brands = {major} | {head[i : i + 4] for i in range(16, size - 3, 4)}
    if b"avif" in brands or b"avis" in brands:
        raise _unsupported(path, "an AVIF picture")
    if brands & _HEIC_BRANDS:
        return "heic"
    raise _unsupported(path, "a video")


def _unsupported(path: Path, what: str) -> InputError:
    """Return the error for a known kind that is not read."""
    return InputError(
        "photo-unsupported",
        f"{path.name}: this is {what}, which is not read.",
        f"Files that are read: {SUPPORTED}.",
    )
