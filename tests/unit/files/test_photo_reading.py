"""Photos of each kind, written by other libraries, read back pixel by pixel and word by word."""

from __future__ import annotations

import io
import pickle
import struct
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryslate.core.colour.spaces import linear_to_srgb, srgb_to_linear
from dryslate.files.clock import SystemClock
from dryslate.files.photo_jpeg import _decode_cv2
from dryslate.files.photos import FilePhotoReader
from dryslate.formats.jpeg import EXIF_HEAD

READER = FilePhotoReader()


def save(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def with_words(made_photos: ModuleType, **words: object) -> bytes:
    return made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + made_photos.exif_block(), **words)


def test_jpeg_pixels_are_those_of_another_decoder(tmp_path: Path, made_photos: ModuleType) -> None:
    for progressive in (False, True):
        data = with_words(made_photos, progressive=progressive)
        photo = READER.read(save(tmp_path, "a.jpg", data))
        theirs = np.asarray(Image.open(io.BytesIO(data)), dtype=int)
        assert np.abs(photo.pixels.astype(int) - theirs).max() <= 2
        assert photo.kind == "jpeg"
        assert photo.decoder.startswith("simplejpeg")
        by_second, name = _decode_cv2(data, "a.jpg")
        assert np.abs(photo.pixels.astype(int) - by_second).max() <= 2
        assert name.startswith("opencv")


def test_plain_jpeg_is_srgb(tmp_path: Path, made_photos: ModuleType) -> None:
    photo = READER.read(save(tmp_path, "a.jpg", with_words(made_photos)))
    expected = srgb_to_linear(np.arange(256) / 255)
    assert photo.linear_lut == pytest.approx(np.stack([expected] * 3, axis=1), abs=2e-7)
    assert photo.linear_lut.dtype == np.float32
    assert np.array_equal(photo.to_srgb, np.eye(3))


def test_wide_profile_is_honoured_in_the_maths(tmp_path: Path, made_photos: ModuleType) -> None:
    icc = made_photos.wide_icc()
    photo = READER.read(save(tmp_path, "a.jpg", with_words(made_photos, icc_profile=icc)))
    linear = np.take_along_axis(photo.linear_lut, photo.pixels.reshape(-1, 3), axis=0)
    ours = np.clip(linear_to_srgb(linear @ photo.to_srgb.T) * 255, 0, 255)
    engine = ImageCms.profileToProfile(
        Image.fromarray(photo.pixels),
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
    )
    theirs = np.asarray(engine).reshape(-1, 3)
    inside = (ours > 0.5).all(1) & (ours < 254.5).all(1)
    assert inside.mean() > 0.3
    assert np.abs(ours - theirs)[inside].max() <= 1.6


def test_wide_space_told_by_exif_alone_is_honoured(tmp_path: Path, made_photos: ModuleType) -> None:
    block = made_photos.exif_block(exif={0xA001: 2})
    data = made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + block)
    photo = READER.read(save(tmp_path, "a.jpg", data))
    assert photo.to_srgb[0, 0] > 1.3
    assert photo.notes == ()


def test_metadata_are_the_same_with_and_without_decoding(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    frame = made_photos.scene()
    block = made_photos.exif_block()
    files = {
        "a.jpg": with_words(made_photos),
        "a.png": made_photos.png(frame, exif=EXIF_HEAD + block),
        "a.dng": made_photos.dng(np.full((64, 96), 4000), orientation=8),
        "a.tif": made_photos.tiff(frame, extratags=[(272, "s", 0, "Model One", True)]),
    }
    for name, data in files.items():
        path = save(tmp_path, name, data)
        assert READER.read_metadata(path) == READER.read(path).metadata
        assert READER.read_metadata(path).camera_model == "Model One"


def test_metadata_behind_a_long_preview_are_found(tmp_path: Path, made_photos: ModuleType) -> None:
    block = made_photos.exif_block()
    long = bytes(60_000)
    data = with_words(made_photos)
    filler = b"".join(b"\xff\xe4" + struct.pack(">H", len(long) + 2) + long for _ in range(12))
    path = save(tmp_path, "a.jpg", data[:2] + filler + data[2:])
    assert READER.read_metadata(path).camera_serial == "SN-77"
    order = "<" if block[:2] == b"II" else ">"
    moved = block[:4] + struct.pack(order + "I", 700_000)
    tail = struct.pack(order + "HHHII", 1, 0x0112, 3, 1, 0x00060006) + bytes(4)
    late = save(tmp_path, "a.tif", moved.ljust(700_000, b"\0") + tail)
    assert READER.read_metadata(late).orientation == 6


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_png_of_either_depth(tmp_path: Path, made_photos: ModuleType, depth: type) -> None:
    scale = 1 if depth is np.uint8 else 257
    frame = made_photos.scene().astype(depth) * depth(scale)
    photo = READER.read(save(tmp_path, "a.png", made_photos.png(frame)))
    assert photo.pixels.dtype == depth
    assert np.array_equal(photo.pixels, frame)
    assert len(photo.linear_lut) == np.iinfo(depth).max + 1


def test_png_profile_palette_and_gamma(tmp_path: Path, made_photos: ModuleType) -> None:
    frame = made_photos.scene()
    wide = made_photos.png(frame, icc_profile=made_photos.wide_icc())
    assert READER.read(save(tmp_path, "wide.png", wide)).to_srgb[0, 0] > 1.3
    palette = io.BytesIO()
    indexed = Image.fromarray(frame).quantize(16)
    indexed.save(palette, "PNG")
    photo = READER.read(save(tmp_path, "palette.png", palette.getvalue()))
    assert np.array_equal(photo.pixels, np.asarray(indexed.convert("RGB")))
    import zlib

    plain = made_photos.png(frame)
    body = b"gAMA" + struct.pack(">I", 100_000)
    chunk = struct.pack(">I", 4) + body + struct.pack(">I", zlib.crc32(body))
    linear = READER.read(save(tmp_path, "linear.png", plain[:33] + chunk + plain[33:]))
    assert linear.linear_lut[128, 0] == pytest.approx(128 / 255, abs=1e-6)


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("words", [{}, {"compression": "zlib"}, {"planarconfig": "separate"}])
def test_tiff_of_either_depth(
    tmp_path: Path, made_photos: ModuleType, depth: type, words: dict
) -> None:
    frame = made_photos.scene().astype(depth) * depth(3 if depth is np.uint16 else 1)
    given = np.moveaxis(frame, 2, 0) if "planarconfig" in words else frame
    photo = READER.read(save(tmp_path, "a.tif", made_photos.tiff(given, **words)))
    assert photo.pixels.dtype == depth
    assert np.array_equal(photo.pixels, frame)


def test_tiff_packed_in_another_way_is_read_by_the_second_decoder(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    frame = made_photos.scene()
    path = tmp_path / "a.tif"
    Image.fromarray(frame).save(path, compression="tiff_lzw")
    photo = READER.read(path)
    assert np.array_equal(photo.pixels, frame)
    assert photo.decoder.startswith("opencv")


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_raw_is_linear_camera_light_without_white_balance(
    tmp_path: Path, made_photos: ModuleType, orientation: int
) -> None:
    mosaic = np.full((64, 96), 8000)
    mosaic[0::2, 0::2], mosaic[1::2, 1::2] = 4000, 6000
    photo = READER.read(save(tmp_path, "a.dng", made_photos.dng(mosaic, orientation)))
    expected = [(v - 512) / (15872 - 512) for v in (4000, 8000, 6000)]
    assert photo.pixels.dtype == np.uint16
    assert photo.pixels.shape == (64, 96, 3)
    assert photo.pixels[20:40, 20:40].reshape(-1, 3) / 65535 == pytest.approx(
        np.tile(expected, (400, 1)), abs=3e-5
    )
    assert photo.linear_lut[photo.pixels[30, 30, 0], 0] == pytest.approx(expected[0], abs=3e-5)
    assert photo.metadata.orientation == orientation
    assert "PPG" in photo.decoder


def test_raw_keeps_its_scale_whatever_the_brightest_pixel_is(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    dark = READER.read(save(tmp_path, "a.dng", made_photos.dng(np.full((64, 96), 3000))))
    mixed = np.full((64, 96), 3000)
    mixed[:, 48:] = 15872
    bright = READER.read(save(tmp_path, "b.dng", made_photos.dng(mixed)))
    assert np.array_equal(dark.pixels[:, :40], bright.pixels[:, :40])
    assert bright.pixels[30, 80].tolist() == [65535] * 3


def test_daylight_white_of_a_raw_camera_becomes_neutral(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    """What the camera sees of D65 white goes to equal sRGB: by the definition of its matrix."""
    photo = READER.read(save(tmp_path, "a.dng", made_photos.dng(np.full((64, 96), 3000))))
    to_camera = np.array(made_photos.CAMERA_MATRIX).reshape(3, 3) / 10000
    white = to_camera @ [0.95047, 1.0, 1.08883]
    linear = photo.to_srgb @ (white / white.max())
    assert linear == pytest.approx(np.ones(3), abs=1e-4)


def test_reader_goes_to_other_processes_and_threads(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    assert pickle.loads(pickle.dumps(READER)) == READER
    path = save(tmp_path, "a.jpg", with_words(made_photos, icc_profile=made_photos.wide_icc()))
    once = READER.read(path).pixels
    with ThreadPoolExecutor(4) as pool:
        for photo in pool.map(READER.read, [path] * 12):
            assert np.array_equal(photo.pixels, once)
    again = pickle.loads(pickle.dumps(READER.read(path)))
    assert again.metadata == READER.read_metadata(path)


def test_clock_tells_utc() -> None:
    now = SystemClock().now_utc()
    assert len(now) == 20
    assert now.endswith("Z")


@pytest.mark.real
def test_real_photos_are_read_with_their_own_profile(real_photos: Path) -> None:
    for path in sorted(real_photos.glob("*/*.jpg")):
        photo = READER.read(path)
        assert photo.notes == ()
        theirs = np.asarray(Image.open(path), dtype=np.int16)
        assert np.abs(photo.pixels - theirs).max() <= 3
