"""A disk that fills up in the middle of a run: the run stops, says so, and goes on later."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.correct import Workshop
from dryslate.app.correct_project import ProjectPlace, correct_project, finish_run, start_run
from dryslate.app.correct_summary import summarise
from dryslate.app.correction_records import CorrectSettings
from dryslate.base.errors import StoreError
from dryslate.cli.main import build_app
from dryslate.cli.render import BarProgress
from dryslate.files import safe_write

NAMES = ("a", "b", "c", "d", "e")


def dryslate(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [str(w) for w in words])


def lines(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


def slugs(document: dict[str, Any]) -> list[str]:
    return [p["slug"] for p in document["problems"] if p["severity"] == "error"]


def files_below(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


class Disk:
    """A disk that takes corrected photos until it is full."""

    def __init__(self, folder: Path, room: int, code: int) -> None:
        self.folder, self.room, self.code = folder, room, code

    def fsync(self, handle: int) -> None:
        if len(list(self.folder.rglob("*.jpg"))) >= self.room:
            raise OSError(self.code, os.strerror(self.code))


def fill(
    monkeypatch: pytest.MonkeyPatch, folder: Path, room: int, code: int = errno.ENOSPC
) -> Disk:
    disk = Disk(folder, room, code)
    monkeypatch.setattr(safe_write.os, "fsync", disk.fsync)
    return disk


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    folder = tmp_path_factory.mktemp("photos")
    for i, name in enumerate(NAMES):
        plan = card_photos.Plan(seed=20 + i, taken=f"2031:05:04 10:0{i}:00")
        card_photos.save_photo(plan, folder / f"{name}.jpg")
    return folder


@pytest.mark.parametrize(
    ("code", "slug"), [(errno.ENOSPC, "disk-full"), (errno.EROFS, "folder-read-only")]
)
def test_run_stops_with_one_sentence_and_goes_on_after_room_is_made(
    photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, slug: str
) -> None:
    given = [photos / f"{n}.jpg" for n in NAMES]
    words = ["correct", *given, "--out", tmp_path, "--jobs", 1, "--no-preview"]
    with monkeypatch.context() as patch:
        fill(patch, tmp_path, room=1, code=code)
        stopped = dryslate(*words, "--json")
        assert files_below(tmp_path) == {"a-corrected.jpg"}
        told = dryslate(*words)
    documents = lines(stopped)
    assert stopped.exit_code == 1
    assert [Path(d["photo"]).stem for d in documents] == list(NAMES)
    assert documents[0]["corrected"]
    assert slugs(documents[1]) == [slug]
    assert slugs(documents[-1]) == ["correct-not-reached"]
    assert told.exit_code == 1
    assert "refused                              │      0" in told.output
    assert "not written" in told.output
    assert "not reached" in told.output
    assert "the run stopped here" in told.output.splitlines()[-1]
    assert told.output.splitlines()[-1].endswith(f"[{slug}]")
    again = dryslate(*words)
    assert again.exit_code == 0, again.output
    assert files_below(tmp_path) == {f"{n}-corrected.jpg" for n in NAMES}


def test_fault_of_one_place_alone_is_not_refused_and_does_not_stop_the_rest(
    photos: Path, tmp_path: Path
) -> None:
    long = tmp_path / f"{'n' * 245}.jpg"  # its result's name is longer than the system allows
    shutil.copy(photos / "a.jpg", long)
    out = tmp_path / "out"
    result = dryslate("correct", long, photos / "b.jpg", "--out", out, "--no-preview", "--json")
    first, second = lines(result)
    assert result.exit_code == 3
    assert slugs(first) == ["write-failed"]
    assert second["corrected"]
    assert summarise([first], ["not_written"]).stop is None


def test_no_preview_is_left_of_a_photo_that_found_no_room(
    photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(monkeypatch, tmp_path, room=1)  # the preview is written first
    result = dryslate("correct", photos / "a.jpg", "--out", tmp_path, "--json")
    assert result.exit_code == 1
    assert slugs(lines(result)[0]) == ["disk-full"]
    assert files_below(tmp_path) == set()


@pytest.fixture
def trip(photos: Path, tmp_path: Path) -> Path:
    visit = ["--visit", "North wall", "2031-05-04", "--observer", "Ana"]
    taken = dryslate("take", photos, "--into", tmp_path / "trip", *visit)
    assert taken.exit_code == 0, taken.output
    return tmp_path / "trip"


def test_project_keeps_what_was_done_and_goes_on(
    trip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["correct", "--project", trip, "--jobs", 1, "--json"]
    with monkeypatch.context() as patch:
        fill(patch, trip / "derived", room=3)  # one photo with its preview, and one preview
        stopped = dryslate(*words)
    assert stopped.exit_code == 1
    assert len(lines(stopped)) == len(NAMES)
    with wiring.survey_store(trip, write=False) as store:
        assert [r.outcome for r in store.corrections()] == ["corrected"]
    assert len(files_below(trip / "derived")) == 2
    again = dryslate(*words)
    assert again.exit_code == 0, again.output
    assert sum(bool(d["corrected"]) for d in lines(again)) == len(NAMES)
    assert len(files_below(trip / "derived")) == 2 * len(NAMES)


def test_photos_that_would_borrow_are_left_for_the_next_run(
    tmp_path: Path, card_photos: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tmp_path / "card"
    card.mkdir()
    plans = {
        "A": card_photos.Plan(taken="2031:05:04 10:00:00"),
        "B": card_photos.Plan(taken="2031:05:04 10:00:30", card=None, seed=4),
        "C": card_photos.Plan(taken="2031:05:04 10:00:40", seed=5),
    }
    for name, plan in plans.items():
        card_photos.save_photo(plan, card / f"{name}.jpg")
    trip = tmp_path / "trip"
    visit = ["--visit", "North wall", "2031-05-04", "--observer", "Ana"]
    assert dryslate("take", card, "--into", trip, *visit).exit_code == 0
    words = ["correct", "--project", trip, "--jobs", 1, "--json", "--nominal-as-measured"]
    with monkeypatch.context() as patch:
        fill(patch, trip / "derived", room=2)
        by_name = {d["photo"][0]: d for d in lines(dryslate(*words))}
    assert by_name["A"]["corrected"]
    assert slugs(by_name["B"]) == ["correct-not-reached"]
    assert slugs(by_name["C"]) == ["disk-full"]
    again = dryslate(*words)
    assert again.exit_code == 0, again.output
    by_name = {d["photo"][0]: d for d in lines(again)}
    assert by_name["B"]["borrowed_from"] in (by_name["A"]["sha256"], by_name["C"]["sha256"])


def test_full_database_stops_the_run_and_the_next_one_ends_it(trip: Path) -> None:
    """SQLite's own limit on pages stands for the disk."""
    with wiring.survey_store(trip, write=True) as store:
        pages = store._db.execute("PRAGMA page_count").fetchone()[0]
        store._db.execute(f"PRAGMA max_page_count = {pages + 2}")
        place = ProjectPlace(folder=trip, store=store, vault=wiring.vault(trip))
        work = Workshop(
            reader=wiring.photo_reader(),
            tables=wiring.reference_tables(trip),
            runner=wiring.runner(1),
            progress=BarProgress(quiet=True),
        )
        run = start_run(place, work, CorrectSettings())
        with pytest.raises(StoreError, match="disk-full"):
            list(correct_project(run, store.photos()))
        store._db.execute("PRAGMA max_page_count = 1000000")
        summary, _ = finish_run(run, list(correct_project(run, store.photos())))
    assert summary.counts == {"corrected": len(NAMES)}
    with sqlite3.connect(trip / "dryslate.sqlite") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_on_a_disk_that_is_really_full(photos: Path, tmp_path: Path) -> None:
    """A memory file system of 600 kB in a mount space of its own."""
    unshare = shutil.which("unshare")
    small = tmp_path / "small"
    small.mkdir()
    space = [unshare or "", "-m"] if os.geteuid() == 0 else [unshare or "", "-rm"]
    mount = f"mount -t tmpfs -o size=600k tmpfs {small}"
    if (
        unshare is None
        or subprocess.run([*space, "sh", "-c", mount], check=False, capture_output=True).returncode
    ):
        pytest.skip("needs the right to mount a small file system")
    program = f"{sys.executable} -m dryslate.cli.main correct --jobs 1 --no-preview --json --out"
    script = (
        f"{mount} && {program} {small} {photos}/*.jpg; echo code $?; ls -A {small} | sort;"
        f" mount -o remount,size=60m {small}; {program} {small} {photos}/*.jpg >/dev/null;"
        f" echo code $?; ls -A {small} | sort"
    )
    done = subprocess.run(
        [*space, "sh", "-c", script],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    first, rest = done.stdout.split("code 1\n")
    after_first, after_second = rest.split("code 0\n")
    assert sum(bool(json.loads(line)["corrected"]) for line in first.splitlines()) in (1, 2, 3, 4)
    assert all(name.endswith("-corrected.jpg") for name in after_first.split())
    assert after_second.split() == [f"{n}-corrected.jpg" for n in NAMES]
