"""Sizes of corals, photos and sketches after an archive was read back."""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from frictionless import Package, system
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.adjusted_results import second_looks
from dryslate.app.coral_health import HealthRow
from dryslate.app.corals_elsewhere import numbers_only
from dryslate.app.identify_records import sizes_of
from dryslate.app.project_records import ClockOffset
from dryslate.app.publication_records import UnitPlace
from dryslate.app.second_observer import blind_queue
from dryslate.app.unit_records import Unit, UnitPhoto
from dryslate.base.errors import InputError
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
                (m.measurement_id, m.kind, m.points_px, m.observer, numbers_only(m.values))
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


@pytest.fixture(scope="module")
def looked_at(named, tmp_path_factory) -> Path:
    """With second looks, health of a coral, two clocks, photos of a unit without a name."""
    trip = Path(shutil.copytree(named, tmp_path_factory.mktemp("looked_at") / "trip"))
    run("review", "draw", trip, "--share", "1", "--seed", "3", *WHO)
    for colony, name in (("L1-2", "Porites"), ("L1-3", "Favites")):
        run("review", "answer", trip, colony, name, "--confidence", 4, "--observer", "Tomo Halle")
    visit = ("--visit", "Lantern Steps", "2024-03-09")
    seen = ("--photo", "DRY_0001.JPG", "--shows", "2024-03-09T11:00:00+05:00")
    run("clock", trip, *visit, *seen, *WHO)
    with wiring.survey_store(trip, write=True, who="Ines Varro") as store:
        records = store.records()
        for day, pct in ((10, 90.0), (11, 70.0)):
            said = {"normal_pct": pct, "bleached_pct": 100 - pct, "noted_at": f"2024-05-{day}"}
            store.save_coral_health(
                HealthRow(record_id=records[0].record_id, observer="Mara", **said)
            )
        unit = Unit(unit_id="u-1", visit_id=records[0].visit_id, observer="Mara")
        store.save_unit(unit)
        photos = {one.photo_id for one in records if one.photo_id}
        for photo_id in photos:
            store.save_unit_photo(UnitPhoto(photo_id=photo_id, unit_id="u-1", how="hand"))
    return trip


def noted(project: Path) -> dict[str, object]:
    """What was noted of corals one by one, and what clocks were off by."""
    with wiring.survey_store(project, write=False) as store:
        records = {
            r.record_id: (r.colony, r.visit_id, r.growth_form, r.is_juvenile, r.sizes_noted)
            for r in store.records()
        }
        return {
            "corals": records,
            "looks": {one.identification_id: one for one in _bare(store.identifications())},
            "health": [store.coral_health_history(one) for one in sorted(records)],
            "draws": store.review_draws(),
            "chances": set(store.review_chances()),
            "outcomes": {one.outcome_id: one for one in store.review_outcomes()},
            "clocks": store.clock_offsets(),
            "second looks": sorted(second_looks(store), key=repr),
        }


def _bare(looks):
    return [replace(one, photo_regions=()) for one in looks]


def test_corals_and_clocks_come_back_from_a_package_and_an_archive(looked_at, tmp_path) -> None:
    package = tmp_path / "package.zip"
    run("archive", "package", looked_at, "-o", package)
    before = noted(looked_at)
    assert [len(before[k]) for k in ("corals", "clocks", "outcomes")] == [3, 1, 2]
    assert {one.unit for one in before["second looks"]} == {"u-1"}
    for name, packed in (
        ("of package", package),
        ("of archive", made_archive(looked_at, tmp_path, "none")),
        ("of originals", made_archive(looked_at, tmp_path, "originals")),
    ):
        back, _ = read_into(tmp_path, packed, name)
        assert noted(back) == before, name
        assert measured(back) == measured(looked_at)
        assert "0 things to look at" in run("check", back).replace("\n", " ")
    again = tmp_path / "again.zip"
    run("archive", "package", tmp_path / "of package", "-o", again)
    second, _ = read_into(tmp_path, again, "second")
    assert noted(second) == before


def test_a_clock_set_right_holds_for_photos_that_come_along(looked_at, tmp_path) -> None:
    back, _ = read_into(tmp_path, made_archive(looked_at, tmp_path, "originals"), "back")
    times = []
    for project in (looked_at, back):
        with wiring.survey_store(project, write=False) as store:
            times.append({p.photo_id: p.taken_corrected for p in store.photos()})
    assert times[1] == times[0]
    assert all(times[0].values())


def test_package_of_before_names_photos_otherwise_and_has_no_corals(looked_at, tmp_path) -> None:
    new, old = tmp_path / "new.zip", tmp_path / "old.zip"
    run("archive", "package", looked_at, "-o", new)
    with zipfile.ZipFile(new) as zipped, zipfile.ZipFile(old, "w") as out:
        for name in zipped.namelist():
            text = zipped.read(name).decode()
            if name == "datapackage.json":
                text = text.replace('"package": 5', '"package": 4')
            if any(
                f"/{word}" in name
                for word in ("coral", "review", "clocks", "photo_units", "unit_pl")
            ):
                continue
            if name == "data/colony_sightings.csv":
                text = text.replace("record_id,", "")
            out.writestr(name.replace("/photos", "/colony_photos"), text)
    back, _ = read_into(tmp_path, old, "back")
    with wiring.survey_store(back, write=False) as store:
        assert len(store.archived_photos()) == 4
        assert store.records() == ()


@pytest.mark.parametrize(
    ("file", "column", "value"),
    [
        ("clocks", "utc_offset", "five"),
        ("clocks", "offset_s", "1e13"),
        ("coral_looks", "role", "fourth"),
        ("coral_looks", "current_names", "[5]"),
        ("coral_sizes", "values", '{"length_mm":"x"}'),
        ("coral_sizes", "points_px", "[[1]]"),
        ("corals", "sizes_noted", '{"colony_diameter":{"value_mm":"wide"}}'),
        ("corals", "photo_id", "00"),
        ("review_outcomes", "third_id", "nobody"),
    ],
)
def test_a_coral_that_cannot_be_is_told_and_nothing_stored(
    looked_at, tmp_path, file, column, value
) -> None:
    good, bad = tmp_path / "good.zip", tmp_path / "bad.zip"
    run("archive", "package", looked_at, "-o", good)
    with zipfile.ZipFile(good) as zipped, zipfile.ZipFile(bad, "w") as out:
        for name in zipped.namelist():
            text = zipped.read(name).decode()
            if name == f"data/{file}.csv":
                head, row, *rest = csv.reader(io.StringIO(text))
                row[head.index(column)] = value
                csv.writer(told := io.StringIO()).writerows([head, row, *rest])
                text = told.getvalue()
            out.writestr(name, text)
    run("new", tmp_path / "back")
    said = run("records", "import", tmp_path / "back", bad, *WHO, "--save", "--json", code=3)
    told_of = json.loads(said.splitlines()[-1])
    assert told_of["n_stored"] == 0
    assert any(file in one["place"] for one in told_of["problems"])
    with wiring.survey_store(tmp_path / "back", write=False) as store:
        assert store.visits() == ()


def test_another_library_finds_a_package_with_corals_valid(looked_at, tmp_path) -> None:
    run("archive", "package", looked_at, "-o", tmp_path / "p.zip")
    with zipfile.ZipFile(tmp_path / "p.zip") as zipped:
        zipped.extractall(tmp_path / "p")
        tables = json.loads(zipped.read("datapackage.json"))["resources"]
    with system.use_context(trusted=True):
        report = Package(str(tmp_path / "p" / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note", "fieldName", "rowNumber"])
    said = {one["name"]: one["schema"]["fields"] for one in tables}
    for name in ("photos", "photo_units", "clocks", "corals", "coral_sizes", "coral_looks"):
        bare = [f["name"] for f in said[name] if "description" not in f]
        assert not set(bare) - {"observer", "rank", "region", "how", "note", "name"}, (name, bare)
    (offset,) = (one for one in said["clocks"] if one["name"] == "offset_s")
    assert offset["unit"] == "second"


def test_corals_of_a_site_whose_name_is_withheld_leave_under_other_ids(looked_at, tmp_path) -> None:
    trip = Path(shutil.copytree(looked_at, tmp_path / "trip"))
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1)
    run("sites", "set", trip, "Lantern Steps", *spot, *WHO)
    with wiring.survey_store(trip, write=False) as store:
        hashes = [one.record_id for one in store.records()]
        hashes += [one.identification_id for one in store.identifications()]
        hashes += [one.draw_id for one in store.review_draws()]
        hashes += [one.outcome_id for one in store.review_outcomes()]
    run("archive", "package", trip, "-o", tmp_path / "p.zip")
    with zipfile.ZipFile(tmp_path / "p.zip") as zipped:
        for name in zipped.namelist():
            text = zipped.read(name).decode()
            told = [one for one in (*hashes, "Lantern") if one in text]
            assert not told, (name, told)
    back, _ = read_into(tmp_path, tmp_path / "p.zip", "back")
    assert len(noted(back)["second looks"]) == len(noted(looked_at)["second looks"]) > 0


@pytest.mark.parametrize("which", ["slate", "clock"])
def test_a_slate_or_clock_of_a_sensitive_site_does_not_leave(which, named, tmp_path) -> None:
    trip = Path(shutil.copytree(named, tmp_path / "trip"))
    with wiring.survey_store(trip, write=True, who="Ines Varro") as store:
        photo = store.photos()[0]
        if which == "slate":
            unit = Unit(unit_id="u-1", visit_id=photo.visit_id, observer="Mara")
            store.save_unit(unit)
            store.save_unit_photo(UnitPhoto(photo_id=photo.photo_id, unit_id="u-1", how="slate"))
        else:
            clock = ClockOffset(visit_id=photo.visit_id, camera="c", offset_s=60.0)
            store.save_clock_offset(replace(clock, photo_id=photo.photo_id))
    open_to_all = made_archive(trip, tmp_path, "originals")
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1)
    run("sites", "set", trip, "Lantern Steps", *spot, *WHO)
    words = ("--photos", "originals", "--texts", "withhold")
    run("archive", "make", trip, "-o", tmp_path / "sensitive.zip", *words, code=None)
    for path, there in ((open_to_all, True), (tmp_path / "sensitive.zip", False)):
        with zipfile.ZipFile(path) as zipped:
            media = [name for name in zipped.namelist() if name.startswith("media/")]
        assert any(photo.photo_id[:32] in name for name in media) is there
        assert len(media) == 3 + there


def test_a_file_named_by_a_part_of_a_withheld_name_is_told(named, tmp_path) -> None:
    trip = Path(shutil.copytree(named, tmp_path / "trip"))
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1)
    run("sites", "set", trip, "Lantern Steps", *spot, *WHO)
    with wiring.survey_store(trip, write=True, who="Ines Varro") as store:
        photo = store.photos()[0]
        (file, *more) = photo.files
        store.save_photo(
            replace(photo, files=(replace(file, original_name="LANTERN_1.JPG"), *more))
        )
    for command in ("make", "package"):
        out = tmp_path / f"{command}.zip"
        with pytest.raises(InputError, match="part of the name of a sensitive site"):
            run("archive", command, trip, "-o", out)
        run("archive", command, trip, "-o", out, "--texts", "withhold", code=None)
        with zipfile.ZipFile(out) as zipped:
            assert not any(b"LANTERN" in zipped.read(name) for name in zipped.namelist())
    run("sites", "set", trip, "Lantern Steps", *spot, "--publish-as", "the Lantern coast", *WHO)
    run("archive", "make", trip, "-o", tmp_path / "public.zip", code=None)


def test_where_units_lie_comes_back_but_for_sensitive_sites(looked_at, tmp_path) -> None:
    trip = Path(shutil.copytree(looked_at, tmp_path / "trip"))
    place = UnitPlace(
        unit_id="u-1", latitude_deg=-13.41234, longitude_deg=71.24321, precision_deg=1e-5,
        observer="Mara", stated_at="2026-03-14T19:00:00Z",
    )  # fmt: skip
    with wiring.survey_store(trip, write=True, who="Ines Varro") as store:
        store.save_unit_place(place)
    run("archive", "package", trip, "-o", tmp_path / "p.zip")
    back, _ = read_into(tmp_path, tmp_path / "p.zip", "back")
    with wiring.survey_store(back, write=False) as store:
        assert store.unit_places() == (place,)
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1)
    run("sites", "set", trip, "Lantern Steps", *spot, *WHO)
    run("archive", "package", trip, "-o", tmp_path / "s.zip")
    with zipfile.ZipFile(tmp_path / "s.zip") as zipped:
        assert not any(b"71.243" in zipped.read(name) for name in zipped.namelist())
