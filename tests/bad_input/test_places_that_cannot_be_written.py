"""Full disks, closed folders and originals in the way: a sentence, and nothing half written."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from dryslate.app.records import DecodedPhoto
from dryslate.base.errors import SettingsError, StoreError
from dryslate.files.photos import FilePhotoReader
from dryslate.files.safe_write import save_whole

READER = FilePhotoReader()
DONE = {"card": "field"}


@pytest.fixture
def photo(tmp_path: Path, made_photos: ModuleType) -> DecodedPhoto:
    path = tmp_path / "original.jpg"
    path.write_bytes(made_photos.jpeg(made_photos.scene()))
    return READER.read(path)


@pytest.mark.parametrize(
    ("code", "slug"),
    [
        (errno.ENOSPC, "disk-full"),
        (errno.EDQUOT, "disk-full"),
        (errno.EROFS, "folder-read-only"),
        (errno.EIO, "write-failed"),
    ],
)
@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_disk_that_gives_up_in_the_middle(
    tmp_path: Path,
    photo: DecodedPhoto,
    monkeypatch: pytest.MonkeyPatch,
    code: int,
    slug: str,
    ending: str,
) -> None:
    out = tmp_path / "out" / f"a.{ending}"
    READER.write_corrected(out, photo.pixels, photo, DONE)
    before = out.read_bytes()

    def give_up(handle: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", give_up)
    with pytest.raises(StoreError) as caught:
        READER.write_corrected(out, photo.pixels // 2, photo, DONE)
    assert caught.value.slug == slug
    assert out.read_bytes() == before
    assert [p.name for p in out.parent.iterdir()] == [out.name]


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="needs a memory file system")
def test_file_limit_of_the_system_counts_as_full(tmp_path: Path, photo: DecodedPhoto) -> None:
    resource = pytest.importorskip("resource")
    import signal

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
    try:
        with pytest.raises(StoreError, match="disk-full"):
            READER.write_corrected(tmp_path / "out.tif", photo.pixels, photo, DONE)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, old)
    assert not list(tmp_path.glob("*out*"))


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the superuser may write")
def test_folder_without_permission(tmp_path: Path, photo: DecodedPhoto) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    with pytest.raises(StoreError, match="folder-read-only"):
        READER.write_corrected(closed / "a.jpg", photo.pixels, photo, DONE)


def test_folder_that_is_a_file(tmp_path: Path, photo: DecodedPhoto) -> None:
    with pytest.raises(StoreError, match="write-failed"):
        READER.write_corrected(tmp_path / "original.jpg" / "a.jpg", photo.pixels, photo, DONE)


def test_original_is_never_replaced_by_whatever_name(tmp_path: Path, photo: DecodedPhoto) -> None:
    original = tmp_path / "original.jpg"
    before = original.read_bytes()
    for name in ("by_link.jpg", "by_second_name.jpg"):
        other = tmp_path / name
        other.symlink_to(original) if "link" in name else other.hardlink_to(original)
        with pytest.raises(StoreError, match="write-over-original"):
            READER.write_corrected(other, photo.pixels, photo, DONE)
    with pytest.raises(StoreError, match="write-over-original"):
        READER.write_corrected(original, photo.pixels, photo, DONE)
    assert original.read_bytes() == before


def test_another_photo_is_not_replaced_but_an_earlier_result_is(
    tmp_path: Path, photo: DecodedPhoto, made_photos: ModuleType
) -> None:
    other = tmp_path / "other.jpg"
    other.write_bytes(made_photos.jpeg(made_photos.scene(seed=9)))
    with pytest.raises(StoreError, match="not written by dryslate"):
        READER.write_corrected(other, photo.pixels, photo, DONE)
    for ending in ("jpg", "tif"):
        out = tmp_path / f"out.{ending}"
        READER.write_corrected(out, photo.pixels, photo, DONE)
        READER.write_corrected(out, photo.pixels, photo, DONE)


def test_ending_that_is_not_written(tmp_path: Path, photo: DecodedPhoto) -> None:
    for name in ("a.png", "a"):
        with pytest.raises(SettingsError, match="output-kind"):
            READER.write_corrected(tmp_path / name, photo.pixels, photo, DONE)


def test_frame_too_long_for_a_jpeg(tmp_path: Path, photo: DecodedPhoto) -> None:
    with pytest.raises(SettingsError, match="output-too-large"):
        READER.write_corrected(tmp_path / "a.jpg", np.zeros((1, 65501, 3), np.uint8), photo, DONE)


def test_sixteen_bits_do_not_go_into_a_jpeg(tmp_path: Path, photo: DecodedPhoto) -> None:
    with pytest.raises(TypeError, match="uint8"):
        READER.write_corrected(tmp_path / "a.jpg", photo.pixels.astype(np.uint16), photo, DONE)


def test_writer_that_fails_between_parts_leaves_nothing(tmp_path: Path) -> None:
    def parts():  # type: ignore[no-untyped-def]  # a generator that breaks
        yield b"begun"
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(StoreError, match="disk-full"):
        save_whole(tmp_path / "a.bin", parts())
    assert list(tmp_path.iterdir()) == []


def test_leavings_of_a_killed_run_are_swept_up_once_they_are_old(tmp_path: Path) -> None:
    old, fresh = tmp_path / ".a [1].jpg.77-0.part", tmp_path / ".a [1].jpg.78-0.part"
    for left in (old, fresh):
        left.write_bytes(b"half")
    os.utime(old, (0, 0))
    save_whole(tmp_path / "a [1].jpg", [b"whole"])
    assert sorted(p.name for p in tmp_path.iterdir()) == [fresh.name, "a [1].jpg"]
    assert (tmp_path / "a [1].jpg").read_bytes() == b"whole"


@pytest.mark.skipif(os.name == "nt", reason="asks the system whether a process is there")
def test_leavings_of_a_writer_that_is_no_more_are_swept_up_at_once(tmp_path: Path) -> None:
    writing = """
import sys, time
from pathlib import Path
from dryslate.files.safe_write import unfinished
with unfinished(Path(sys.argv[1])) as file:
    print("begun", flush=True)
    time.sleep(60)
"""
    whole = tmp_path / "a.jpg"
    killed, alive = (
        subprocess.Popen([sys.executable, "-c", writing, whole], stdout=subprocess.PIPE)
        for _ in range(2)
    )
    try:
        for process in (killed, alive):
            assert process.stdout is not None
            assert process.stdout.readline() == b"begun\n"
        assert len(list(tmp_path.iterdir())) == 2
        killed.kill()
        killed.wait()
        save_whole(whole, [b"whole"])
        left = sorted(p.name for p in tmp_path.iterdir())
        assert len(left) == 2
        assert left[1] == "a.jpg"
        assert f"-{alive.pid}-" in left[0]
    finally:
        for process in (killed, alive):
            process.kill()
            process.communicate()
