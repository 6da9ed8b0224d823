"""HEIC photos made block by block, read through the decoder."""

from __future__ import annotations

import io
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from dryslate.base.errors import DryslateError, InputError
from dryslate.files.photos import FilePhotoReader
from dryslate.formats.jpeg import EXIF_HEAD

READER = FilePhotoReader()


def save(folder: Path, data: bytes) -> Path:
    (folder / "a.heic").write_bytes(data)
    return folder / "a.heic"


def test_pixels_and_words_come_through(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    frame = made_photos.scene()
    path = save(tmp_path, made_heic.heic(frame, exif=made_photos.exif_block()))
    photo = READER.read(path)
    assert np.abs(photo.pixels.astype(int) - frame).max() <= 8  # halved chroma
    assert np.abs(photo.pixels.astype(int) - frame).mean() < 1.2
    assert photo.kind == "heic"
    assert photo.metadata.camera_serial == "SN-77"
    assert photo.notes == ()
    assert np.array_equal(photo.to_srgb, np.eye(3))
    assert READER.read_metadata(path) == photo.metadata


def test_decoder_turns_the_pixels_so_orientation_is_1(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    frame = made_photos.scene()
    block = made_photos.exif_block(main=made_photos.MAIN_WORDS | {0x0112: 8})
    photo = READER.read(save(tmp_path, made_heic.heic(frame, exif=block, n_quarter_turns=1)))
    assert np.abs(photo.pixels.astype(int) - np.rot90(frame)).mean() < 1.5
    assert photo.metadata.orientation == 1
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, {"card": "field"})
    written = Image.open(io.BytesIO((tmp_path / "out.jpg").read_bytes()))
    assert written.getexif()[0x0112] == 1
    assert written.size == (64, 96)


def test_wide_colours_by_profile_or_code_points_are_honoured(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    frame = made_photos.scene(32, 32)
    by_points = READER.read(save(tmp_path, made_heic.heic(frame, code_points=(12, 13))))
    assert by_points.to_srgb[0, 0] == pytest.approx(1.2249, abs=1e-3)  # P3 to sRGB, by hand
    by_profile = READER.read(
        save(tmp_path, made_heic.heic(frame, icc_profile=made_photos.wide_icc()))
    )
    assert by_profile.to_srgb[0, 0] > 1.3
    unknown = READER.read(save(tmp_path, made_heic.heic(frame, code_points=(4, 13))))
    assert [n.slug for n in unknown.notes] == ["colour-code-unknown"]


def test_high_range_is_refused(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    path = save(tmp_path, made_heic.heic(made_photos.scene(32, 32), code_points=(9, 16)))
    with pytest.raises(DryslateError, match="photo-high-range"):
        READER.read(path)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.5, 0.98])
def test_cut_off_file_is_refused(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType, share: float
) -> None:
    data = made_heic.heic(made_photos.scene(), exif=made_photos.exif_block())
    path = save(tmp_path, data[: int(len(data) * share)])
    with pytest.raises(InputError) as caught:
        READER.read(path)
    assert caught.value.slug in ("photo-truncated", "photo-damaged")


def test_file_too_large_is_refused_before_decoding(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    path = save(tmp_path, made_heic.heic(made_photos.scene(32, 32)))
    with pytest.raises(InputError, match="photo-too-large"):
        FilePhotoReader(max_megapixels=0.001).read(path)


def test_words_are_carried_into_the_jpeg(
    tmp_path: Path, made_photos: ModuleType, made_heic: ModuleType
) -> None:
    block = made_photos.exif_block()
    photo = READER.read(save(tmp_path, made_heic.heic(made_photos.scene(), exif=block)))
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, {"card": "field"})
    written = (tmp_path / "out.jpg").read_bytes()
    assert EXIF_HEAD + block in written
