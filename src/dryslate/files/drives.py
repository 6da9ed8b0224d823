"""Which disk a folder lies on: two folders, or two partitions of one disk, are one drive."""

from __future__ import annotations

import os
import re
from pathlib import Path

from dryslate.app.intake import Drive
from dryslate.formats.mountinfo import Mount, mount_of, parse_mountinfo

_NOT_LOCAL = re.compile(r"(nbd|rbd|drbd)\d")
_IN_MEMORY = re.compile(r"(zram|ram)\d")
_NAMESPACE = re.compile(r"(nvme\d+)(?:c\d+)?n\d+")


class DriveFinder:
    """
    Finds the disks below folders, as Linux tells them under ``/sys``.

    Parameters
    ----------
    sysfs : Path
        Where the kernel shows its devices.
    mountinfo : Path
        Where it lists what is mounted.
    """

    def __init__(
        self, sysfs: Path = Path("/sys"), mountinfo: Path = Path("/proc/self/mountinfo")
    ) -> None:
        self._sysfs = sysfs
        self._mountinfo = mountinfo

    def drive_of(self, folder: Path) -> Drive:
        """
        Return the disks below a folder.

        Parameters
        ----------
        folder : Path
            Existing.

        Returns
        -------
        Drive
            Without disks, and with the reason, for memory, network folders, and systems that
            do not tell: such a folder never counts as a drive of its own.
        """
        mount = self._mount_of(folder)
        if mount is not None and mount.is_network:
            return _unknown(f"network folder {mount.source}", "it is a network folder")
        if mount is not None and mount.is_memory:
            return _unknown("memory", "it lies in memory, not on a disk")
        number = folder.stat().st_dev
        disks = self.disks_below((os.major(number), os.minor(number)), mount)
        if disks is None:
            return _unknown(
                mount.kind if mount else "unknown",
                "this system does not tell which disk it lies on",
            )
        if not disks:
            return _unknown("memory or network device", "it is not on a disk of this computer")
        return Drive(disks=disks, label=", ".join(self._named(disk) for disk in sorted(disks)))

    def _mount_of(self, folder: Path) -> Mount | None:
        """Return the mount below a folder, where the system lists them."""
        try:
            text = self._mountinfo.read_text(encoding="utf-8", errors="surrogateescape")
        except OSError:
            return None
        return mount_of(str(folder.resolve()), parse_mountinfo(text))

    def disks_below(
        self, device: tuple[int, int], mount: Mount | None, depth: int = 0
    ) -> frozenset[str] | None:
        """
        Return the disks below a device number.

        Parameters
        ----------
        device : (major, minor)
        mount : Mount or None
            What lies there, for file systems without a device number of their own.
        depth : int
            How many layers of devices were gone through already.

        Returns
        -------
        frozenset of str or None
            Empty for memory and network devices; None where it cannot be told.
        """
        if depth > 8:
            return None
        node = self._sysfs / "dev" / "block" / f"{device[0]}:{device[1]}"
        if device[0] != 0 and node.exists():
            return self._disks_of_node(node.resolve(), depth)
        return self._disks_of_mount(mount, depth) if mount is not None else None

    def _disks_of_node(self, node: Path, depth: int) -> frozenset[str] | None:
        """Go from a partition to its disk, from a stacked or loop device to what is below."""
        if (node / "partition").exists():
            node = node.parent
        below = sorted((node / "slaves").iterdir()) if (node / "slaves").is_dir() else []
        if below:
            return _union([self._disks_of_node(part.resolve(), depth + 1) for part in below])
        backing = node / "loop" / "backing_file"
        if backing.is_file():
            file = Path(backing.read_text(encoding="utf-8", errors="surrogateescape").strip())
            if not file.exists():
                return None
            number = file.stat().st_dev
            return self.disks_below(
                (os.major(number), os.minor(number)), self._mount_of(file), depth + 1
            )
        if _NOT_LOCAL.match(node.name) or _IN_MEMORY.match(node.name):
            return frozenset()
        namespace = _NAMESPACE.fullmatch(node.name)
        return frozenset([namespace.group(1) if namespace else node.name])

    def _disks_of_mount(self, mount: Mount, depth: int) -> frozenset[str] | None:
        """Find the disks of a file system that has no device number of its own."""
        if mount.is_memory or mount.is_network:
            return frozenset()
        if mount.kind == "overlay":
            upper = [o.removeprefix("upperdir=") for o in mount.options if "upperdir=" in o]
            if not upper or not Path(upper[0]).exists():
                return None
            folder = Path(upper[0])
            number = folder.stat().st_dev
            below = self._mount_of(folder)
            if below is not None and below.kind == "overlay":
                return None
            return self.disks_below((os.major(number), os.minor(number)), below, depth + 1)
        parts = [Path(part) for part in mount.source.split(":") if part.startswith("/dev/")]
        if not parts or not all(part.exists() for part in parts):
            return None
        found = []
        for part in parts:
            number = part.stat().st_rdev
            found.append(self.disks_below((os.major(number), os.minor(number)), None, depth + 1))
        if mount.kind == "btrfs":
            found += self._other_btrfs_disks(parts[0].resolve().name, depth)
        return _union(found)

    def _other_btrfs_disks(self, member: str, depth: int) -> list[frozenset[str] | None]:
        """Find the other disks that share a file system spread over several."""
        found: list[frozenset[str] | None] = []
        for devices in sorted((self._sysfs / "fs" / "btrfs").glob("*/devices")):
            if (devices / member).exists():
                found += [self._disks_of_node(d.resolve(), depth + 1) for d in devices.iterdir()]
        return found

    def _named(self, disk: str) -> str:
        """Return the name of a disk with its maker's name where the kernel knows it."""
        for model in (
            self._sysfs / "block" / disk / "device" / "model",
            self._sysfs / "class" / "nvme" / disk / "model",
        ):
            if model.is_file():
                words = " ".join(model.read_text(encoding="utf-8", errors="replace").split())
                return f"{disk} ({words})" if words else disk
        return disk


def _union(parts: list[frozenset[str] | None]) -> frozenset[str] | None:
    """Join the disks of parts; unknown where any part is."""
    joined: set[str] = set()
    for part in parts:
        if part is None:
            return None
        joined |= part
    return frozenset(joined)


def _unknown(label: str, why_not: str) -> Drive:
    """Return a drive that names no disk."""
    return Drive(disks=frozenset(), label=label, why_not=why_not)
