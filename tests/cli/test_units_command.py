"""``dryslate units`` and ``set-aside`` from the command line, on a small project."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

VISIT = ("--visit", "Lantern Steps", "2024-03-09")
WHO = ("--observer", "Ines Varro")


@pytest.fixture
def trip(web_project: Path, tmp_path: Path) -> Path:
    """A copy of the small project."""
    return Path(shutil.copytree(web_project, tmp_path / "trip"))


def run(*words: object, code: int = 0) -> str:
    """Run a command; returns what it printed."""
    result = CliRunner().invoke(build_app(), [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.stdout


def test_slate_starts_a_unit_and_what_follows_is_joined_only_when_saved(trip) -> None:
    said = ("--name", "T1", "--kind", "transect", "--zone", "crest", "--depth-m", "8", "0.5")
    told = run("units", "slate", trip, "DRY_0001.JPG", *said, *WHO)
    assert "T1 is new." in told
    looked = run("units", "join", trip, *VISIT, "--gap-min", "1440")
    assert "Would be joined" in looked
    assert "say --save and --observer" in looked
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.unit_photos()) == 1
    saved = json.loads(
        run("units", "join", trip, *VISIT, "--gap-min", "1440", "--save", *WHO, "--json")
    )
    with wiring.survey_store(trip, write=False) as store:
        joined = {j.photo_id for j in store.unit_photos() if j.how == "time"}
        assert joined == {c["photo_id"] for c in saved["changes"]}
        assert store.changes("unit_photos")[-1].who == "Ines Varro"
    assert "Nothing changes." in run("units", "join", trip, *VISIT, "--gap-min", "1440")


def test_units_are_listed_changed_moved_and_taken_out(trip) -> None:
    run("units", "new", trip, "P1", *VISIT, "--photo", "DRY_0002.JPG", *WHO, "--json")
    run("units", "change", trip, "p1", "--kind", "permanent plot", "--note", "re-tagged", *WHO)
    run("units", "move", trip, "DRY_0003.JPG", "--unit", "P1", *WHO)
    (listed,) = (json.loads(x) for x in run("units", "list", trip, "--json").splitlines())
    assert (listed["name"], listed["kind"], listed["note"]) == (
        "P1",
        "permanent_plot",
        "re-tagged",
    )
    assert sorted(listed["photos"]) == ["DRY_0002.JPG", "DRY_0003.JPG"]
    assert listed["n_by_hand"] == 2
    assert "permanent plot" in run("units", "list", trip)
    assert "no unit" in run("units", "move", trip, "DRY_0003.JPG", "--none", *WHO)
    assert "no unit." in run("units", "move", trip, "DRY_0003.JPG", "--by-time", *WHO)
    run("units", "move", trip, "DRY_0003.JPG", *WHO, code=2)
    run("units", "remove", trip, "P1", *WHO)
    assert run("units", "list", trip, "--json") == ""


def test_slate_photographed_again_and_no_slate_after_all(trip) -> None:
    run("units", "slate", trip, "DRY_0001.JPG", "--name", "T1", *WHO)
    with pytest.raises(InputError, match="unit-name-taken"):
        run("units", "slate", trip, "DRY_0002.JPG", "--name", "T1", *WHO)
    run("units", "slate", trip, "DRY_0002.JPG", "--unit", "T1", *WHO)
    (listed,) = (json.loads(x) for x in run("units", "list", trip, "--json").splitlines())
    assert listed["slates"] == ["DRY_0001.JPG", "DRY_0002.JPG"]
    run("units", "slate", trip, "DRY_0002.JPG", "--not-slate", *WHO)
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.unit_photos()) == 1


def test_photo_set_aside_is_not_corrected_unless_it_is_named(trip) -> None:
    told = run("set-aside", trip, "DRY_0002.JPG", "--reason", "blurred", *WHO)
    assert "1 photo set aside; nothing is deleted." in told
    again = ("correct", "--project", trip, "--port", "dome", "--json")
    done = [json.loads(line) for line in run(*again).splitlines()]
    names = {Path(one["photo"]).name for one in done if "photo" in one}
    assert "DRY_0002.JPG" not in names
    assert len(names) == 3
    named = run("correct", "DRY_0002.JPG", *again[1:])
    assert "DRY_0002.JPG" in named
    run("set-aside", trip, "DRY_0002.JPG", "--take-back", *WHO)
    with wiring.survey_store(trip, write=False) as store:
        assert store.photos_set_aside() == ()
    run("set-aside", trip, "DRY_0002.JPG", *WHO, code=2)


def test_photos_set_aside_and_what_was_measured_in_them_leave_the_report(trip) -> None:
    from dryslate.app.report import collect_report

    def collected():
        with wiring.survey_store(trip, write=False) as store:
            return collect_report(wiring.report_bench(trip, store, Quiet()))

    before = collected()
    assert {c.photo_name for c in before.corals} > {"DRY_0001.JPG"}
    run("set-aside", trip, "DRY_0001.JPG", "--reason", "other", "--note", "the bar slid", *WHO)
    after = collected()
    names = {p.name for v in after.visits for p in v.photos}
    assert names == {"DRY_0002.JPG", "DRY_0003.JPG", "DRY_0006.JPG"}
    assert "DRY_0001.JPG" not in {c.photo_name for c in after.corals}
    assert {c.photo_name for c in after.named} <= names
    assert after.aside == {"other": 1}
    run("report", trip)
    assert "Set aside and in none of these numbers: 1 for another reason" in (
        trip / "reports" / "report.html"
    ).read_text("utf-8")


class Quiet:
    """A progress that shows nothing."""

    def start(self, what: str, total: int | None) -> None: ...
    def step(self, n: int = 1, note: str = "") -> None: ...
    def done(self) -> None: ...


def test_slate_without_a_card_is_no_problem_of_a_run(trip, tmp_path) -> None:
    from PIL import Image

    plain = tmp_path / "card"
    plain.mkdir()
    Image.new("RGB", (320, 240), (220, 220, 210)).save(plain / "SLATE.JPG")
    run("take", plain, "--into", trip, *VISIT, *WHO)
    alone = ("correct", "SLATE.JPG", "--project", trip)
    assert "as is usual" not in run(*alone, code=3)
    run("units", "slate", trip, "SLATE.JPG", "--name", "T1", *WHO)
    told = run(*alone)
    assert "1 more show a slate and no card, as is usual." in told
    assert "Not corrected" not in told
