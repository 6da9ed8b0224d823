"""Mounted file systems as Linux lists them in ``/proc/self/mountinfo`` (proc(5))."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

NETWORK_TYPES = frozenset(
    [
        "9p",
        "afpfs",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "coda",
        "davfs",
        "fuse.cephfs",
        "fuse.davfs2",
        "fuse.glusterfs",
        "fuse.gvfsd-fuse",
        "fuse.rclone",
        "fuse.s3fs",
        "fuse.sshfs",
        "fuse.vmhgfs-fuse",
        "glusterfs",
        "gpfs",
        "lustre",
        "ncpfs",
        "nfs",
        "nfs4",
        "ocfs2",
        "pvfs2",
        "smb3",
        "smbfs",
        "vboxsf",
        "virtiofs",
        "vmhgfs",
    ]
)
"""File systems whose files lie on another machine: locks and caches there are not ours."""

MEMORY_TYPES = frozenset(["tmpfs", "ramfs", "devtmpfs", "hugetlbfs"])
"""File systems that keep their files in memory only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """One mounted file system: where, of which type, from what, and its device number."""

    mount_point: str
    kind: str
    source: str
    device: tuple[int, int]
    options: tuple[str, ...] = ()

    @property
    def is_network(self) -> bool:
        """Tell whether the files lie on another machine."""
        return self.kind in NETWORK_TYPES

    @property
    def is_memory(self) -> bool:
        """Tell whether the files lie in memory only."""
        return self.kind in MEMORY_TYPES


def parse_mountinfo(text: str) -> tuple[Mount, ...]:
    r"""
    Read the list of mounted file systems.

    Parameters
    ----------
    text : str
        As in proc(5): ``id parent major:minor root mount-point options [tags] - type source
        super-options``; lines that do not follow it are passed over.

    Returns
    -------
    tuple of Mount
        In the order listed: a later one at the same place lies over an earlier one.

    Examples
    --------
    >>> line = "36 35 8:2 / /media/my\\040disk rw shared:1 - exfat /dev/sda2 rw"
    >>> parse_mountinfo(line)[0].mount_point
    '/media/my disk'
    """
    mounts = []
    for line in text.splitlines():
        left, separator, right = line.partition(" - ")
        before, after = left.split(" "), right.split(" ")
        if not separator or len(before) < 6 or len(after) < 2 or ":" not in before[2]:
            continue
        major, _, minor = before[2].partition(":")
        mounts.append(
            Mount(
                mount_point=_unescape(before[4]),
                kind=after[0],
                source=_unescape(after[1]),
                device=(int(major), int(minor)),
                options=tuple(after[2].split(",")) if len(after) > 2 else (),
            )
        )
    return tuple(mounts)


def mount_of(path: str, mounts: Sequence[Mount]) -> Mount | None:
    """
    Return the mount that a path lies on.

    Parameters
    ----------
    path : str
        Absolute, with links followed.
    mounts : sequence of Mount

    Returns
    -------
    Mount or None
        The one with the longest mount point above the path; of several at one place the last.
    """
    best: Mount | None = None
    for mount in mounts:
        root = mount.mount_point.rstrip("/")
        if path != root and not path.startswith(root + "/"):
            continue
        if best is None or len(root) >= len(best.mount_point.rstrip("/")):
            best = mount
    return best


def _unescape(text: str) -> str:
    r"""Turn ``\040`` and the like back into their characters."""
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found.group(1), 8)), text)
