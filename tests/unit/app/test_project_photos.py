"""Photos of a project are found by the names people give them, one rule for every command."""

from __future__ import annotations

import pytest

from dryslate.app.project_photos import photos_called
from dryslate.app.records import Photo, PhotoFile, PhotoMetadata

A, B = "0123456789abcdef" * 4, "fedcba9876543210" * 4


def photo(sha256: str, *names: str) -> Photo:
    files = tuple(
        PhotoFile(sha256=sha256, original_name=n, size_bytes=1, kind="jpeg") for n in names
    )
    return Photo(photo_id=sha256, visit_id="v", files=files, metadata=PhotoMetadata())


PHOTOS = (photo(A, "DCIM/IMG_1.JPG", "IMG_1.DNG"), photo(B, "img_1.jpg"))


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("IMG_1.DNG", [A]),
        ("img_1.dng", [A]),
        ("anywhere/IMG_1.JPG", [A, B]),
        ("C:\\card\\IMG_1.jpg", [A, B]),
        (" IMG_1.DNG ", [A]),
        ("01234567", [A]),
        ("0123456", []),
        (f"{B}.jpg", [B]),
        (B.upper(), [B]),
        ("IMG_1", []),
        ("IMG_2.JPG", []),
    ],
)
def test_names_and_hashes(name: str, found: list[str]) -> None:
    assert [p.photo_id for p in photos_called(PHOTOS, name)] == found
