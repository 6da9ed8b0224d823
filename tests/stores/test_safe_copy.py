"""Copies on a real disk: by content, read back, and nothing lost whatever goes wrong."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import subprocess
from pathlib import Path

import pytest

from dryslate.app.intake import SourceFile, Trust
from dryslate.base.errors import InputError, StoreError
from dryslate.files import reread, safe_copy
from dryslate.files.disk_intake import DiskIntake
from dryslate.files.drives import DriveFinder
from dryslate.files.originals import FolderVault
from dryslate.files.reread import reread_sha256

DATA = bytes(range(256)) * 9000  # over two chunks, and no multiple of a block
NO_TRUST = Trust()


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "trip"
    DiskIntake().prepare(folder)
    return folder


@pytest.fixture
def second(tmp_path: Path) -> Path:
    folder = tmp_path / "second"
    DiskIntake().prepare(folder)
    return folder


def source(tmp_path: Path, data: bytes = DATA, name: str = "IMG_1.JPG") -> SourceFile:
    path = tmp_path / "card" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    os.utime(path, ns=(1_700_000_000_000_000_000,) * 2)
    return SourceFile(
        path=path,
        source=path.parent,
        card_path=name,
        size_bytes=len(data),
        modified_ns=path.stat().st_mtime_ns,
    )


def kept_files(folder: Path) -> list[str]:
    return sorted(p.name for p in (folder / "originals").rglob("*") if p.is_file())


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def test_copy_lies_under_its_hash_read_only_with_its_time(tmp_path, project) -> None:
    kept = DiskIntake().keep(source(tmp_path), [project], NO_TRUST)
    path = project / "originals" / sha(DATA)[:2] / f"{sha(DATA)}.jpg"
    assert kept.sha256 == sha(DATA)
    assert kept.copies[0].path == path
    assert path.read_bytes() == DATA
    assert stat.S_IMODE(path.stat().st_mode) == 0o444
    assert path.stat().st_mtime_ns == 1_700_000_000_000_000_000
    assert kept.head == DATA[:64]
    assert kept_files(project) == [path.name]


@pytest.fixture
def on_disk(tmp_path: Path) -> None:
    """Skip where the folder for tests lies in memory."""
    if not DriveFinder().drive_of(tmp_path).disks:
        pytest.skip("the folder for tests is on no disk of this computer")


def test_copy_on_a_disk_is_read_back_past_the_cache(tmp_path, project, on_disk) -> None:
    assert DiskIntake().keep(source(tmp_path), [project], NO_TRUST).copies[0].how == "direct"


def test_same_file_again_is_not_written_again(tmp_path, project) -> None:
    file = source(tmp_path)
    first = DiskIntake().keep(file, [project], NO_TRUST).copies[0]
    inode = first.path.stat().st_ino
    again = DiskIntake().keep(file, [project], NO_TRUST).copies[0]
    assert (first.was_there, again.was_there) == (False, True)
    assert again.how is not None
    assert again.path.stat().st_ino == inode


def test_copy_with_a_proof_on_record_is_not_read_back(tmp_path, project) -> None:
    file = source(tmp_path)
    DiskIntake().keep(file, [project], NO_TRUST)
    trust = Trust(sha256=sha(DATA), proved={(sha(DATA), project)})
    assert DiskIntake().keep(file, [project], trust).copies[0].how is None


def test_same_content_under_two_endings_is_kept_once(tmp_path, project) -> None:
    DiskIntake().keep(source(tmp_path), [project], NO_TRUST)
    DiskIntake().keep(source(tmp_path, name="other.jpeg"), [project], NO_TRUST)
    assert kept_files(project) == [f"{sha(DATA)}.jpg"]


def test_odd_endings_do_not_get_into_file_names(tmp_path) -> None:
    vault = FolderVault(tmp_path)
    assert vault.path_of("ab" * 32, "x.tar.GZ").name == "ab" * 32 + ".gz"
    assert vault.path_of("ab" * 32, "x.a b").name == "ab" * 32
    assert vault.path_of("ab" * 32, "none").name == "ab" * 32


def test_damaged_copy_is_set_aside_and_a_good_one_takes_its_place(tmp_path, project) -> None:
    file = source(tmp_path)
    path = DiskIntake().keep(file, [project], NO_TRUST).copies[0].path
    path.chmod(0o644)
    path.write_bytes(DATA[:-1] + b"?")
    kept = DiskIntake().keep(file, [project], NO_TRUST)
    assert [p.slug for p in kept.problems] == ["original-damaged"]
    assert path.read_bytes() == DATA
    assert path.with_name(path.name + ".damaged-1").read_bytes() == DATA[:-1] + b"?"


def test_shortened_copy_is_replaced_even_with_a_proof_on_record(tmp_path, project) -> None:
    file = source(tmp_path)
    path = DiskIntake().keep(file, [project], NO_TRUST).copies[0].path
    path.chmod(0o644)
    path.write_bytes(DATA[:100])
    trust = Trust(sha256=sha(DATA), proved={(sha(DATA), project)})
    DiskIntake().keep(file, [project], trust)
    assert path.read_bytes() == DATA


def test_missing_copy_is_made_again_even_with_a_proof_on_record(tmp_path, project) -> None:
    file = source(tmp_path)
    path = DiskIntake().keep(file, [project], NO_TRUST).copies[0].path
    path.unlink()
    trust = Trust(sha256=sha(DATA), proved={(sha(DATA), project)})
    DiskIntake().keep(file, [project], trust)
    assert path.read_bytes() == DATA


def test_source_that_changes_while_it_is_read_is_not_kept(tmp_path, project, monkeypatch) -> None:
    file = source(tmp_path)
    read = os.read

    def reading(descriptor: int, n: int) -> bytes:
        with file.path.open("ab") as growing:
            growing.write(b"more")
        monkeypatch.setattr(os, "read", read)
        return read(descriptor, n)

    monkeypatch.setattr(os, "read", reading)
    with pytest.raises(InputError, match="source-changed"):
        DiskIntake().keep(file, [project], NO_TRUST)
    assert kept_files(project) == []


def test_source_that_reads_differently_twice_is_not_kept(tmp_path, project, monkeypatch) -> None:
    file = source(tmp_path)
    answers = {file.path: "0" * 64}
    monkeypatch.setattr(
        safe_copy,
        "reread_sha256",
        lambda path: (answers[path], "direct") if path in answers else reread_sha256(path),
    )
    with pytest.raises(InputError, match="source-unsteady"):
        DiskIntake().keep(file, [project], NO_TRUST)
    assert kept_files(project) == []


def test_source_that_cannot_be_read_is_named(tmp_path, project, monkeypatch) -> None:
    file = source(tmp_path)

    def failing(descriptor: int, n: int) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "read", failing)
    with pytest.raises(InputError, match=r"IMG_1.JPG.*Input/output error.*source-unreadable"):
        DiskIntake().keep(file, [project], NO_TRUST)
    monkeypatch.undo()
    assert kept_files(project) == []


def test_source_that_became_a_link_is_not_followed(tmp_path, project) -> None:
    file = source(tmp_path)
    secret = tmp_path / "secret"
    secret.write_text("not on the card")
    file.path.unlink()
    file.path.symlink_to(secret)
    with pytest.raises(InputError, match="source-unreadable"):
        DiskIntake().keep(file, [project], NO_TRUST)


def test_copy_that_comes_back_different_is_refused(tmp_path, project, monkeypatch) -> None:
    file = source(tmp_path)
    monkeypatch.setattr(
        safe_copy,
        "reread_sha256",
        lambda path: reread_sha256(path) if path == file.path else ("0" * 64, "direct"),
    )
    with pytest.raises(StoreError, match="copy-differs"):
        DiskIntake().keep(file, [project], NO_TRUST)
    assert kept_files(project) == [f"{sha(DATA)}.jpg.damaged-1"]


@pytest.mark.parametrize(
    ("number", "slug"),
    [
        (errno.ENOSPC, "disk-full"),
        (errno.EROFS, "folder-read-only"),
        (errno.EIO, "folder-failed"),
    ],
)
def test_writing_that_fails_leaves_nothing_half_written(
    tmp_path, project, monkeypatch, number: int, slug: str
) -> None:
    file = source(tmp_path)

    def failing(descriptor: int, data: bytes) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "write", failing)
    with pytest.raises(StoreError, match=slug):
        DiskIntake().keep(file, [project], NO_TRUST)
    monkeypatch.undo()
    assert kept_files(project) == []


def test_second_folder_that_fails_does_not_hold_up_the_first(
    tmp_path, project, second, monkeypatch
) -> None:
    opening = os.open

    def failing(path, flags: int, mode: int = 0o777) -> int:
        if str(path).startswith(str(second)) and flags & os.O_CREAT:
            raise OSError(errno.ENOSPC, "No space left on device")
        return opening(path, flags, mode)

    monkeypatch.setattr(os, "open", failing)
    kept = DiskIntake().keep(source(tmp_path), [project, second], NO_TRUST)
    assert [p.slug for p in kept.problems] == ["second-copy-failed"]
    assert [c.folder for c in kept.copies] == [project]


def test_two_folders_get_a_copy_each(tmp_path, project, second) -> None:
    kept = DiskIntake().keep(source(tmp_path), [project, second], NO_TRUST)
    assert [c.path.read_bytes() for c in kept.copies] == [DATA, DATA]
    assert kept.copies[0].path.stat().st_ino != kept.copies[1].path.stat().st_ino


def test_left_over_half_written_files_are_cleared(project) -> None:
    (project / "originals" / ".coming-abc").write_bytes(b"half")
    DiskIntake().prepare(project)
    assert kept_files(project) == []


def test_file_where_a_folder_is_needed_is_told(tmp_path) -> None:
    (tmp_path / "trip").write_text("a file")
    with pytest.raises(InputError, match="folder-is-a-file"):
        DiskIntake().prepare(tmp_path / "trip")


@pytest.mark.parametrize("size", [0, 1, 4096, 4097, (4 << 20) + 5])
def test_reading_back_hashes_every_byte_whatever_the_size(tmp_path, size: int) -> None:
    path = tmp_path / "x"
    data = os.urandom(size)
    path.write_bytes(data)
    with path.open("rb") as file:
        os.fsync(file.fileno())
    assert reread_sha256(path)[0] == sha(data)


def test_without_direct_reading_the_cache_is_emptied_and_looked_at(
    tmp_path, on_disk, monkeypatch
) -> None:
    path = tmp_path / "x"
    path.write_bytes(DATA)
    with path.open("rb") as file:
        os.fsync(file.fileno())
    monkeypatch.setattr(reread, "_hash_direct", lambda path: None)
    assert reread_sha256(path) == (sha(DATA), "dropped")


def test_pages_held_in_memory_are_not_taken_for_a_proof(tmp_path, monkeypatch) -> None:
    path = tmp_path / "x"
    path.write_bytes(DATA)
    monkeypatch.setattr(reread, "_hash_direct", lambda path: None)
    monkeypatch.setattr(os, "posix_fadvise", lambda *args: None)  # nothing is dropped
    path.read_bytes()
    assert reread_sha256(path) == (sha(DATA), "cached")


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system with room for one megabyte, where this account may mount one."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode != 0:
        pytest.skip("this account may not mount a small file system")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_disk_that_fills_up_is_told_and_nothing_half_written_stays(tmp_path, small_disk) -> None:
    intake = DiskIntake()
    intake.prepare(small_disk / "trip")
    small = source(tmp_path, b"\xff\xd8\xff" + bytes(200_000), "A.JPG")
    big = source(tmp_path, DATA, "B.JPG")
    kept = intake.keep(small, [small_disk / "trip"], NO_TRUST)
    with pytest.raises(StoreError, match="disk-full"):
        intake.keep(big, [small_disk / "trip"], NO_TRUST)
    assert kept_files(small_disk / "trip") == [f"{kept.sha256}.jpg"]
    assert intake.free_bytes(small_disk / "trip") > 500_000
