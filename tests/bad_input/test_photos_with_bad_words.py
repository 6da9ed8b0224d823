"""Broken, lying or absent metadata never costs the photo; what is unknown stays unknown."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from dryslate.app.records import DecodedPhoto, PhotoMetadata
from dryslate.base.errors import InputError
from dryslate.files.photos import FilePhotoReader
from dryslate.formats.jpeg import APP1, APP2, EXIF_HEAD, Segment, splice_jpeg

READER = FilePhotoReader()


def with_segments(data: bytes, *segments: Segment) -> bytes:
    head, rest = splice_jpeg(data, segments)
    return head + bytes(rest)


def exif_segment(block: bytes) -> Segment:
    return Segment(marker=APP1, payload=EXIF_HEAD + block)


def read(folder: Path, data: bytes, name: str = "a.jpg") -> DecodedPhoto:
    path = folder / name
    path.write_bytes(data)
    return READER.read(path)


def slugs(photo: DecodedPhoto) -> list[str]:
    return [note.slug for note in photo.notes]


@pytest.mark.parametrize("block", [b"", b"II", b"garbage, no mark", b"II*\0\xff\xff\xff\x7f"])
def test_exif_that_cannot_be_read(tmp_path: Path, made_photos: ModuleType, block: bytes) -> None:
    data = with_segments(made_photos.jpeg(made_photos.scene()), exif_segment(block))
    photo = read(tmp_path, data)
    assert photo.metadata == PhotoMetadata()
    assert slugs(photo) == ["exif-unreadable"]
    assert READER.read_metadata(tmp_path / "a.jpg") == PhotoMetadata()
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, {"card": "field"})
    written = (tmp_path / "out.jpg").read_bytes()
    assert "exif" not in Image.open(io.BytesIO(written)).info


def test_exif_absent(tmp_path: Path, made_photos: ModuleType) -> None:
    photo = read(tmp_path, made_photos.jpeg(made_photos.scene()))
    assert photo.metadata == PhotoMetadata()
    assert photo.notes == ()


def test_exif_with_broken_entries_keeps_the_others(tmp_path: Path, made_photos: ModuleType) -> None:
    block = made_photos.exif_block()
    at = block.index(struct.pack(">H", 0x829A) if block[:2] == b"MM" else struct.pack("<H", 0x829A))
    order = ">" if block[:2] == b"MM" else "<"
    lying = block[: at + 4] + struct.pack(order + "I", 0x7FFFFFFF) + block[at + 8 :]
    photo = read(
        tmp_path, with_segments(made_photos.jpeg(made_photos.scene()), exif_segment(lying))
    )
    assert slugs(photo) == ["exif-broken-entries"]
    assert photo.metadata.exposure_s is None
    assert photo.metadata.f_number == 5.6


def test_date_of_zeros_and_place_over_zero(tmp_path: Path, made_photos: ModuleType) -> None:
    block = made_photos.exif_block(
        exif={0x9003: "0000:00:00 00:00:00", 0x9011: "+10:00"},
        gps={1: "S", 2: ((0, 0), (0, 0), (0, 0)), 3: "E", 4: ((145, 1), (0, 1), (0, 1))},
    )
    data = with_segments(made_photos.jpeg(made_photos.scene()), exif_segment(block))
    photo = read(tmp_path, data)
    for metadata in (photo.metadata, READER.read_metadata(tmp_path / "a.jpg")):
        assert (metadata.taken_local, metadata.utc_offset) == (None, None)
        assert (metadata.latitude_deg, metadata.longitude_deg) == (None, None)
        assert metadata.camera_model == "Model One"


@pytest.mark.parametrize("stored", range(10))
def test_every_orientation_leaves_pixels_as_stored(
    tmp_path: Path, made_photos: ModuleType, stored: int
) -> None:
    block = made_photos.exif_block(main={0x0110: "Model One", 0x0112: stored})
    data = with_segments(made_photos.jpeg(made_photos.scene()), exif_segment(block))
    photo = read(tmp_path, data)
    known = stored if 1 <= stored <= 8 else 1
    assert photo.metadata.orientation == known
    assert photo.pixels.shape == (64, 96, 3)
    for ending in ("jpg", "tif"):
        out = tmp_path / f"out.{ending}"
        READER.write_corrected(out, photo.pixels, photo, {"card": "field"})
        with Image.open(out) as written:
            assert written.getexif()[0x0112] == known
        assert READER.read(out).pixels.shape == (64, 96, 3)


@pytest.mark.parametrize(
    ("spoil", "slug"),
    [
        (lambda icc: icc[:200], "profile-damaged"),
        (lambda icc: icc.replace(b"rTRC", b"A2B0"), "profile-not-matrix"),
        (lambda icc: icc[:16] + b"GRAY" + icc[20:], "profile-not-matrix"),
    ],
)
def test_profile_that_cannot_be_used(
    tmp_path: Path, made_photos: ModuleType, spoil: object, slug: str
) -> None:
    data = made_photos.jpeg(made_photos.scene(), icc_profile=spoil(made_photos.wide_icc()))
    photo = read(tmp_path, data)
    assert slugs(photo) == [slug]
    assert "sRGB" in photo.notes[0].message
    assert np.array_equal(photo.to_srgb, np.eye(3))


def test_profile_with_a_missing_piece(tmp_path: Path, made_photos: ModuleType) -> None:
    piece = Segment(marker=APP2, payload=b"ICC_PROFILE\0\x01\x02" + made_photos.wide_icc())
    photo = read(tmp_path, with_segments(made_photos.jpeg(made_photos.scene()), piece))
    assert slugs(photo) == ["photo-untidy", "profile-damaged"]
    cut = (tmp_path / "a.jpg").read_bytes()[:-300]
    with pytest.raises(InputError, match="photo-truncated"):
        read(tmp_path, cut, "b.jpg")


def test_colour_space_that_is_not_stated(tmp_path: Path, made_photos: ModuleType) -> None:
    block = made_photos.exif_block(exif={0xA001: 65535})
    data = with_segments(made_photos.jpeg(made_photos.scene()), exif_segment(block))
    assert slugs(read(tmp_path, data)) == ["colour-space-unstated"]


def test_stray_bytes_between_segments_are_noted(tmp_path: Path, made_photos: ModuleType) -> None:
    data = made_photos.jpeg(made_photos.scene())
    photo = read(tmp_path, data[:20] + b"\x00\x01\x02" + data[20:])
    assert slugs(photo) == ["photo-untidy"]
    assert np.array_equal(photo.pixels, read(tmp_path, data, "b.jpg").pixels)


def test_second_picture_behind_the_first_is_passed_over(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    data = made_photos.jpeg(made_photos.scene())
    more = made_photos.jpeg(made_photos.scene(32, 32))
    directory = Segment(marker=APP2, payload=b"MPF\x00II*\x00\x08\x00\x00\x00" + bytes(60))
    photo = read(tmp_path, with_segments(data, directory) + more)
    assert photo.notes == ()
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, {})
    assert b"MPF\x00" not in (tmp_path / "out.jpg").read_bytes()


def test_transparent_pixels_are_noted(tmp_path: Path) -> None:
    image = Image.new("RGBA", (30, 20), (90, 120, 130, 255))
    whole, holed = io.BytesIO(), io.BytesIO()
    image.save(whole, "PNG")
    image.putpixel((3, 3), (0, 0, 0, 0))
    image.save(holed, "PNG")
    assert slugs(read(tmp_path, whole.getvalue(), "a.png")) == []
    photo = read(tmp_path, holed.getvalue(), "b.png")
    assert slugs(photo) == ["photo-transparent"]
    assert photo.pixels.shape == (20, 30, 3)


def test_tiff_of_several_pages(tmp_path: Path, made_photos: ModuleType) -> None:
    pages = np.stack([made_photos.scene(seed=1), made_photos.scene(seed=2)])
    photo = read(tmp_path, made_photos.tiff(pages), "a.tif")
    assert slugs(photo) == ["photo-several-pages"]
    assert np.array_equal(photo.pixels, pages[0])


def test_raw_of_a_camera_without_a_matrix(tmp_path: Path, made_photos: ModuleType) -> None:
    data = made_photos.dng(np.full((64, 96), 4000)).replace(
        struct.pack("<H", 50721), struct.pack("<H", 50720), 1
    )
    assert slugs(read(tmp_path, data, "a.dng")) == ["raw-no-matrix"]


@pytest.mark.parametrize("data", [b"no photo at all", b"GIF89a" + bytes(80)])
def test_metadata_of_a_file_that_is_no_photo_is_unknown(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(data)
    assert READER.read_metadata(tmp_path / "a.jpg") == PhotoMetadata()


def test_metadata_survive_a_photo_cut_off_behind_them(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    data = made_photos.jpeg(made_photos.scene(640, 480), exif=EXIF_HEAD + made_photos.exif_block())
    (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2])
    assert READER.read_metadata(tmp_path / "a.jpg").camera_serial == "SN-77"
