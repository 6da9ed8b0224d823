"""A JPEG that leaves the project without its places keeps its pixels, and nothing that was told."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from dryslate.formats.jpeg_places import without_places


@pytest.mark.parametrize("progressive", [False, True])
def test_places_words_and_second_pictures_go_pixels_and_turning_stay(
    made_photos, progressive
) -> None:
    block = made_photos.exif_block(main={0x0112: 6, 0x010F: "Maker"})
    data = made_photos.jpeg(
        made_photos.scene(),
        exif=b"Exif\x00\x00" + block,
        xmp=b"<x:xmpmeta>GPSLatitude 16,45.5S</x:xmpmeta>",
        progressive=progressive,
        comment=b"at the secret reef",
        icc_profile=made_photos.wide_icc(),
    )
    hidden = made_photos.jpeg(made_photos.scene(), exif=b"Exif\x00\x00" + block)
    told = without_places(data + hidden)
    with Image.open(io.BytesIO(told)) as after, Image.open(io.BytesIO(data)) as before:
        assert dict(after.getexif()) == {0x0112: 6}
        assert after.getexif().get_ifd(0x8825) == {}
        assert np.array_equal(np.asarray(after), np.asarray(before))
        assert after.info.get("icc_profile") == before.info.get("icc_profile")
    for words in (b"GPSLatitude", b"Maker", b"secret", b"SN-77"):
        assert words in data
        assert words not in told
    assert told.count(b"\xff\xd8") == 1


def test_photo_without_words_stays_as_it_is(made_photos) -> None:
    data = made_photos.jpeg(made_photos.scene())
    assert without_places(data) == data


@pytest.mark.parametrize("cut", [1, 3, 40])
def test_what_cannot_be_followed_is_refused(made_photos, cut: int) -> None:
    data = made_photos.jpeg(made_photos.scene())
    with pytest.raises(ValueError, match="cannot be followed"):
        without_places(b"no" + data if cut == 1 else data[:cut] + b"\x00" + data[cut:])
