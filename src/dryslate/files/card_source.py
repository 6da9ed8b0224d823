"""Listing the files of a memory card: all of them, in a fixed order, following no link."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from pathlib import Path

from dryslate.app.intake import SourceFile, SourceListing
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.files.originals import ORIGINALS


def list_sources(sources: Sequence[Path], keep_out: Sequence[Path]) -> SourceListing:
    """
    List every file below the sources.

    Parameters
    ----------
    sources : sequence of Path
        Files or folders.
    keep_out : sequence of Path
        Folders that will be written to.

    Returns
    -------
    SourceListing
        A file that is reached twice is listed once.

    Raises
    ------
    InputError
        ``source-not-found``, ``take-into-itself``.
    """
    require_sources(sources, keep_out)
    files: dict[str, SourceFile] = {}
    problems: list[Problem] = []
    for source in sources:
        for path, card_path in _walk(source, problems):
            found = _as_file(path, source, card_path, problems)
            if found is not None:
                files.setdefault(os.path.realpath(path), found)
    return SourceListing(files=tuple(files.values()), problems=tuple(problems))


def require_sources(sources: Sequence[Path], keep_out: Sequence[Path]) -> None:
    """
    Refuse sources that are not there, or that hold a folder to write to.

    Parameters
    ----------
    sources : sequence of Path
        Files or folders.
    keep_out : sequence of Path
        Folders that will be written to.

    Raises
    ------
    InputError
        ``source-not-found``, ``take-into-itself``.
    """
    for source in sources:
        if not source.exists():
            raise InputError(
                "source-not-found",
                f"{source}: no such file or folder.",
                "Give the folder where the memory card is mounted, or files on it.",
            )
        for folder in keep_out:
            _require_apart(source, folder)


def _walk(source: Path, problems: list[Problem]) -> Iterator[tuple[Path, str]]:
    """Yield every entry that is not a folder, with its path below the source."""
    if source.is_file():
        yield source, _text(source.name)
        return
    if not source.is_dir():
        yield source, _text(source.name)
        return

    def unreadable(error: OSError) -> None:
        problems.append(
            Problem(
                slug="source-folder-unreadable",
                severity="error",
                place=str(error.filename or source),
                message=f"this folder cannot be listed ({error.strerror}), so nothing in it was "
                "taken in",
                fix="Give yourself the right to read it and run the same command again.",
            )
        )

    for folder, folders, names in os.walk(source, onerror=unreadable, followlinks=False):
        folders.sort()
        here = Path(folder)
        linked = [name for name in folders if (here / name).is_symlink()]
        for name in sorted(names + linked):
            path = here / name
            yield path, _text(path.relative_to(source).as_posix())


def _as_file(
    path: Path, source: Path, card_path: str, problems: list[Problem]
) -> SourceFile | None:
    """Return a plain file; tell of links and of what is no file."""
    is_given = path == source
    try:
        status = path.stat() if is_given else path.lstat()
    except OSError as error:
        problems.append(
            Problem(
                slug="source-unreadable",
                severity="error",
                place=str(path),
                message=f"cannot be looked at ({error.strerror})",
                fix="Try another reader or port and run the same command again.",
            )
        )
        return None
    if stat.S_ISLNK(status.st_mode):
        problems.append(_link(path, source))
        return None
    if not stat.S_ISREG(status.st_mode):
        problems.append(
            Problem(
                slug="source-not-a-file",
                severity="warning",
                place=str(path),
                message="this is neither a file nor a folder (a device or a pipe); it was passed "
                "over",
            )
        )
        return None
    return SourceFile(
        path=path.resolve() if is_given else path,
        source=source,
        card_path=card_path,
        size_bytes=status.st_size,
        modified_ns=status.st_mtime_ns,
    )


def _link(path: Path, source: Path) -> Problem:
    """Say that a link was passed over; one that leads out of the source counts as missing."""
    target = path.resolve()
    inside = target.is_relative_to(source.resolve()) and target.exists()
    where = "what it leads to is taken in where it lies" if inside else "it leads out of the source"
    return Problem(
        slug="source-link-skipped",
        severity="note" if inside else "warning",
        place=str(path),
        message=f"this is a link and was not followed: {where}",
        fix="" if inside else "Give what it leads to as a source of its own, if it is wanted.",
    )


def _require_apart(source: Path, folder: Path) -> None:
    """Refuse a source that holds the folder to write to, or lies among its originals."""
    here, there = source.resolve(), folder.resolve()
    if there.is_relative_to(here) or here.is_relative_to(there / ORIGINALS):
        raise InputError(
            "take-into-itself",
            f"{source}: holds {folder}, or lies among its originals; a card cannot be taken into "
            "itself.",
            "Choose a project folder, and a second folder, away from the memory card.",
        )


def _text(name: str) -> str:
    """Turn a name that is not proper text into one that can be stored and shown."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")
