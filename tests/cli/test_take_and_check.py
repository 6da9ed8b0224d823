"""The commands that keep a project, in a process of their own and in this one."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app
from dryslate.files.drives import DriveFinder

VISIT = ["--visit", "North wall", "2030-05-06", "--observer", "Mara"]


def run(*words: str) -> tuple[int, list[dict], str]:
    """Run a command in this process; return exit code, JSON documents and everything said."""
    result = CliRunner().invoke(build_app(), list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    documents = [json.loads(x) for x in result.stdout.splitlines() if x.startswith("{")]
    return result.exit_code, documents, result.output


def slugs(report: dict, folder: Path) -> list[str]:
    """Return the slugs told, but for what is true of every folder that lies in memory."""
    is_on_disk = bool(DriveFinder().drive_of(folder).disks)
    told = [p["slug"] for p in report["problems"]]
    return told if is_on_disk else [slug for slug in told if slug != "original-not-proved"]


@pytest.fixture
def card(tmp_path: Path, made_photos) -> Path:
    folder = tmp_path / "card" / "DCIM"
    folder.mkdir(parents=True)
    block = b"Exif\x00\x00" + made_photos.exif_block()
    (folder / "IMG_1.JPG").write_bytes(made_photos.jpeg(made_photos.scene(), exif=block))
    (folder / "MOV_1.MP4").write_bytes(b"a video")
    return tmp_path / "card"


@pytest.fixture
def trip(tmp_path: Path) -> str:
    return str(tmp_path / "trip")


def test_card_is_taken_in_listed_and_checked(card, trip, tmp_path) -> None:
    second = str(tmp_path / "second")
    code, (report,), said = run(
        "take", str(card), "--into", trip, *VISIT, "--second", second, "--json"
    )
    assert code == 0
    assert (report["n_files"], report["n_copied"], report["n_photos"]) == (2, 2, 1)
    assert report["may_wipe"] is False
    assert report["verdict"] == "one copy: do not wipe"
    assert "needs up to" in said
    assert run("visits", trip, "--json")[1][0]["n_photos"] == 1
    code, (checked,), _ = run("check", trip, "--json")
    assert code == 0
    assert (checked["n_originals"], checked["n_sound"]) == (2, 2)
    assert slugs(checked, tmp_path) == []
    for folder in (trip, second):
        assert len([p for p in Path(folder, "originals").rglob("*") if p.is_file()]) == 2


def test_empty_memory_card_is_not_called_done(trip, tmp_path) -> None:
    (tmp_path / "nothing").mkdir()
    code, (report,), said = run("take", str(tmp_path / "nothing"), "--into", trip, *VISIT, "--json")
    assert code == 3
    assert [p["slug"] for p in report["problems"]] == ["source-empty"]
    assert report["may_wipe"] is False
    assert "there is no file to take in. Check that" in said


def test_words_for_people_say_that_the_card_may_not_be_wiped(card, trip) -> None:
    _, _, said = run("take", str(card), "--into", trip, *VISIT)
    assert "2 files copied" in said
    assert "one copy: do not wipe" in said
    assert "no second copy" in said
    assert "may be wiped" not in said


def test_camera_clock_is_set_from_a_photo(card, trip) -> None:
    run("take", str(card), "--into", trip, *VISIT)
    words = ["--visit", "North wall", "2030-05-06", "--photo", "IMG_1.JPG"]
    _, (report,), _ = run("clock", trip, *words, "--shows", "07:10:09", "--json")
    assert report["offset_s"] == 119.75  # the camera wrote 07:08:09.25
    assert report["camera"] == "Maker Model One no. SN-77"
    assert "+119.75 s for 1 photos" in run("clock", trip, *words, "--shows", "07:10:09")[2]


def test_control_object_is_named_and_listed(trip) -> None:
    run("new", trip)
    _, (made,), _ = run("control", trip, "--name", "bar", "--length-mm", "200", "0.2", "--json")
    assert made == {"name": "bar", "kind": "length", "value": [200.0], "value_u": [0.2]}
    assert "bar: length 200 mm" in run("control", trip)[2]
    code, (checked,), said = run("check", trip, "--json")
    assert code == 0
    assert checked["controls"][0]["n"] == 0
    assert "control-not-measured" in said
    assert "bar" in run("check", trip)[2]


def test_damaged_original_is_found_and_mended_from_the_card(card, trip) -> None:
    run("take", str(card), "--into", trip, *VISIT)
    victim = next(Path(trip, "originals").rglob("*.mp4"))
    victim.chmod(0o644)
    victim.write_bytes(b"a vIdeo")
    code, (report,), _ = run("check", trip, "--json")
    assert code == 3
    assert slugs(report, Path(trip)) == ["original-changed"]
    run("take", str(card), "--into", trip, *VISIT)
    assert victim.read_bytes() == b"a video"


def test_project_is_made_once_and_only_in_a_free_folder(trip, tmp_path) -> None:
    assert run("new", trip, "--json")[1][0]["is_new"] is True
    assert run("new", trip, "--json")[1][0]["is_new"] is False
    assert "was a project already" in run("new", trip)[2]
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "letter.txt").write_text("private")
    with pytest.raises(DryslateError, match="project-folder-taken"):
        run("new", str(tmp_path / "home"))
    assert [p.name for p in (tmp_path / "home").iterdir()] == ["letter.txt"]
    with pytest.raises(DryslateError, match="folder-is-a-file"):
        run("new", str(tmp_path / "home" / "letter.txt"))


def shell(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", *words],
        capture_output=True,
        text=True,
        check=False,
    )


def test_errors_end_with_one_clear_sentence_and_exit_1(tmp_path, trip) -> None:
    done = shell("take", str(tmp_path / "nothing"), "--into", trip, *VISIT)
    assert done.returncode == 1
    assert "source-not-found" in done.stderr
    assert "Traceback" not in done.stderr
    (tmp_path / "dcim").mkdir()
    inside = tmp_path / "dcim" / "trip"
    done = shell("take", str(tmp_path / "dcim"), "--into", str(inside), *VISIT)
    assert "take-into-itself" in done.stderr
    assert not inside.exists()  # nothing is written to the memory card
    done = shell("check", str(tmp_path))
    assert done.returncode == 1
    assert "project-not-found" in done.stderr


def test_missing_option_is_wrong_usage(card, trip) -> None:
    assert shell("take", str(card), "--into", trip).returncode == 2


def test_two_processes_on_one_project_the_second_is_told_who_has_it(card, trip) -> None:
    run("new", trip)
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys, time; from pathlib import Path; from dryslate import wiring\n"
            "s = wiring.survey_store(Path(sys.argv[1]), write=True, who='Tevi')\n"
            "print('holding', flush=True); time.sleep(60)",
            trip,
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None
    holder.stdout.readline()
    done = shell("take", str(card), "--into", trip, *VISIT)
    holder.kill()
    holder.wait()
    holder.stdout.close()
    assert done.returncode == 1
    assert f"Tevi (process {holder.pid} on" in done.stderr
    assert "waited 10 s" in done.stderr
    assert "project-busy" in done.stderr
