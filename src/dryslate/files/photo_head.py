"""What a photo's file says of itself, read from its head without decoding a pixel."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Final

from dryslate.app.records import PhotoMetadata
from dryslate.base.errors import DryslateError, FormatError
from dryslate.base.problems import Problem
from dryslate.files.photo_carry import exif_tree, facts_of, metadata_of, read_bytes
from dryslate.files.photo_kind import kind_of
from dryslate.formats.boxes import find_cr3_blocks
from dryslate.formats.exif import ExifTree
from dryslate.formats.jpeg import parse_jpeg_head
from dryslate.formats.png import parse_png_head

_HEAD: Final = 1 << 19
#: Where a RAF file says where its JPEG preview lies: offset and length, big endian.
_RAF_PREVIEW: Final = 84


def read_metadata(path: Path) -> PhotoMetadata:
    """
    Read what a photo's file says of itself.

    Parameters
    ----------
    path : Path

    Returns
    -------
    PhotoMetadata
        All unknown where the file is no photo or its words cannot be read: this never refuses
        a file that can be opened.

    Raises
    ------
    InputError
        ``photo-missing``, ``photo-is-folder``, ``photo-unreadable`` or ``photo-empty``.
    """
    head = read_bytes(path, 64)
    try:
        kind = kind_of(head, path)
        _, tree, _ = head_of(path)
    except DryslateError as error:
        if error.slug in ("photo-missing", "photo-is-folder", "photo-unreadable", "photo-empty"):
            raise
        return PhotoMetadata()
    facts = facts_of(tree)
    return metadata_of(facts, orientation=1) if kind == "heic" else metadata_of(facts)


def head_of(path: Path) -> tuple[bytes | None, ExifTree | None, tuple[Problem, ...]]:
    """
    Return a photo's Exif block and its directories.

    Parameters
    ----------
    path : Path

    Returns
    -------
    block : bytes or None
        For TIFF and raw files the beginning of the file itself.
    tree : ExifTree or None
    notes : tuple of Problem
    """
    data = read_bytes(path, _HEAD)
    block, tree, notes = _head_in(data, path)
    is_cut = tree is None or tree.n_broken > 0
    if is_cut and len(data) == _HEAD and path.stat().st_size > _HEAD:
        # directories may lie anywhere in a raw file, long previews may stand before the Exif
        block, tree, notes = _head_in(read_bytes(path), path)
    return block, tree, notes


def _head_in(data: bytes, path: Path) -> tuple[bytes | None, ExifTree | None, tuple[Problem, ...]]:
    """Find the Exif block in (the beginning of) a file and read it."""
    block = _block_in(data, path)
    tree, notes = exif_tree(block, path.name)
    if tree is not None and block is not None and data[4:8] == b"ftyp" and data[8:12] == b"crx ":
        tree = _cr3_tree(data, tree, path.name)
    return block, tree, notes


def _block_in(data: bytes, path: Path) -> bytes | None:
    """Return the Exif block by the kind of the file."""
    kind = kind_of(data, path)
    try:
        if kind == "jpeg":
            return parse_jpeg_head(data, path.name).exif
        if kind == "png":
            return parse_png_head(data, path.name, check_all=False).exif
        if kind == "heic":
            return _heic_block(path)
        if data.startswith(b"FUJIFILMCCD-RAW"):
            offset = int.from_bytes(data[_RAF_PREVIEW : _RAF_PREVIEW + 4], "big")
            return parse_jpeg_head(data[offset:], path.name).exif
        if data[8:12] == b"crx ":
            return find_cr3_blocks(data).get("main")
    except FormatError:
        return None
    return data


def _cr3_tree(data: bytes, main: ExifTree, place: str) -> ExifTree:
    """Return one tree from the separate blocks of a CR3 file."""
    blocks = find_cr3_blocks(data)
    exif, _ = exif_tree(blocks.get("exif"), place)
    gps, _ = exif_tree(blocks.get("gps"), place)
    same_order = all(t is None or t.order == main.order for t in (exif, gps))
    if not same_order:
        return main
    return ExifTree(
        order=main.order,
        main=main.main,
        exif=exif.main if exif is not None else {},
        gps=gps.main if gps is not None else {},
    )


def _heic_block(path: Path) -> bytes | None:
    """Return the Exif block of a HEIC file."""
    import pi_heif

    try:
        image = pi_heif.open_heif(io.BytesIO(read_bytes(path)))
        block: bytes | None = image.info.get("exif")
    except (ValueError, EOFError, SyntaxError, RuntimeError, OSError):
        return None
    return None if block is None else block.removeprefix(b"Exif\x00\x00") or None
