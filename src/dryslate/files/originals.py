"""Originals by content hash, read-only, in a project or a second folder."""

from __future__ import annotations

from pathlib import Path

from dryslate.app.shots import ending_of

ORIGINALS = "originals"
"""Name of the folder, in the project and in a second folder alike."""


class FolderVault:
    """
    Originals of a folder: ``originals/ab/abcd....jpg``; implements `dryslate.app.ports.PhotoVault`.

    Parameters
    ----------
    folder : Path
        The project, or the second folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = folder / ORIGINALS

    def path_of(self, sha256: str, name: str) -> Path:
        """
        Return where the file with that hash is kept, or would be.

        Parameters
        ----------
        sha256 : str
        name : str
            Any name of the file; its ending is used for a file that is not there yet. A file
            that came under two endings is kept once.
        """
        ending = ending_of(name)
        usual = self.root / sha256[:2] / (f"{sha256}.{ending}" if ending else sha256)
        if usual.exists():
            return usual
        return self._under_other_ending(sha256) or usual

    def has(self, sha256: str, name: str) -> bool:
        """Tell whether the file is there, whatever ending it came with."""
        return self.path_of(sha256, name).is_file()

    def _under_other_ending(self, sha256: str) -> Path | None:
        """Find a file with that hash under another ending."""
        found = sorted((self.root / sha256[:2]).glob(f"{sha256}*"))
        kept = [path for path in found if path.name.split(".")[0] == sha256]
        kept = [path for path in kept if path.name.count(".") <= 1]
        return kept[0] if kept else None
