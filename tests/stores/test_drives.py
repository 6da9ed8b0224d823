"""Two folders are two drives only when two disks lie below them (made-up device trees)."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryslate.files.drives import DriveFinder
from dryslate.formats.mountinfo import Mount, mount_of, parse_mountinfo

MOUNTS = r"""
22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
30 22 0:40 / /dev/shm rw - tmpfs tmpfs rw
31 22 8:17 / /media/second\040disk rw - exfat /dev/sdb1 rw
32 22 0:51 / /mnt/lab rw - nfs4 server:/export rw
33 31 0:52 / /media/second\040disk/inner rw - cifs //host/share rw
this line is not one
"""


class Sysfs:
    """A made-up tree as under /sys."""

    def __init__(self, root: Path) -> None:
        self.root = root
        (root / "dev" / "block").mkdir(parents=True)

    def disk(self, name: str, number: str) -> Path:
        node = self.root / "devices" / "block" / name
        (node / "slaves").mkdir(parents=True)
        (self.root / "dev" / "block" / number).symlink_to(node)
        return node

    def partition(self, disk: Path, name: str, number: str) -> Path:
        node = disk / name
        node.mkdir()
        (node / "partition").write_text("1\n")
        (self.root / "dev" / "block" / number).symlink_to(node)
        return node

    def find(self, number: tuple[int, int], mount: Mount | None = None) -> frozenset[str] | None:
        mountinfo = self.root / "mountinfo"
        mountinfo.write_text(MOUNTS)
        return DriveFinder(self.root, mountinfo).disks_below(number, mount)


@pytest.fixture
def sysfs(tmp_path: Path) -> Sysfs:
    return Sysfs(tmp_path)


def test_two_partitions_of_one_disk_are_one_drive(sysfs) -> None:
    disk = sysfs.disk("sda", "8:0")
    sysfs.partition(disk, "sda1", "8:1")
    sysfs.partition(disk, "sda2", "8:2")
    assert sysfs.find((8, 1)) == sysfs.find((8, 2)) == sysfs.find((8, 0)) == {"sda"}


def test_two_disks_are_two_drives(sysfs) -> None:
    sysfs.disk("sda", "8:0")
    sysfs.disk("sdb", "8:16")
    assert sysfs.find((8, 0)) == {"sda"}
    assert sysfs.find((8, 16)) == {"sdb"}


def test_encrypted_volume_is_on_the_disk_below_it(sysfs) -> None:
    disk = sysfs.disk("sda", "8:0")
    part = sysfs.partition(disk, "sda3", "8:3")
    volume = sysfs.disk("dm-0", "253:0")
    (volume / "slaves" / "sda3").symlink_to(part)
    upper = sysfs.disk("dm-1", "253:1")
    (upper / "slaves" / "dm-0").symlink_to(volume)
    assert sysfs.find((253, 1)) == {"sda"}


def test_mirrored_set_is_on_all_of_its_disks(sysfs) -> None:
    array = sysfs.disk("md0", "9:0")
    for i, name in enumerate(("sda", "sdb")):
        (array / "slaves" / name).symlink_to(sysfs.disk(name, f"8:{16 * i}"))
    assert sysfs.find((9, 0)) == {"sda", "sdb"}


def test_image_file_is_on_the_disk_that_holds_the_file(sysfs, tmp_path: Path) -> None:
    image = tmp_path / "image.bin"
    image.touch()
    number = image.stat().st_dev
    real = f"{number >> 8 & 0xFFF}:{number & 0xFF}"
    if real.startswith("0:"):
        pytest.skip("the folder for tests has no device number of its own")
    sysfs.disk("sdz", real)
    loop = sysfs.disk("loop0", "7:0")
    (loop / "loop").mkdir()
    (loop / "loop" / "backing_file").write_text(f"{image}\n")
    assert sysfs.find((7, 0)) == {"sdz"}


def test_two_parts_of_one_flash_stick_are_one_drive(sysfs) -> None:
    sysfs.disk("nvme0n1", "259:0")
    sysfs.disk("nvme0n2", "259:1")
    sysfs.disk("nvme1n1", "259:2")
    assert sysfs.find((259, 0)) == sysfs.find((259, 1)) == {"nvme0"}
    assert sysfs.find((259, 2)) == {"nvme1"}


@pytest.mark.parametrize("name", ["zram0", "ram1", "nbd0", "drbd0"])
def test_memory_and_network_devices_are_no_drive(sysfs, name: str) -> None:
    sysfs.disk(name, "99:0")
    assert sysfs.find((99, 0)) == frozenset()


def test_unknown_device_is_unknown_and_not_a_drive_of_its_own(sysfs) -> None:
    assert sysfs.find((8, 99)) is None
    mount = Mount(mount_point="/x", kind="zfs", source="tank/data", device=(0, 60))
    assert sysfs.find((0, 60), mount) is None


@pytest.mark.parametrize("kind", ["tmpfs", "nfs4", "cifs", "fuse.sshfs"])
def test_memory_and_network_folders_are_no_drive(sysfs, kind: str) -> None:
    mount = Mount(mount_point="/x", kind=kind, source="somewhere", device=(0, 60))
    assert sysfs.find((0, 60), mount) == frozenset()


def test_folder_in_memory_says_why_it_does_not_count(tmp_path: Path) -> None:
    mountinfo = tmp_path / "mountinfo"
    mountinfo.write_text(f"30 22 0:40 / {tmp_path} rw - tmpfs tmpfs rw\n")
    drive = DriveFinder(tmp_path, mountinfo).drive_of(tmp_path)
    assert drive.disks == frozenset()
    assert "memory" in drive.why_not


def test_network_folder_says_why_it_does_not_count(tmp_path: Path) -> None:
    mountinfo = tmp_path / "mountinfo"
    mountinfo.write_text(f"30 22 0:40 / {tmp_path} rw - nfs4 server:/export rw\n")
    drive = DriveFinder(tmp_path, mountinfo).drive_of(tmp_path)
    assert drive.disks == frozenset()
    assert "network" in drive.why_not


def test_system_that_tells_nothing_gives_no_drive(tmp_path: Path) -> None:
    drive = DriveFinder(tmp_path / "none", tmp_path / "none").drive_of(tmp_path)
    assert drive.disks == frozenset()
    assert "does not tell" in drive.why_not


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/media/second disk", "exfat"),
        ("/media/second disk/a/b", "exfat"),
        ("/media/second disk/inner/x", "cifs"),
        ("/media/second diskette", "ext4"),
        ("/mnt/lab/trip", "nfs4"),
        ("/", "ext4"),
    ],
)
def test_mount_of_a_folder_is_the_nearest_above_it(path: str, kind: str) -> None:
    mount = mount_of(path, parse_mountinfo(MOUNTS))
    assert mount is not None
    assert mount.kind == kind
    assert mount.is_network == (kind in ("cifs", "nfs4"))


def test_later_mount_lies_over_an_earlier_one() -> None:
    text = "1 0 8:1 / /data rw - ext4 /dev/sda1 rw\n2 0 0:9 / /data rw - nfs host:/data rw\n"
    mount = mount_of("/data/x", parse_mountinfo(text))
    assert mount is not None
    assert mount.is_network
