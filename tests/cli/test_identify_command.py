"""``dryslate identify`` as people and scripts use it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.app.team_hit_rate import TeamHitRate
from dryslate.cli.main import build_app
from dryslate.core.identify.hit_rate import Verified, measure_hit_rate

RUN = CliRunner()
KEYS = {
    "region",
    "verdict",
    "rank",
    "qualifier",
    "ranked",
    "set95",
    "also_fit",
    "next",
    "problems",
}
BOULDER = ("--seen", "growth_form=massive", "--seen", "corallite_arrangement=cerioid")


def run(*words: object, said: str | bytes | None = None) -> tuple[int, str, str]:
    done = RUN.invoke(build_app(), ["identify", *map(str, words)], input=said)
    return done.exit_code, done.stdout, done.stderr


def process(*words: str, said: bytes | None = None, cwd: Path | None = None) -> Any:
    return subprocess.run(
        [sys.executable, "-m", "dryslate.cli.main", "identify", *words],
        input=said,
        stdin=subprocess.DEVNULL if said is None else None,
        cwd=cwd,
        capture_output=True,
        check=False,
        env={**os.environ, "OMP_NUM_THREADS": "1", "PYTHONIOENCODING": "utf-8"},
    )


def test_one_coral_from_evidence_in_a_process_of_its_own(tmp_path: Path) -> None:
    done = process(
        *("--region", "indo_pacific", *BOULDER),
        *("--not", "axial_corallite=present", "--size", "corallite_diameter=7.5±0.4", "--json"),
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert set(answer) >= KEYS
    assert set(answer["ranked"][0]) >= {"genus", "family", "probability", "for", "against"}
    assert set(answer["next"][0]) == {"character", "question", "expected_bits", "seen_with"}
    assert answer["set95"][0] == answer["ranked"][0]["genus"]
    assert sum(r["probability"] for r in answer["ranked"]) <= 1.001
    asked = {n["character"] for n in answer["next"]}
    assert not asked & {"growth_form", "corallite_arrangement", "corallite_diameter"}
    assert list(tmp_path.iterdir()) == []


def test_plus_minus_may_be_typed_on_any_keyboard() -> None:
    answers = [
        json.loads(run(*BOULDER, "--size", f"corallite_diameter={s}", "--json")[1])
        for s in ("7.5±0.4", "7.5+-0.4", "7.5+-0.4mm", "0.75+-0.04 cm")
    ]
    assert all(a["ranked"] == answers[0]["ranked"] for a in answers)


def test_words_fit_eighty_columns_and_keep_probabilities_one_step_behind() -> None:
    code, out, err = run(*BOULDER, "--size", "corallite_diameter=7.5+-0.4")
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "probability" not in out
    assert "log-odds" not in out
    assert "Region: indo_pacific (taken because none was given)." in out
    code, why, _ = run(*BOULDER, "--why")
    assert code == 0
    assert max(map(len, why.splitlines())) <= 80
    assert "probability" in why
    assert "log-odds" in why
    assert "rests on memory" in " ".join(why.split())


def test_hydrocorals_come_with_their_caution() -> None:
    _, out, _ = run("--seen", "tentacle_form=dactylozooids")
    assert "Caution: Millepora stings. Touch nothing." in out
    _, told, _ = run("--seen", "tentacle_form=dactylozooids", "--json")
    assert "Millepora stings" in json.loads(told)["cautions"]


def test_every_fault_is_told_at_once_and_nothing_is_guessed() -> None:
    code, out, err = run(
        *("--region", "atlntic", "--seen", "growth_form=massiv", "--seen", "x"),
        *("--not", "septa_cuont=up_to_12", "--size", "corallite_diameter=3 inch", "--json"),
    )
    answer = json.loads(out)
    assert code == 1
    assert set(answer) >= KEYS
    assert (answer["verdict"], answer["ranked"]) == (None, [])
    assert {p["slug"] for p in answer["problems"]} == {
        "identify-region-unknown",
        "identify-state-unknown",
        "identify-character-unknown",
        "identify-option-unclear",
        "identify-size-unit",
    }
    fixes = " ".join(p["fix"] for p in answer["problems"])
    assert "massive" in fixes
    assert "septa_count" in fixes
    assert err.count("error:") == 5


def test_seven_and_a_half_centimetres_of_a_calice_are_asked_about() -> None:
    code, out, _ = run(
        *(*BOULDER, "--seen", "coloniality=colonial"),
        *("--size", "corallite_diameter=7.5cm", "--json"),
    )
    slugs = {p["slug"]: p for p in json.loads(out)["problems"]}
    assert code == 3
    assert "7.5 mm" in slugs["identify-size-centimetres"]["fix"]
    _, out, _ = run(*BOULDER, "--size", "corallite_diameter=75", "--json")
    assert "7.5 mm" in json.loads(out)["problems"][0]["fix"]
    alone = ("--seen", "coloniality=solitary", "--size", "corallite_diameter=7.5cm")
    assert "identify-size-centimetres" not in run(*alone, "--json")[1]


def test_states_that_cannot_go_together_are_told() -> None:
    code, out, _ = run(
        "--seen", "attachment=attached", "--seen", "attachment=free_living", "--json"
    )
    assert code == 3
    assert "identify-states-exclude" in out


def test_evidence_that_excludes_everything_names_what_to_look_at_again() -> None:
    code, out, err = run(
        *("--seen", "axial_corallite=present", "--seen", "corallite_arrangement=meandroid"),
        *("--seen", "tentacle_form=dactylozooids"),
    )
    assert code == 3
    assert "identify-nothing-has-all" in err
    assert "without" in err
    assert out


@pytest.mark.parametrize(
    "words",
    [
        ("-",),
        ("-", "--json", "--seen", "tissue=thin"),
        ("photo.jpg",),
        ("--photo", "one.jpg"),
        ("--corallites", "one.csv"),
        ("--measured", "septum", *BOULDER),
    ],
)
def test_command_lines_that_contradict_themselves_are_refused(words: tuple[str, ...]) -> None:
    assert run(*words)[0] == 2


def test_project_brings_its_own_region_frequencies_and_genera(tmp_path: Path) -> None:
    assert RUN.invoke(build_app(), ["new", str(tmp_path / "trip")]).exit_code == 0
    taxa = tmp_path / "trip" / "taxa"
    taxa.mkdir()
    (taxa / "regions.csv").write_text(
        "region,made_of,words\nhome_bay,indian_ocean,our bay\n", encoding="utf-8"
    )
    (taxa / "frequencies.csv").write_text(
        "region,genus,frequency,source\nhome_bay,Favites,50,own\nhome_bay,Goniastrea,1,own\n",
        encoding="utf-8",
    )
    code, out, err = run(*BOULDER, "--project", tmp_path / "trip", "--json")
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert (answer["region"], answer["region_stated"]) == ("home_bay", True)
    assert answer["ranked"][0]["genus"] == "Favites"
    assert "Local frequencies" in answer["prior"]
    with wiring.survey_store(tmp_path / "trip", write=True) as store:
        store.save_region("western_atlantic")
    stated = json.loads(run(*BOULDER, "--project", tmp_path / "trip", "--json")[1])
    assert (stated["region"], stated["region_stated"]) == ("western_atlantic", True)
    plain = json.loads(run(*BOULDER, "--json")[1])
    assert (plain["region"], plain["region_stated"]) == ("indo_pacific", False)


def test_broken_row_of_a_project_is_told_and_the_rest_is_used(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    (tmp_path / "taxa" / "states.csv").write_bytes(b"genus,region\n\xff\xfe\n")
    code, out, err = run(*BOULDER, "--project", tmp_path)
    assert code == 3
    assert "taxa-not-utf8" in err
    assert "Possible" in out


def test_how_often_genera_are_met_is_said_and_can_be_left_out() -> None:
    as_met = json.loads(run(*BOULDER, "--json")[1])
    equal = json.loads(run(*BOULDER, "--all-equal", "--json")[1])
    assert "a judgement" in as_met["prior"]
    assert "equally common" in equal["prior"]
    assert as_met["ranked"] != equal["ranked"]


def test_folder_that_is_no_project_is_refused_and_not_passed_over(tmp_path: Path) -> None:
    done = process(*BOULDER, "--project", str(tmp_path))
    assert done.returncode == 1
    assert b"project-not-found" in done.stderr
    assert done.stdout == b""


def test_team_hit_rate_stands_beside_the_probability_once_it_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trip = tmp_path / "trip"
    assert RUN.invoke(build_app(), ["new", str(trip)]).exit_code == 0
    assert "team" not in json.loads(run(*BOULDER, "--project", trip, "--json")[1])
    for n, is_shown in ((49, False), (60, True)):
        verified = [Verified(is_hit=i % 4 > 0, p_drawn=1.0) for i in range(n)]
        rate = TeamHitRate(hit_rate=measure_hit_rate(verified), keys=(), brier=None, n_not_genus=0)
        monkeypatch.setattr("dryslate.app.team_hit_rate.team_hit_rate", lambda _, r=rate: r)
        answer = json.loads(run(*BOULDER, "--project", trip, "--json")[1])
        assert ("team" in answer) == is_shown
        why = run(*BOULDER, "--project", trip, "--why")[1]
        assert ("75%" in why) == is_shown
        assert "75%" not in run(*BOULDER, "--project", trip)[1]
