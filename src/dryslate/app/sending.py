"""Files that a browser sends, one by one, until they are taken in like a memory card."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Protocol

from dryslate.app.shots import kind_of
from dryslate.app.take import SPARE_BYTES
from dryslate.app.take_records import size_words
from dryslate.base.errors import InputError

LARGEST_BYTES = 2_000_000_000
LONGEST_PATH = 400
DEEPEST = 12
HEAD_BYTES = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class SentFile:
    """
    What a browser says of a file before it sends it.

    Parameters
    ----------
    path : str
        Below the folder that was picked, with ``/`` between the parts.
    size_bytes : int
    modified_ns : int
        As the browser tells it, from 1970.
    sha256 : str
        As the browser reckoned it; empty where it only asks what is there.
    """

    path: str
    size_bytes: int
    modified_ns: int
    sha256: str = ""


class Part(Protocol):
    """A file that is coming in; nothing of it is seen until it is kept."""

    def write(self, data: bytes) -> None:
        """Write on; raises `StoreError` such as ``disk-full``."""

    def keep(self, path: str, modified_ns: int) -> None:
        """Flush it and give it its name, in one step."""

    def drop(self) -> None:
        """Throw away what was written, unless it was kept."""


class SentBox(Protocol):
    """Holds what browsers send, a folder for each batch, inside the project."""

    def have(self, batch: str) -> Mapping[str, tuple[int, int]]:
        """Return size and time of every whole file of a batch, by its path."""

    def free_bytes(self) -> int:
        """Return the room left."""

    def part(self, batch: str) -> Part:
        """Begin a file."""

    def folder(self, batch: str) -> Path:
        """Return the folder that holds a batch's whole files."""

    def remove(self, batch: str) -> None:
        """Throw a batch away once it was taken in."""


def batch_of(site: str, date: str, observer: str) -> str:
    """
    Name the batch of a visit and person: sending the same card again goes on with it.

    Examples
    --------
    >>> len(batch_of("Lantern Steps", "2024-03-09", "Ines Varro"))
    16
    """
    return hashlib.sha256("\0".join((site, date, observer)).encode()).hexdigest()[:16]


def require_card_path(text: str) -> str:
    """
    Return a path below a folder, refusing any that could lead out of it.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Raises
    ------
    InputError
        ``upload-path``.

    Examples
    --------
    >>> require_card_path("DCIM/100/IMG_1.JPG")
    'DCIM/100/IMG_1.JPG'
    """
    parts = text.split("/")
    is_odd = (
        not text
        or len(text.encode("utf-8", "surrogatepass")) > LONGEST_PATH
        or len(parts) > DEEPEST
        or any(
            part in ("", ".", "..") or len(part.encode("utf-8", "replace")) > 200 for part in parts
        )
        or any(ord(c) < 32 or c in "\\:\x7f" or 0xD800 <= ord(c) <= 0xDFFF for c in text)
    )
    if is_odd:
        raise InputError(
            "upload-path",
            f"{text[:80]!r}: the name of this file, or of its folder, cannot be used.",
            "Rename it, or take the card in by the path of its folder.",
        )
    return PurePosixPath(text).as_posix()


def files_to_send(box: SentBox, batch: str, files: Iterable[SentFile]) -> tuple[int, ...]:
    """
    Say which files still have to be sent.

    Parameters
    ----------
    box : SentBox
    batch : str
    files : iterable of SentFile

    Returns
    -------
    tuple of int
        Places in `files` of those that are not there whole, in the same size and time.

    Raises
    ------
    InputError
        ``upload-path``; ``disk-too-small`` where they do not fit.
    """
    have = box.have(batch)
    missing: list[int] = []
    needed = 0
    for place, file in enumerate(files):
        path = require_card_path(file.path)
        if have.get(path) != (file.size_bytes, file.modified_ns):
            missing.append(place)
            needed += file.size_bytes
    # twice: once as sent, once as taken in
    _require_room(box, 2 * needed)
    return tuple(missing)


def _require_room(box: SentBox, needed: int) -> None:
    """Refuse to begin what cannot fit the disk."""
    free = box.free_bytes()
    if needed and free < needed + SPARE_BYTES:
        raise InputError(
            "disk-too-small",
            f"{size_words(needed)} are needed to send and to keep these files, and "
            f"{size_words(free)} are free ({size_words(SPARE_BYTES)} must stay free).",
            "Make room, or send fewer files at a time.",
        )


class Receiver:
    """
    One file as it comes in: bounded, told by its content, compared with the browser's hash.

    Parameters
    ----------
    box : SentBox
    batch : str
    file : SentFile

    Raises
    ------
    InputError
        ``upload-path``, ``upload-too-large``, ``disk-too-small``.
    """

    def __init__(self, box: SentBox, batch: str, file: SentFile) -> None:
        self._file = file
        self._path = require_card_path(file.path)
        if not 0 <= file.size_bytes <= LARGEST_BYTES:
            raise InputError(
                "upload-too-large",
                f"{self._path}: {size_words(file.size_bytes)}; the browser may send up to "
                f"{size_words(LARGEST_BYTES)} a file.",
                "Take the card in by the path of its folder.",
            )
        _require_room(box, file.size_bytes)
        self._digest = hashlib.sha256()
        self._n = 0
        self._head = b""
        self._part = box.part(batch)

    def add(self, data: bytes) -> None:
        """
        Write on.

        Raises
        ------
        InputError
            ``upload-differs`` where more comes than was said; ``upload-not-a-photo``.
        StoreError
            ``disk-full``, ``folder-read-only``, ``folder-failed``.
        """
        self._n += len(data)
        if self._n > self._file.size_bytes:
            raise self._differs()
        if len(self._head) < HEAD_BYTES:
            self._head = (self._head + data)[:HEAD_BYTES]
            if len(self._head) == HEAD_BYTES:
                self._require_photo()
        self._digest.update(data)
        self._part.write(data)

    def end(self) -> None:
        """
        Keep the file if it is whole and the very one that the browser read.

        Raises
        ------
        InputError
            ``upload-differs``, ``upload-not-a-photo``.
        StoreError
            As `add`.
        """
        self._require_photo()
        if self._n != self._file.size_bytes or self._digest.hexdigest() != self._file.sha256:
            raise self._differs()
        self._part.keep(self._path, self._file.modified_ns)

    def drop(self) -> None:
        """Throw away what came, unless it was kept."""
        self._part.drop()

    def _require_photo(self) -> None:
        """Refuse what is no photo inside."""
        if kind_of(self._path, self._head) == "other":
            raise InputError(
                "upload-not-a-photo",
                f"{self._path}: is no photo inside, or is damaged; it was not kept.",
                "Take the card in by the path of its folder to keep everything on it.",
            )

    def _differs(self) -> InputError:
        """Say that what came is not what was announced."""
        return InputError(
            "upload-differs",
            f"{self._path}: what came is not what the browser read before it sent the file.",
            "Send it again; if it stays so, the memory card, its reader or the network is failing.",
        )
