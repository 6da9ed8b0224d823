"""LibRaw tells of cut files on the terminal; here only our own sentence is told."""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from dryslate.base.errors import InputError
from dryslate.files.photo_preview import photo_size_px
from dryslate.files.photos import FilePhotoReader
from dryslate.files.quiet import _stream, quiet_decoder

READER = FilePhotoReader()

pytestmark = pytest.mark.skipif(
    _stream() is None, reason="the C library's error stream cannot be set here"
)


def say_in_c(text: str) -> None:
    """Print on C's standard error as a library does."""
    library = ctypes.CDLL(None)
    stream = ctypes.c_void_p.in_dll(library, "__stderrp" if sys.platform == "darwin" else "stderr")
    library.fputs(text.encode(), stream)
    library.fflush(stream)


@pytest.fixture
def cut(tmp_path: Path, made_photos: ModuleType) -> Path:
    whole = made_photos.dng(np.full((64, 96), 900, dtype=np.uint16))
    path = tmp_path / "cut.dng"
    path.write_bytes(whole[: len(whole) // 2])
    return path


def test_cut_raw_says_nothing_past_us(cut: Path, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(InputError, match="photo-truncated"):
        READER.read(cut)
    assert capfd.readouterr() == ("", "")


def test_decoder_would_have_been_heard(cut: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Without the quiet LibRaw does speak: else the test above could not fail."""
    import rawpy

    with rawpy.RawPy() as raw:
        raw.open_file(str(cut))
        with pytest.raises(rawpy.LibRawError):
            raw.unpack()
    assert "Unexpected end of file" in capfd.readouterr().err


def test_stream_is_back_after_an_error(capfd: pytest.CaptureFixture[str]) -> None:
    def fail() -> None:
        with quiet_decoder():
            say_in_c("unheard\n")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    say_in_c("heard\n")
    assert capfd.readouterr().err == "heard\n"


def test_other_words_come_through_meanwhile(capfd: pytest.CaptureFixture[str]) -> None:
    with quiet_decoder():
        os.write(2, b"bar\n")
    assert capfd.readouterr().err == "bar\n"


def test_threads_that_overlap_put_it_back_once(capfd: pytest.CaptureFixture[str]) -> None:
    inside, leave = threading.Event(), threading.Event()

    def long_one() -> None:
        with quiet_decoder():
            inside.set()
            leave.wait(10)

    thread = threading.Thread(target=long_one)
    thread.start()
    inside.wait(10)
    with quiet_decoder():
        say_in_c("first\n")
    say_in_c("still quiet for the other\n")
    leave.set()
    thread.join()
    say_in_c("heard\n")
    assert capfd.readouterr().err == "heard\n"


def test_many_cut_files_at_once(cut: Path, capfd: pytest.CaptureFixture[str]) -> None:
    def read() -> None:
        for _ in range(5):
            with pytest.raises(InputError):
                READER.read(cut)

    threads = [threading.Thread(target=read) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    say_in_c("heard\n")
    assert capfd.readouterr() == ("", "heard\n")


def test_size_of_each_kind_is_read_from_its_head(tmp_path: Path, made_photos: ModuleType) -> None:
    (tmp_path / "a.jpg").write_bytes(made_photos.jpeg(made_photos.scene()))
    (tmp_path / "a.dng").write_bytes(made_photos.dng(np.full((64, 96), 900, dtype=np.uint16)))
    assert photo_size_px(tmp_path / "a.dng") == (96, 64)
    pixels = READER.read(tmp_path / "a.jpg").pixels
    assert photo_size_px(tmp_path / "a.jpg") == (pixels.shape[1], pixels.shape[0])
    (tmp_path / "b.jpg").write_bytes(b"no photo")
    with pytest.raises(OSError, match=r"b\.jpg"):
        photo_size_px(tmp_path / "b.jpg")
