"""Copies of photos for an archive: those of sensitive sites leave without their places or not."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryslate.app.archive_pictures import picture_for_archive
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata


class Vault:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path_of(self, sha256: str, name: str) -> Path:
        return self.folder / name


def photo(name: str, kind: str) -> Photo:
    file = PhotoFile(sha256="a" * 64, original_name=name, size_bytes=1, kind=kind)
    return Photo(photo_id="a" * 64, visit_id="v", files=(file,), metadata=PhotoMetadata())


@pytest.fixture
def fetch(tmp_path: Path, made_photos):
    data = made_photos.jpeg(made_photos.scene(), exif=b"Exif\x00\x00" + made_photos.exif_block())
    (tmp_path / "one.JPG").write_bytes(data)
    (tmp_path / "one.cr2").write_bytes(b"II*\x00raw")
    (tmp_path / "corrected.jpg").write_bytes(data)
    paths = {"a" * 64: "corrected.jpg"}
    return picture_for_archive(paths.get, tmp_path, Vault(tmp_path)), data


def test_original_of_an_ordinary_site_is_the_file_itself(fetch) -> None:
    get, data = fetch
    assert get(photo("one.JPG", "jpeg"), "originals", False) == (".jpg", data)
    assert get(photo("one.cr2", "raw"), "originals", False) == (".cr2", b"II*\x00raw")


@pytest.mark.parametrize("which", ["originals", "corrected"])
def test_copy_of_a_sensitive_site_has_no_place(fetch, which) -> None:
    get, data = fetch
    ending, copy = get(photo("one.JPG", "jpeg"), which, True)
    assert ending == ".jpg"
    assert b"SN-77" in data
    assert b"SN-77" not in copy


def test_file_whose_place_cannot_be_taken_out_does_not_leave(fetch) -> None:
    get, _ = fetch
    assert get(photo("one.cr2", "raw"), "originals", True) is None


def test_copy_that_is_not_there_is_none(fetch, tmp_path: Path) -> None:
    get, _ = fetch
    assert get(photo("gone.JPG", "jpeg"), "originals", False) is None
    (tmp_path / "corrected.jpg").unlink()
    assert get(photo("one.JPG", "jpeg"), "corrected", False) is None


def test_another_reader_of_exif_finds_no_place_in_the_copy(tmp_path: Path) -> None:
    """Pillow wrote the position, and Pillow does not find it again; how it is turned stays."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Maker"
    exif[0x8825] = {1: "S", 2: (8.0, 21.0, 0.0), 3: "E", 4: (115.0, 30.6, 0.0), 29: "2024:05:19"}
    path = tmp_path / "one.JPG"
    Image.new("RGB", (32, 24), (10, 90, 160)).save(path, exif=exif, xmp=b"<x>115.51</x>")
    with Image.open(path) as before:
        assert before.getexif().get_ifd(0x8825)[4] == (115.0, 30.6, 0.0)
    made = picture_for_archive({}.get, tmp_path, Vault(tmp_path))(
        photo("one.JPG", "jpeg"), "originals", True
    )
    (tmp_path / "copy.jpg").write_bytes(made[1])
    with Image.open(tmp_path / "copy.jpg") as after:
        found = after.getexif()
        assert found.get_ifd(0x8825) == {}
        assert dict(found) == {0x0112: 6}
        assert "xmp" not in after.info
        assert after.size == (32, 24)
    assert b"115.51" not in made[1]
