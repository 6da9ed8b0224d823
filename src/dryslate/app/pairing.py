"""Raw and JPEG of one shot are one photo: which files belong together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dryslate.app.intake import SourceFile
from dryslate.app.records import PhotoMetadata
from dryslate.app.shots import PREFERENCE, camera_key, taken_time

CLOSE_S = 2.0
"""Two files of one shot differ by no more than this in the times they state."""

CLOSE_WRITTEN_S = 10.0
"""Where a file states no time: by no more than this in when they were written to the card."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotFile:
    """A kept photo file with what pairing looks at."""

    sha256: str
    card_path: str
    kind: str
    size_bytes: int
    modified_ns: int
    source: str
    metadata: PhotoMetadata

    @property
    def name(self) -> str:
        """The file's own name."""
        return self.card_path.rpartition("/")[2]


def stem_key(card_path: str) -> tuple[str, str]:
    """
    Return folder and stem of a file on the card, in small letters.

    Examples
    --------
    >>> stem_key("DCIM/100/IMG_0001.JPG") == stem_key("dcim/100/img_0001.nef")
    True
    """
    folder, _, name = card_path.lower().rpartition("/")
    return folder, name.rpartition(".")[0] or name


def group_by_stem(files: Iterable[SourceFile]) -> list[list[SourceFile]]:
    """Put files of one folder and stem side by side, groups in the order of their first file."""
    groups: dict[tuple[str, str], list[SourceFile]] = {}
    for file in files:
        groups.setdefault(stem_key(file.card_path), []).append(file)
    return list(groups.values())


def shots_of(files: Sequence[ShotFile]) -> list[list[ShotFile]]:
    """
    Split files of one folder and stem into shots.

    Parameters
    ----------
    files : sequence of ShotFile
        Photo files only.

    Returns
    -------
    list of list of ShotFile
        One list a shot, the preferred file first. A raw file joins the first other file of
        the same camera and time; two of one kind are never one shot.
    """
    ordered = sorted(files, key=lambda f: (PREFERENCE.index(f.kind), f.card_path, f.sha256))
    shots: list[list[ShotFile]] = []
    for file in ordered:
        mate = None
        if file.kind == "raw":
            mate = next((s for s in shots if len(s) == 1 and _one_shot(s[0], file)), None)
        if mate is None:
            shots.append([file])
        else:
            mate.append(file)
    return shots


def _one_shot(first: ShotFile, raw: ShotFile) -> bool:
    """Tell whether a raw file and another file come from one press of the button."""
    if first.kind == "raw" or first.sha256 == raw.sha256:
        return False
    known = "unknown camera"
    cameras = {camera_key(first.metadata), camera_key(raw.metadata)} - {known}
    if len(cameras) > 1 and not _same_model(first.metadata, raw.metadata):
        return False
    times = taken_time(first.metadata), taken_time(raw.metadata)
    if times[0] is not None and times[1] is not None:
        close = abs((times[0] - times[1]).total_seconds()) <= CLOSE_S
        serials = {first.metadata.camera_serial, raw.metadata.camera_serial}
        return close and (first.source == raw.source or (len(serials) == 1 and None not in serials))
    apart_s = abs(first.modified_ns - raw.modified_ns) / 1e9
    return first.source == raw.source and apart_s <= CLOSE_WRITTEN_S


def _same_model(one: PhotoMetadata, other: PhotoMetadata) -> bool:
    """Tell whether two files name one model and do not name two serial numbers."""
    serials = {one.camera_serial, other.camera_serial} - {None}
    return one.camera_model == other.camera_model and len(serials) <= 1
