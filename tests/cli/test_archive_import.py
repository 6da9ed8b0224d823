"""An archive of ours read back gives the same figures; one of others as far as its terms go."""

from __future__ import annotations

import json
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from bench.demo_truth import VISITS
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.adjusted_results import second_looks
from dryslate.app.colony_due import onset_at, state_onset
from dryslate.app.survey_results import survey_results
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app
from dryslate.core.survey.designs import DESIGNS
from dryslate.demo.survey import import_records
from dryslate.demo.survey_rows import draw_records
from dryslate.demo.survey_truth import plan_survey
from dryslate.formats.darwin_core import DWC, OBIS, TEXT

pytestmark = pytest.mark.usefixtures("tables_read_once")
WHO = ("--observer", "Ines Varro")


def run(*words: object, code: int | None = None):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done


def results_of(folder: Path):
    with wiring.survey_store(folder, write=False) as store:
        return survey_results(store, wiring.result_settings())


def figures_of(folder: Path) -> list[str]:
    """Return every figure without what tells where it is: sites and units may be renamed."""
    found = [replace(row, site="", unit_ids=()) for row in results_of(folder)]
    drawn = sum("boot" in row.method or row.figure.startswith("hill") for row in found)
    assert (len(found) > 200, drawn > 10) == (True, True)
    return sorted(map(repr, found))


@pytest.fixture(scope="module")
def reef(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two visits of the made-up survey: units of every design, as the demo imports them."""
    folder = tmp_path_factory.mktemp("reef") / "project"
    run("new", folder, code=0)
    run("region", folder, "indo_pacific", *WHO, code=0)
    for truth in plan_survey(VISITS, 100)[:2]:
        tables = draw_records(truth, 100, has_points=True)
        import_records(folder, folder.parent / "tables", tables, truth.observer)
    _tagged_and_looked_at(folder)
    return folder


def _tagged_and_looked_at(folder: Path) -> None:
    """Tag a colony, note a coral in a photo with a second look, weigh the zones."""
    import runpy

    made = Path(__file__).resolve().parents[1] / "stores" / "made_rows.py"
    rows = runpy.run_path(str(made))
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        visit = store.visits()[0]
        unit = next(u for u in store.units(visit.visit_id) if u.name == "belt 1")
        store.save_original(rows["original"]("a"))
        store.save_photo(replace(rows["photo"]("a", "IMG_a.JPG"), visit_id=visit.visit_id))
        store.save_unit_photo(replace(rows["unit_photo"]("a"), unit_id=unit.unit_id))
        store.save_record(replace(rows["record"]("r1"), visit_id=visit.visit_id))
        for k, role, who in (("i1", "first", "Mara"), ("i2", "second", "Tevi")):
            look = rows["identification"](
                k,
                role=role,
                photo_regions=(),
                rank="genus",
                name="Favites",
                observer=who,
                current_names=("Favites",),
            )
            store.save_identification(look)
        store.save_review_draw(rows["draw"](), [rows["chance"]("i1")])
        store.save_review_outcome(
            rows["outcome"](
                settled_name="Favites",
                settled_names=("Favites",),
                settled_rank="genus",
                is_agreed=True,
                relation="same",
                settled_how="agreed",
            )
        )
        colony = rows["colony"](
            site=visit.site,
            first_visit_id=visit.visit_id,
            sketch_sha256=None,
            why_tagged="stressed",
        )
        store.save_colony(colony)
        here = {"visit_id": visit.visit_id, "organism_id": colony.organism_id}
        store.save_colony_sighting(rows["sighting"](**here, record_id=None))
        store.save_colony_fractions(rows["fractions"](**here))
        noted = store.survey_rows(unit.unit_id)[0]
        store.save_survey_rows([replace(noted, row=replace(noted.row, tag=colony.label))])
        store.replace_zone_weights(
            visit.site, [rows["zone_weight"]("slope", site=visit.site, weight=1200.0)]
        )  # fmt: skip


@pytest.fixture(scope="module")
def packed(reef: Path) -> Path:
    path = reef.parent / "reef.zip"
    run("archive", reef, "-o", path)
    return path


def read_into_new(folder: Path, path: Path, code: int | None = 0) -> dict:
    run("new", folder, code=0)
    done = run("records", "import", folder, path, *WHO, "--save", "--json", code=code)
    return json.loads(done.stdout)


def test_every_design_comes_back_with_the_same_figures_to_the_last_digit(reef, packed, tmp_path):
    told = read_into_new(tmp_path / "new", packed)
    assert [p["slug"] for p in told["problems"]] == ["archive-photos-not-here"]
    before, after = results_of(reef), results_of(tmp_path / "new")
    assert {row.design for row in before} == set(DESIGNS)
    assert len(before) > 300
    assert before == after


def test_nothing_is_written_without_save(packed, tmp_path):
    run("new", tmp_path / "new", code=0)
    told = json.loads(
        run("records", "import", tmp_path / "new", packed, *WHO, "--json", code=0).stdout
    )
    assert (told["is_sound"], told["n_stored"]) == (True, 0)
    assert told["n"]["units"] > 40
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        assert store.visits() == ()


def test_second_looks_and_tagged_colonies_come_back(reef, packed, tmp_path):
    read_into_new(tmp_path / "new", packed)
    with (
        wiring.survey_store(reef, write=False) as old,
        wiring.survey_store(tmp_path / "new", write=False) as new,
    ):
        assert second_looks(new) == second_looks(old) != []
        assert new.colony_sightings() == old.colony_sightings()
        assert new.colony_fractions() == old.colony_fractions()
        assert new.colonies() == old.colonies() != ()
        assert new.zone_weights() == old.zone_weights() != ()
        assert new.categories() == old.categories()
        assert new.unit_designs() == old.unit_designs()
    assert run("check", tmp_path / "new", code=0).exit_code == 0


def test_tagged_colony_that_was_not_found_comes_back_as_not_found(reef, tmp_path):
    shutil.copytree(reef, tmp_path / "reef")
    with wiring.survey_store(tmp_path / "reef", write=True, who="Ines Varro") as store:
        (sighting,), later = store.colony_sightings(), store.visits()[1]
        lost = replace(sighting, visit_id=later.visit_id, state="not_found")
        store.save_colony_sighting(lost)
    run("archive", tmp_path / "reef", "-o", tmp_path / "a.zip")
    read_into_new(tmp_path / "new", tmp_path / "a.zip")
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        assert set(store.colony_sightings()) == {sighting, lost}
        assert store.visit_conditions() == ()


def test_archive_of_what_was_read_gives_the_same_figures_again(reef, packed, tmp_path):
    read_into_new(tmp_path / "one", packed)
    run("archive", tmp_path / "one", "-o", tmp_path / "again.zip")
    read_into_new(tmp_path / "two", tmp_path / "again.zip", code=None)
    assert results_of(tmp_path / "two") == results_of(reef)


def test_sensitive_site_comes_back_without_name_and_place_and_with_the_figures(reef, tmp_path):
    shutil.copytree(reef, tmp_path / "reef")
    site = next(iter({row.site for row in results_of(reef)}))
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1, "--water-body", "Wide Sea")
    run("sites", "set", tmp_path / "reef", site, *WHO, *spot, "--locality", "by the jetty", code=0)
    run("archive", tmp_path / "reef", "-o", tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as zipped:
        for name in zipped.namelist():
            text = zipped.read(name).decode("utf-8")
            for secret in (site, "by the jetty", "115.51", "°30.6", "near the big", "tape 12 m"):
                assert secret not in text, (name, secret)
            if name == "event.txt":
                assert "Wide Sea" in text
    read_into_new(tmp_path / "new", tmp_path / "a.zip")
    assert figures_of(tmp_path / "new") == figures_of(reef)
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        (place,) = [one for one in store.site_places() if one.grid_deg]
        assert (place.latitude_deg, place.longitude_deg) == (-8.35, 115.55)
        assert place.site == "name withheld"
    run("sites", "set", tmp_path / "reef", site, *WHO, "--publish-as", "the outer reefs", code=0)
    run("archive", tmp_path / "reef", "-o", tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as zipped:
        assert b"the outer reefs" in zipped.read("event.txt")


def test_project_that_is_not_empty_is_refused(reef, packed):
    with pytest.raises(InputError, match="package-project-not-empty"):
        run("records", "import", reef, packed, *WHO, "--save")


def changed(path: Path, out: Path, name: str, change) -> Path:
    """Copy an archive with one file changed."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w") as new:
        for one in old.namelist():
            data = old.read(one)
            new.writestr(one, change(data.decode("utf-8")) if one == name else data)
    return out


@pytest.mark.parametrize(
    ("name", "old", "new", "place"),
    [
        ("occurrence.txt", '{"row":{"kind":"colony"', '{"row":{"kind":"tree"', "dynamicProperties"),
        ("occurrence.txt", '{"row":{"kind"', '{"kind"', "dynamicProperties"),
        ("occurrence.txt", '{"row":{"kind"', '{"row":{kind"', "dynamicProperties"),
        ("event.txt", '"design":"belt"', '"design":"ribbon"', "dynamicProperties"),
        ("event.txt", '"level":"unit"', '"level":"yard"', "dynamicProperties"),
        ("eml.xml", '"list_version":1,"category"', '"list":1,"category"', "additionalMetadata"),
        ("occurrence.txt", '{"row":{"kind"', '{"row":[1],"was":{"kind"', "dynamicProperties"),
        ("occurrence.txt", '"noted_at":"2026', '"noted_at":5,"was":"2026', "dynamicProperties"),
        ("event.txt", '"also_noted":[{', '"also_noted":[5,{', "dynamicProperties"),
        ("eml.xml", '"first_visit_id":"', '"first_visit_id":"Not ', "additionalMetadata"),
        ("eml.xml", '"colonies":[{"organism_id":"', '"colonies":[{"organism_id":"x', "additional"),
        ("eml.xml", '"label":"', '"label":[5],"was":"', "additionalMetadata"),
        ("eml.xml", '"normal_pct":', '"normal_pct":"much","was":', "additionalMetadata"),
        ("eml.xml", '"facts":{', '"facts":[1],"was":{', "additionalMetadata"),
    ],
)  # fmt: skip
def test_words_that_cannot_be_are_told_with_file_row_and_term_and_nothing_is_stored(
    packed, tmp_path, name, old, new, place
):
    def change(text: str) -> str:
        assert old in text
        return text.replace(old, new, 1)

    path = changed(packed, tmp_path / "bad.zip", name, change)
    told = read_into_new(tmp_path / "new", path, code=3)
    assert (told["is_sound"], told["n_stored"]) == (False, 0)
    (*_, fault) = [p for p in told["problems"] if p["slug"] == "archive-not-understood"]
    assert fault["place"].startswith(name)
    assert place in fault["place"]
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        assert store.visits() == store.sites() == ()


def test_visit_without_a_day_is_told(packed, tmp_path):
    def change(text: str) -> str:
        head, first, *rest = text.split("\n")
        cells = first.split("\t")
        cells[head.split("\t").index("eventDate")] = ""
        return "\n".join([head, "\t".join(cells), *rest])

    told = read_into_new(
        tmp_path / "new", changed(packed, tmp_path / "b.zip", "event.txt", change), code=3
    )
    (fault, *_) = [p for p in told["problems"] if p["slug"] == "archive-not-understood"]
    assert (told["n_stored"], fault["place"]) == (0, "event.txt, row 2, dynamicProperties")
    assert "is no site and day" in fault["message"]


def test_tagged_colony_whose_coral_was_left_out_comes_back_without_it(reef, tmp_path):
    shutil.copytree(reef, tmp_path / "reef")
    with wiring.survey_store(tmp_path / "reef", write=True, who="Ines Varro") as store:
        (sighting,) = store.colony_sightings()
        (record,) = store.records()
        unnamed = replace(record, record_id="r2", colony="another")  # corals without a name stay
        store.save_record(unnamed)
        store.save_colony_sighting(replace(sighting, record_id="r2"))
    run("archive", tmp_path / "reef", "-o", tmp_path / "a.zip")
    told = read_into_new(tmp_path / "new", tmp_path / "a.zip", code=3)
    assert [p["slug"] for p in told["problems"] if p["severity"] != "note"] == ["archive-left-out"]
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        (found,) = store.colony_sightings()
    assert (found.state, found.record_id) == (sighting.state, None)


def test_ids_that_are_hashes_of_a_withheld_name_stay_in_the_project(reef, tmp_path):
    """Whoever guesses the name can make them: what they are made of else is in the archive."""
    shutil.copytree(reef, tmp_path / "reef")
    with wiring.survey_store(tmp_path / "reef", write=True, who="Ines Varro") as store:
        (colony,), (sighting,) = store.colonies(), store.colony_sightings()
        store.save_colony_sighting(replace(sighting, record_id="r1"))
        state_onset(
            store, (colony.site, None), ("2024-03-01", "a logger"), ("Mara", sighting.noted_at)
        )
        (onset,), (outcome,) = store.stress_onsets(), store.review_outcomes()
        (draw,) = store.review_draws()
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1)
    run("sites", "set", tmp_path / "reef", colony.site, *WHO, *spot, code=0)
    run("archive", tmp_path / "reef", "-o", tmp_path / "a.zip")
    hashes = (onset.onset_id, "r1", "i1", "i2", outcome.outcome_id, draw.draw_id)
    with zipfile.ZipFile(tmp_path / "a.zip") as zipped:
        for name in zipped.namelist():
            text = zipped.read(name).decode("utf-8")
            assert not [one for one in hashes if f'"{one}"' in text], name
    read_into_new(tmp_path / "new", tmp_path / "a.zip")
    with (
        wiring.survey_store(tmp_path / "reef", write=False) as old,
        wiring.survey_store(tmp_path / "new", write=False) as new,
    ):
        assert len(second_looks(new)) == len(second_looks(old)) == 1
        (coral,), (met,), (set_in,) = new.records(), new.colony_sightings(), new.stress_onsets()
        assert met.record_id == coral.record_id
        assert set_in.onset_id == onset_at("name withheld", None, "2024-03-01")


@pytest.mark.parametrize(
    ("data", "slug"),
    [(b"", "archive-not-zip"), (b"PK\3\4 cut short", "archive-not-zip"), (None, "archive-no-meta")],
)
def test_zip_that_is_no_archive_is_not_taken_for_a_table(tmp_path, data, slug):
    path = tmp_path / "sent.ZIP"
    if data is None:
        with zipfile.ZipFile(path, "w") as zipped:
            zipped.writestr("notes.txt", "no archive")
    else:
        path.write_bytes(data)
    run("new", tmp_path / "new", code=0)
    command = ("records", "import", tmp_path / "new", path, *WHO, "--save", "--json")
    if data is None:
        told = json.loads(run(*command, code=3).stdout)
        assert (told["n_stored"], [p["slug"] for p in told["problems"]]) == (0, [slug])
    else:
        with pytest.raises(InputError, match=slug):
            run(*command)


def test_count_that_was_changed_in_its_column_only_is_told(packed, tmp_path):
    def change(text: str) -> str:
        head, *lines = text.split("\n")
        k = head.split("\t").index("individualCount")
        for at, line in enumerate(lines):
            cells = line.split("\t")
            if '"n":' in line and cells[k]:
                cells[k] = str(int(cells[k]) + 1)
                lines[at] = "\t".join(cells)
                break
        return "\n".join([head, *lines])

    path = changed(packed, tmp_path / "bad.zip", "occurrence.txt", change)
    told = read_into_new(tmp_path / "new", path, code=3)
    (told_of,) = (p for p in told["problems"] if p["severity"] != "note")
    assert "individualCount" in told_of["place"]


def test_archive_of_a_newer_version_is_refused(packed, tmp_path):
    path = changed(
        packed, tmp_path / "new.zip", "eml.xml", lambda t: t.replace('"archive":2', '"archive":99')
    )
    run("new", tmp_path / "p", code=0)
    with pytest.raises(InputError, match="archive-newer"):
        run("records", "import", tmp_path / "p", path, *WHO)


def tabs(text: str) -> str:
    return text.replace("|", "\t")


EVENTS = "eventID|parentEventID|eventDate|samplingProtocol|sampleSizeValue|sampleSizeUnit|"
EVENTS += "locality|decimalLatitude|decimalLongitude|minimumDepthInMeters|maximumDepthInMeters\n"
EVENTS += """visit||2024-05-19||||Long Spur|-8.4|115.6||
B1|visit|2024-05-19T09:00Z|belt transect|50|square metres||||4|6
B2|visit||belt transect|50|square metres||||4|4
S1|visit||timed swim|20|minutes|||||
P1|visit||photo quadrats|100|points|||||
"""
EVENTS = tabs(EVENTS)
OCCURRENCES = "eventID|occurrenceID|basisOfRecord|occurrenceStatus|scientificName|"
OCCURRENCES += "individualCount|organismQuantity|organismQuantityType\n"
OCCURRENCES += """B1|o1|HumanObservation|present|Favites|3||
B1|o2|HumanObservation|present|Porites|1||
B2|o3|HumanObservation|absent|Porites|||
B2|o4|HumanObservation|present|Favites|2||
S1|o5|HumanObservation|present|Acropora||12|individuals
P1|o6|MachineObservation|present|Porites||40|points
"""
OCCURRENCES = tabs(OCCURRENCES)
SIZES = "eventID|occurrenceID|measurementType|measurementValue|measurementUnit\n"
SIZES = tabs(f"{SIZES}B1|o2|longest diameter|12.5|centimetres\nB1|o2|rugosity|1.2|\n")


def table(kind: str, row_type: str, file: str, text: str, namespace: str = DWC) -> str:
    terms = text.split("\n", 1)[0].split("\t")
    fields = "".join(
        f'<field index="{k}" term="{namespace if t.startswith("obis") else DWC}{t}"/>'
        for k, t in enumerate(terms)
        if k or kind == "core"
    )
    link = "id" if kind == "core" else "coreid"
    return (
        f'<{kind} encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" '
        f'fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="{row_type}"><files><location>{file}'
        f'</location></files><{link} index="0"/>{fields}</{kind}>'
    )


def of_others(
    path: Path, events: str = EVENTS, occurrences: str = OCCURRENCES, sizes: str = SIZES
) -> Path:
    """Write an archive by the standard's words, none of them ours."""
    meta = f'<archive xmlns="{TEXT}">'
    meta += table("core", f"{DWC}Event", "event.txt", events)
    meta += table("extension", f"{DWC}Occurrence", "occurrence.txt", occurrences)
    kind = f"{OBIS}ExtendedMeasurementOrFact"
    meta += table("extension", kind, "emof.txt", sizes) + "</archive>"
    with zipfile.ZipFile(path, "w") as zipped:
        zipped.writestr("meta.xml", meta)
        for name, text in (("event", events), ("occurrence", occurrences), ("emof", sizes)):
            zipped.writestr(f"{name}.txt", text)
    return path


def test_archive_of_others_is_read_as_far_as_its_terms_go(tmp_path):
    path = of_others(tmp_path / "others.zip")
    told = read_into_new(tmp_path / "new", path, code=3)
    assert told["is_sound"], told["problems"]
    assert {k: n for k, n in told["n"].items() if n} == {"visits": 1, "units": 4, "rows": 45}
    left = [p for p in told["problems"] if p["slug"] == "archive-left-out"]
    assert any("emof.txt, row 3" in p["place"] and "rugosity" in p["message"] for p in left)
    found = {(r.design, r.figure, r.thing): r for r in results_of(tmp_path / "new")}
    density = found["belt", "density_per_m2", "Favites"]
    assert density.estimate == pytest.approx((3 / 50 + 2 / 50) / 2)
    assert found["belt", "density_per_m2", "Porites"].estimate == pytest.approx(1 / 50 / 2)
    assert found["timed_swim", "count_per_min", "Acropora"].estimate == pytest.approx(12 / 20)
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        unit = next(u for u in store.units() if u.name == "B1")
        assert (unit.depth_m, round(unit.depth_m_u or 0, 3)) == (5.0, 0.577)
        stated = {s.unit_id: s.design for s in store.unit_designs()}
        assert stated["B2"].searched == ("Porites", "Favites")
        assert stated["B1"].searched == ()
        assert store.site_places()[0].latitude_deg == -8.4
        assert [r.row.longest_cm for r in store.survey_rows("B1") if r.row.longest_cm] == [12.5]


@pytest.mark.parametrize(
    ("events", "occurrences", "place"),
    [
        (("belt transect\t50\tsquare", "belt transect\t50\tspoonfuls"), None, "event.txt, row 3"),
        (("belt transect\t50", "belt transect\t"), None, "event.txt, row 3"),
        (("visit\t\t2024-05-19\t", "visit\t\t2024-05\t"), None, "event.txt, row 4"),
        (("Long Spur", ""), None, "event.txt, row 3"),
        (("visit\t\t2024", "visit\tB1\t2024"), None, "event.txt"),
        (None, ("Favites\t3", "Favites\t2.5"), "occurrence.txt, row 2"),
        (None, ("12\tindividuals", "12\tgrams"), "occurrence.txt, row 6"),
        (None, ("40\tpoints", "some\tpoints"), "occurrence.txt, row 7"),
    ],
)
def test_what_cannot_be_understood_is_listed_and_nothing_is_stored(
    tmp_path, events, occurrences, place
):
    made = EVENTS.replace(*events, 1) if events else EVENTS
    seen = OCCURRENCES.replace(*occurrences, 1) if occurrences else OCCURRENCES
    told = read_into_new(tmp_path / "new", of_others(tmp_path / "x.zip", made, seen), code=3)
    assert (told["is_sound"], told["n_stored"]) == (False, 0)
    faults = [p for p in told["problems"] if p["severity"] == "error"]
    assert any(p["place"].startswith(place) for p in faults), faults
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        assert store.visits() == ()


def test_archive_with_occurrences_as_core_is_refused(tmp_path):
    path = tmp_path / "core.zip"
    with zipfile.ZipFile(path, "w") as zipped:
        core = table("core", f"{DWC}Occurrence", "occurrence.txt", OCCURRENCES)
        zipped.writestr("meta.xml", f'<archive xmlns="{TEXT}">{core}</archive>')
        zipped.writestr("occurrence.txt", OCCURRENCES.replace("B1\to2", "B9\to2"))
    told = read_into_new(tmp_path / "new", path, code=3)
    assert not told["is_sound"]


def test_many_measurements_that_nobody_understands_are_told_once_each_kind(tmp_path):
    sizes = SIZES + tabs("B1|o2|rugosity|1.3|\n") * 30
    told = read_into_new(tmp_path / "new", of_others(tmp_path / "o.zip", sizes=sizes), code=3)
    (one,) = [p for p in told["problems"] if "rugosity" in p["message"]]
    assert "31 measurements" in one["message"]


def test_name_that_its_observer_corrected_is_written_as_corrected(reef, tmp_path):
    shutil.copytree(reef, tmp_path / "reef")
    with wiring.survey_store(tmp_path / "reef", write=True, who="Ines Varro") as store:
        (record,) = store.records()
        store.save_record(replace(record, record_id="r2", colony="another"))
        look = next(one for one in store.identifications() if one.role == "first")
        for k, genus in (("j1", "Favites"), ("j2", "Porites")):
            store.save_identification(
                replace(
                    look,
                    identification_id=k,
                    record_id="r2",
                    name_as_recorded=genus,
                    name=genus,
                    current_names=(genus,),
                )
            )
    run("archive", tmp_path / "reef", "-o", tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        head, *rows = packed.read("occurrence.txt").decode().splitlines()
    told = [dict(zip(head.split("\t"), row.split("\t"), strict=True)) for row in rows]
    (found,) = [one for one in told if one["recordNumber"] == "another"]
    assert (found["scientificName"], found["verbatimIdentification"]) == ("Porites", "Porites")
