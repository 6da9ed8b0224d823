"""A project's photos: kept results, resumed runs, borrowed colours, and a run that is killed."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.correct_project import (
    ProjectPlace,
    ProjectRun,
    correct_project,
    finish_run,
    start_run,
)
from dryslate.app.correction_key import loan_key
from dryslate.app.correction_records import CorrectSettings
from dryslate.app.depths import parse_depths
from dryslate.app.project_photos import choose_photos
from dryslate.base.errors import InputError, SettingsError
from dryslate.cli.main import build_app

TRUSTED = CorrectSettings(nominal_as_measured=True)


def take(source: Path, project: Path, site: str = "North wall", date: str = "2031-05-04") -> None:
    words = ["take", source, "--into", project, "--visit", site, date, "--observer", "Ana"]
    result = CliRunner().invoke(build_app(), [str(w) for w in words])
    assert result.exit_code == 0, result.output


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    """Four photos: with card, without 30 s and 30 min later, without red."""
    folder = tmp_path_factory.mktemp("fresh")
    card = folder / "card"
    card.mkdir()
    plans = {
        "A": card_photos.Plan(taken="2031:05:04 10:00:00"),
        "B": card_photos.Plan(taken="2031:05:04 10:00:30", card=None, seed=4),
        "C": card_photos.Plan(taken="2031:05:04 10:30:00", card=None, seed=5),
        "D": card_photos.Plan(taken="2031:05:04 10:01:00", cast=(0.002, 0.6, 0.8), seed=6),
    }
    for name, plan in plans.items():
        card_photos.save_photo(plan, card / f"{name}.jpg")
    take(card, folder / "trip")
    return folder / "trip"


@pytest.fixture
def project(tmp_path: Path, fresh: Path) -> Path:
    """A copy of that project for one test."""
    shutil.copytree(fresh, tmp_path / "trip")
    return tmp_path / "trip"


@contextmanager
def opened(
    project: Path,
    card_photos: ModuleType,
    settings: CorrectSettings = TRUSTED,
    **more: Any,
) -> Iterator[ProjectRun]:
    """A run over the project, its store open."""
    work = card_photos.workshop(project, **more.pop("workshop", {}))
    with wiring.survey_store(project, write=True) as store:
        place = ProjectPlace(folder=project, store=store, vault=wiring.vault(project))
        yield start_run(place, work, settings, **more)


def run(project: Path, card_photos: ModuleType, *names: str, **more: Any) -> dict[str, Any]:
    """Correct, and return the photos' outcome by name."""
    with opened(project, card_photos, **more) as one:
        photos = choose_photos(one.place.store, [Path(n) for n in names])
        return {done.row.result["photo"][0]: done for done in correct_project(one, photos)}


def end_state(project: Path) -> Any:
    """Rows and files that a run leaves behind, without times."""
    with sqlite3.connect(project / "dryslate.sqlite") as db:
        names = [r[0] for r in db.execute("select name from sqlite_master where type='table'")]
        counted = {
            n: db.execute(f"select count(*) from {n}").fetchone()[0]
            for n in names
            if n not in ("change", "changes") and not n.startswith("sqlite_")
        }
    with wiring.survey_store(project, write=False) as store:
        rows = [(r.photo_id, r.key, r.outcome, r.corrected_path) for r in store.corrections()]
    files = sorted(
        (p.relative_to(project).as_posix(), p.stat().st_size)
        for p in (project / "derived").rglob("*")
        if p.is_file()
    )
    return counted, rows, files


def test_run_corrects_borrows_refuses_and_leaves_alone(
    project: Path, card_photos: ModuleType
) -> None:
    done = run(project, card_photos)
    assert {n: d.row.outcome for n, d in done.items()} == {
        "A": "corrected",
        "B": "borrowed",
        "C": "no_card",
        "D": "refused",
    }
    lent = done["B"].row
    assert lent.result["borrowed_from"] == done["A"].row.photo_id
    assert lent.result["scale"]["usable"] is False
    assert lent.geometry == {}
    mine, its = (done[n].row.result["colour"]["off_card_de00_p95"] for n in "BA")
    assert mine > its
    assert (project / lent.corrected_path).is_file()
    assert done["C"].row.corrected_path is None


def test_photo_for_looking_only_is_written_but_neither_measured_nor_lent(
    project: Path, card_photos: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A limit that no photo keeps stands for a photo deep in natural light."""
    monkeypatch.setattr("dryslate.core.colour.signal.DE00_P95_FIT", 1.0)
    done = run(project, card_photos)
    shown = done["A"].row
    assert shown.outcome == "corrected"
    assert shown.result["colour"]["usable"] is False
    assert shown.result["scale"]["usable"] is True
    assert "colour-looking-only" in {p["slug"] for p in shown.result["problems"]}
    assert (project / shown.corrected_path).is_file()
    assert done["B"].row.outcome == "no_card"  # nobody to borrow from
    assert done["D"].row.outcome == "refused"


def test_borrowed_colours_over_the_limit_are_for_looking_only_then_refused(
    project: Path, card_photos: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Limits between the lender's own difference and the borrower's stand for a wider loan."""
    done = run(project, card_photos)
    mine, its = (done[n].row.result["colour"]["off_card_de00_p95"] for n in "BA")
    for room in ("core.colour.signal", "app.correction_key"):
        monkeypatch.setattr(f"dryslate.{room}.DE00_P95_FIT", (mine + its) / 2)
    done = run(project, card_photos)
    assert done["A"].row.result["colour"]["usable"] is True
    shown = done["B"].row
    assert shown.outcome == "borrowed"
    assert shown.result["colour"]["usable"] is False
    assert {p["slug"] for p in shown.result["problems"]} >= {
        "colour-looking-only",
        "correct-borrowed",
    }
    assert (project / shown.corrected_path).is_file()
    for room in ("core.colour.signal", "app.correction_key"):
        monkeypatch.setattr(f"dryslate.{room}.DE00_P95_SHOWN", (mine + its) / 2)
    refused = run(project, card_photos)["B"]
    assert (refused.row.outcome, refused.was_there) == ("refused", False)
    again = run(project, card_photos)["B"]
    assert (again.row, again.was_there) == (refused.row, True)


def test_original_that_was_damaged_is_told_by_its_name_and_the_rest_goes_on(
    project: Path, card_photos: ModuleType
) -> None:
    with wiring.survey_store(project, write=False) as store:
        photo = next(p for p in store.photos() if p.files[0].original_name.startswith("A"))
    original = wiring.vault(project).path_of(photo.photo_id, photo.files[0].original_name)
    original.chmod(0o644)
    original.write_bytes(original.read_bytes()[: original.stat().st_size // 2])
    done = run(project, card_photos)
    assert done["A"].row.outcome == "unreadable"
    (said,) = done["A"].row.result["problems"]
    assert said["slug"] == "photo-truncated"
    assert said["place"] == photo.files[0].original_name
    assert photo.photo_id not in said["message"]
    assert said["message"].startswith("the file breaks off after")
    assert done["D"].row.outcome == "refused"  # as ever


def test_again_does_nothing_and_tells_the_same(project: Path, card_photos: ModuleType) -> None:
    first = run(project, card_photos)
    state = end_state(project)
    again = run(project, card_photos)
    assert all(d.was_there for d in again.values())
    assert not any(d.was_there for d in first.values())
    assert {n: d.row.key for n, d in again.items()} == {n: d.row.key for n, d in first.items()}
    assert end_state(project) == state


def test_other_settings_are_another_key_and_done_again(
    project: Path, card_photos: ModuleType
) -> None:
    first = run(project, card_photos)
    other = run(project, card_photos, settings=replace(TRUSTED, nominal_as_measured=False))
    assert first["A"].row.key != other["A"].row.key
    assert not other["A"].was_there
    assert other["B"].row.key != first["B"].row.key  # its lender changed


def test_a_derived_file_that_was_thrown_away_is_made_again(
    project: Path, card_photos: ModuleType
) -> None:
    first = run(project, card_photos)
    path = project / first["A"].row.corrected_path
    data = path.read_bytes()
    path.unlink()
    again = run(project, card_photos)
    assert not again["A"].was_there
    assert again["B"].was_there
    assert path.read_bytes() == data


def test_known_depths_widen_the_reach_to_five_minutes(
    project: Path, card_photos: ModuleType, tmp_path: Path
) -> None:
    card = tmp_path / "more"
    card.mkdir()
    plan = card_photos.Plan(taken="2031:05:04 10:04:00", card=None, seed=9)
    card_photos.save_photo(plan, card / "E.jpg")
    take(card, project)
    assert run(project, card_photos)["E"].row.outcome == "no_card"
    near = parse_depths("time,depth_m\n2031-05-04 10:00,5\n2031-05-04 10:04,5.5\n", "d")
    assert run(project, card_photos, depths=near)["E"].row.outcome == "borrowed"
    far = parse_depths("time,depth_m\n2031-05-04 10:00,5\n2031-05-04 10:04,8\n", "d")
    again = run(project, card_photos, depths=far)["E"].row
    assert again.outcome == "no_card"  # a loan that the rule no longer allows is taken back
    assert again.result["corrected"] is None


def test_a_depth_that_is_known_later_changes_the_doubt_of_a_loan(
    project: Path, card_photos: ModuleType
) -> None:
    unknown = run(project, card_photos)["B"].row
    depths = parse_depths("time,depth_m\n2031-05-04 10:00,5\n2031-05-04 10:01,5.2\n", "d")
    known = run(project, card_photos, depths=depths)["B"]
    assert not known.was_there
    wide, narrow = (r.result["colour"]["off_card_de00_p95"] for r in (unknown, known.row))
    assert narrow < wide
    assert "apart in depth" in str(known.row.result["problems"])
    assert run(project, card_photos, depths=depths)["B"].was_there


def test_a_loan_kept_by_an_earlier_version_is_not_made_again(
    project: Path, card_photos: ModuleType
) -> None:
    row = run(project, card_photos)["B"].row
    loan = row.colour["loan"]
    before = loan_key(loan["search_key"], loan["lender_key"])
    with wiring.survey_store(project, write=True) as store, store.write():
        store.save_correction(replace(row, key=before))
    again = run(project, card_photos)["B"]
    assert again.was_there
    assert again.row.key == before


def test_two_visits_do_not_lend_to_each_other(
    project: Path, card_photos: ModuleType, tmp_path: Path
) -> None:
    card = tmp_path / "south"
    card.mkdir()
    plan = card_photos.Plan(taken="2031:05:04 10:00:10", card=None, seed=9)
    card_photos.save_photo(plan, card / "S.jpg")
    take(card, project, site="South wall")
    assert run(project, card_photos)["S"].row.outcome == "no_card"


def test_one_photo_can_be_named_by_file_or_hash(project: Path, card_photos: ModuleType) -> None:
    (done,) = run(project, card_photos, "A.jpg").values()
    (again,) = run(project, card_photos, done.row.photo_id[:12]).values()
    assert again.was_there
    with pytest.raises(InputError) as caught:
        run(project, card_photos, "Z.jpg")
    assert caught.value.slug == "photo-not-in-project"


def test_corners_belong_to_one_photo(project: Path, card_photos: ModuleType) -> None:
    corners = ((1.0, 1.0), (9.0, 1.0), (9.0, 9.0), (1.0, 9.0))
    settings = replace(TRUSTED, corners_px=corners, card_names=("field",))
    with pytest.raises(SettingsError) as caught:
        run(project, card_photos, settings=settings)
    assert caught.value.slug == "correct-one-photo"


def test_full_disk_is_told_and_not_taken_for_a_result(
    project: Path, card_photos: ModuleType
) -> None:
    from dryslate.base.errors import StoreError

    reader = type(card_photos.workshop().reader)

    class FullDisk(reader):  # type: ignore[misc, valid-type]
        def write_corrected(self, path: Path, *_: Any) -> None:
            raise StoreError("disk-full", f"{path}: the disk is full.", "Make room.")

    full = run(project, card_photos, workshop={"reader": FullDisk()})
    assert full["A"].row.outcome == "not_written"
    assert full["A"].row.result["problems"][0]["slug"] == "disk-full"
    assert run(project, card_photos)["A"].row.outcome == "corrected"


def test_patch_that_is_off_in_ten_photos_is_named(tmp_path: Path, card_photos: ModuleType) -> None:
    card = tmp_path / "card"
    card.mkdir()
    name = next(
        p.patch_id
        for p in card_photos.FileReferenceTables().card("field").patches
        if p.role == "colour"
    )
    for i in range(10):
        taken = f"2031:05:04 11:{i:02d}:00"
        plan = card_photos.Plan(taken=taken, seed=40 + i, spoiled={name: (20, 200, 60)})
        card_photos.save_photo(plan, card / f"{i}.jpg")
    take(card, tmp_path / "trip")
    with opened(tmp_path / "trip", card_photos) as one:
        done = list(correct_project(one, one.place.store.photos()))
        summary, problems = finish_run(one, done)
    assert summary.counts == {"corrected": 10}
    assert [p.slug for p in problems] == ["card-patch-worn"]
    assert f"patch {name}" in problems[0].place


def test_killed_and_run_again_ends_the_same(project: Path, tmp_path: Path) -> None:
    """Killed without warning at several moments, in a process of its own."""
    twin = tmp_path / "twin"
    shutil.copytree(project, twin)
    command = [sys.executable, "-m", "dryslate.cli.main", "correct", "--json", "--jobs", "1"]
    env = {**os.environ, "OMP_NUM_THREADS": "1"}

    def whole(folder: Path) -> list[dict[str, Any]]:
        done = subprocess.run(
            [*command, "--project", folder], capture_output=True, text=True, check=False, env=env
        )
        assert done.returncode == 3, done.stderr
        return [json.loads(line) for line in done.stdout.splitlines()]

    expected = {d["photo"]: (d["sha256"], d["corrected"]) for d in whole(project)}
    for n_files in (1, 2, 3):
        process = subprocess.Popen(
            [*command, "--project", twin], stdout=subprocess.PIPE, text=True, env=env
        )
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline and process.poll() is None:
            if len(list((twin / "derived").rglob("*.jpg"))) >= n_files:
                break
            time.sleep(0.005)
        process.send_signal(signal.SIGKILL)
        process.communicate()
    assert {d["photo"]: (d["sha256"], d["corrected"]) for d in whole(twin)} == expected
    assert end_state(twin) == end_state(project)
