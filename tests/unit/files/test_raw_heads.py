"""Words of raw files whose heads are not plain TIFF, laid out by hand."""

from __future__ import annotations

import struct
from pathlib import Path
from types import ModuleType

from dryslate.files.photos import FilePhotoReader
from dryslate.formats.boxes import find_cr3_blocks, walk_boxes
from dryslate.formats.exif import ExifTree, parse_exif
from dryslate.formats.exif_edit import format_exif
from dryslate.formats.jpeg import EXIF_HEAD

READER = FilePhotoReader()
CR3_UUID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")


def box(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content) + 8) + name + content


def blocks_of(made_photos: ModuleType) -> dict[bytes, bytes]:
    """Each directory as the first one of a block of its own."""
    tree = parse_exif(made_photos.exif_block(), "a.jpg")
    parts = {b"CMT1": tree.main, b"CMT2": tree.exif, b"CMT4": tree.gps}
    return {
        name: format_exif(
            ExifTree(
                order=tree.order, main={t: e for t, e in d.items() if t < 0x8769 or t > 0x8825}
            )
        )
        for name, d in parts.items()
    }


def test_words_of_a_file_in_boxes(tmp_path: Path, made_photos: ModuleType) -> None:
    inner = b"".join(box(name, block) for name, block in blocks_of(made_photos).items())
    data = box(b"ftyp", b"crx " + bytes(4) + b"crx isom")
    data += box(b"moov", box(b"free", b"") + box(b"uuid", CR3_UUID + inner))
    data += box(b"mdat", bytes(4000))
    (tmp_path / "a.cr3").write_bytes(data)
    found = READER.read_metadata(tmp_path / "a.cr3")
    assert (found.camera_model, found.camera_serial) == ("Model One", "SN-77")
    assert found.taken_local == "2030-05-06T07:08:09.250"
    assert found.latitude_deg is not None
    assert set(find_cr3_blocks(data)) == {"main", "exif", "gps"}


def test_words_behind_the_preview_of_a_raf(tmp_path: Path, made_photos: ModuleType) -> None:
    preview = made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + made_photos.exif_block())
    head = b"FUJIFILMCCD-RAW 0201".ljust(84, b"\0") + struct.pack(">II", 148, len(preview))
    (tmp_path / "a.raf").write_bytes(head.ljust(148, b"\0") + preview + bytes(5000))
    assert READER.read_metadata(tmp_path / "a.raf").camera_serial == "SN-77"


def test_boxes_that_lie_about_their_size_end_the_walk() -> None:
    assert list(walk_boxes(b"\0\0\0\x04free" + bytes(20))) == []
    long = struct.pack(">I4sQ", 1, b"wide", 20) + b"abcd"
    assert [(n, bytes(c)) for n, c in walk_boxes(long)] == [(b"wide", b"abcd")]
    rest = struct.pack(">I4s", 0, b"rest") + b"to the end"
    assert [(n, bytes(c)) for n, c in walk_boxes(rest)] == [(b"rest", b"to the end")]
