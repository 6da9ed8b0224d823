"""Every table of results is the same after an archive or a data package was read back."""

from __future__ import annotations

import csv
import io
import json
import math
import runpy
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.colony_colours import colour_series, outline_key
from dryslate.app.colony_due import due_dates, state_onset
from dryslate.app.colony_timeline import colony_timeline
from dryslate.app.logger_heat import heat_as_dict
from dryslate.app.site_loggers import site_heat
from dryslate.app.survey_results import survey_results
from dryslate.cli.main import build_app
from dryslate.core.health.colony_colour import median_sd
from dryslate.documents.colony_timeline import timeline_svg

pytestmark = pytest.mark.usefixtures("tables_read_once")
SITE, OTHER = "Quiet Ledge", "Reef Two"
"""In the order of names; a withheld name comes after the other one."""
DATES = ("2024-05-19", "2025-05-20")
WHO = ("--observer", "Ines Varro")
AT = "2025-05-21T09:00:00Z"
SPOT = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1, "--water-body", "Wide Sea")
KINDS = ("archive", "package")


def run(*words: object, code: int | None = 0):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done


def belts() -> str:
    """Two visits, four belts each in two zones, corals of several genera and sizes."""
    head = "site,date,unit,zone,unit_kind,design,length_m,width_m,edge_rule,searched,"
    head += "kind,category,name,n,longest_cm\n"
    lines = []
    for y, date in enumerate(DATES):
        for k in range(4):
            place = f"{SITE},{date},T{k},{'crest' if k < 2 else 'slope'},transect,belt,10,1,"
            place += "centre_inside,Acropora; Porites,"
            for n, name in enumerate(("Favites", "Porites", "cf. Platygyra")):
                for size in range(3 + k):
                    cm = 8 + 3 * n + 2.5 * size + 4 * y + 0.7 * k
                    lines.append(f"{place}colony,hard coral,{name},,{cm}\n")
            lines.append(f"{place}count,hard coral,Pocillopora,{3 + k + y},\n")
            lines.append(f"{place}none_seen,hard coral,Acropora,,\n")
            other = place.replace(SITE, OTHER)
            lines.append(f"{other}count,hard coral,Favites,{5 + k},\n")
            lines.append(f"{other}count,hard coral,Porites,{1 + y},\n")
    return head + "".join(lines)


def made_rows() -> SimpleNamespace:
    path = Path(__file__).resolve().parents[1] / "stores" / "made_rows.py"
    return SimpleNamespace(**runpy.run_path(str(path)))


def readings(folder: Path) -> Path:
    """A logger: two days on deck, a day with few readings, two days without, a hot spell."""
    lines = ["time,temperature_c"]
    for day in range(1, 29):
        hours = range(0) if day in (11, 12) else range(5) if day == 15 else range(24)
        for hour in hours:
            value = 45.0 if day < 3 else 29.0 + day / 7 + hour / 100
            lines.append(f"2025-02-{day:02d}T{hour:02d}:00+07:00,{value}")
    path = folder / "ledge.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


@pytest.fixture(scope="module")
def reef(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole") / "project"
    run("new", folder)
    run("region", folder, "indo_pacific", *WHO)
    path = folder.parent / "belts.csv"
    path.write_text(belts(), "utf-8")
    run("records", "import", folder, path, *WHO, "--save", code=None)
    said = (
        "--tide",
        "rising",
        "--visibility-m",
        12.5,
        "--water-c",
        28.1,
        "--weather",
        "thin cloud",
    )
    run("conditions", folder, SITE, DATES[0], *WHO, *said, "--sea", "swell 0.5 m")
    run("conditions", folder, SITE, DATES[1], *WHO, "--tide", "low at 09:40")
    kept = ("--deployed", "2025-02-03T00:00+07:00", "2025-02-28", "--offset", 0.25)
    kept += ("--keep", folder, "--site", SITE, "--logger-name", "L7")
    mean = ("--warmest-month", 29.1, "made-up climatology, 30 years")
    run("heat", readings(folder.parent), *mean, *kept, *WHO)
    _followed(folder)
    return folder


def _followed(folder: Path) -> None:
    """Tag two colonies with outlines and colours in three photos a visit."""
    rows = made_rows()
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        visits = [f"{SITE} {date}" for date in DATES]
        for label, why in (("17", "random"), ("18", "stressed")):
            colony = rows.colony(
                organism_id=f"00000000-0000-4000-8000-0000000000{label}", label=label, site=SITE,
                first_visit_id=visits[0], sketch_sha256=None, why_tagged=why,
            )  # fmt: skip
            store.save_colony(colony)
            for y, visit_id in enumerate(visits):
                of = {"organism_id": colony.organism_id, "visit_id": visit_id}
                store.save_colony_sighting(rows.sighting(**of, record_id=None))
                shares = {"normal_pct": 70.0 - 30 * y, "pale_pct": 30.0 * y, "bleached_pct": 30.0}
                nothing = {"recently_dead_pct": 0.0, "old_dead_pct": 0.0}
                store.save_colony_fractions(rows.fractions(**of, **shares, **nothing))
                if label == "17":
                    _photos(store, rows, colony, visit_id, y)
        who = ("Mara", AT)
        state_onset(store, (SITE, None), ("2025-02-20", "white colonies"), who)


def _photos(store: Any, rows: SimpleNamespace, colony: Any, visit_id: str, y: int) -> None:
    """Add three frames of a visit, with the colour as it was measured in each."""
    for k, letter in enumerate("abcd" if y == 0 else "ef0"):
        store.save_original(rows.original(letter))
        photo = rows.photo(letter, f"IMG_{y}{k}.JPG")
        store.save_photo(replace(photo, visit_id=visit_id))
        store.save_correction(replace(rows.correction(), photo_id=photo.photo_id, key=f"key {k}"))
        frame = rows.frame(
            organism_id=colony.organism_id, photo_id=photo.photo_id, is_reference=letter == "a"
        )
        store.save_colony_frame(frame)
        if letter == "d":
            continue  # outlined, not measured
        lab = [52.1 + 9.3 * y + k / 7, 6.0 - y, 21.7 - 3 * y + k / 3]
        cov = [[0.31, 0.01, 0.0], [0.01, 0.42, 0.02], [0.0, 0.02, 0.53]]
        measured = {
            "problems": [], "lab": lab, "lab_u": [0.56, 0.65, 0.73], "lab_cov": cov,
            "card_u": [0.2, 0.3, 0.3], "mismatch_u": [0.4, 0.45, 0.5], "card_key": "card one",
            "n_px": 900,
            "white_distance": 41.3 - 6 * y + k / 9, "white_distance_u": 0.61,
        }  # fmt: skip
        colour = rows.colony_colour(
            organism_id=colony.organism_id, photo_id=photo.photo_id, measured=measured,
            outline_key=outline_key(frame), correction_key=f"key {k}",
        )  # fmt: skip
        store.save_colony_colours([colour])


def told(rows: Any) -> list[str]:
    """Write rows down without ids of units, which a withheld site's units get anew."""
    return sorted(repr(replace(one, unit_ids=())) for one in rows)


def tables(folder: Path) -> dict[str, Any]:
    """Return every table of results that a project gives."""
    words = ("change", "community", "health")
    found: dict[str, Any] = {name: run(name, folder, "--json", code=None).stdout for name in words}
    with wiring.survey_store(folder, write=False) as store:
        sites, colonies = [s.site for s in store.sites()], store.colonies()
        heat = [one.found for site in sites for one in site_heat(store, site)]
        found["results"] = told(survey_results(store, wiring.result_settings()))
        found["heat"] = [heat_as_dict(one) for one in heat if one is not None]
        found["colour"] = [colour_series(store, c) for c in colonies]
        lines = [colony_timeline(store, c, [h for h in heat if h is not None]) for c in colonies]
        found["timeline"] = [timeline_svg(one) for one in lines]
        found["due"] = [one.as_dict() for one in due_dates(store, "2025-06-01")]
        found["conditions"] = store.visit_conditions()
        found["fractions"] = store.colony_fractions()
        found["onsets"] = store.stress_onsets()
    return found


NAMES = (
    "results", "change", "community", "health", "heat", "colour", "timeline", "due", "conditions",
    "fractions", "onsets",
)  # fmt: skip


def packed(folder: Path, kind: str, out: Path) -> Path:
    run("archive", *(["package"] if kind == "package" else []), folder, "-o", out, code=None)
    return out


def read_back(path: Path, folder: Path) -> Path:
    run("new", folder)
    run("records", "import", folder, path, *WHO, "--save")
    return folder


@pytest.fixture(scope="module")
def before(reef: Path) -> dict[str, Any]:
    return tables(reef)


@pytest.fixture(scope="module", params=KINDS)
def again(request: pytest.FixtureRequest, reef: Path) -> Path:
    path = packed(reef, request.param, reef.parent / f"{request.param}.zip")
    return read_back(path, reef.parent / request.param)


@pytest.fixture(scope="module")
def after(again: Path) -> dict[str, Any]:
    return tables(again)


def test_the_tables_say_something(before) -> None:
    assert set(before) == set(NAMES)
    assert len(before["results"]) > 100
    assert len(json.loads(before["change"])["changes"]) > 5
    assert [g["readings"] for g in before["heat"][0]["gaps"]] == [0, 5]
    assert before["heat"][0]["n_out_of_water"] == 48
    changes = before["colour"][0].changes[f"{SITE} {DATES[1]}"]
    assert {one.verdict for one in changes} == {"changed"} | {c.verdict for c in changes}
    assert len(before["colour"][0].visits) == 2
    assert len(before["conditions"]) == 2


@pytest.mark.parametrize("name", NAMES)
def test_each_table_is_the_same(before, after, name) -> None:
    if name == "colour":  # of photos that are not here nothing is left to measure
        assert [one.n_stale for one in before[name]] == [1, 0]
        before = {name: [replace(one, n_stale=0) for one in before[name]]}
    if name == "health":
        before, after = (
            {name: json_without(one[name], ("frames", "frames_elsewhere", "n_stale"))}
            for one in (before, after)
        )
    assert repr(after[name]) == repr(before[name])


def json_without(text: str, names: tuple[str, ...]) -> Any:
    """Read JSON documents one after another, without some words."""
    decoder, found, at = json.JSONDecoder(), [], 0
    while at < len(text.rstrip()):
        one, at = decoder.raw_decode(text, at)
        found.append(_without(one, names))
        while at < len(text) and text[at].isspace():
            at += 1
    return found


def _without(value: Any, names: tuple[str, ...]) -> Any:
    if isinstance(value, dict):
        return {k: _without(v, names) for k, v in value.items() if k not in names}
    return [_without(one, names) for one in value] if isinstance(value, list) else value


def test_photos_that_are_not_here_are_said_to_be_so(again) -> None:
    with wiring.survey_store(again, write=False) as store:
        (colony, _) = store.colonies()
        frames = store.archived_frames(colony.organism_id)
        photos = {one.photo_id: one for one in store.archived_photos()}
        assert store.photo_ids() == ()
        assert store.colony_frames() == ()
    assert [photos[f.photo_id].file_name for f in frames][:3] == [
        "IMG_00.JPG", "IMG_01.JPG", "IMG_02.JPG",
    ]  # fmt: skip
    assert len(frames) == 7
    assert frames[0].outline_px == ((10.0, 20.0), (60.0, 22.5), (40.0, 80.0))
    assert run("check", again, code=None).exit_code == 0


def test_second_archive_carries_the_same_again(again, before, tmp_path) -> None:
    with wiring.survey_store(again, write=False) as store:
        frames, photos = store.archived_frames(), store.archived_photos()
    kind = again.name
    twice = read_back(packed(again, kind, tmp_path / "b.zip"), tmp_path / "twice")
    with wiring.survey_store(twice, write=False) as store:
        assert store.archived_frames() == frames
        assert sorted(map(repr, store.archived_photos())) == sorted(map(repr, photos))
    assert repr(tables(twice)["heat"]) == repr(before["heat"])


@pytest.mark.parametrize("kind", KINDS)
def test_sensitive_site_gives_the_same_without_its_name(reef, before, tmp_path, kind) -> None:
    shutil.copytree(reef, tmp_path / "reef")
    run("sites", "set", tmp_path / "reef", SITE, *WHO, *SPOT)
    path = packed(tmp_path / "reef", kind, tmp_path / "a.zip")
    with zipfile.ZipFile(path) as zipped:
        for name in zipped.namelist():
            held = zipped.read(name).decode("utf-8")
            assert not [s for s in (SITE, "ledge.csv", "L7", "115.51") if s in held], name
    new = tables(read_back(path, tmp_path / "new"))
    for name in sorted(set(NAMES) - {"health", "colour", "timeline", "onsets"}):
        assert anonymous(new[name]) == anonymous(before[name]), name
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        (place,) = [one for one in store.site_places() if one.latitude_deg]
        (logger,) = store.site_loggers("name withheld")
    assert (place.latitude_deg, place.grid_deg) == (-8.35, 0.1)
    assert logger.file_name == "logger"


def anonymous(table: Any) -> Any:
    """
    Return a table without the site's name, and without ids that are made of it.

    Sites and groups are listed, and added up, in the order of their names: nine digits of what
    is summed over several of them are the same.
    """
    if isinstance(table, str):
        table = json_without(table, ("unit_ids", "units", "unit_id"))
    while isinstance(table, list) and len(table) == 1:
        (table,) = table
    if isinstance(table, dict):
        parts = [rows if isinstance(rows, list) else [rows] for rows in table.values()]
        table = [one for rows in parts for one in rows]
    lines = table if isinstance(table, list) else [table]
    return sorted(map(unordered, lines))


def unordered(one: Any) -> str:
    """Write a row with groups in the order of the alphabet, and numbers with nine digits."""
    if isinstance(one, dict) and "first" in one and "figure" in one:
        pair = sorted(str(one.get(k)).replace("name withheld", SITE) for k in ("first", "second"))
        sites = "; ".join(
            sorted(str(one.get("site", "")).replace("name withheld", SITE).split("; "))
        )
        one = {k: v for k, v in one.items() if k not in ("first", "second", "site")}
        return repr((sites, pair, _rounded(one)))
    return repr(one).replace("name withheld", SITE)


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    return float(f"{value:.9g}") if isinstance(value, float) else value


def table_of(path: Path, name: str) -> list[dict[str, str]]:
    with zipfile.ZipFile(path) as zipped:
        text = zipped.read(name).decode("utf-8")
    return list(csv.DictReader(io.StringIO(text), delimiter="\t", quoting=csv.QUOTE_NONE))


def test_archive_says_heat_colour_and_conditions_in_terms_of_the_standard(reef, tmp_path) -> None:
    path = packed(reef, "archive", tmp_path / "a.zip")
    said = table_of(path, "extendedmeasurementorfact.txt")
    events = {one["eventID"]: one for one in table_of(path, "event.txt")}
    (logger,) = [e for e in events.values() if e["eventType"] == "logger deployment"]
    assert (logger["eventDate"], logger["sampleSizeUnit"]) == ("2025-02-03/2025-02-28", "readings")
    assert (logger["verbatimLocality"], logger["fieldNumber"]) == (SITE, "L7")
    days = [m for m in said if m["measurementType"] == "water temperature, mean of the day"]
    assert len(days) == 26 - 2 - 1
    assert {(m["eventID"], m["measurementUnit"]) for m in days} == {
        (logger["eventID"], "degrees Celsius")
    }
    assert days[0]["measurementRemarks"] == "readings: 24"
    by = {m["measurementType"]: m for m in said}
    assert by["long-term mean of the warmest month"]["measurementMethod"] == (
        "from: made-up climatology, 30 years"
    )
    assert by["logger minus source of that mean"]["measurementValue"] == "0.25"
    sight = by["visibility under water"]
    assert (sight["measurementValue"], sight["measurementUnit"]) == ("12.5", "metres")
    assert events[sight["eventID"]]["eventType"] == "site visit"
    light = [m for m in said if m["measurementType"] == "lightness L* of the colony"]
    assert [m["measurementRemarks"] for m in light] == ["photos: 3", "photos: 3"]
    assert float(light[0]["measurementValue"]) == pytest.approx(52.1 + 1 / 7, abs=1e-4)
    assert all(m["occurrenceID"] for m in light)
    spread, card, pigments = 1 / 7, 0.2**2, 0.4**2  # of the three frames; as measured
    by_frames = (median_sd(3) * spread) ** 2 + (0.31 - card - pigments - spread**2)
    u = math.sqrt(by_frames + card + pigments)
    assert [float(m["measurementAccuracy"]) for m in light] == pytest.approx([u, u], rel=2e-3)
    checked = json.loads(run("archive", "check", path, "--json", code=None).stdout)
    assert {p["slug"] for p in checked["problems"]} == {"archive-cell-empty"}


@pytest.mark.parametrize(
    ("file", "old", "new", "place"),
    [
        ("event.txt", '"n_readings":[24', '"n_readings":["many"', "dynamicProperties"),
        ("event.txt", '"first_day":"2025', '"first_day":"20x5', "dynamicProperties"),
        ("event.txt", '"warmest_c":29.1', '"warmest_c":"warm"', "dynamicProperties"),
        ("extendedmeasurementorfact.txt", "\t12.5\t", "\tfar\t", "measurementValue"),
        ("extendedmeasurementorfact.txt", "\t28.1\t", "\t281\t", "measurementValue"),
        ("multimedia.txt", "ni:///sha-256;", "ni:///sha-1;", "identifier"),
        ("eml.xml", '"lab":[52', '"lab":["52', "additionalMetadata"),
        ("eml.xml", '"white_distance":4', '"white_distance":"x4', "additionalMetadata"),
    ],
)
def test_what_cannot_be_is_told_with_its_place(reef, tmp_path, file, old, new, place) -> None:
    good, bad = packed(reef, "archive", tmp_path / "a.zip"), tmp_path / "bad.zip"
    with zipfile.ZipFile(good) as zipped, zipfile.ZipFile(bad, "w") as copy:
        for name in zipped.namelist():
            text = zipped.read(name).decode("utf-8")
            if name == file:
                assert old in text
                text = text.replace(old, new, 1)
            copy.writestr(name, text)
    run("new", tmp_path / "new")
    done = run("records", "import", tmp_path / "new", bad, *WHO, "--save", "--json", code=None)
    found = json.loads(done.stdout)
    assert (found["is_sound"], found["n_stored"]) == (False, 0)
    assert any(file in p["place"] and place in p["place"] for p in found["problems"])
