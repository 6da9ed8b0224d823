"""``dryslate backup`` and ``restore``: a project lost and made again from what lies elsewhere."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app
from dryslate.files.disk_intake import DiskIntake

VISIT = "Lantern Steps 2024-03-09"


def run(*words: object):
    return CliRunner().invoke(build_app(), [str(word) for word in words])


@pytest.fixture
def lost(web_project: Path, tmp_path: Path):
    """A project whose drive died: its backup, its second copies, and what was in it."""
    project = Path(shutil.copytree(web_project, tmp_path / "trip"))
    gold = Path(__file__).resolve().parents[1] / "gold" / "photos"
    second = tmp_path / "second"
    visit = ("--visit", "Lantern Steps", "2024-03-09", "--observer", "Ines Varro")
    assert run("take", gold, "--into", project, *visit, "--second", second).exit_code == 0
    done = run("backup", project, "--to", tmp_path / "disk", "--observer", "Ines Varro", "--json")
    assert done.exit_code in (0, 3)
    told = json.loads(done.stdout)
    with wiring.survey_store(project, write=False) as store:
        was = (store.records(), store.measurements(), store.photos(), store.card_files())
    shutil.rmtree(project)
    return Path(told["folder"]), second, was


def test_lost_project_is_made_again(lost, tmp_path: Path) -> None:
    backup, second, was = lost
    done = run("restore", backup, "--into", tmp_path / "again", "--second", second, "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert (told["n_originals"], told["n_copied"], told["n_own_files"]) == (4, 4, 1)
    with wiring.survey_store(tmp_path / "again", write=False) as store:
        now = (store.records(), store.measurements(), store.photos(), store.card_files())
    assert now == was
    checked = json.loads(run("check", tmp_path / "again", "--json").stdout)
    slugs = {problem["slug"] for problem in checked["problems"]}
    assert not {s for s in slugs if s.startswith("original-")}, slugs
    corrected = run("correct", "--project", tmp_path / "again", "--port", "flat", "--json")
    assert corrected.exit_code in (0, 3)


def test_originals_that_are_nowhere_are_listed_and_lose_their_proof(lost, tmp_path: Path) -> None:
    backup, second, _ = lost
    victim = next(p for p in (second / "originals").rglob("*") if p.is_file())
    victim.unlink()
    damaged = next(p for p in (second / "originals").rglob("*") if p.is_file())
    damaged.chmod(0o644)
    damaged.write_bytes(damaged.read_bytes()[:-1] + b"\0")
    done = run("restore", backup, "--into", tmp_path / "again", "--second", second, "--json")
    assert done.exit_code == 3
    told = json.loads(done.stdout)
    assert told["n_copied"] == 2
    assert {p["slug"] for p in told["problems"]} == {"restore-original-missing"}
    lost_hashes = {victim.stem, damaged.stem}
    with wiring.survey_store(tmp_path / "again", write=False) as store:
        proofs = {c.sha256: c.is_proved for c in store.copies() if c.folder == "."}
    assert not any(proofs[sha256] for sha256 in lost_hashes)


def test_records_come_back_alone_without_a_second_folder(lost, tmp_path: Path) -> None:
    backup, _, was = lost
    done = run("restore", backup, "--into", tmp_path / "again")
    assert done.exit_code == 3
    with wiring.survey_store(tmp_path / "again", write=False) as store:
        assert store.records() == was[0]


def test_restoring_needs_a_backup_and_a_free_folder(lost, tmp_path: Path) -> None:
    backup, second, _ = lost
    assert run("restore", second, "--into", tmp_path / "x").exception.slug == "backup-not-found"
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "holiday.txt").write_text("not ours", "utf-8")
    refused = run("restore", backup, "--into", taken).exception
    assert refused.slug == "project-folder-taken"
    assert Path(backup).name.endswith(" UTC")
    assert [p.name for p in taken.iterdir()] == ["holiday.txt"]


def test_restoring_that_was_cut_short_goes_on_and_no_other_backup_gets_in(
    lost, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup, second, was = lost
    keep, n_kept = DiskIntake.keep, []

    def pulled_plug(self, *words: object):
        if len(n_kept) == 2:
            raise KeyboardInterrupt
        n_kept.append(1)
        return keep(self, *words)

    again = ("restore", backup, "--into", tmp_path / "again", "--second", second)
    monkeypatch.setattr(DiskIntake, "keep", pulled_plug)
    assert run(*again).exit_code != 0
    monkeypatch.undo()
    other = Path(shutil.copytree(backup, tmp_path / "other"))
    refused = run("restore", other, "--into", tmp_path / "again").exception
    assert refused.slug == "project-folder-taken"
    done = run(*again, "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["n_copied"] == 4
    with wiring.survey_store(tmp_path / "again", write=False) as store:
        assert (store.records(), store.measurements()) == was[:2]
    assert run(*again).exception.slug == "project-folder-taken"
