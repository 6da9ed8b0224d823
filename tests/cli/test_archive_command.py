"""``dryslate archive``: what was noted becomes an archive that another reader opens."""

from __future__ import annotations

import csv
import io
import json
import re
import uuid
import zipfile
from pathlib import Path

import pytest
from dwca.read import DwCAReader
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.archive_ids import Identifiers
from dryslate.cli.main import build_app
from dryslate.files.zip_writer import zip_maker
from dryslate.formats.darwin_core import DWC

pytestmark = pytest.mark.usefixtures("tables_read_once")
WHO = ("--observer", "Ines Varro")
HEADS = "site,date,unit,zone,depth_m,unit_kind,design,length_m,width_m,edge_rule,searched,"
BELT = "Quiet Ledge,2024-05-19,{},crest,4.5,transect,belt,10,1,centre_inside,{},"
BELTS = HEADS + "kind,category,name,n,longest_cm,normal_pct,pale_pct,bleached_pct,"
BELTS += "recently_dead_pct,old_dead_pct,note\n"
BELTS += BELT.format("T1", "Acropora; Porites") + "colony,hard coral,Favites,,12.5,70,0,30,0,0,x\n"
BELTS += BELT.format("T1", "Acropora; Porites") + 'count,hard coral,cf. Porites,3,,,,,,,"a\tb"\n'
BELTS += BELT.format("T1", "Acropora; Porites") + "colony,hard coral,Favia,,,,,,,,\n"
BELTS += BELT.format("T2", "") + "none_seen,hard coral,Acropora,,,,,,,,\n"
BELTS += BELT.format("T2", "") + "count,soft coral,,7,,,,,,,\n"
BELTS += BELT.format("T2", "") + "count,hard coral,Porites,0,,,,,,,\n"
TAPES = "site,date,unit,design,length_m,kind,category,from_m,to_m,unreadable\n"
TAPE = "Long Spur,2024-05-20,L1,line_intercept,10,intercept,"
TAPES += f"{TAPE}hard coral,0,4,\n{TAPE}sand,4,9,\n{TAPE},9,10,shadow\n"


def run(*words: object, code: int | None = None):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sites, one of them sensitive; belts and a tape."""
    folder = tmp_path_factory.mktemp("made") / "trip"
    run("new", folder, code=0)
    run("region", folder, "indo_pacific", *WHO, code=0)
    for name, text in (("belts.csv", BELTS), ("tapes.csv", TAPES)):
        path = folder.parent / name
        path.write_text(text, "utf-8")
        run("records", "import", folder, path, *WHO, "--save")
    site = ("sites", "set", folder)
    spot = ("--position", "8°21.0'S 115°30.6'E", "--uncertainty-m", 200)
    run(*site, "Quiet Ledge", *WHO, *spot, "--coarsen-to", 0.1, "--country-code", "ID", code=0)
    run(*site, "Long Spur", *WHO, "--position", "-8.4, 115.6", "--country-code", "ID", code=0)
    names = folder.parent / "names.csv"
    rows = "name,scientific_name,name_id,rank\nFavites,Favites,urn:x:1,genus\n"
    names.write_text(rows + "hard coral,Scleractinia,urn:x:2,order\n", "utf-8")
    facts = ("--title", "Two reefs & more", "--licence", "CC-BY-4.0", "--rights-holder", "The team")
    run("describe", folder, *WHO, *facts, "--names", names, code=0)
    for role in ("creator", "contact"):
        run("describe", folder, *WHO, "--person", "Ines Varro", role, code=0)
    return folder


@pytest.fixture(scope="module")
def made(project: Path) -> tuple[Path, dict]:
    """The archive, and what was said of it."""
    path = project.parent / "made.zip"
    return path, json.loads(run("archive", project, "-o", path, "--json").stdout)


def table(path: Path, name: str) -> list[dict[str, str]]:
    with zipfile.ZipFile(path) as zipped:
        text = zipped.read(f"{name}.txt").decode("utf-8")
    return list(csv.DictReader(io.StringIO(text), delimiter="\t", quoting=csv.QUOTE_NONE))


def test_events_nest_and_say_how_much_was_sampled(made) -> None:
    events = {row["fieldNumber"] or row["verbatimLocality"]: row for row in table(made[0], "event")}
    assert set(events) == {"name withheld", "Long Spur", "T1", "T2", "L1"}
    assert events["T1"]["parentEventID"] == events["name withheld"]["eventID"]
    assert events["name withheld"]["parentEventID"] == ""
    belt, tape = events["T1"], events["L1"]
    assert (belt["sampleSizeValue"], belt["sampleSizeUnit"]) == ("10", "square metres")
    assert (tape["sampleSizeValue"], tape["sampleSizeUnit"]) == ("10", "metres")
    assert (belt["eventType"], belt["eventDate"]) == ("transect", "2024-05-19")
    assert (belt["minimumDepthInMeters"], belt["habitat"]) == ("4.5", "crest")
    assert belt["license"] == "https://creativecommons.org/licenses/by/4.0/legalcode"
    assert (events["name withheld"]["sampleSizeValue"], belt["datasetName"]) == (
        "2",
        "Two reefs & more",
    )


def test_sensitive_site_is_coarsened_everywhere_and_the_other_not(made) -> None:
    for row in table(made[0], "event"):
        if row["verbatimLocality"] == "name withheld":
            assert row["locality"] == "not stated: sensitive site"
            assert (row["decimalLatitude"], row["decimalLongitude"]) == ("-8.350", "115.550")
            assert float(row["coordinateUncertaintyInMeters"]) > 7800 + 200
            assert "0.1 degree grid" in row["dataGeneralizations"]
            assert "withheld" in row["informationWithheld"]
        else:
            assert (row["decimalLatitude"], row["decimalLongitude"]) == ("-8.40", "115.60")
            assert row["dataGeneralizations"] == row["informationWithheld"] == ""
    with zipfile.ZipFile(made[0]) as zipped:
        for name in zipped.namelist():
            assert b"115.51" not in zipped.read(name), name
            assert "Quiet Ledge" not in zipped.read(name).decode(), name
            assert b"30.6" not in zipped.read(name), name
    assert made[1]["sensitive"] == ["Quiet Ledge"]
    assert [p["slug"] for p in made[1]["problems"]] == ["archive-sensitive-words"]


def test_names_as_written_beside_the_lowest_certain_rank(made) -> None:
    rows = {r["verbatimIdentification"]: r for r in table(made[0], "occurrence")}
    favites, porites, favia = rows["Favites"], rows["cf. Porites"], rows["Favia"]
    assert (favites["scientificName"], favites["scientificNameID"]) == ("Favites", "urn:x:1")
    assert (porites["scientificName"], porites["identificationQualifier"]) == ("Porites", "cf.")
    assert porites["individualCount"] == "3"
    assert favia["taxonRank"] == "family"
    assert favia["scientificName"] == "Merulinidae"
    assert rows["soft coral"]["scientificName"] == "Octocorallia"
    assert "Porites" in made[1]["names_without_id"]
    assert porites["occurrenceRemarks"].startswith("a b")


def test_absence_only_of_names_declared_searched_for(made) -> None:
    rows = table(made[0], "occurrence")
    absent = [r for r in rows if r["occurrenceStatus"] == "absent"]
    assert [r["scientificName"] for r in absent] == ["Acropora"]
    assert absent[0]["individualCount"] == "0"
    assert made[1]["n_absent"] == 1
    assert made[1]["left_out"] == {"absences of names not declared searched for": 1}
    assert all(r["occurrenceStatus"] in ("present", "absent") for r in rows)


def test_measurements_of_colonies_and_what_no_living_thing_lies_on(made) -> None:
    rows = table(made[0], "extendedmeasurementorfact")
    said = {(r["measurementType"], r["measurementValue"], r["measurementUnit"]) for r in rows}
    assert ("longest diameter", "12.5", "centimetres") in said
    assert ("share of surface that is bleached", "30", "per cent") in said
    assert ("metres of tape on sand", "5", "metres of tape") in said
    assert ("not readable: metres of tape", "1", "metres of tape") in said
    assert ("count of Porites", "0", "colonies") in said
    (tape,) = [r for r in table(made[0], "occurrence") if r["organismQuantity"]]
    assert (tape["organismQuantity"], tape["organismQuantityType"]) == ("4", "metres of tape")


def test_another_reader_opens_it_and_its_links_hold(made) -> None:
    with DwCAReader(made[0]) as reader:
        assert reader.core_contains_term(f"{DWC}eventID")
        rows = list(reader.rows)
        assert len(rows) == 5
        seen = {row.id: [e.rowtype.rpartition("/")[2] for e in row.extensions] for row in rows}
        assert sum(kinds.count("Occurrence") for kinds in seen.values()) == 6
        title = reader.metadata.find("dataset/title").text
        assert title == "Two reefs & more"


def test_our_own_check_finds_nothing_that_stands_against_it(made) -> None:
    found = json.loads(run("archive", "check", made[0], "--json").stdout)
    assert found["is_sound"]
    assert [p for p in found["problems"] if p["severity"] == "error"] == []
    assert "Fit to publish" in run("archive", "check", made[0]).stdout
    assert found["has_licence"]


def test_check_names_what_is_empty_and_a_licence_that_is_missing(made, tmp_path) -> None:
    bare = tmp_path / "bare.zip"
    with zipfile.ZipFile(made[0]) as old, zipfile.ZipFile(bare, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "eml.xml":
                data = re.sub(rb"<(intellectualRights|licensed)>.*?</\1>", b"", data, flags=re.S)
            new.writestr(name, data)
    said = run("archive", "check", bare).stdout
    assert "Fit to publish" not in said
    assert "no licence is stated" in said
    empty = json.loads(run("archive", "check", bare, "--json").stdout)["empty"]
    n = sum(not row["measurementTypeID"] for row in table(bare, "extendedmeasurementorfact"))
    told = {(one["file"], one["term"]): one["n"] for one in empty}
    assert told["extendedmeasurementorfact.txt", "measurementTypeID"] == n > 0


def test_same_records_give_the_same_bytes_and_identifiers(project, made) -> None:
    again = project.parent / "again.zip"
    run("archive", project, "--out", again)
    assert again.read_bytes() == made[0].read_bytes()


def test_identifiers_are_uuids_of_version_five() -> None:
    space = "1f0f7a9e-7a65-4a8e-9a39-5d2b3d1c9a10"
    wanted = uuid.uuid5(uuid.UUID(space), "row\t17").urn
    assert Identifiers(space).of("row", 17) == wanted


def test_missing_terms_are_named(made) -> None:
    missing = {(m["table"], m["term"]): m for m in made[1]["missing"]}
    assert missing["ExtendedMeasurementOrFact", "measurementTypeID"]["level"] != "useful"
    assert missing["Event", "minimumDepthInMeters"]["n_empty"] == 3
    assert ("Event", "decimalLatitude") not in missing


def test_bare_project_is_told_what_it_has_not_said(tmp_path: Path) -> None:
    run("new", tmp_path / "bare")
    with wiring.survey_store(tmp_path / "bare", write=True, who="Ines Varro") as store:
        from dryslate.app.visits import require_visit

        store.save_visit(require_visit(store, "Quiet Ledge", "2024-05-19", "Ines Varro"))
    done = run("archive", tmp_path / "bare", "-o", tmp_path / "a.zip", "--json", code=3)
    slugs = {p["slug"] for p in json.loads(done.stdout)["problems"]}
    assert slugs == {"archive-fact-missing", "archive-site-without-position"}
    shown = run("archive", tmp_path / "bare", "-o", tmp_path / "a.zip")
    assert "decimalLatitude is empty in 1 of 1 rows" in shown.stdout


def test_copies_that_are_not_known_are_refused(project, tmp_path: Path) -> None:
    from dryslate.base.errors import InputError

    with pytest.raises(InputError, match="archive-photos"):
        run("archive", project, "-o", tmp_path / "a.zip", "--photos", "all")


def test_zip_that_fails_half_way_is_not_there(tmp_path: Path) -> None:
    def fail() -> None:
        with zip_maker(tmp_path / "a.zip") as box:
            box.table("event.txt").write("x")
            raise ValueError("half way")

    with pytest.raises(ValueError, match="half way"):
        fail()
    assert list(tmp_path.iterdir()) == []
