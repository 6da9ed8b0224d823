"""What only the store on SQLite does: its file, its lock, its log, its steps."""

from __future__ import annotations

import contextlib
import dataclasses
import errno
import fcntl
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dryslate.app import logger_records, project_records, publication_records, records, unit_records
from dryslate.app.condition_records import VisitConditions
from dryslate.app.zone_records import ZoneWeight
from dryslate.base.errors import StoreError
from dryslate.store.change_triggers import UNLOGGED
from dryslate.store.migrate import Migration, load_migrations, statements
from dryslate.store.schema_page import database_page
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions

RELEASED = Path(__file__).resolve().parent / "released"

HOLDER = """
import sys, time
from pathlib import Path
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions
store = SqliteSurveyStore.open(Path(sys.argv[1]), write=True, options=StoreOptions(who="Tevi"))
print("holding", flush=True)
time.sleep(60)
"""


def plain(path: Path) -> sqlite3.Connection:
    """Open the database as another program would."""
    return sqlite3.connect(path / "dryslate.sqlite", isolation_level=None)


def count_changes(path: Path) -> int:
    with contextlib.closing(plain(path)) as other:
        return int(other.execute("SELECT count(*) FROM change_log").fetchone()[0])


def tables(connection: sqlite3.Connection) -> list[str]:
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    return [row[0] for row in rows]


@pytest.fixture
def project(tmp_path: Path, rows) -> Path:
    with SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")) as store:
        rows.fill(store)
    return tmp_path


@pytest.fixture
def holder(project: Path):
    """Another process that holds the project for writing."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(project)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "holding\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def test_database_is_kept_with_a_write_ahead_log_full_flushes_and_foreign_keys(project) -> None:
    with SqliteSurveyStore.open(project, write=True) as store:
        pragmas = {
            name: store._db.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_network_folder_gets_no_write_ahead_log_and_that_is_said(project) -> None:
    with SqliteSurveyStore.open(
        project, write=True, options=StoreOptions(on_network=True)
    ) as store:
        assert store._db.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
        assert [p.slug for p in store.problems()] == ["project-on-network"]
    assert not (project / "dryslate.sqlite-wal").exists()
    with SqliteSurveyStore.open(
        project, write=True, options=StoreOptions(on_network=False)
    ) as store:
        assert store._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert store.problems() == ()


def test_log_cannot_be_changed_shortened_or_replaced(project) -> None:
    other = plain(project)
    for statement in (
        "UPDATE change_log SET who = 'nobody'",
        "DELETE FROM change_log",
        "INSERT OR REPLACE INTO change_log SELECT * FROM change_log LIMIT 1",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="the change log only grows"):
            other.execute(statement)
    other.close()


def test_program_that_does_not_say_who_it_is_cannot_write(project) -> None:
    other = plain(project)
    with pytest.raises(sqlite3.OperationalError, match="no such function: dryslate_"):
        other.execute("UPDATE photos SET depth_m = 99")
    assert other.execute("SELECT depth_m FROM photos").fetchone() == (7.5,)
    other.close()


def test_every_table_logs_every_column_of_every_change(project) -> None:
    other = plain(project)
    triggers = dict(other.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    for table in set(tables(other)) - set(UNLOGGED):
        columns = [row[1] for row in other.execute(f'PRAGMA table_info("{table}")')]
        for what, sides in (("insert", ["NEW"]), ("update", ["OLD", "NEW"]), ("delete", ["OLD"])):
            sql = triggers[f"log_{table}_{what}"]
            for side in sides:
                assert all(f"'{c}', {side}.\"{c}\"" in sql for c in columns), (table, what)
    other.close()


def test_every_table_and_column_carries_a_note_and_no_note_hangs_in_the_air(project) -> None:
    other = plain(project)
    noted = {(t, c) for t, c, note in other.execute("SELECT * FROM column_notes") if note}
    there = {(t, "") for t in tables(other)}
    for table in tables(other):
        there |= {(table, row[1]) for row in other.execute(f'PRAGMA table_info("{table}")')}
    assert noted == there
    other.close()


def test_page_names_every_column() -> None:
    page = database_page()
    assert "—" not in page
    for name in ("white_balance_fixed", "offset_s", "residual_de00", "changed_utc"):
        assert f"`{name}`" in page


@pytest.mark.parametrize(
    ("table", "record", "apart"),
    [
        ("sites", project_records.Site, set()),
        ("zones", project_records.Zone, set()),
        ("observers", project_records.Observer, set()),
        ("visits", records.Visit, {"clock_offset_s"}),
        ("clock_offsets", project_records.ClockOffset, set()),
        ("originals", project_records.Original, set()),
        ("card_files", project_records.CardFile, set()),
        ("copies", project_records.CopyProof, set()),
        ("corrections", records.CorrectionRow, {"correction_no"}),
        ("measurements", records.MeasurementRow, {"measurement_no"}),
        ("patch_residuals", project_records.PatchResidual, {"residual_no"}),
        ("control_objects", records.ControlObject, set()),
        ("derived_files", project_records.DerivedFile, set()),
        ("units", unit_records.Unit, set()),
        ("unit_photos", unit_records.UnitPhoto, set()),
        ("photos_set_aside", unit_records.SetAside, set()),
        ("site_places", publication_records.SitePlace, set()),
        ("unit_places", publication_records.UnitPlace, set()),
        ("project_people", publication_records.ProjectPerson, set()),
        ("name_ids", publication_records.NameId, set()),
        ("zone_weights", ZoneWeight, set()),
        ("visit_conditions", VisitConditions, set()),
        ("logger_files", logger_records.LoggerFile, set()),
        ("site_loggers", logger_records.SiteLogger, set()),
        ("change_log", project_records.Change, set()),
    ],
)
def test_fields_and_columns_have_one_name(project, table: str, record: type, apart: set) -> None:
    other = plain(project)
    columns = {row[1] for row in other.execute(f'PRAGMA table_info("{table}")')}
    other.close()
    assert columns ^ {f.name for f in dataclasses.fields(record)} == apart


def test_photo_columns_are_the_fields_of_photo_and_metadata(project) -> None:
    other = plain(project)
    columns = {row[1] for row in other.execute('PRAGMA table_info("photos")')}
    other.close()
    photo = {f.name for f in dataclasses.fields(records.Photo)}
    metadata = {f.name for f in dataclasses.fields(records.PhotoMetadata)}
    assert columns == photo - {"files", "metadata", "taken_corrected"} | metadata


def test_second_writer_waits_and_is_told_who_has_the_project(holder, project) -> None:
    began = time.monotonic()
    with pytest.raises(StoreError, match=r"Tevi \(process \d+ on .*project-busy") as caught:
        SqliteSurveyStore.open(project, write=True, options=StoreOptions(wait_s=0.6))
    assert time.monotonic() - began >= 0.6
    assert str(holder.pid) in caught.value.message
    assert "since 20" in caught.value.message


def test_ordinary_wait_is_ten_seconds() -> None:
    assert StoreOptions().wait_s == 10.0


def test_reader_is_let_in_while_another_writes(holder, project, rows) -> None:
    with SqliteSurveyStore.open(project, write=False) as store:
        assert store.photos()[0].photo_id == rows.sha("a")


def test_reader_sees_nothing_half_done(project, rows) -> None:
    with SqliteSurveyStore.open(project, write=True) as writer:
        with writer.write():
            writer.save_visit(rows.visit(visit_id="x", date="2027-01-01"))
            with SqliteSurveyStore.open(project, write=False) as reader:
                assert len(reader.visits()) == 1
        with SqliteSurveyStore.open(project, write=False) as reader:
            assert len(reader.visits()) == 2


def test_killed_writer_leaves_no_lock_behind(holder, project) -> None:
    os.kill(holder.pid, signal.SIGKILL)
    holder.wait()
    with SqliteSurveyStore.open(project, write=True, options=StoreOptions(wait_s=0.5)) as store:
        assert store.visits()


def test_second_writer_gets_in_when_the_first_ends(holder, project) -> None:
    waiter = subprocess.Popen(["sh", "-c", f"sleep 0.4; kill {holder.pid}"])
    with SqliteSurveyStore.open(project, write=True, options=StoreOptions(wait_s=10.0)) as store:
        assert store.visits()
    waiter.wait()


def test_folder_without_locks_is_refused(project, monkeypatch) -> None:
    def failing(descriptor: int, operation: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", failing)
    with pytest.raises(StoreError, match=r"No locks available.*project-no-locks"):
        SqliteSurveyStore.open(project, write=True)


@pytest.fixture
def protected(project: Path):
    """The project on a drive that is write-protected, where this account may mount one."""
    folder = project.parent / f"{project.name}-protected"
    folder.mkdir()
    for options in (["--bind"], ["-o", "remount,ro,bind"]):
        command = ["mount", *options, str(project), str(folder)]
        if subprocess.run(command, capture_output=True, check=False).returncode != 0:
            subprocess.run(["umount", "-l", str(folder)], capture_output=True, check=False)
            pytest.skip("this account may not mount a folder")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_write_protected_project_can_be_read_and_says_why_it_cannot_be_written(
    protected, rows
) -> None:
    with SqliteSurveyStore.open(protected, write=False) as store:
        assert store.photos()[0].photo_id == rows.sha("a")
    with pytest.raises(StoreError, match="project-read-only"):
        SqliteSurveyStore.open(protected, write=True)


def test_full_disk_undoes_the_transaction_and_says_so(tmp_path, rows) -> None:
    folder = tmp_path / "small"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=3000k", "tmpfs", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("this account may not mount a small file system")
    try:
        with SqliteSurveyStore.create(folder) as store:
            rows.fill(store)
            big = rows.correction(key="big", geometry={"points": list(range(500_000))})
            with pytest.raises(StoreError, match="disk-full"):
                store.save_correction(big)
            assert store.correction(rows.sha("a")) == rows.correction()
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_folder_without_project_is_told_apart(tmp_path: Path) -> None:
    for write in (False, True):
        with pytest.raises(StoreError, match="project-not-found"):
            SqliteSurveyStore.open(tmp_path, write=write)
    assert list(tmp_path.iterdir()) == []


def test_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    other = plain(tmp_path)
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    before = (tmp_path / "dryslate.sqlite").read_bytes()
    for write in (False, True):
        with pytest.raises(StoreError, match="project-not-ours"):
            SqliteSurveyStore.open(tmp_path, write=write)
    assert (tmp_path / "dryslate.sqlite").read_bytes() == before


def test_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    (tmp_path / "dryslate.sqlite").write_bytes(b"this is not a database, it only looks like one")
    for write in (False, True):
        with pytest.raises(StoreError, match="project-database-broken"):
            SqliteSurveyStore.open(tmp_path, write=write)


def test_project_of_a_newer_version_is_refused_and_not_touched(project) -> None:
    steps = [*load_migrations(), Migration(name="0099_later", sql="CREATE TABLE later (x TEXT);\n")]
    SqliteSurveyStore.open(project, write=True, options=StoreOptions(migrations=steps)).close()
    n_before = count_changes(project)
    for write in (False, True):
        with pytest.raises(StoreError, match=r"step 0099_later.*project-newer"):
            SqliteSurveyStore.open(project, write=write)
    assert count_changes(project) == n_before


LATER = """
-- Tides, for a test.
CREATE TABLE tides (
    tide TEXT PRIMARY KEY,                 -- Which tide.
    level_m REAL                           -- Its level in metres.
) STRICT;
ALTER TABLE sites ADD COLUMN depth_m REAL; -- Depth of the mooring in metres.
"""


def test_later_step_is_applied_after_a_backup_and_logs_its_new_columns(project, rows) -> None:
    steps = [*load_migrations(), Migration(name="0098_tides", sql=LATER)]
    options = StoreOptions(migrations=steps, who="Tevi")
    with SqliteSurveyStore.open(project, write=True, options=options) as store:
        with store.write():
            store._db.execute("INSERT INTO tides VALUES ('spring', 1.5)")
            store._db.execute("UPDATE sites SET depth_m = 3.5")
        assert store.changes("tides")[0].new == {"tide": "spring", "level_m": 1.5}
        assert store.changes("sites")[-1].new["depth_m"] == 3.5
    (backup,) = (project / "backups").iterdir()
    assert backup.name.startswith("before-0098_tides-")
    kept = sqlite3.connect(backup)
    assert kept.execute("SELECT count(*) FROM photos").fetchone() == (1,)
    assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert "tides" not in tables(kept)
    kept.close()
    other = plain(project)
    names = [row[0] for row in other.execute("SELECT name FROM migrations ORDER BY name")]
    assert names == [*(m.name for m in load_migrations()), "0098_tides"]
    note = other.execute(
        "SELECT note FROM column_notes WHERE table_name = 'sites' AND column_name = 'depth_m'"
    ).fetchone()
    assert note == ("Depth of the mooring in metres.",)
    other.close()


def test_failing_step_leaves_the_database_as_it_was(project, rows) -> None:
    bad = Migration(name="0098_bad", sql=LATER + "INSERT INTO nowhere VALUES (1);\n")
    with pytest.raises(StoreError, match=r"0098_bad.*backup.*migration-failed"):
        SqliteSurveyStore.open(
            project, write=True, options=StoreOptions(migrations=[*load_migrations(), bad])
        )
    with SqliteSurveyStore.open(project, write=True) as store:
        assert "tides" not in tables(store._db)
        assert store.photos()[0].photo_id == rows.sha("a")
    assert len(list((project / "backups").glob("*.sqlite"))) == 1


def test_reader_brings_an_older_project_up_to_date_first(project) -> None:
    steps = [*load_migrations(), Migration(name="0098_tides", sql=LATER)]
    options = StoreOptions(migrations=steps)
    with SqliteSurveyStore.open(project, write=False, options=options) as store:
        assert "tides" in tables(store._db)


def test_script_is_split_without_cutting_triggers() -> None:
    parts = list(statements(load_migrations()[0].sql))
    assert sum("CREATE TRIGGER" in part for part in parts) == 3
    assert all(sqlite3.complete_statement(part) for part in parts)


def _kept_part(row: dict, kept: dict) -> dict:
    """What a row has of the fields that were stored; later steps add fields, also within rows."""
    return {
        k: _kept_part(row[k], v) if k == "row" and isinstance(v, dict) else row[k]
        for k, v in kept.items()
    }


@pytest.mark.parametrize("path", sorted(RELEASED.glob("*.sqlite")), ids=lambda p: p.stem)
def test_project_of_each_released_schema_opens_and_reads_the_same(path, tmp_path, rows) -> None:
    shutil.copy(path, tmp_path / "dryslate.sqlite")
    expected = json.loads(path.with_suffix(".json").read_text("utf-8"))
    with SqliteSurveyStore.open(tmp_path, write=True, options=StoreOptions(who="Mara")) as store:
        for name, stored in expected.items():
            found = [dataclasses.asdict(row) for row in getattr(store, name)()]
            for row, kept in zip(json.loads(json.dumps(found, default=dict)), stored, strict=True):
                assert _kept_part(row, kept) == kept, name
        store.save_visit(rows.visit(visit_id="new one", date="2027-01-01"))
        assert len(store.visits()) == len(expected["visits"]) + 1


def test_there_is_a_stored_database_for_every_step() -> None:
    steps = {step.name: step.sha256 for step in load_migrations()}
    stored = {path.stem for path in RELEASED.glob("*.sqlite")}
    assert stored == {name[:4] for name in steps}
    newest = sqlite3.connect(f"file:{sorted(RELEASED.glob('*.sqlite'))[-1]}?mode=ro", uri=True)
    recorded = dict(newest.execute("SELECT name, sha256 FROM migrations").fetchall())
    newest.close()
    assert recorded == steps, "a released step of the schema may not change: add another one"


def test_killed_while_it_was_made_a_project_can_be_made_again(tmp_path: Path) -> None:
    (tmp_path / "dryslate.sqlite").touch()
    with SqliteSurveyStore.create(tmp_path) as store:
        assert store.visits() == ()
    with contextlib.closing(plain(tmp_path)) as other:
        facts = dict(other.execute("SELECT name, value FROM project"))
    assert set(facts) == {"project_id", "made_utc", "made_by"}


def test_new_project_has_no_backup_of_nothing(project: Path) -> None:
    assert not (project / "backups").exists()
