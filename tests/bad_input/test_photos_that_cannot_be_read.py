"""Each bad photo gets a clear sentence with its slug; none crashes, none is read as something."""

from __future__ import annotations

import dataclasses
import pickle
import struct
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from dryslate.base.errors import DryslateError
from dryslate.files.photos import FilePhotoReader

READER = FilePhotoReader()


def refusal_of(path: Path, reader: FilePhotoReader = READER) -> DryslateError:
    """Return the error, proved to survive a process border and to name the file."""
    with pytest.raises(DryslateError) as caught:
        reader.read(path)
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.slug, str(again)) == (caught.value.slug, str(caught.value))
    assert path.name in str(again)
    return caught.value


def save(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def test_missing_photo(tmp_path: Path) -> None:
    assert refusal_of(tmp_path / "gone.jpg").slug == "photo-missing"


def test_folder_given_as_a_photo(tmp_path: Path) -> None:
    assert refusal_of(tmp_path).slug == "photo-is-folder"
    with pytest.raises(DryslateError, match="photo-is-folder"):
        READER.read_metadata(tmp_path)


def test_photo_of_0_bytes(tmp_path: Path) -> None:
    assert refusal_of(save(tmp_path, "a.jpg", b"")).slug == "photo-empty"


def test_photo_that_the_system_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = save(tmp_path, "a.jpg", b"x")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert refusal_of(path).slug == "photo-unreadable"


@pytest.mark.parametrize("data", [b"reef notes, 3 m", b"\x00" * 500, b"\xff", b"RI"])
def test_file_that_is_no_photo(tmp_path: Path, data: bytes) -> None:
    error = refusal_of(save(tmp_path, "notes.jpg", data))
    assert error.slug == "photo-not-a-photo"
    assert "HEIC" in error.fix


@pytest.mark.parametrize(
    ("data", "named"),
    [
        (b"GIF89a" + bytes(60), "GIF"),
        (b"BM" + bytes(60), "BMP"),
        (b"RIFF\x10\x00\x00\x00WEBPVP8 ", "WebP"),
        (b"\x00\x00\x00\x20ftypisom\x00\x00\x02\x00isomiso2avc1mp41", "video"),
        (b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf", "AVIF"),
        (b"\x00\x00\x00\x0cJXL \r\n\x87\n", "JPEG XL"),
        (b"%PDF-1.7", "PDF"),
        (b"II+\x00\x08\x00\x00\x00", "BigTIFF"),
    ],
)
def test_known_kind_that_is_not_read_is_named(tmp_path: Path, data: bytes, named: str) -> None:
    error = refusal_of(save(tmp_path, "a.jpg", data))
    assert error.slug == "photo-unsupported"
    assert named in error.message
    assert "JPEG, PNG" in error.fix


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.99])
def test_jpeg_cut_off_anywhere(tmp_path: Path, made_photos: ModuleType, share: float) -> None:
    data = made_photos.jpeg(made_photos.scene(640, 480))
    error = refusal_of(save(tmp_path, "a.jpg", data[: int(len(data) * share)]))
    assert error.slug == "photo-truncated"
    assert str(int(len(data) * share)) in error.message


def test_jpeg_without_its_last_two_bytes_is_cut_off(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    data = made_photos.jpeg(made_photos.scene())
    assert refusal_of(save(tmp_path, "a.jpg", data[:-2])).slug == "photo-truncated"


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.99])
def test_jpeg_cut_off_anywhere_is_told_without_decoding(
    tmp_path: Path, made_photos: ModuleType, share: float
) -> None:
    small = made_photos.jpeg(made_photos.scene(40, 30))
    head = b"\xff\xe1" + struct.pack(">H", len(small) + 8) + b"Exif\x00\x00" + small
    data = made_photos.jpeg(made_photos.scene(640, 480))
    for whole in (data, data[:2] + head + data[2:]):  # the small picture has an end of its own
        READER.require_whole(save(tmp_path, "whole.jpg", whole))
        cut = save(tmp_path, "a.jpg", whole[: len(whole) - int(len(data) * (1 - share))])
        with pytest.raises(DryslateError, match="photo-truncated"):
            READER.require_whole(cut)


def test_jpeg_with_a_film_behind_it_is_whole(tmp_path: Path, made_photos: ModuleType) -> None:
    film = bytes(range(255)) * 4000  # a megabyte without what ends a JPEG
    data = made_photos.jpeg(made_photos.scene())
    path = save(tmp_path, "a.jpg", data + film)
    READER.require_whole(path)
    assert np.array_equal(
        READER.read(path).pixels, READER.read(save(tmp_path, "b.jpg", data)).pixels
    )
    with pytest.raises(DryslateError, match="photo-truncated"):
        READER.require_whole(save(tmp_path, "c.jpg", data[:-2] + film))


def test_jpeg_with_damaged_pixels(tmp_path: Path, made_photos: ModuleType) -> None:
    rng = np.random.default_rng(3)
    noise = rng.integers(0, 255, (240, 320, 3), dtype=np.uint8)
    data = bytearray(made_photos.jpeg(noise))
    data[len(data) // 2 : len(data) // 2 + 400] = b"\xff\xd9" * 200
    assert refusal_of(save(tmp_path, "a.jpg", bytes(data))).slug in (
        "photo-damaged",
        "photo-truncated",
    )


def test_jpeg_whose_segments_break_off(tmp_path: Path, made_photos: ModuleType) -> None:
    data = made_photos.jpeg(made_photos.scene())
    broken = data[:2] + b"\xff\xe1\x00\x01" + data[2:]
    assert refusal_of(save(tmp_path, "a.jpg", broken)).slug == "photo-damaged"
    nothing = data[:2] + bytes(500)
    assert refusal_of(save(tmp_path, "b.jpg", nothing)).slug == "photo-truncated"


@pytest.mark.parametrize(("mode", "slug"), [("L", "photo-grey"), ("CMYK", "photo-cmyk")])
def test_jpeg_without_rgb(tmp_path: Path, made_photos: ModuleType, mode: str, slug: str) -> None:
    data = made_photos.jpeg(made_photos.scene(), mode=mode)
    assert refusal_of(save(tmp_path, "a.jpg", data)).slug == slug


def test_jpeg_with_a_coding_that_is_not_read(tmp_path: Path, made_photos: ModuleType) -> None:
    data = made_photos.jpeg(made_photos.scene())
    at = data.index(b"\xff\xc0")
    for marker, bits in ((0xC3, 8), (0xC9, 8), (0xC1, 12)):
        changed = data[:at] + bytes((0xFF, marker)) + data[at + 2 : at + 4] + bytes((bits,))
        changed += data[at + 5 :]
        assert refusal_of(save(tmp_path, "a.jpg", changed)).slug == "photo-unsupported"


def test_bomb_is_refused_before_it_is_decoded(tmp_path: Path, made_photos: ModuleType) -> None:
    data = bytearray(made_photos.jpeg(made_photos.scene()))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    error = refusal_of(save(tmp_path, "bomb.jpg", bytes(data)))
    assert error.slug == "photo-too-large"
    assert "3600 megapixels" in error.message
    png = bytearray(made_photos.png(made_photos.scene()))
    png[16:24] = struct.pack(">II", 50000, 50000)
    assert refusal_of(save(tmp_path, "bomb.png", bytes(png))).slug == "photo-too-large"
    tiff = made_photos.tiff(np.zeros((300, 400, 3), np.uint8), compression="zlib")
    small = dataclasses.replace(READER, max_megapixels=0.1)
    assert refusal_of(save(tmp_path, "bomb.tif", tiff), small).slug == "photo-too-large"
    dng = made_photos.dng(np.full((300, 400), 900))
    assert refusal_of(save(tmp_path, "bomb.dng", dng), small).slug == "photo-too-large"


def test_size_of_zero_is_damage(tmp_path: Path, made_photos: ModuleType) -> None:
    data = bytearray(made_photos.jpeg(made_photos.scene()))
    at = data.index(b"\xff\xc0")
    data[at + 7 : at + 9] = bytes(2)
    assert refusal_of(save(tmp_path, "a.jpg", bytes(data))).slug == "photo-damaged"


@pytest.mark.parametrize("share", [0.05, 0.5, 0.98])
def test_png_cut_off(tmp_path: Path, made_photos: ModuleType, share: float) -> None:
    data = made_photos.png(made_photos.scene(400, 300))
    cut = data[: max(40, int(len(data) * share))]
    assert refusal_of(save(tmp_path, "a.png", cut)).slug == "photo-truncated"


def test_png_with_a_wrong_check_sum(tmp_path: Path, made_photos: ModuleType) -> None:
    data = bytearray(made_photos.png(made_photos.scene()))
    data[len(data) // 2] ^= 0xFF
    assert refusal_of(save(tmp_path, "a.png", bytes(data))).slug == "photo-damaged"
    assert refusal_of(save(tmp_path, "b.png", data[:20])).slug == "photo-damaged"


def test_png_in_grey(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    Image.new("L", (30, 20), 90).save(path)
    assert refusal_of(path).slug == "photo-grey"


@pytest.mark.parametrize("share", [0.01, 0.4, 0.95])
def test_tiff_cut_off(tmp_path: Path, made_photos: ModuleType, share: float) -> None:
    data = made_photos.tiff(made_photos.scene(300, 200))
    error = refusal_of(save(tmp_path, "a.tif", data[: int(len(data) * share)]))
    assert error.slug in ("photo-truncated", "photo-damaged")


def test_tiff_in_grey_in_inks_or_in_floats(tmp_path: Path, made_photos: ModuleType) -> None:
    grey = made_photos.tiff(np.zeros((20, 30), np.uint8), photometric="minisblack")
    assert refusal_of(save(tmp_path, "grey.tif", grey)).slug == "photo-grey"
    inks = made_photos.tiff(np.zeros((20, 30, 4), np.uint8), photometric="separated")
    assert refusal_of(save(tmp_path, "inks.tif", inks)).slug == "photo-cmyk"
    floats = made_photos.tiff(np.zeros((20, 30, 3), np.float32))
    assert refusal_of(save(tmp_path, "floats.tif", floats)).slug == "photo-unsupported"


def test_heic_that_is_cut_off_or_empty(tmp_path: Path) -> None:
    head = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"
    error = refusal_of(save(tmp_path, "a.heic", head))
    assert error.slug in ("photo-damaged", "photo-truncated")


@pytest.mark.parametrize("share", [0.001, 0.5, 0.99])
def test_raw_cut_off(tmp_path: Path, made_photos: ModuleType, share: float) -> None:
    data = made_photos.dng(np.full((64, 96), 900))
    path = save(tmp_path, "a.dng", data[: max(9, int(len(data) * share))])
    assert refusal_of(path).slug in ("photo-truncated", "photo-damaged")


def test_raw_of_an_unknown_camera(tmp_path: Path, made_photos: ModuleType) -> None:
    plain = made_photos.tiff(made_photos.scene())
    assert refusal_of(save(tmp_path, "a.nef", plain)).slug in (
        "photo-unsupported",
        "photo-damaged",
    )


def test_no_bad_file_leaves_the_reader_spoiled(tmp_path: Path, made_photos: ModuleType) -> None:
    good = made_photos.jpeg(made_photos.scene())
    refusal_of(save(tmp_path, "bad.jpg", good[:200]))
    assert READER.read(save(tmp_path, "good.jpg", good)).pixels.shape == (64, 96, 3)
