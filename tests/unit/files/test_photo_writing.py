"""Corrected photos as other libraries see them: pixels, Exif, profile, XMP, captions."""

from __future__ import annotations

import io
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image

from dryslate.app.records import DecodedPhoto
from dryslate.files.photos import FilePhotoReader
from dryslate.formats.exif import parse_exif
from dryslate.formats.exif_facts import facts_from_exif
from dryslate.formats.icc import parse_icc
from dryslate.formats.jpeg import EXIF_HEAD, Segment, parse_jpeg_head
from dryslate.formats.xmp import parse_xmp_fields

READER = FilePhotoReader()
DONE = {"fit": "affine", "card": "field", "original_sha256": "ab" * 32, "version": "0.1.0"}
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-'
    b'syntax-ns#"><rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
    b'xmp:Rating="4"/></rdf:RDF></x:xmpmeta>'
)


def photo_of(folder: Path, name: str, data: bytes) -> DecodedPhoto:
    (folder / name).write_bytes(data)
    return READER.read(folder / name)


def test_exif_stays_byte_for_byte_in_a_plain_srgb_photo(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    words = made_photos.EXIF_WORDS | {0x927C: bytes(range(256)) * 80}
    block = made_photos.exif_block(exif=words)
    photo = photo_of(
        tmp_path, "a.jpg", made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + block, xmp=XMP)
    )
    out = tmp_path / "out.jpg"
    READER.write_corrected(out, photo.pixels, photo, DONE)
    head = parse_jpeg_head(out.read_bytes(), "out.jpg")
    assert head.exif == block
    assert head.xmp is not None
    assert b'xmp:Rating="4"' in head.xmp
    assert parse_xmp_fields(head.xmp) == DONE
    image = Image.open(io.BytesIO(out.read_bytes()))
    assert image.getexif().get_ifd(0x8825)[1] == "S"
    assert image.info["icc_profile"][36:40] == b"acsp"


def test_pixels_of_the_jpeg_are_close_and_full_in_chroma(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    photo = photo_of(tmp_path, "a.jpg", made_photos.jpeg(made_photos.scene()))
    out = tmp_path / "out.jpg"
    READER.write_corrected(out, photo.pixels, photo, DONE)
    image = Image.open(io.BytesIO(out.read_bytes()))
    assert np.abs(np.asarray(image, dtype=int) - photo.pixels).mean() < 1.5
    assert [(c[1], c[2]) for c in image.layer] == [(1, 1)] * 3


def test_turned_views_are_written_as_they_lie(tmp_path: Path, made_photos: ModuleType) -> None:
    photo = photo_of(tmp_path, "a.jpg", made_photos.jpeg(made_photos.scene()))
    for name, given in (("v.jpg", photo.pixels[::-1]), ("v.tif", photo.pixels[::-1])):
        READER.write_corrected(tmp_path / name, given, photo, DONE)
        with Image.open(tmp_path / name) as image:
            assert np.abs(np.asarray(image, dtype=int) - given).mean() < 1.5


def test_wide_profile_gives_way_to_srgb_in_profile_and_exif(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    block = made_photos.exif_block(exif={0xA001: 65535})
    data = made_photos.jpeg(
        made_photos.scene(), exif=EXIF_HEAD + block, icc_profile=made_photos.wide_icc()
    )
    photo = photo_of(tmp_path, "a.jpg", data)
    out = tmp_path / "out.jpg"
    READER.write_corrected(out, photo.pixels, photo, DONE)
    image = Image.open(io.BytesIO(out.read_bytes()))
    assert parse_icc(image.info["icc_profile"], "out.jpg").is_srgb_like
    assert image.getexif().get_ifd(0x8769)[0xA001] == 1


def test_profile_that_means_srgb_stays(tmp_path: Path, made_photos: ModuleType) -> None:
    from PIL import ImageCms

    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    photo = photo_of(tmp_path, "a.jpg", made_photos.jpeg(made_photos.scene(), icc_profile=icc))
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, DONE)
    assert Image.open(io.BytesIO((tmp_path / "out.jpg").read_bytes())).info["icc_profile"] == icc


def test_captions_stay_and_the_thumbnail_goes(tmp_path: Path, made_photos: ModuleType) -> None:
    image = Image.fromarray(made_photos.scene())
    exif = Image.Exif()
    exif[0x0110] = "Model One"
    block = exif.tobytes().removeprefix(EXIF_HEAD)
    order = "little" if block[:2] == b"II" else "big"
    at = int.from_bytes(block[4:8], order)
    n = int.from_bytes(block[at : at + 2], order)
    after = at + 2 + 12 * n
    thumb = io.BytesIO()
    image.resize((16, 12)).save(thumb, "JPEG")
    directory = (2).to_bytes(2, order)
    base = len(block) + 2 + 24 + 4
    for tag, value in ((0x0201, base), (0x0202, len(thumb.getvalue()))):
        directory += tag.to_bytes(2, order) + (4).to_bytes(2, order) + (1).to_bytes(4, order)
        directory += value.to_bytes(4, order)
    block = block[:after] + len(block).to_bytes(4, order) + block[after + 4 :]
    block += directory + bytes(4) + thumb.getvalue()
    data = made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + block)
    assert Image.open(io.BytesIO(data)).getexif().get_ifd(ExifTags.IFD.IFD1)
    with_comment = data[:2] + b"\xff\xfe\x00\x0cnorth wall" + data[2:]
    photo = photo_of(tmp_path, "a.jpg", with_comment)
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, DONE)
    written = Image.open(io.BytesIO((tmp_path / "out.jpg").read_bytes()))
    assert written.info["comment"] == b"north wall"
    assert not written.getexif().get_ifd(ExifTags.IFD.IFD1)
    assert written.getexif()[0x0110] == "Model One"


def test_sixteen_bit_tiff_holds_pixels_profile_words_and_turn(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    block = made_photos.exif_block(main=made_photos.MAIN_WORDS | {0x0112: 6})
    data = made_photos.jpeg(made_photos.scene(), exif=EXIF_HEAD + block, xmp=XMP)
    photo = photo_of(tmp_path, "a.jpg", data)
    deep = photo.pixels.astype(np.uint16) * 257
    out = tmp_path / "out.tif"
    READER.write_corrected(out, deep, photo, DONE)
    with tifffile.TiffFile(out) as tiff:
        page = tiff.pages.first
        assert np.array_equal(page.asarray(), deep)
        assert page.dtype == np.uint16
        assert page.tags[274].value == 6
        assert page.tags[272].value == "Model One"
        assert page.tags[34665].value["ExposureTime"] == (1, 250)
        assert page.tags[34853].value["GPSLatitudeRef"] == "S"
        assert parse_icc(page.tags[34675].value, "out.tif").is_srgb_like
        assert parse_xmp_fields(page.tags[700].value) == DONE
    assert READER.read_metadata(out).taken_local == photo.metadata.taken_local
    again = READER.read(out)
    assert np.array_equal(again.pixels, deep)
    assert again.metadata.orientation == 6


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.dng"])
def test_words_of_other_kinds_go_along(tmp_path: Path, made_photos: ModuleType, name: str) -> None:
    frame = made_photos.scene()
    block = made_photos.exif_block()
    data = {
        "a.png": lambda: made_photos.png(frame, exif=EXIF_HEAD + block),
        "a.tif": lambda: made_photos.tiff(frame, extratags=[(272, "s", 0, "Model One", True)]),
        "a.dng": lambda: made_photos.dng(np.full((64, 96), 4000), orientation=6),
    }[name]()
    photo = photo_of(tmp_path, name, data)
    out = tmp_path / "out.jpg"
    READER.write_corrected(out, frame, photo, DONE)
    image = Image.open(io.BytesIO(out.read_bytes()))
    assert image.getexif()[0x0110] == "Model One"
    assert image.getexif()[0x0112] == photo.metadata.orientation


def test_large_xmp_goes_out_whole(tmp_path: Path, made_photos: ModuleType) -> None:
    from dryslate.formats.xmp import join_extended, split_xmp

    big = XMP.replace(b'xmp:Rating="4"', b'xmp:Rating="4" xmp:Label="' + b"r" * 90_000 + b'"')
    packet, extended = split_xmp({"card": "stick"}, big)
    data = made_photos.jpeg(made_photos.scene(), xmp=packet)
    segments = [Segment(marker=0xE1, payload=part) for part in extended]
    spliced = data[:2] + b"".join(
        b"\xff\xe1" + (len(s.payload) + 2).to_bytes(2, "big") + s.payload for s in segments
    )
    photo = photo_of(tmp_path, "a.jpg", spliced + data[2:])
    READER.write_corrected(tmp_path / "out.jpg", photo.pixels, photo, DONE)
    head = parse_jpeg_head((tmp_path / "out.jpg").read_bytes(), "out.jpg")
    assert head.extended_xmp == extended
    assert b"r" * 90_000 in (join_extended(head.extended_xmp) or b"")
    assert parse_xmp_fields(head.xmp or b"") == DONE


def test_maker_notes_stay_only_where_they_cannot_move(
    tmp_path: Path, made_photos: ModuleType
) -> None:
    """JPEG to JPEG keeps them to the byte; by way of TIFF all else stays and they are left out."""
    words = {**made_photos.EXIF_WORDS, 0x927C: bytes(range(100))}
    block = b"Exif\x00\x00" + made_photos.exif_block(exif=words)
    (tmp_path / "a.jpg").write_bytes(made_photos.jpeg(made_photos.scene(), exif=block))
    photo = READER.read(tmp_path / "a.jpg")
    for name in ("same.jpg", "b.tif"):
        READER.write_corrected(tmp_path / name, photo.pixels, photo, {"card": "field"})
    again = READER.read(tmp_path / "b.tif")
    READER.write_corrected(tmp_path / "c.jpg", again.pixels, again, {"card": "field"})
    same, from_tiff = (
        parse_exif(parse_jpeg_head((tmp_path / n).read_bytes(), n).exif or b"", n)
        for n in ("same.jpg", "c.jpg")
    )
    assert same.exif[0x927C].raw == bytes(range(100))
    assert 0x927C not in from_tiff.exif
    assert set(same.exif) - set(from_tiff.exif) <= {0x927C, 0xA002, 0xA003, 0xA005}
    assert from_tiff.gps.keys() == same.gps.keys()
    for name in ("taken_local", "camera_serial", "latitude_deg", "exposure_s", "lens_model"):
        assert getattr(facts_from_exif(from_tiff), name) == getattr(facts_from_exif(same), name)
