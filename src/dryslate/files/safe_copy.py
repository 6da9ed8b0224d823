"""Copies that are safe before anything is said: hashed, flushed, renamed, read back."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import stat
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from dryslate.app.intake import How, KeptCopy, KeptFile, SourceFile, Trust
from dryslate.base.errors import DryslateError, InputError, StoreError
from dryslate.base.problems import Problem
from dryslate.files.originals import FolderVault
from dryslate.files.reread import reread_sha256

_CHUNK = 1 << 20
_HEAD = 64
UNFINISHED = ".coming-"
"""Names of half-written files begin with this."""


@dataclass(slots=True)
class _Target:
    """One folder a file is being copied to, with its half-written copy."""

    vault: FolderVault
    unfinished: Path
    descriptor: int | None = None
    failed: DryslateError | None = None


@dataclass(frozen=True, slots=True)
class _Read:
    """What was read of a source in one pass."""

    sha256: str
    size_bytes: int
    head: bytes


class SafeCopier:
    """Copies files into the originals of one or more folders and proves the copies."""

    def keep(self, file: SourceFile, folders: Sequence[Path], trust: Trust) -> KeptFile:
        """
        Copy a file by content into the originals of each folder, and read the copies back.

        Parameters
        ----------
        file : SourceFile
        folders : sequence of Path
            The project first; the first one's faults are raised, the others' are listed.
        trust : Trust

        Returns
        -------
        KeptFile

        Raises
        ------
        InputError
            ``source-unreadable``, ``source-changed``, ``source-unsteady``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``copy-differs``.
        """
        vaults = [FolderVault(folder) for folder in folders]
        if trust.sha256 and all(v.has(trust.sha256, file.name) for v in vaults):
            read = _read_through(file, [])
            if read.sha256 == trust.sha256:
                copies = [_sound_copy(vault, file, read, trust) for vault in vaults]
                if all(copies):
                    return _kept(read, [copy for copy in copies if copy], [])
        with _half_written(vaults) as targets:
            read = _read_through(file, targets)
            _raise_first(targets)
            with ThreadPoolExecutor(max_workers=1) as beside:
                again = beside.submit(_read_again, file, read)
                _flush_unfinished(file, targets)
                again.result()
            return _settle(file, read, targets, trust)


def _read_through(file: SourceFile, targets: Sequence[_Target]) -> _Read:
    """Read a source once, hashing it and writing it to every target on the way."""
    digest = hashlib.sha256()
    head, size = b"", 0
    with _open_source(file) as source:
        before = os.fstat(source)
        while chunk := _read_chunk(source, file):
            digest.update(chunk)
            head = head or chunk[:_HEAD]
            size += len(chunk)
            for target in targets:
                _write_chunk(target, chunk)
        after = os.fstat(source)
    if _trace(before) != _trace(after) or size != after.st_size:
        raise _changed(file)
    return _Read(digest.hexdigest(), size, head)


def _read_again(file: SourceFile, read: _Read) -> None:
    """Read a source a second time, from the card itself where the system allows it."""
    try:
        again, _ = reread_sha256(file.path)
        now = file.path.stat()
    except OSError as error:
        raise _unreadable(file, error) from error
    if again == read.sha256:
        return
    if now.st_size != file.size_bytes or now.st_mtime_ns != file.modified_ns:
        raise _changed(file)
    raise InputError(
        "source-unsteady",
        f"{file.path}: read twice, with two different contents: the memory card, its reader or "
        "the cable is failing.",
        "Try another reader or port and run the same command again; do not wipe the card.",
    )


def _kept(read: _Read, copies: Sequence[KeptCopy], problems: Sequence[Problem]) -> KeptFile:
    """Put the answer together."""
    return KeptFile(
        sha256=read.sha256,
        size_bytes=read.size_bytes,
        head=read.head,
        copies=tuple(copies),
        problems=tuple(problems),
    )


def _flush_unfinished(file: SourceFile, targets: Sequence[_Target]) -> None:
    """Flush every half-written copy with the memory card's time, write-protected."""
    for target in targets:
        if target.descriptor is None or target.failed is not None:
            continue
        try:
            with _told(target.vault.folder):
                with contextlib.suppress(OSError):  # some file systems keep neither
                    os.utime(target.unfinished, ns=(file.modified_ns, file.modified_ns))
                    os.fchmod(target.descriptor, 0o444)
                os.fsync(target.descriptor)
        except DryslateError as error:
            target.failed = error
    _raise_first(targets)


def _settle(file: SourceFile, read: _Read, targets: Sequence[_Target], trust: Trust) -> KeptFile:
    """Put every copy in its place and read it back; gather what went wrong with later ones."""
    copies: list[KeptCopy] = []
    problems: list[Problem] = []
    for i, target in enumerate(targets):
        try:
            if target.failed is not None:
                raise target.failed
            copies.append(
                _sound_copy(target.vault, file, read, trust) or _place(file, read, target, problems)
            )
        except DryslateError as error:
            if i == 0:
                raise
            problems.append(_second_failed(file, target, error))
    return _kept(read, copies, problems)


def _sound_copy(vault: FolderVault, file: SourceFile, read: _Read, trust: Trust) -> KeptCopy | None:
    """Return the copy that is there already, if it is sound; read back unless on record."""
    path = vault.path_of(read.sha256, file.name)
    if not path.is_file() or path.stat().st_size != read.size_bytes:
        return None
    how: How | None = None
    if (read.sha256, vault.folder) not in trust.proved:
        _flush(path)
        found, how = reread_sha256(path)
        if found != read.sha256:
            return None
        _flush_folder(path.parent)
    _write_protect(path)
    return KeptCopy(folder=vault.folder, path=path, how=how, was_there=True)


def _place(file: SourceFile, read: _Read, target: _Target, problems: list[Problem]) -> KeptCopy:
    """Give a half-written copy its name and read it back; a damaged one makes way."""
    folder = target.vault.folder
    final = target.vault.path_of(read.sha256, file.name)
    with _told(folder):
        if final.exists():
            problems.append(_set_aside(final))
        if target.descriptor is not None:
            os.close(target.descriptor)
            target.descriptor = None
        if not final.parent.is_dir():
            final.parent.mkdir(exist_ok=True)
            _flush_folder(final.parent.parent)
        os.rename(target.unfinished, final)  # noqa: PTH104  counted by the tests that kill it
        _flush_folder(final.parent)
        found, how = reread_sha256(final)
        if found != read.sha256:
            _set_aside(final)
            raise _differs(final)
    return KeptCopy(folder=folder, path=final, how=how, was_there=False)


@contextlib.contextmanager
def _half_written(vaults: Sequence[FolderVault]) -> Iterator[list[_Target]]:
    """Open a half-written file in each folder; whatever is not renamed is removed."""
    targets: list[_Target] = []
    try:
        for vault in vaults:
            target = _Target(vault, vault.root / f"{UNFINISHED}{secrets.token_hex(8)}")
            targets.append(target)
            try:
                with _told(vault.folder):
                    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL
                    target.descriptor = os.open(target.unfinished, flags, 0o600)
            except DryslateError as error:
                target.failed = error
        yield targets
    finally:
        for target in targets:
            if target.descriptor is not None:
                os.close(target.descriptor)
            with contextlib.suppress(OSError):
                target.unfinished.unlink(missing_ok=True)


@contextlib.contextmanager
def _open_source(file: SourceFile) -> Iterator[int]:
    """Open a source that is a plain file and no link."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        descriptor = os.open(file.path, flags | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise _unreadable(file, error) from error
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise _changed(file)
        yield descriptor
    finally:
        os.close(descriptor)


def _read_chunk(source: int, file: SourceFile) -> bytes:
    """Read on in a source."""
    try:
        return os.read(source, _CHUNK)
    except OSError as error:
        raise _unreadable(file, error) from error


def _write_chunk(target: _Target, chunk: bytes) -> None:
    """Write on in a half-written copy; after a fault the target is left alone."""
    if target.failed is not None or target.descriptor is None:
        return
    try:
        with _told(target.vault.folder):
            rest = memoryview(chunk)
            while rest:
                rest = rest[os.write(target.descriptor, rest) :]
    except DryslateError as error:
        target.failed = error


def _raise_first(targets: Sequence[_Target]) -> None:
    """Raise what went wrong with the first folder."""
    if targets and targets[0].failed is not None:
        raise targets[0].failed


def _trace(status: os.stat_result) -> tuple[int, int]:
    """Return what changes when a file is written to."""
    return (status.st_size, status.st_mtime_ns)


def _flush(path: Path) -> None:
    """Flush a file that is in place already, so that it can be read back from the drive."""
    with path.open("rb") as file, contextlib.suppress(OSError):
        os.fsync(file.fileno())


def _flush_folder(folder: Path) -> None:
    """Flush a folder, so that a name put into it stays; some systems cannot and need not."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(descriptor)


def _write_protect(path: Path) -> None:
    """Make sure that an original cannot be written to by mistake."""
    if stat.S_IMODE(path.stat().st_mode) != 0o444:
        with contextlib.suppress(OSError):
            path.chmod(0o444)


def _set_aside(path: Path) -> Problem:
    """Rename a damaged original, so that a good one can take its place; nothing is deleted."""
    n = 1
    while (aside := path.with_name(f"{path.name}.damaged-{n}")).exists():
        n += 1
    path.rename(aside)
    return Problem(
        slug="original-damaged",
        severity="warning",
        place=str(path),
        message=f"the kept file no longer had its content; it was set aside as {aside.name} and "
        "copied again from the memory card",
        fix="Drives that lose content fail soon: look at the drive's health, and keep two copies.",
    )


@contextlib.contextmanager
def _told(folder: Path) -> Iterator[None]:
    """Turn what the system says about writing into an error that names the folder."""
    try:
        yield
    except OSError as error:
        raise_write_fault(folder, error)


def raise_write_fault(folder: Path, error: OSError) -> NoReturn:
    """
    Raise the error for something the system refuses to write.

    Raises
    ------
    StoreError
        ``disk-full``, ``folder-read-only`` or ``folder-failed``.
    """
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        raise StoreError(
            "disk-full",
            f"{folder}: the disk is full; what was saved before is kept.",
            "Make room and run the same command again: it goes on where it stopped.",
        ) from error
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        raise StoreError(
            "folder-read-only",
            f"{folder}: cannot be written ({error.strerror}).",
            "Give yourself the right to write there, or choose another folder.",
        ) from error
    raise StoreError(
        "folder-failed",
        f"{folder}: writing failed ({error.strerror or error}).",
        "Look at the drive and its cable, then run the same command again.",
    ) from error


def _second_failed(file: SourceFile, target: _Target, error: DryslateError) -> Problem:
    """Say that a further copy of a file is missing."""
    return Problem(
        slug="second-copy-failed",
        severity="error",
        place=str(target.vault.folder),
        message=f"no second copy of {file.card_path}: {error.message}",
        fix=error.fix,
    )


def _changed(file: SourceFile) -> InputError:
    """Say that a source changed while it was read."""
    return InputError(
        "source-changed",
        f"{file.path}: changed while it was being copied; the copy was thrown away.",
        "End what writes to it and run the same command again.",
    )


def _unreadable(file: SourceFile, error: OSError) -> InputError:
    """Say that a source cannot be read."""
    return InputError(
        "source-unreadable",
        f"{file.path}: cannot be read ({error.strerror or error}).",
        "Try another reader or port and run the same command again; do not wipe the card.",
    )


def _differs(path: Path) -> StoreError:
    """Say that a copy read back from the drive is not what was written."""
    return StoreError(
        "copy-differs",
        f"{path}: what came back from the drive is not what was written to it.",
        "Do not trust this drive: look at its health, and take in to another one.",
    )
