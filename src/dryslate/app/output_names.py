"""Names for corrected files: by the photo's own name, never two photos under one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from dryslate.app.correct_one import sha256_of

_HEAD_BYTES = 262_144
"""How much of an existing file is searched for the hash of its source (metadata come first)."""


def corrected_names(
    photos: Sequence[Path], out: Path, ending: str, sha256: Mapping[Path, str] | None = None
) -> dict[Path, Path]:
    """
    Choose the file that each corrected photo is written to.

    Parameters
    ----------
    photos : sequence of Path
        Each once.
    out : Path
        Folder for the corrected files.
    ending : str
        ``.jpg`` or ``.tif``.
    sha256 : Mapping, optional
        Hashes that are known already.

    Returns
    -------
    dict
        Output by photo: ``<stem>-corrected<ending>``, or ``<stem>-corrected-2<ending>`` and so
        on where that name is another photo's.

    Notes
    -----
    A file that is there already is replaced only when it says in its metadata that it was made
    from this very photo, so that a second run gives the same names and no other photo's result
    is lost. A name that is one of the originals' is never taken.
    """
    originals = {_resolved(photo) for photo in photos}
    taken: set[str] = set()
    names: dict[Path, Path] = {}
    for photo in photos:
        n = 1
        while True:
            number = "" if n == 1 else f"-{n}"
            path = out / f"{photo.stem}-corrected{number}{ending}"
            n += 1
            folded = path.name.casefold()  # some file systems do not tell cases apart
            if folded in taken or _resolved(path) in originals:
                continue
            if path.exists() and not _made_from(path, photo, sha256 or {}):
                continue
            taken.add(folded)
            names[photo] = path
            break
    return names


def preview_name(corrected: Path) -> Path:
    """Return the name of the preview beside a corrected file."""
    return corrected.with_name(f"{corrected.stem}-preview.jpg")


def _resolved(path: Path) -> Path:
    """Return a path without links, as far as it exists."""
    return path.resolve()


def _made_from(path: Path, photo: Path, sha256: Mapping[Path, str]) -> bool:
    """Tell whether an existing file says that it was made from this photo."""
    try:
        source = sha256.get(photo) or sha256_of(photo)
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
            file.seek(0, 2)
            file.seek(max(_HEAD_BYTES, file.tell() - _HEAD_BYTES))
            tail = file.read()  # TIFF may keep its metadata at the end
    except OSError:
        return False
    needle = source.encode("ascii")
    return needle in head or needle in tail
