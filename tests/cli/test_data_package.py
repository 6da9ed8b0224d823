"""Data packages: another library validates them, and reading one back gives the same figures."""

from __future__ import annotations

import csv
import io
import json
import runpy
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from frictionless import Package, system
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.colony_due import onset_at, state_onset
from dryslate.app.project_records import Site, Zone
from dryslate.app.survey_records import NotedRow
from dryslate.app.survey_results import survey_results
from dryslate.app.unit_records import SetAside
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app
from dryslate.core.survey.designs import SurveyRow, UnitDesign

pytestmark = pytest.mark.usefixtures("tables_read_once")
NOW = "2026-03-14T19:00:00Z"
WHO = ("--observer", "Ines Varro")
SHARES = "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct"
BELTS = (
    "site,date,unit,zone,depth_m,depth_m_u,unit_kind,design,length_m,width_m,edge_rule,searched,"
)
BELTS += f"kind,category,name,n,longest_cm,{SHARES},note\n"
BELT = "Quiet Ledge,2024-05-19,{},{},4.5,0.5,transect,belt,10,1,centre_inside,Acropora; Porites,"
for _unit, _zone in (("T1", "crest"), ("T2", "crest"), ("T3", "slope"), ("T4", "slope")):
    _head = BELT.format(_unit, _zone)
    BELTS += f'{_head}colony,hard coral,Favites,,12.5,70,0,30,0,0,"a, ""b"""\n'
    BELTS += f"{_head}count,hard coral,cf. Porites,{_unit[1]},,,,,,,0.1\n"
    BELTS += f"{_head}none_seen,hard coral,Acropora,,,,,,,,\n"
TAPES = "site,date,unit,design,length_m,kind,category,from_m,to_m,unreadable\n"
for _k, _end in enumerate((4, 3.3, 2.1)):
    _tape = f"Long Spur,2024-05-20,L{_k},line_intercept,10,intercept,"
    TAPES += f"{_tape}hard coral,0,{_end},\n{_tape}sand,{_end},9,\n{_tape},9,10,shadow\n"


def run(*words: object, code: int | None = None):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done


def results_of(folder: Path):
    with wiring.survey_store(folder, write=False) as store:
        return survey_results(store, wiring.result_settings())


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "trip"
    run("new", folder, code=0)
    run("region", folder, "indo_pacific", *WHO, code=0)
    for name, text in (("belts.csv", BELTS), ("tapes.csv", TAPES)):
        path = folder.parent / name
        path.write_text(text, "utf-8")
        run("records", "import", folder, path, *WHO, "--save")
    spot = ("--position", "8°21.0'S 115°30.6'E", "--uncertainty-m", 200, "--coarsen-to", 0.1)
    spot += ("--locality", "by the jetty", "--water-body", "Wide Sea")
    run("sites", "set", folder, "Quiet Ledge", *WHO, *spot, code=0)
    stated = ("--tide", "rising", "--visibility-m", 12, "--water-c", 28.4, "--sea", "calm")
    run("conditions", folder, "Quiet Ledge", "2024-05-19", *WHO, *stated, code=0)
    facts = ("--title", "Two reefs", "--licence", "CC-BY-4.0")
    _tagged(folder)
    run("describe", folder, *WHO, *facts, "--person", "Ines Varro", "contact", code=0)
    _points(folder)
    return folder


def made_rows() -> SimpleNamespace:
    path = Path(__file__).resolve().parents[1] / "stores" / "made_rows.py"
    return SimpleNamespace(**runpy.run_path(str(path)))


def _tagged(folder: Path) -> None:
    """At the sensitive site: notes of site and zone, a tagged colony, an onset of stress."""
    rows, here = made_rows(), {"visit_id": "Quiet Ledge 2024-05-19"}
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        store.save_site(Site(site="Quiet Ledge", note="behind the lighthouse"))
        store.save_zone(Zone(site="Quiet Ledge", zone="crest", note="behind the lighthouse"))
        colony = rows.colony(
            site="Quiet Ledge", first_visit_id=here["visit_id"], sketch_sha256=None,
            place="12 m past the big bommie",
        )  # fmt: skip
        store.save_colony(colony)
        here["organism_id"] = colony.organism_id
        store.save_colony_sighting(rows.sighting(**here, record_id=None))
        store.save_colony_fractions(rows.fractions(**here))
        store.replace_zone_weights(
            "Quiet Ledge",
            [rows.zone_weight(zone, site="Quiet Ledge") for zone in ("crest", "slope")],
        )
        state_onset(store, ("Quiet Ledge", colony), ("2024-05-01", "a logger"), ("Mara", NOW))


def _points(folder: Path) -> None:
    """Add units with points on photos, one of them set aside."""
    rows = made_rows()
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        store.save_visit(rows.visit())
        for letter in "abc":
            store.save_original(rows.original(letter))
            store.save_photo(rows.photo(letter, f"IMG_{letter}.JPG"))
        store.save_set_aside(
            SetAside(
                photo_id=rows.sha("c"),
                reason="blurred",
                observer="Mara",
                set_at="2026-03-14T19:00:00Z",
            )
        )
        for name, photos in (("P1", "ac"), ("P2", "b")):
            unit = rows.unit(name, kind="photo_station", zone=None)
            store.save_unit(unit)
            design = UnitDesign(design="photo_points", n_points=4, point_rule="random", seed=7)
            store.save_unit_design(rows.design(unit_id=unit.unit_id, design=design))
            store.save_survey_rows(
                NotedRow(
                    unit_id=unit.unit_id,
                    row=SurveyRow(kind="point", category=category, photo_id=rows.sha(photo),
                                  x_px=0.1 + 10 * k, y_px=1 / 3),
                    observer="Mara",
                    noted_at="2026-03-14T19:00:00Z",
                )
                for photo in photos
                for k, category in enumerate(("sand", "hard coral", "hard coral", "turf"))
            )  # fmt: skip


@pytest.fixture(scope="module")
def made(project: Path) -> Path:
    path = project.parent / "package.zip"
    told = json.loads(run("archive", "package", project, "-o", path, "--json").stdout)
    assert told["n_left_out"] == 4
    assert told["n_rows"]["survey_rows"] == 12 + 9 + 8
    return path


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    run("new", tmp_path / "empty", code=0)
    return tmp_path / "empty"


def test_figures_are_the_same_after_reading_it_back(project, made, empty, tmp_path) -> None:
    done = run("records", "import", empty, made, *WHO, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 29, done.output
    before, after = results_of(project), results_of(empty)
    assert len(before) > 20
    assert openly(after) == openly(before)
    assert quietly(after) == quietly(before)
    again = tmp_path / "again.zip"
    run("archive", "package", empty, "-o", again, "--json")
    assert [row for row in table(again, "units") if "withheld" not in row["visit_id"]] == [
        row for row in table(made, "units") if "withheld" not in row["visit_id"]
    ]
    assert table(again, "visit_conditions") == table(made, "visit_conditions")


HIDDEN = ("Quiet Ledge", "name withheld")


def openly(rows):
    """Return the figures of the sites whose names are not withheld, whole."""
    return [row for row in rows if row.site not in HIDDEN]


def quietly(rows):
    """Return the figures of the site whose name is withheld, without it and the ids made of it."""
    found = [replace(row, site="", unit_ids=()) for row in rows if row.site in HIDDEN]
    assert len(found) > 10
    return sorted(map(repr, found))


SECRETS = ("Quiet Ledge", "by the jetty", "115.51", "°30.6", "behind the lighthouse", "big bommie")


def test_no_byte_holds_what_a_sensitive_site_withholds(project, made, tmp_path) -> None:
    with wiring.survey_store(project, write=False) as store:
        units = [one.unit_id for one in store.units("Quiet Ledge 2024-05-19")]
        (onset,) = store.stress_onsets()
        (colony,) = store.colonies()
    ids = [*units, onset_at("Quiet Ledge", colony, "2024-05-01")]
    assert len(units) == 4
    assert onset.onset_id in ids
    with zipfile.ZipFile(made) as zipped:
        for name in zipped.namelist():
            held = name.encode() + zipped.read(name)
            for secret in (*SECRETS, *ids):
                assert secret.encode() not in held, (name, secret)
    archive = tmp_path / "archive.zip"
    run("archive", project, "-o", archive)
    with zipfile.ZipFile(archive) as zipped:
        events = list(
            csv.DictReader(io.StringIO(zipped.read("event.txt").decode()), delimiter="\t")
        )
    words = {(e["verbatimLocality"], e["locality"]) for e in events}
    (place,) = table(made, "site_places")
    assert (place["site"], place["locality"]) in words
    assert (place["site"], place["locality"]) == ("name withheld", "Wide Sea")
    for name in (
        "sites",
        "zones",
        "zone_weights",
        "visits",
        "colonies",
        "stress_onsets",
        "results",
    ):
        assert "name withheld" in {row["site"] for row in table(made, name)}, name
    for name in ("visit_conditions", "units", "colony_sightings", "colony_fractions"):
        found = {row["visit_id"] for row in table(made, name)}
        assert "name withheld 2024-05-19" in found, name


def test_stated_words_are_published_and_said(project, tmp_path) -> None:
    shutil.copytree(project, tmp_path / "trip")
    stated = ("--publish-as", "the outer reefs")
    run("sites", "set", tmp_path / "trip", "Quiet Ledge", *WHO, *stated, code=0)
    out = tmp_path / "package.zip"
    told = json.loads(
        run("archive", "package", tmp_path / "trip", "-o", out, "--json", code=0).stdout
    )
    assert [(p["slug"], p["place"]) for p in told["problems"]] == [
        ("archive-sensitive-words", "Quiet Ledge")
    ]
    (place,) = table(out, "site_places")
    assert (place["site"], place["locality"]) == ("the outer reefs", "the outer reefs")
    with zipfile.ZipFile(out) as zipped:
        assert not any(b"Quiet Ledge" in zipped.read(name) for name in zipped.namelist())
    run("new", tmp_path / "empty", code=0)
    run("records", "import", tmp_path / "empty", out, *WHO, "--save")
    found = {row.site for row in results_of(tmp_path / "empty")}
    assert found == {
        "the outer reefs" if row.site == "Quiet Ledge" else row.site for row in results_of(project)
    }


def test_conditions_of_visits_come_back(project, made, empty) -> None:
    (row,) = table(made, "visit_conditions")
    assert (row["tide"], row["visibility_m"], row["water_c"]) == ("rising", "12.0", "28.4")
    run("records", "import", empty, made, *WHO, "--save")
    with wiring.survey_store(empty, write=False) as store:
        (found,) = store.visit_conditions()
    with wiring.survey_store(project, write=False) as store:
        (stated,) = store.visit_conditions()
    assert found == replace(stated, visit_id="name withheld 2024-05-19")


def test_older_package_without_conditions_is_read(made, empty, tmp_path) -> None:
    bare, old = tmp_path / "bare.zip", tmp_path / "old.zip"
    changed(made, bare, "data/visit_conditions.csv", "visit_id", None)
    done = run("records", "import", empty, bare, *WHO, "--json", code=3)
    assert "package-file-missing" in done.stdout
    changed(bare, old, "datapackage.json", '"package": 5', '"package": 1')
    done = run("records", "import", empty, old, *WHO, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 29, done.output


def table(path: Path, name: str) -> list[dict[str, str]]:
    with zipfile.ZipFile(path) as zipped:
        text = zipped.read(f"data/{name}.csv").decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_another_library_finds_it_valid(made, tmp_path) -> None:
    with zipfile.ZipFile(made) as zipped:
        zipped.extractall(tmp_path)
    with system.use_context(trusted=True):
        report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note", "fieldName", "rowNumber"])
    assert len(report.tasks) == len(json.loads((tmp_path / "datapackage.json").read_text())
                                    ["resources"])  # fmt: skip


def test_descriptor_says_units_keys_and_licence(made) -> None:
    with zipfile.ZipFile(made) as zipped:
        said = json.loads(zipped.read("datapackage.json"))
    by_name = {one["name"]: one["schema"] for one in said["resources"]}
    fields = {one["name"]: one for one in by_name["survey_rows"]["fields"]}
    assert fields["longest_cm"]["unit"] == "centimetre"
    assert fields["longest_cm"]["type"] == "number"
    assert fields["current_names"]["type"] == "array"
    assert by_name["survey_rows"]["primaryKey"] == ["row_no"]
    assert said["licenses"][0]["name"] == "CC-BY-4.0"
    assert said["contributors"][0]["title"] == "Ines Varro"


def test_position_of_a_sensitive_site_is_coarsened(made) -> None:
    (place,) = table(made, "site_places")
    assert float(place["latitude_deg"]) == pytest.approx(-8.35)
    assert float(place["longitude_deg"]) == pytest.approx(115.55)
    assert place["position_text"] == ""
    with zipfile.ZipFile(made) as zipped:
        for name in zipped.namelist():
            assert b"115.51" not in zipped.read(name)


def test_same_records_give_the_same_bytes(project, made, tmp_path) -> None:
    run("archive", "package", project, "-o", tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == made.read_bytes()


def test_nothing_is_stored_without_save_nor_beside_other_records(project, made, empty) -> None:
    run("records", "import", empty, made, *WHO)
    assert results_of(empty) == ()
    with pytest.raises(InputError, match="package-project-not-empty"):
        run("records", "import", project, made, *WHO, "--save")


def changed(made: Path, out: Path, file: str, old: str, new: str | None) -> Path:
    """Copy a package with one text changed, or one file taken out."""
    with zipfile.ZipFile(made) as zipped, zipfile.ZipFile(out, "w") as copy:
        for name in zipped.namelist():
            text = zipped.read(name).decode("utf-8")
            if name == file:
                assert old in text
                if new is None:
                    continue
                text = text.replace(old, new, 1)
            copy.writestr(name, text)
    return out


@pytest.mark.parametrize(
    ("file", "old", "new", "slug", "place"),
    [
        ("data/survey_rows.csv", "12.5", "12,5x", "package-cell", "row 2"),
        ("data/survey_rows.csv", "12.5", "nan", "package-cell", "row 2"),
        ("data/survey_rows.csv", "colony", "fish", "package-cell", "column kind"),
        ("data/units.csv", "unit_id", "id", "package-column-missing", "units"),
        ("data/zones.csv", "site", None, "package-file-missing", "zones"),
        ("data/visits.csv", "Long Spur 2024", "Long Spur 2025", "package-link", "units"),
        ("data/sites.csv", "Long Spur", "name withheld", "package-row-twice", "sites"),
        ("data/visit_conditions.csv", "28.4", "284", "package-cell", "column water_c"),
    ],
)
def test_each_fault_is_named_and_nothing_stored(  # noqa: PLR0917
    made, empty, tmp_path, file, old, new, slug, place
) -> None:
    bad = changed(made, tmp_path / "bad.zip", file, old, new)
    done = run("records", "import", empty, bad, *WHO, "--save", "--json", code=3)
    told = json.loads(done.stdout)
    assert told["n_stored"] == 0
    assert any(p["slug"] == slug and place in p["place"] for p in told["problems"])
    assert results_of(empty) == ()


def test_file_that_is_no_text_is_told(made, empty, tmp_path) -> None:
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(made) as zipped, zipfile.ZipFile(bad, "w") as copy:
        for name in zipped.namelist():
            data = zipped.read(name)
            copy.writestr(name, data.decode().encode("utf-16") if name.endswith("es.csv") else data)
    done = run("records", "import", empty, bad, *WHO, "--save", "--json", code=3)
    assert "package-file-broken" in [p["slug"] for p in json.loads(done.stdout)["problems"]]


@pytest.mark.parametrize(
    ("old", "new", "slug"),
    [
        ('"dryslate": {', '"other": {', "package-not-ours"),
        ('"package": 5', '"package": 99', "package-newer"),
    ],
)
def test_package_of_others_or_of_later_is_refused(made, empty, tmp_path, old, new, slug) -> None:
    bad = changed(made, tmp_path / "bad.zip", "datapackage.json", old, new)
    with pytest.raises(InputError, match=slug):
        run("records", "import", empty, bad, *WHO)
