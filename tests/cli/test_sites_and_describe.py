"""``dryslate sites`` and ``describe``: positions as typed, and every slip asked about."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.visits import require_visit
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")
GPX = Path(__file__).resolve().parents[1] / "published" / "checks" / "std_gpx_example.gpx"


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def slug_of(*words: object) -> str:
    with pytest.raises(InputError) as error:
        run(*words)
    return error.value.slug


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "trip"
    assert run("new", folder).exit_code == 0
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        for site in ("Reef A start", "Quiet Ledge", "Long Spur"):
            store.save_visit(require_visit(store, site, "2024-05-19", "Ines Varro"))
    return folder


@pytest.fixture
def project(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "trip"))


def place_of(project: Path, site: str):
    with wiring.survey_store(project, write=False) as store:
        return {one.site: one for one in store.site_places()}[site]


def set_site(project: Path, position: str, *more: object, site: str = "Quiet Ledge"):
    return ("sites", "set", project, site, *WHO, "--position", position, *more)


def test_degrees_and_minutes_are_kept_as_typed_with_their_precision(project) -> None:
    run(*set_site(project, "8°21.0'S 115°30.6'E", "--uncertainty-m", 200, "--country-code", "id"))
    place = place_of(project, "Quiet Ledge")
    assert (place.latitude_deg, place.longitude_deg) == (-8.35, 115.51)
    assert place.position_text == "8°21.0'S 115°30.6'E"
    assert place.precision_deg == pytest.approx(0.1 / 60)
    assert (place.uncertainty_m, place.grid_deg, place.country_code) == (200, None, "ID")
    run("sites", "set", project, "Quiet Ledge", *WHO, "--coarsen-to", "0.1", "--locality", "bay")
    later = place_of(project, "Quiet Ledge")
    assert (later.latitude_deg, later.grid_deg, later.locality) == (-8.35, 0.1, "bay")
    run("sites", "set", project, "Quiet Ledge", *WHO, "--coarsen-to", "0", "--position", "")
    assert place_of(project, "Quiet Ledge").grid_deg is None
    assert place_of(project, "Quiet Ledge").latitude_deg is None


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("115.51, -8.35", "position-swapped"),
        ("8.35, 215", "position-out-of-range"),
        ("8°75'S 115°E", "position-unreadable"),
        ("-8.35 S 115 E", "position-unreadable"),
        ("somewhere", "position-unreadable"),
        ("8.35 S 9.1 N", "position-unreadable"),
        ("0, 0", "position-zero"),
    ],
)
def test_what_is_no_position_is_refused(project, text: str, slug: str) -> None:
    assert slug_of(*set_site(project, text)) == slug


def test_swapped_and_far_are_asked_about_where_others_lie_elsewhere(project) -> None:
    run(*set_site(project, "12.10, -68.29"))
    swapped = set_site(project, "-68.31, 12.15", site="Long Spur")
    assert slug_of(*swapped) == "position-swapped"
    far = set_site(project, "12.10, 68.29", site="Long Spur")
    assert slug_of(*far) == "position-far"
    run(*far, "--sure")
    assert place_of(project, "Long Spur").longitude_deg == 68.29


@pytest.mark.parametrize(
    ("more", "slug"),
    [
        (("--uncertainty-m", "0"), "place-uncertainty"),
        (("--coarsen-to", "30"), "place-grid"),
        (("--country-code", "Indonesia"), "place-country-code"),
    ],
)
def test_words_that_cannot_be_are_refused(project, more, slug: str) -> None:
    assert slug_of("sites", "set", project, "Quiet Ledge", *WHO, *more) == slug


def test_unit_has_a_position_of_its_own(project) -> None:
    visit = ("--visit", "Quiet Ledge", "2024-05-19")
    run("units", "new", project, "T1", *visit, *WHO)
    unit = ("sites", "set", project, "Quiet Ledge", *WHO, "--unit", "2024-05-19", "T1")
    assert slug_of(*unit, "--uncertainty-m", "3") == "position-missing"
    run(*set_site(project, "-8.35, 115.51"))
    assert slug_of(*unit, "--position", "-9.35, 115.51") == "position-far"
    run(*unit, "--position", "-8.3502, 115.5104", "--uncertainty-m", "5")
    with wiring.survey_store(project, write=False) as store:
        (place,) = store.unit_places()
    assert (place.latitude_deg, place.longitude_deg, place.uncertainty_m) == (-8.3502, 115.5104, 5)
    listed = json.loads(run("sites", "list", project, "--json").stdout)["sites"]
    assert [one["site"] for one in listed] == ["Long Spur", "Quiet Ledge", "Reef A start"]
    assert "not stated" in run("sites", "list", project).stdout


def test_unknown_site_is_named(project) -> None:
    assert slug_of(*set_site(project, "1, 2", site="Nowhere")) == "site-unknown"


def test_waypoints_become_positions_only_when_saved(project) -> None:
    done = run("sites", "gpx", project, GPX, *WHO, "--json")
    told = json.loads(done.stdout)
    assert told["sites"] == {"Reef A start": "-8.350000, 115.510000"}
    assert told["n_stored"] == 0
    run("sites", "gpx", project, GPX, *WHO, "--save", "--as", "Reef A start=Long Spur")
    assert place_of(project, "Long Spur").precision_deg == 1e-6


def test_site_of_a_waypoint_that_lies_far_is_named_and_none_is_stored(project) -> None:
    run(*set_site(project, "12.10, -68.29"))
    with pytest.raises(InputError, match="position-far") as error:
        run("sites", "gpx", project, GPX, *WHO, "--save", "--as", "Reef A start=Long Spur")
    assert error.value.message.startswith("Long Spur: '-8.350000, 115.510000' lies ")
    with wiring.survey_store(project, write=False) as store:
        assert [place.site for place in store.site_places()] == ["Quiet Ledge"]


def test_waypoints_that_fit_nothing_are_told(project, tmp_path: Path) -> None:
    text = GPX.read_text("utf-8")
    again = '<wpt lat="-8.36" lon="115.5"><name>Reef A start</name></wpt>'
    other = '<wpt lat="-8.37" lon="115.5"><name>Elsewhere</name></wpt><trk>'
    path = tmp_path / "two.gpx"
    path.write_text(text.replace("<trk>", again + other, 1), "utf-8")
    done = run("sites", "gpx", project, path, *WHO, "--save", "--json", "--as", "Absent=Long Spur")
    told = json.loads(done.stdout)
    assert done.exit_code == 3
    assert [p["slug"] for p in told["problems"]] == [
        "gpx-waypoint-twice",
        "gpx-waypoint-no-site",
        "gpx-site-unmatched",
    ]
    assert told["n_stored"] == 0


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("not xml", "gpx-unreadable"),
        ("<kml/>", "gpx-unreadable"),
        ('<!DOCTYPE g [<!ENTITY a "aaaa">]><gpx>&a;</gpx>', "gpx-unreadable"),
        (
            '<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="91" lon="0"/></gpx>',
            "gpx-no-position",
        ),
    ],
)
def test_files_that_are_no_gpx_are_refused(project, tmp_path: Path, text: str, slug: str) -> None:
    path = tmp_path / "bad.gpx"
    path.write_text(text, "utf-8")
    assert slug_of("sites", "gpx", project, path, *WHO) == slug


def test_project_describes_itself(project, tmp_path: Path) -> None:
    names = tmp_path / "names.csv"
    names.write_text("name,scientific_name,name_id\nPorites,Porites,urn:x:1\n", "utf-8")
    facts = ("--title", "Two  reefs", "--licence", "cc by 4.0", "--rights-holder", "The team")
    person = ("--person", "Ines Varro", "contact", "--email", "ines@example.org")
    told = json.loads(
        run("describe", project, *WHO, *facts, *person, "--names", names, "--json").stdout
    )
    assert told["facts"]["title"] == "Two reefs"
    assert told["facts"]["licence"] == "CC-BY-4.0"
    assert told["people"][0]["role"] == "contact"
    assert told["n_name_ids"] == 1
    assert "rights holder: The team" in run("describe", project).stdout


@pytest.mark.parametrize(
    ("more", "slug"),
    [
        (("--licence", "cc-by-5.0"), "licence-unknown"),
        (("--title", "bad\x07sign"), "project-fact-odd"),
        (("--person", "Ines Varro", "chief"), "person-role"),
        (("--person", "Ines Varro", "contact", "--email", "no address"), "person-email"),
    ],
)
def test_what_cannot_be_said_of_a_project(project, more, slug: str) -> None:
    assert slug_of("describe", project, *WHO, *more) == slug


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("name,id\nPorites,1\n", "names-table-column"),
        ("name,scientific_name,colour\nPorites,Porites,red\n", "names-table-column"),
        ("name,scientific_name\nPorites,\n", "names-table-row"),
        ("name,scientific_name\nPorites,Porites\nPorites,Porites\n", "names-table-row"),
        ("name,scientific_name,matched_on\nPorites,Porites,5/3/24\n", "names-table-row"),
    ],
)
def test_names_table_with_a_fault_is_refused_whole(project, tmp_path, text, slug: str) -> None:
    names = tmp_path / "names.csv"
    names.write_text(text, "utf-8")
    assert slug_of("describe", project, *WHO, "--names", names) == slug
