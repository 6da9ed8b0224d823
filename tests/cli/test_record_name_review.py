"""Noting corals, naming them, and the second observer, from the command line."""

from __future__ import annotations

import functools
import json
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.identification_rows import RecordRow
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import NameRequest, name_record
from dryslate.app.new import make_project
from dryslate.app.project_records import Original
from dryslate.app.records import MeasurementRow, Photo, PhotoFile, PhotoMetadata, Visit
from dryslate.app.review_draw import draw_queue
from dryslate.app.second_observer import look_again
from dryslate.app.settling import settle
from dryslate.cli.main import build_app

pytestmark = pytest.mark.usefixtures("tables_read_once")
SITE, DATE = "North wall", "2031-05-04"
PHOTO = "a" * 64


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [*map(str, words)])


def told(*words: object) -> list[dict[str, Any]]:
    done = run(*words, "--json")
    assert done.exit_code in (0, 3), done.output
    return [json.loads(line) for line in done.stdout.splitlines()]


def slug_of(*words: object) -> str:
    done = run(*words)
    assert done.exit_code != 0, done.output
    return str(done.exception)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project of the Indo-Pacific with one photo of two measured corals."""
    folder = tmp_path_factory.mktemp("made") / "trip"
    _, store = make_project(
        folder, wiring.project_folders(), lambda f: wiring.new_store(f, who="Ana")
    )
    with store:
        store.save_visit(Visit(visit_id=f"{SITE} {DATE}", site=SITE, date=DATE, observer="Ana"))
        for letter in "ab":
            sha = letter * 64
            store.save_original(
                Original(sha256=sha, size_bytes=1, kind="jpeg", kept_path=f"originals/{sha}.jpg")
            )
            file = PhotoFile(
                sha256=sha, original_name=f"IMG_{letter}.jpg", size_bytes=1, kind="jpeg"
            )
            store.save_photo(
                Photo(
                    photo_id=sha,
                    visit_id=f"{SITE} {DATE}",
                    files=(file,),
                    metadata=PhotoMetadata(),
                )
            )
        store.save_measurements(
            [
                MeasurementRow(
                    measurement_id=f"m{colony}",
                    photo_id=PHOTO,
                    colony=colony,
                    kind="corallites",
                    points_px=((0.0, 0.0), (9.0, 0.0)),
                    values={"corallite_mm": size, "corallite_mm_u": 0.2, "flags": []},
                    correction_key="k",
                    observer="Ana",
                )
                for colony, size in (("C1", 9.0), ("C2", 1.2))
            ]
        )
        store.save_region("indo_pacific")
    return folder


@pytest.fixture
def trip(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "trip")
    return tmp_path / "trip"


def note(trip: Path, colony: str, *more: object) -> dict[str, Any]:
    ask = ("record", trip, colony, "--photo", "IMG_a.jpg", "--observer", "Ana")
    return told(*ask, *more)[0]


def call(trip: Path, colony: str, name: str, *more: object, by: str = "Ana") -> dict[str, Any]:
    return told("name", trip, name, "--colony", colony, "--observer", by, *more)[0]


def test_coral_is_noted_with_its_measurements_and_no_form_is_made_up(trip: Path) -> None:
    row = note(trip, "C1")
    assert row["measurement_ids"] == ["mC1"]
    assert row["growth_form"] is row["is_juvenile"] is None
    named = call(trip, "C1", "Millepora", "--confidence", 5)
    assert named["name"] == "Millepora"
    (listed,) = told("record", trip)
    assert listed["growth_form"] is None
    assert (listed["name"], listed["status"]) == ("Millepora", "one observer")


def test_coral_without_a_photo_is_noted_with_its_sizes_and_how(trip: Path) -> None:
    ask = ("record", trip, "T17", "--visit", SITE, DATE, "--observer", "Ana")
    sizes = ("--by-eye", "colony_diameter=12 cm", "--by-ruler", "corallite_diameter=8±0.5")
    row = told(*ask, *sizes, "--place", "tape 12 m")[0]
    assert row["sizes_noted"]["colony_diameter"] == {"value_mm": 120.0, "u_mm": 24.0, "how": "eye"}
    assert row["place"] == "tape 12 m"
    words = run(*ask).stdout
    assert "corallite diameter 8.0 ± 0.5 mm by ruler" in " ".join(words.split())
    for size, slug in (
        ("height=3", "identify-measure-unknown"),
        ("colony_diameter", "identify-size-unclear"),
    ):
        assert slug in slug_of(*ask, "--by-eye", size)
    assert "record-size-class" in slug_of(*ask, "--juvenile")
    named = call(trip, "T17", "Pocillopora")
    assert named["conflicts"] == ["size"]  # cups of 8 mm, noted with a ruler


def test_noted_again_changes_what_is_said_and_nothing_stands_twice(trip: Path) -> None:
    first = note(trip, "C1", "--growth-form", "massive", "--note", "by the mooring")
    assert note(trip, "C1") == first
    later = note(trip, "C1", "--growth-form", "columnar", "--not-juvenile")
    assert (later["record_id"], later["growth_form"]) == (first["record_id"], "columnar")
    assert later["is_juvenile"] is False
    assert later["note"] == "by the mooring"
    assert len(told("record", trip)) == 1


def test_name_is_kept_as_recorded_with_the_current_ones_beside_it(trip: Path) -> None:
    note(trip, "C1")
    done = run(
        *("name", trip, "Favia pallida", "--colony", "C1", "--observer", "Ana"),
        *("--confidence", 4, "--at", "2031-05-04T19:00:00+07:00"),
        *("--looked-at", "IMG_a.jpg:10,20,110,220", "--json"),
    )
    row = json.loads(done.stdout)
    assert row["name_as_recorded"] == "Favia pallida"
    assert row["current_names"] == ["Dipsastraea", "Goniastrea"]
    assert row["question"].endswith("which?")
    assert "name-former" in done.stderr
    assert "name-species-kept" in done.stderr
    assert (row["p_stated"], row["confidence"]) == (0.9, 4)
    assert row["identified_at"] == "2031-05-04T19:00:00+07:00"
    assert row["photo_regions"] == [[PHOTO, 10.0, 20.0, 110.0, 220.0]]
    assert row["region"] == "indo_pacific"
    assert row["data_version"] == wiring.reference_tables().taxa()[0].version


def test_no_first_letters_are_stored_shown_or_exported(trip: Path) -> None:
    note(trip, "C1")
    assert call(trip, "C1", "acrop")["name_as_recorded"] == "Acropora"
    dump = "\n".join(sqlite3.connect(trip / "dryslate.sqlite").iterdump())
    assert "Acropora" in dump
    assert "'acrop'" not in dump
    assert "name-letters-ambiguous" in slug_of(
        "name", trip, "go", "--colony", "C1", "--observer", "Ana"
    )


def test_evidence_gives_the_models_probability_for_the_name(trip: Path) -> None:
    note(trip, "C1")
    seen = ("--seen", "axial_corallite=present", "--seen", "growth_form=tabular")
    likely = call(trip, "C1", "Acropora", *seen, "--not", "tissue=fleshy")
    unlikely = call(trip, "C1", "Porites", *seen, "--not", "tissue=fleshy")
    assert likely["probability"] > 0.8
    assert unlikely["probability"] < 0.1
    assert likely["evidence"]["seen"]["growth_form"] == ["tabular"]
    both = call(trip, "C1", "Acropora or Porites", *seen, "--not", "tissue=fleshy")
    assert both["probability"] == pytest.approx(likely["probability"] + unlikely["probability"])
    family = call(trip, "C1", "Acroporidae", *seen, "--not", "tissue=fleshy")
    assert family["probability"] >= likely["probability"]
    assert call(trip, "C1", "Acropora")["probability"] is None


def test_measured_size_and_region_that_speak_against_a_name_are_stored(trip: Path) -> None:
    note(trip, "C1")
    assert call(trip, "C1", "Porites")["conflicts"] == ["size"]
    assert call(trip, "C1", "Dipsastraea")["conflicts"] == []
    assert "region" in call(trip, "C1", "Diploria")["conflicts"]
    note(trip, "C1", "--juvenile")
    assert call(trip, "C1", "Porites")["conflicts"] == []


def test_history_keeps_every_name_and_the_same_words_again_add_none(trip: Path) -> None:
    note(trip, "C1")
    assert call(trip, "C1", "Favites", "--confidence", 3)["is_new"]
    assert not call(trip, "C1", "Favites", "--confidence", 3)["is_new"]
    assert call(trip, "C1", "Dipsastraea", "--confidence", 4)["is_new"]
    rows = told("record", trip, "C1", "--history")
    assert [r["name"] for r in rows] == ["Favites", "Dipsastraea"]
    words = run("record", trip, "C1", "--history").stdout
    assert "Favites; more likely right than not" in words


def test_a_qualifier_is_said_once_and_makes_no_other_name(trip: Path) -> None:
    note(trip, "C1")
    for written in ("cf. Favites", "Porites?", "aff. Favia"):
        call(trip, "C1", written)
    lines = run("record", trip, "C1", "--history").stdout.splitlines()
    assert [line.split(": ", 1)[1].split(";")[0] for line in lines] == [
        "cf. Favites",
        "Porites?",
        "aff. Favia (today: Dipsastraea or Goniastrea)",
    ]


def test_name_that_the_data_do_not_list_is_kept_only_when_asked_for(trip: Path) -> None:
    note(trip, "C1")
    ask = ("name", trip, "Xenoturbella", "--colony", "C1", "--observer", "Ana")
    assert "name-unknown" in slug_of(*ask)
    row = told(*ask, "--unlisted")[0]
    assert (row["name_as_recorded"], row["name"], row["rank"]) == ("Xenoturbella", "", "none")
    assert [(p["slug"], p["severity"]) for p in row["problems"]] == [("name-unknown", "note")]
    assert "Xenoturbella" in run("record", trip).stdout


def test_name_is_looked_up_without_a_record(trip: Path) -> None:
    assert told("name", trip, "stony coral, not known")[0]["rank"] == "order"
    done = run("name", trip, "Acropra")
    assert done.exit_code == 1
    assert "Acropora" in done.stdout
    assert "name-unknown" in done.stderr
    assert "today Orbicella or Montastraea" in run(
        "name", trip, "Montastrea", "--region", "western_atlantic"
    ).stdout.replace("Montastraea or Orbicella", "Orbicella or Montastraea")
    old = told("name", trip, "Goniastrea", "--old-sense")[0]
    assert "Coelastrea" in old["genera"]


def test_region_of_the_project_is_set_and_shown(trip: Path) -> None:
    assert told("region", trip) == [{"region": "indo_pacific"}]
    assert told("region", trip, "western_atlantic") == [{"region": "western_atlantic"}]
    note(trip, "C1")
    assert call(trip, "C1", "Montastrea")["region"] == "western_atlantic"
    assert "name-region-unknown" in slug_of("region", trip, "north")


ANA = ("--observer", "Ana")
IN_A = (*ANA, "--photo", "IMG_a.jpg")
C2 = ("name", "Porites", "--colony", "C2", *ANA)


@pytest.fixture(scope="module")
def noted(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project with two corals in one photo, and one of the same label in another."""
    folder = tmp_path_factory.mktemp("noted") / "trip"
    shutil.copytree(made, folder)
    note(folder, "C1")
    note(folder, "C2")
    told("record", folder, "C1", "--photo", "IMG_b.jpg", *ANA)
    return folder


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (("record", "C9", *ANA), "record-place-missing"),
        (("record", "C9", *ANA, "--photo", "IMG_z.jpg"), "record-photo-unknown"),
        (("record", "C9", *ANA, "--visit", SITE, "2031-05-09"), "visit-unknown"),
        (("record", "C1", *IN_A, "--growth-form", "masive"), "massive.*record-growth-form-unknown"),
        (("record", "C1", *IN_A, "--growth-form", "qqq"), "Known: .*massive"),
        (("record", "C1", "--observer", "ana", "--photo", "IMG_a.jpg"), "name-nearly"),
        (("record", "C1", *IN_A, "--at", "2031-05-04"), "time-without-offset"),
        (("name", "Porites", "--colony", "C9", *ANA), "record-unknown"),
        (("name", "Porites", "--colony", "C1", *ANA), "record-ambiguous"),
        ((*C2, "--looked-at", "IMG_a.jpg:1"), "name-looked-at"),
        ((*C2, "--seen", "wall=poros"), "identify-state-unknown"),
        ((*C2, "--seen", "wall"), "identify-option-unclear"),
        (("review", "draw", *ANA, "--share", "1.5"), "review-share"),
    ],
)
def test_what_cannot_be_stored_is_refused_with_its_reason(
    noted: Path, words: tuple[str, ...], slug: str
) -> None:
    n = 2 if words[0] == "review" else 1
    done = run(*words[:n], noted, *words[n:])
    assert done.exit_code != 0
    assert done.exception is not None
    assert re.search(slug, str(done.exception)), done.exception


def test_two_photos_of_one_name_and_two_visits_are_told_apart(trip: Path) -> None:
    with wiring.survey_store(trip, write=True) as store:
        store.save_visit(
            Visit(visit_id="Other 2031-05-05", site="Other", date="2031-05-05", observer="Ana")
        )
        sha = "c" * 64
        store.save_original(Original(sha256=sha, size_bytes=1, kind="jpeg", kept_path="x.jpg"))
        file = PhotoFile(sha256=sha, original_name="IMG_a.jpg", size_bytes=1, kind="jpeg")
        store.save_photo(
            Photo(
                photo_id=sha, visit_id="Other 2031-05-05", files=(file,), metadata=PhotoMetadata()
            )
        )
    ask = ("record", trip, "C5", "--observer", "Ana", "--photo")
    assert "record-photo-ambiguous" in slug_of(*ask, "IMG_a.jpg")
    assert "record-visit-differs" in slug_of(*ask, sha, "--visit", SITE, DATE)
    assert told(*ask, sha[:12])[0]["visit_id"] == "Other 2031-05-05"


def test_nobody_saves_without_saying_who(trip: Path) -> None:
    for words in (("record", trip, "C1", "--photo", "IMG_a.jpg"), ("review", "draw", trip)):
        assert run(*words).exit_code == 2


def doubtful(trip: Path) -> None:
    """Three doubtful names by Ana."""
    for colony, name in (("C1", "Favites"), ("C2", "Porites"), ("C3", "cannot tell")):
        note(trip, colony, "--note", f"looks like {name} to me")
        call(trip, colony, name, "--confidence", 2, "--seen", "coloniality=colonial")


def test_coral_waits_for_nobody_while_its_photo_is_set_aside(trip: Path) -> None:
    doubtful(trip)
    who = ("--observer", "Ana")
    assert run("set-aside", trip, "IMG_a.jpg", "--reason", "blurred", *who).exit_code == 0
    drawn = told("review", "draw", trip, *who)[0]
    assert (drawn["n_candidates"], drawn["n_waiting"]) == (0, 0)
    assert run("set-aside", trip, "IMG_a.jpg", "--take-back", *who).exit_code == 0
    assert told("review", "draw", trip, *who)[0]["n_waiting"] == 3
    run("set-aside", trip, "IMG_a.jpg", "--reason", "blurred", *who)
    assert run("review", "look", trip, "--observer", "Tevi", "--json").stdout == ""


def test_second_observer_is_shown_the_coral_and_nothing_of_its_name(trip: Path) -> None:
    doubtful(trip)
    call(trip, "C1", "Favites", "--confidence", 1, "--looked-at", "IMG_a.jpg:10,20,110,220")
    drawn = told("review", "draw", trip, "--observer", "Ana")[0]
    assert (drawn["n_candidates"], drawn["n_drawn"], drawn["n_waiting"]) == (3, 3, 3)
    shown = run("review", "look", trip, "--observer", "Tevi", "--json").stdout
    plain = run("review", "look", trip, "--observer", "Tevi").stdout
    rows = [json.loads(line) for line in shown.splitlines()]
    assert {r["colony"] for r in rows} == {"C1", "C2", "C3"}
    of_c1 = next(r for r in rows if r["colony"] == "C1")
    assert of_c1["photo"] == "IMG_a.jpg"
    assert of_c1["photo_regions"] == [[PHOTO, 10.0, 20.0, 110.0, 220.0]]
    assert of_c1["measured"][0]["corallite_mm"] == 9.0
    for secret in ("Favites", "Porites", "cannot", "looks like", "confid", "prob", "Ana", "reason"):
        assert secret not in shown
        assert secret not in plain
    assert told("review", "look", trip, "--observer", "Ana") == []


def test_agreement_and_disagreement_are_stored_and_a_third_decides(trip: Path) -> None:
    doubtful(trip)
    told("review", "draw", trip, "--observer", "Ana")
    by_tevi = ("--observer", "Tevi", "--confidence", 4)
    wrong = run("review", "answer", trip, "C1", "Goniastrea", *by_tevi, "--json")
    found = json.loads(wrong.stdout)
    assert (found["is_agreed"], found["rank_shared"], found["agreed_at"]) == (
        False,
        "genus",
        "family",
    )
    assert "Favites" not in wrong.stdout
    wide = told("review", "answer", trip, "C2", "Poritidae", *by_tevi)[0]
    assert (wide["relation"], wide["settled_name"]) == ("coarser", "")
    none = told("review", "answer", trip, "C3", "Porites", *by_tevi)[0]
    assert (none["is_agreed"], none["relation"]) == (None, "finer")
    left = told("review", "open", trip)
    assert sorted((r["colony"], r["state"], tuple(r["names"])) for r in left) == [
        ("C1", "open", ("Favites", "Goniastrea")),
        ("C2", "coarser", ("Porites", "Poritidae")),
        ("C3", "finer", ("Porites", "cannot tell")),
    ]
    assert "not confirmed" in run("review", "open", trip).stdout
    third = ("--observer", "Ioane", "--confidence", 5)
    settled = told("review", "settle", trip, "C1", "Goniastrea", *third)[0]
    assert settled["settled_name"] == "Goniastrea"
    assert (
        told("review", "settle", trip, "C1", "Goniastrea", *third)[0]["outcome_id"]
        == (settled["outcome_id"])
    )
    names = told("record", trip, "C1", "--history")
    assert [(r["role"], r["name"]) for r in names] == [
        ("first", "Favites"),
        ("second", "Goniastrea"),
        ("third", "Goniastrea"),
    ]
    status = {r["colony"]: (r["name"], r["status"]) for r in told("record", trip)}
    assert status["C1"] == ("Goniastrea", "settled")
    assert status["C2"] == ("Porites", "coarser")
    assert status["C3"][1] == "finer"
    rate = " ".join(run("review", "rate", trip).stdout.split())
    assert "3 corals were looked at twice: 0 the same name, 1 a coarser one" in rate


def test_the_two_settle_together_and_a_settled_coral_is_opened_again(trip: Path) -> None:
    doubtful(trip)
    told("review", "draw", trip, "--observer", "Ana")
    told("review", "answer", trip, "C1", "Goniastrea", "--observer", "Tevi")
    decide = ("review", "settle", trip, "C1", "Goniastrea", "--observer", "Tevi", "--with")
    assert "review-not-the-two" in slug_of(*decide, "Tevi")
    assert "review-nothing-settled" in slug_of("review", "reopen", trip, "C1", "--observer", "Ana")
    assert told(*decide, "Ana")[0]["settled_how"] == "together"
    history = run("record", trip, "C1", "--history").stdout
    assert "Ana and Tevi (together): Goniastrea" in history
    words = run("review", "reopen", trip, "C1", "--observer", "Ana").stdout
    assert "C1: open again." in words
    assert [r["state"] for r in told("review", "open", trip)] == ["reopened"]


def test_looks_that_would_not_be_blind_or_decide_nothing_are_refused(trip: Path) -> None:
    doubtful(trip)
    ask = ("review", "answer", trip, "C1", "Favites", "--observer")
    assert "review-not-waiting" in slug_of(*ask, "Tevi")
    told("review", "draw", trip, "--observer", "Ana")
    assert "review-same-observer" in slug_of(*ask, "Ana")
    assert "name-nearly" in slug_of(*ask, "ana")
    decide = ("review", "settle", trip, "C1", "Favites", "--observer")
    assert "review-nothing-open" in slug_of(*decide, "Ioane")
    first = told(*ask, "Tevi")[0]
    assert told(*ask, "Tevi")[0]["outcome_id"] == first["outcome_id"]
    assert "review-not-waiting" in slug_of(*ask, "Ioane")
    assert "review-nothing-open" in slug_of(*decide, "Ioane")
    told("review", "answer", trip, "C2", "Acropora", "--observer", "Tevi")
    other = ("review", "settle", trip, "C2", "Porites", "--observer")
    assert "review-same-observer" in slug_of(*other, "Tevi")
    told(*other, "Ioane")
    assert "review-nothing-open" in slug_of(*other, "Leilani")
    n = len(told("record", trip, "C2", "--history"))
    assert n == 3


NOW = "2031-05-05T08:00:00Z"


@functools.cache
def identifier() -> Identifier:
    return Identifier(wiring.reference_tables())


def fill(trip: Path, names: list[tuple[str, int]], probability: float | None = None) -> None:
    """Records H0, H1, ... named by Ana, each with a confidence."""
    with wiring.survey_store(trip, write=True) as store, store.write():
        for n, (name, confidence) in enumerate(names):
            row = RecordRow(
                record_id=f"{n:064x}"[::-1],
                colony=f"H{n}",
                visit_id=f"{SITE} {DATE}",
                observer="Ana",
                noted_at=NOW,
            )
            store.save_record(row)
            ask = NameRequest(
                record=row.colony,
                name=name,
                observer="Ana",
                confidence=confidence,
                probability=probability,
            )
            name_record(store, identifier(), ask, NOW)


def test_each_name_takes_part_in_one_draw_only(trip: Path) -> None:
    fill(trip, [("Porites", 5)] * 20)
    first = told("review", "draw", trip, *ANA, "--seed", 3)[0]
    assert (first["n_candidates"], first["n_drawn"], first["n_random"]) == (20, 2, 2)
    assert first["random_p_drawn"] == 0.1
    again = told("review", "draw", trip, *ANA, "--seed", 3)[0]
    assert (again["n_candidates"], again["n_drawn"], again["n_waiting"]) == (0, 0, 2)
    with wiring.survey_store(trip, write=False) as store:
        assert len(store.review_draws()) == 1
        assert len(store.review_chances()) == 20


def test_hit_rate_is_stated_from_fifty_verified_corals_on(trip: Path) -> None:
    fill(trip, [("Favites", 3)] * 50, probability=0.75)
    with wiring.survey_store(trip, write=True) as store, store.write():
        draw_queue(store, "Ana", NOW)
        for n in range(50):
            said = "Favites" if n < 40 else "Porites"
            ask = NameRequest(record=f"H{n}", name=said, observer="Tevi", confidence=4)
            look_again(store, identifier(), ask, NOW)
    assert "40 verified corals; from 50 on" in run("review", "rate", trip).stdout
    with wiring.survey_store(trip, write=True) as store, store.write():
        for n in range(40, 50):
            ask = NameRequest(record=f"H{n}", name="Porites", observer="Ioane")
            settle(store, identifier(), ask, NOW)
    rate = told("review", "rate", trip)[0]
    assert (rate["n"], rate["n_hits"], rate["rate"]) == (50, 40, 0.8)
    assert rate["rate_lo95"] == pytest.approx(0.6696, abs=5e-4)  # Wilson, 40 of 50
    assert rate["rate_hi95"] == pytest.approx(0.8876, abs=5e-4)
    assert rate["mean_probability"] == 0.75
    assert rate["keys"] == [{"confidence": 3, "p_stated": 0.7, "n": 50, "n_right": 40}]
    words = run("review", "rate", trip).stdout
    assert "80% of the team's first names hold" in words
    assert "75%" in words


KILLED = """
import json, os, signal, sys
from dryslate.cli.main import main
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.store.sqlite import SqliteSurveyStore
import dryslate.app.settling, dryslate.app.note_records, dryslate.cli.identify_run
read = FileReferenceTables(None).taxa()  # once, before the forks
FileReferenceTables.taxa = lambda self: read
left = 0
def point():
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
for name in ("save_record", "save_identification", "save_review_draw", "save_review_outcome"):
    def wrapped(self, *args, _kept=getattr(SqliteSurveyStore, name)):
        point()
        with self.write():
            _kept(self, *args)
            point()
        point()
    setattr(SqliteSurveyStore, name, wrapped)
def in_child(at, words):
    global left
    child = os.fork()
    if child == 0:
        left, sys.argv = at, ["dryslate", *words]
        try:
            main()
        except SystemExit as error:
            os._exit(error.code or 0)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    return -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
ends = []
for words in json.loads(sys.argv[1]):
    for at in (2, 3, 5):
        ends.append(in_child(at, words))
    ends.append(in_child(0, words))
sys.stderr.write("\\n" + json.dumps(ends))
"""


def state_of(trip: Path) -> list[Any]:
    """Every row without times, ids of which hold them, and numbers of the log."""
    with wiring.survey_store(trip, write=False) as store:
        return [
            [(r.colony, r.growth_form) for r in store.records()],
            [(i.record_id, i.role, i.name, i.observer) for i in store.identifications()],
            [(c.record_id, c.p_drawn, c.is_drawn) for c in store.review_chances()],
            [(o.record_id, o.is_agreed, o.settled_name) for o in store.review_outcomes()],
        ]


def test_killed_anywhere_and_run_again_ends_the_same_with_nothing_twice(
    trip: Path, tmp_path: Path
) -> None:
    steps: list[tuple[str, ...]] = [
        ("record", "C1", "--photo", "IMG_a.jpg", "--growth-form", "massive", "--observer", "Ana"),
        ("name", "Favites", "--colony", "C1", "--confidence", "2", "--observer", "Ana"),
        ("review", "draw", "--observer", "Ana"),
        ("review", "answer", "C1", "Porites", "--observer", "Tevi"),
        ("review", "settle", "C1", "Favites", "--observer", "Ioane"),
    ]

    def with_folder(step: tuple[str, ...], folder: Path) -> list[str]:
        n = 2 if step[0] == "review" else 1
        return [*step[:n], str(folder), *step[n:]]

    shutil.copytree(trip, tmp_path / "plain")
    for step in steps:
        assert run(*with_folder(step, tmp_path / "plain")).exit_code == 0
    asked = json.dumps([with_folder(step, trip) for step in steps])
    done = subprocess.run(
        [sys.executable, "-c", KILLED, asked], capture_output=True, check=True, timeout=120
    )
    ends = json.loads(done.stderr.decode().splitlines()[-1])
    ended = [ends[i : i + 4] for i in range(0, len(ends), 4)]
    assert [row[0] for row in ended] == [-signal.SIGKILL] * len(steps)  # inside the transaction
    assert [row[-1] for row in ended] == [0] * len(steps)
    assert state_of(trip) == state_of(tmp_path / "plain")
