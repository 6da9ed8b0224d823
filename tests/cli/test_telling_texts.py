"""Texts that tell where a sensitive site lies do not leave before somebody decided."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.survey_results import survey_results
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

pytestmark = pytest.mark.usefixtures("tables_read_once")
WHO = ("--observer", "Ines Varro")
SITE, DATE = "Quiet Ledge", "2024-05-19"
TELLING = {
    "30 m north of quiet-ledge's buoy": "name or place",
    "swim in from Jetty Corner": "a zone",
    "entry 8°21.2'S 115°30.5'E": "position",
    "mark at -8.352; 115.512": "position",
    "by the old jetty, left": "name or place",
}
PLAIN = ("sandy slope, 8.35 m deep", "12.5 m of tape, 25 to 30 °C", "crest, second look")
KINDS = ("archive", "package")


def run(*words: object, code: int | None = 0):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert code is None or done.exit_code == code, done.output
    return done


def project(folder: Path, notes: tuple[str, ...], zones: tuple[str, str]) -> Path:
    """A sensitive site with a note on every row."""
    head = (
        "site,date,unit,zone,unit_kind,design,length_m,width_m,edge_rule,kind,category,name,n,note"
    )
    lines = [head]
    for k in range(6):
        place = f"{SITE},{DATE},T{k},{zones[k % 2]},transect,belt,10,1,centre_inside"
        for name, n in (("Favites", 2 + k), ("Porites", 5 - k % 3)):
            note = notes[k % len(notes)] if name == "Favites" else ""
            lines.append(f'{place},count,hard coral,{name},{n},"{note}"')
    folder.mkdir()
    path = folder / "belts.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    made = folder / "project"
    run("new", made)
    run("records", "import", made, path, *WHO, "--save", code=None)
    spot = ("--position", "8°21.0'S 115°30.6'E", "--coarsen-to", 0.1, "--water-body", "Wide Sea")
    run("sites", "set", made, SITE, *WHO, *spot, "--locality", "by the old jetty")
    return made


def packed(made: Path, kind: str, out: Path, *more: object):
    return run(
        "archive", *(["package"] if kind == "package" else []), made, "-o", out, *more, code=None
    )


@pytest.fixture(scope="module")
def telling(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("telling") / "a"
    made = project(folder, tuple(TELLING), ("crest", "Jetty corner"))
    run("conditions", made, SITE, DATE, *WHO, "--tide", "as at Quiet Ledge's jetty: rising")
    return made


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_written_and_each_text_is_named_with_what_it_tells(telling, tmp_path, kind):
    with pytest.raises(InputError, match="archive-texts-tell") as told:
        packed(telling, kind, tmp_path / "a.zip")
    for text, what in TELLING.items():
        assert f"“{text}" in told.value.message
        assert what in told.value.message
    assert "Jetty corner” tells a zone" in told.value.message
    assert "rising” tells the name" in told.value.message
    assert "--texts withhold" in told.value.fix
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", KINDS)
def test_withheld_they_are_in_no_byte_and_the_figures_are_the_same(telling, tmp_path, kind):
    packed(telling, kind, tmp_path / "a.zip", "--texts", "withhold")
    with zipfile.ZipFile(tmp_path / "a.zip") as zipped:
        for name in zipped.namelist():
            held = zipped.read(name).decode("utf-8").lower()
            for secret in ("quiet", "jetty", "115.51", "30.5'e", "8.352"):
                assert secret not in held, (name, secret)
    run("new", tmp_path / "new")
    run("records", "import", tmp_path / "new", tmp_path / "a.zip", *WHO, "--save", code=None)
    assert figures(tmp_path / "new") == figures(telling)
    with wiring.survey_store(tmp_path / "new", write=False) as store:
        zones = {one.zone for one in store.units()}
    assert len(zones) == 2
    assert "crest" in zones


def figures(folder: Path) -> list[str]:
    with wiring.survey_store(folder, write=False) as store:
        rows = survey_results(store, wiring.result_settings())
    assert len(rows) > 20
    return sorted(repr(replace(row, site="", zone="", unit_ids=())) for row in rows)


@pytest.mark.parametrize("kind", KINDS)
def test_as_written_they_leave_when_somebody_says_so(telling, tmp_path, kind):
    packed(telling, kind, tmp_path / "a.zip", "--texts", "as-written")
    with zipfile.ZipFile(tmp_path / "a.zip") as zipped:
        texts = "".join(zipped.read(name).decode("utf-8") for name in zipped.namelist())
    assert "swim in from Jetty Corner" in texts


@pytest.mark.parametrize("kind", KINDS)
def test_plain_words_stand_in_no_ones_way(tmp_path, kind):
    made = project(tmp_path / "b", PLAIN, ("crest", "outer slope"))
    packed(made, kind, tmp_path / "a.zip")
    assert (tmp_path / "a.zip").is_file()


def test_way_that_is_none_is_refused(telling, tmp_path):
    with pytest.raises(InputError, match="archive-texts"):
        packed(telling, "archive", tmp_path / "a.zip", "--texts", "perhaps")
