"""JPEG segments: read as another library reads them, and put back in the right order."""

from __future__ import annotations

import io
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from dryslate.base.errors import FormatError
from dryslate.formats.jpeg import (
    APP1,
    EXIF_HEAD,
    Segment,
    format_segment,
    join_icc,
    parse_jpeg_head,
    splice_jpeg,
    split_icc,
)


def test_head_says_what_the_writer_put_in(made_photos: ModuleType) -> None:
    exif, icc = made_photos.exif_block(), made_photos.wide_icc()
    for progressive in (False, True):
        data = made_photos.jpeg(
            made_photos.scene(),
            exif=EXIF_HEAD + exif,
            icc_profile=icc,
            xmp=b"<x/>",
            progressive=progressive,
        )
        head = parse_jpeg_head(data, "a.jpg")
        assert (head.width_px, head.height_px, head.n_components) == (96, 64, 3)
        assert head.is_readable_frame
        assert (head.exif, head.icc_profile, head.xmp) == (exif, icc, b"<x/>")


def test_exif_is_spliced_first_and_pixels_stay_bit_for_bit(made_photos: ModuleType) -> None:
    encoded = made_photos.jpeg(made_photos.scene())
    exif = EXIF_HEAD + made_photos.exif_block()
    segments = [Segment(marker=APP1, payload=exif), *split_icc(made_photos.wide_icc())]
    head, rest = splice_jpeg(encoded, segments)
    assert head[:4] == b"\xff\xd8\xff\xe1"
    assert b"JFIF" not in head + bytes(rest)
    image = Image.open(io.BytesIO(head + bytes(rest)))
    assert image.info["icc_profile"] == made_photos.wide_icc()
    assert np.array_equal(np.asarray(image), np.asarray(Image.open(io.BytesIO(encoded))))


def test_without_exif_the_jfif_segment_stays_first(made_photos: ModuleType) -> None:
    encoded = made_photos.jpeg(made_photos.scene())
    head, rest = splice_jpeg(encoded, split_icc(made_photos.wide_icc()))
    assert (head + bytes(rest))[:11] == b"\xff\xd8\xff\xe0\x00\x10JFIF\x00"


@given(st.integers(1, 300_000))
def test_profiles_of_any_length_come_back(size: int) -> None:
    profile = bytes(i % 251 for i in range(min(size, 997))) * (size // 997 + 1)
    assert join_icc(s.payload for s in split_icc(profile[:size])) == profile[:size]


def test_profile_with_a_missing_piece_is_not_taken() -> None:
    pieces = [s.payload for s in split_icc(bytes(200_000))]
    assert join_icc(pieces[:-1]) is None
    assert join_icc(reversed(pieces)) == bytes(200_000)


def test_profile_beyond_255_pieces_is_refused() -> None:
    with pytest.raises(FormatError, match="profile-too-large"):
        split_icc(bytes(255 * 65533))


def test_segment_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="65533"):
        format_segment(Segment(marker=APP1, payload=bytes(65534)))
