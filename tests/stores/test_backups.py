"""Backups of the records: whole or not there, told apart from changes, and never overwritten."""

from __future__ import annotations

import dataclasses
import importlib.util
import sqlite3
import subprocess
from pathlib import Path

import pytest

from dryslate import wiring
from dryslate.app.backup import BackupTools, make_backup
from dryslate.app.backup_records import backup_state
from dryslate.app.intake import Drive
from dryslate.base.errors import DryslateError, InputError, StoreError
from dryslate.files.backups import DiskBackupFiles
from dryslate.files.disk_intake import DiskIntake

HERE = Path(__file__).resolve().parent
SPEC = importlib.util.spec_from_file_location("made_rows", HERE / "made_rows.py")
rows = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(rows)


class Quiet:
    """A `Progress` that shows nothing."""

    def start(self, what: str, total: int | None) -> None: ...

    def step(self, n: int = 1, note: str = "") -> None: ...

    def done(self) -> None: ...


class TwoDrives(DiskIntake):
    """Intake that finds another disk wherever the path has ``disk2`` in it."""

    def drive_of(self, folder: Path) -> Drive:
        name = "disk2" if "disk2" in str(folder) else "disk1"
        return Drive(label=name, disks=frozenset({name}), why_not="")


class Dies(DiskBackupFiles):
    """Files whose disk goes away before the last step."""

    def finish(self, work: Path, folder: Path) -> None:
        raise KeyboardInterrupt


class Lies(DiskBackupFiles):
    """Files on a disk that gives back other bytes than it was given."""

    def read_back(self, path: Path):
        if path.suffix == ".toml":
            path.write_bytes(b"rotten")
        return super().read_back(path)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with one row in every table and a card of its own."""
    folder = tmp_path / "trip"
    wiring.project_folders().lay_out(folder)
    with wiring.new_store(folder, who="Mara") as store:
        rows.fill(store)
    (folder / "cards" / "own.toml").write_text("name = 'own'\n", "utf-8")
    return folder


def back_up(project: Path, to: Path, files: DiskBackupFiles | None = None, intake=None, clock=None):
    with wiring.survey_store(project, write=True, who="Mara") as store:
        tools = BackupTools(
            store=store,
            files=files or DiskBackupFiles(),
            intake=intake or TwoDrives(),
            clock=clock or wiring.clock(),
            progress=Quiet(),
        )
        return make_backup(tools, project, to, "Mara")


class Standing:
    """A clock that stands still."""

    def now_utc(self) -> str:
        return "2031-05-04T10:00:00Z"


def test_two_backups_of_one_second_stand_side_by_side(project, tmp_path) -> None:
    first, second = (
        back_up(project, tmp_path / "disk2", clock=Standing()).backup.folder for _ in range(2)
    )
    assert second == f"{first} 2"
    assert sorted(p.name for p in Path(second).iterdir()) == ["cards", "dryslate.sqlite"]


def test_backup_holds_the_records_and_the_teams_own_files(project, tmp_path) -> None:
    report = back_up(project, tmp_path / "disk2")
    folder = Path(report.backup.folder)
    found = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert found == ["cards/own.toml", "dryslate.sqlite"]
    assert (folder / "cards/own.toml").read_text("utf-8") == "name = 'own'\n"
    with wiring.survey_store(project, write=False) as store:
        wanted = [store.records(), store.measurements(), store.identifications("r1")]
    copy = tmp_path / "opened"
    folder.rename(copy)
    with wiring.survey_store(copy, write=False) as store:
        assert [store.records(), store.measurements(), store.identifications("r1")] == wanted


def test_only_another_drive_counts_as_proved(project, tmp_path) -> None:
    near = back_up(project, tmp_path / "disk1 too")
    assert not near.backup.is_proved
    assert near.shared == ("disk1",)
    assert near.why_not
    far = back_up(project, tmp_path / "disk2")
    how = DiskBackupFiles().read_back(Path(far.backup.folder) / "dryslate.sqlite")[1]
    assert far.backup.is_proved == (how != "cached")


def test_changes_since_the_last_backup_are_counted(project, tmp_path) -> None:
    with wiring.survey_store(project, write=False) as store:
        n_first = backup_state(store).n_changes  # after the row that `fill` made up
    assert n_first >= 0
    back_up(project, tmp_path / "disk2")
    with wiring.survey_store(project, write=True, who="Mara") as store:
        assert backup_state(store).n_changes == 0
        store.save_observer(rows.Observer(observer="Tevi", note="moved"))
        store.save_region("western_atlantic")
        assert backup_state(store).n_changes == 2


def test_killed_backup_leaves_nothing_that_looks_like_one(project, tmp_path) -> None:
    with pytest.raises(KeyboardInterrupt):
        back_up(project, tmp_path / "disk2", Dies())
    left = [p.name for p in (tmp_path / "disk2").iterdir()]
    assert len(left) == 1
    assert left[0].startswith(".")
    with wiring.survey_store(project, write=False) as store:
        n_before = len(store.backups())
    back_up(project, tmp_path / "disk2")
    assert [p.name[0] for p in (tmp_path / "disk2").iterdir()] == ["t"]
    with wiring.survey_store(project, write=False) as store:
        assert len(store.backups()) == n_before + 1


def test_drive_that_gives_back_other_bytes_is_told(project, tmp_path) -> None:
    with pytest.raises(StoreError) as told:
        back_up(project, tmp_path / "disk2", Lies())
    assert told.value.slug == "copy-differs"
    assert list((tmp_path / "disk2").iterdir()) == []


def test_disk_that_fills_up_is_told_and_left_as_it_was(project, tmp_path) -> None:
    class Roomy(TwoDrives):
        def free_bytes(self, folder: Path) -> int:
            return 1 << 40

    disk = tmp_path / "disk2"
    disk.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(disk)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("this account may not mount a small file system")
    try:
        with pytest.raises(StoreError) as told:
            back_up(project, disk, intake=Roomy())
        assert told.value.slug == "disk-full"
        assert list(disk.iterdir()) == []
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)
    with wiring.survey_store(project, write=False) as store:
        assert len(store.backups()) == 1  # the row that `fill` made up


def test_backup_into_the_project_is_refused(project) -> None:
    with pytest.raises(InputError) as told:
        back_up(project, project / "backups")
    assert told.value.slug == "backup-into-project"


def test_database_that_cannot_be_copied_is_told(project, tmp_path) -> None:
    with wiring.survey_store(project, write=True, who="Mara") as store:
        taken = tmp_path / "taken.sqlite"
        with sqlite3.connect(taken) as other:
            other.execute("CREATE TABLE there (x)")
        with pytest.raises(DryslateError) as told:
            store.copy_to(taken)
    assert told.value.slug == "backup-not-sound"


def test_rows_of_backups_stay(project) -> None:
    with wiring.survey_store(project, write=True, who="Mara") as store:
        for sql in ("DELETE FROM backups", "UPDATE backups SET drive = 'x'"):
            with pytest.raises(sqlite3.IntegrityError, match="only added"):
                store._db.execute(sql)
        assert [dataclasses.asdict(b) for b in store.backups()] == [
            dataclasses.asdict(rows.backup())
        ]
