"""Killed at any moment and run again: the same end state, nothing twice, nothing lost."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from dryslate.files.drives import DriveFinder

HERE = Path(__file__).resolve().parent


@pytest.fixture
def card(tmp_path: Path, made_photos) -> Path:
    """A small card: two shots, one with a raw file, a copy, a text, an empty file."""
    folder = tmp_path / "card" / "DCIM" / "100A"
    folder.mkdir(parents=True)
    shot = made_photos.jpeg(made_photos.scene(seed=1))
    (folder / "IMG_0001.JPG").write_bytes(shot)
    mosaic = np.full((64, 96), 900, dtype=np.uint16)
    (folder / "IMG_0001.DNG").write_bytes(made_photos.dng(mosaic))
    (folder / "IMG_0002.JPG").write_bytes(made_photos.jpeg(made_photos.scene(seed=2)))
    (folder / "COPY.JPG").write_bytes(shot)
    (folder / "EMPTY.MP4").write_bytes(b"")
    (tmp_path / "card" / "notes.txt").write_text("two dives")
    for path in folder.iterdir():
        os.utime(path, (1_900_000_000, 1_900_000_000))
    return tmp_path / "card"


def sweep(card: Path, work: Path, first: int, step: int) -> list[dict]:
    work.mkdir()
    done = subprocess.run(
        [sys.executable, str(HERE / "kill_driver.py"), str(card), str(work), str(first), str(step)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def check_sweep(lines: list[dict], at_least: int) -> None:
    whole, killed = lines[0], lines[1:-1]
    assert whole["signal"] == 0
    assert len(whole["state"]["photos"]) == 2
    assert len(whole["state"]["card_files"]) == 6
    assert len(whole["state"]["originals"]) == 5
    assert len(killed) >= at_least
    assert {line["signal"] for line in killed} == {signal.SIGKILL}
    assert lines[-1]["signal"] == 0, "the last point lies beyond the end of the work"
    apart = [line["point"] for line in lines if line["digest"] != whole["digest"]]
    assert apart == []


def test_killed_at_points_all_along_the_end_is_the_same(card, tmp_path) -> None:
    check_sweep(sweep(card, tmp_path / "work", 3, 9), at_least=8)


@pytest.mark.slow
def test_killed_at_every_single_point_the_end_is_the_same(card, tmp_path) -> None:
    check_sweep(sweep(card, tmp_path / "work", 1, 1), at_least=60)


def command(card: Path, work: Path) -> list[str]:
    words = ["take", str(card), "--into", str(work / "trip"), "--second", str(work / "second")]
    words += ["--visit", "North wall", "2030-05-06", "--observer", "Mara", "--json"]
    return [sys.executable, "-m", "dryslate.cli.main", *words]


def test_command_killed_at_odd_times_ends_like_one_that_nobody_killed(card, tmp_path) -> None:
    rng = np.random.default_rng(7)
    for i in range(30):
        (card / f"film_{i:02d}.mp4").write_bytes(rng.bytes(200_000))
    undisturbed, killed = tmp_path / "undisturbed", tmp_path / "killed"
    began = time.monotonic()
    whole = subprocess.run(command(card, undisturbed), capture_output=True, text=True, check=True)
    took_s = time.monotonic() - began
    n_killed = 0
    for part in (0.5, 0.65, 0.8):
        process = subprocess.Popen(
            command(card, killed), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(part * took_s)
        process.kill()
        n_killed += process.wait() == -signal.SIGKILL
    again = subprocess.run(command(card, killed), capture_output=True, text=True, check=True)
    assert n_killed >= 1
    first, last = json.loads(whole.stdout), json.loads(again.stdout)
    assert last["n_copied"] + last["n_had"] == first["n_copied"] + first["n_had"] == 36
    assert last["n_photos"] == first["n_photos"] == 2

    def kept(work: Path) -> set[str]:
        folders = ("trip/originals", "second/originals")
        return {
            str(p.relative_to(work)) for f in folders for p in (work / f).rglob("*") if p.is_file()
        }

    assert kept(killed) == kept(undisturbed)
    checked = subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", "check", str(killed / "trip"), "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    report = json.loads(checked.stdout)
    assert report["n_sound"] == report["n_originals"] == 35
    is_on_disk = bool(DriveFinder().drive_of(tmp_path).disks)  # else every copy is "not proved"
    told = {p["slug"] for p in report["problems"]}
    assert told <= (set() if is_on_disk else {"original-not-proved"})
