"""What files are, which camera made them, and when."""

from __future__ import annotations

import pytest

from dryslate.app.project_records import ClockOffset
from dryslate.app.records import PhotoMetadata
from dryslate.app.shots import camera_key, corrected_time, ending_of, kind_of, taken_time


@pytest.mark.parametrize(
    ("name", "head", "kind"),
    [
        ("a.jpg", b"\xff\xd8\xff\xe1", "jpeg"),
        ("renamed.nef", b"\xff\xd8\xff\xe1", "jpeg"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "png"),
        ("a.heic", b"\0\0\0\x24ftypheic", "heic"),
        ("a.hif", b"\0\0\0\x24ftypmif1", "heic"),
        ("a.mp4", b"\0\0\0\x24ftypisom", "other"),
        ("a.cr3", b"\0\0\0\x18ftypcrx ", "raw"),
        ("a.NEF", b"MM\0*\0\0\0\x08", "raw"),
        ("a.dng", b"II*\0\x08\0\0\0", "raw"),
        ("a.tif", b"II*\0\x08\0\0\0", "tiff"),
        ("a.raf", b"FUJIFILMCCD-RAW 0201", "raw"),
        ("a.crw", b"II\x1a\0\0\0HEAPCCDR", "raw"),
        ("a.jpg", b"", "other"),
        ("a.jpg", b"<html>", "other"),
    ],
)
def test_kind_is_told_by_content_and_by_ending_where_raws_look_alike(name, head, kind) -> None:
    assert kind_of(name, head) == kind


@pytest.mark.parametrize(
    ("name", "ending"),
    [("A.JPG", "jpg"), ("a.tar.gz", "gz"), ("none", ""), ("a.b c", ""), (".hidden", "hidden")],
)
def test_ending_is_small_and_plain(name, ending) -> None:
    assert ending_of(name) == ending


@pytest.mark.parametrize("taken", ["0000-00-00T00:00:00", "soon", None])
def test_impossible_time_is_no_time(taken) -> None:
    metadata = PhotoMetadata(taken_local=taken)
    assert taken_time(metadata) is None
    offset = ClockOffset(visit_id="v", camera="c", offset_s=1.0)
    assert corrected_time(metadata, offset) is None


def test_time_is_not_corrected_by_a_clock_that_nobody_set() -> None:
    assert corrected_time(PhotoMetadata(taken_local="2026-03-14T10:00:00"), None) is None


def test_corrected_time_crosses_midnight_and_does_not_borrow_the_cameras_offset() -> None:
    metadata = PhotoMetadata(taken_local="2026-03-14T23:59:30", utc_offset="+01:00")
    offset = ClockOffset(visit_id="v", camera="c", offset_s=60.0)
    assert corrected_time(metadata, offset) == "2026-03-15T00:00:30"


def test_two_cameras_of_one_model_are_told_apart_by_their_numbers() -> None:
    keys = {camera_key(PhotoMetadata(camera_model="Five", camera_serial=n)) for n in ("1", "2")}
    assert len(keys) == 2
