"""Sizes of corals, photos and sketches after an archive was read back."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.archive_corals import _figures
from dryslate.app.identify_records import sizes_of
from dryslate.app.second_observer import blind_queue
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")


def run(*words: object, code: int | None = 0) -> str:
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done.output


def made_archive(project: Path, folder: Path, photos: str) -> Path:
    """Write an archive; what the project has not said is warned of."""
    to = folder / f"{photos}.zip"
    run("archive", "make", project, "-o", to, "--photos", photos, code=3)
    return to


def read_into(folder: Path, archive: Path, name: str, code: int = 0) -> tuple[Path, str]:
    project = folder / name
    run("new", project)
    return project, run("records", "import", project, archive, *WHO, "--save", code=code)


def measured(project: Path) -> dict[str, list[tuple]]:
    """Kind, points and figures of every measurement of each coral, by label."""
    with wiring.survey_store(project, write=False) as store:
        return {
            record.colony: [
                (m.measurement_id, m.kind, m.points_px, m.observer, _figures(m.values))
                for m in store.measurements_of(record.measurement_ids)
            ]
            for record in store.records()
        }


def in_naming(project: Path) -> dict[str, dict]:
    """The sizes that a name is held against."""
    with wiring.survey_store(project, write=False) as store:
        return {record.colony: sizes_of(store, record, None) for record in store.records()}


def lines(archive: Path) -> list[tuple[str, ...]]:
    """Measurements as they stand in an archive, but for identifiers."""
    with zipfile.ZipFile(archive) as zipped:
        name = next(n for n in zipped.namelist() if "measurement" in n.lower())
        head, *rows = zipped.read(name).decode().splitlines()
    kept = [k for k, cell in enumerate(head.split("\t")) if not cell.endswith("ID")]
    return sorted(tuple(row.split("\t")[k] for k in kept) for row in rows)


@pytest.fixture(scope="module")
def named(web_project, tmp_path_factory) -> Path:
    """The small project with a name for each coral: an archive leaves out those without one."""
    trip = Path(shutil.copytree(web_project, tmp_path_factory.mktemp("named") / "trip"))
    for colony in ("L1-2", "L1-3"):
        run("name", trip, "Porites", "--colony", colony, *WHO)
    return trip


@pytest.fixture(scope="module")
def archives(named, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("archives")
    return {photos: made_archive(named, folder, photos) for photos in ("none", "originals")}


@pytest.mark.parametrize("photos", ["none", "originals"])
def test_sizes_of_corals_come_back_to_the_last_digit(photos, named, archives, tmp_path) -> None:
    before = measured(named)
    assert sum(map(len, before.values())) > 0
    back, said = read_into(tmp_path, archives[photos], "back")
    assert measured(back) == before
    assert in_naming(back) == in_naming(named)
    assert f"{sum(map(len, before.values()))} measurements of corals" in said.replace("\n", " ")
    again = made_archive(back, tmp_path, "none")
    assert lines(again) == lines(archives["none"])
    second, _ = read_into(tmp_path, again, "second")
    assert measured(second) == before
    assert "0 things to look at" in run("check", back).replace("\n", " ")


def test_a_second_observer_sees_the_sizes_that_came_back(named, archives, tmp_path) -> None:
    drawn = Path(shutil.copytree(named, tmp_path / "drawn"))
    run("review", "draw", drawn, "--share", "1", "--seed", "3", *WHO)
    back, _ = read_into(tmp_path, made_archive(drawn, tmp_path, "none"), "back")
    sizes = []
    for project in (drawn, back):
        with wiring.survey_store(project, write=False) as store:
            queue = blind_queue(store, "Tomo Halle")
            sizes.append(
                {
                    one.record.colony: [
                        {k: v for k, v in m.items() if isinstance(v, int | float | str)}
                        for m in one.measured
                    ]
                    for one in queue
                }
            )
    assert sizes[0]
    assert sizes[1] == sizes[0]


def test_photos_whose_files_are_in_the_archive_are_taken_in(named, archives, tmp_path) -> None:
    back, said = read_into(tmp_path, archives["originals"], "back")
    assert "4 photos with their file" in said.replace("\n", " ")
    with (
        wiring.survey_store(named, write=False) as old,
        wiring.survey_store(back, write=False) as new,
    ):
        assert {p.photo_id: p.visit_id for p in new.photos()} == {
            p.photo_id: p.visit_id for p in old.photos()
        }
        names = {p.photo_id: p.files[0].original_name for p in new.photos()}
        assert names == {p.photo_id: p.files[0].original_name for p in old.photos()}
        for photo in new.photos():
            kept = wiring.vault(back).path_of(photo.photo_id, photo.files[0].original_name)
            assert kept.is_file()
            assert photo.metadata == old.photo(photo.photo_id).metadata
        assert {r.colony: (r.photo_id, r.place, r.note) for r in new.records()} == {
            r.colony: (r.photo_id, r.place, r.note) for r in old.records()
        }
        assert new.archived_measurements() == ()


def test_photos_that_do_not_come_along_are_told(archives, tmp_path) -> None:
    back, said = read_into(tmp_path, archives["none"], "back")
    assert "archive-photos-not-here" in said
    assert "whose files do not come along: 4" in said.replace("\n", " ")
    with wiring.survey_store(back, write=False) as store:
        assert len(store.archived_photos()) == 4
        assert store.photos() == ()
        assert all(record.place.startswith("photo ") for record in store.records())


def test_a_file_that_is_missing_or_another_is_told_and_the_rest_comes(archives, tmp_path) -> None:
    broken = tmp_path / "broken.zip"
    with zipfile.ZipFile(archives["originals"]) as whole, zipfile.ZipFile(broken, "w") as out:
        media = sorted(n for n in whole.namelist() if n.startswith("media/"))
        for name in whole.namelist():
            if name != media[0]:
                out.writestr(name, b"something else" if name == media[1] else whole.read(name))
    back, said = read_into(tmp_path, broken, "back", code=3)
    plain = said.replace("\n", " ")
    assert "archive-left-out" in plain
    assert media[0] in plain
    assert "whose files do not come along: 2" in plain
    with wiring.survey_store(back, write=False) as store:
        assert len(store.photos()) == 2


@pytest.fixture(scope="module")
def sketched(named, tmp_path_factory) -> Path:
    """A tagged colony whose sketch is one of the photos."""
    trip = Path(shutil.copytree(named, tmp_path_factory.mktemp("sketched") / "trip"))
    at = ("--visit", "Lantern Steps", "2024-03-09", "--why", "random")
    run("colonies", "tag", trip, "17", *at, "--sketch", "DRY_0003.JPG", *WHO)
    return trip


@pytest.mark.parametrize("photos", ["none", "originals", "package"])
def test_which_photo_shows_a_sketch_comes_back(photos, sketched, tmp_path) -> None:
    with wiring.survey_store(sketched, write=False) as store:
        (colony,) = store.colonies()
    if photos == "package":
        archive = tmp_path / "package.zip"
        run("archive", "package", sketched, "-o", archive, code=None)
    else:
        archive = made_archive(sketched, tmp_path, photos)
    back, _ = read_into(tmp_path, archive, "back")
    with wiring.survey_store(back, write=False) as store:
        (found,) = store.colonies()
        named = {one.organism_id: one.sha256 for one in store.archived_sketches()}
    if photos == "originals":
        assert found.sketch_sha256 == colony.sketch_sha256
        assert named == {}
    else:
        assert found.sketch_sha256 is None
        assert named == {colony.organism_id: colony.sketch_sha256}


def test_a_sketch_of_a_sensitive_site_does_not_leave(sketched, tmp_path) -> None:
    trip = Path(shutil.copytree(sketched, tmp_path / "trip"))
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1, "--water-body", "Wide Sea")
    run("sites", "set", trip, "Lantern Steps", *spot, *WHO)
    with wiring.survey_store(trip, write=False) as store:
        sketch = store.colonies()[0].sketch_sha256
    archive = tmp_path / "sensitive.zip"
    words = ("--photos", "originals", "--texts", "withhold")
    run("archive", "make", trip, "-o", archive, *words, code=None)
    with zipfile.ZipFile(archive) as zipped:
        media = [name for name in zipped.namelist() if name.startswith("media/")]
        assert sketch not in zipped.read("eml.xml").decode()
    assert len(media) == 3
    assert not any(sketch[:32] in name for name in media)
