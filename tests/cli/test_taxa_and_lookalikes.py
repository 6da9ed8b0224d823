"""The genus data are checked, and genera are put side by side, from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

RUN = CliRunner()


def run(*words: object) -> tuple[int, str, str]:
    done = RUN.invoke(build_app(), [str(w) for w in words])
    return done.exit_code, done.stdout, done.stderr


def test_built_in_data_pass_their_check() -> None:
    code, out, err = run("taxa", "check", "--json")
    found = json.loads(out)
    assert (code, found["problems"], err) == (0, [], "")
    assert found["memory"]["n_states_memory"] < found["memory"]["n_states"]


def test_a_broken_row_of_a_project_is_told_with_line_and_column(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    (tmp_path / "taxa" / "states.csv").write_text(
        "genus,region,character,state,frequency,source\n"
        "Porites,atlantic,wall,poros,usual,own colonies\n",
        encoding="utf-8",
    )
    code, out, err = run("taxa", "check", "--project", tmp_path)
    assert code == 1
    assert "taxa/states.csv, line 2, column state" in err
    assert "porous" in err
    assert "Nothing separates" in out


def test_a_pair_of_a_project_that_does_not_differ_is_told_with_line_and_column(
    tmp_path: Path,
) -> None:
    (tmp_path / "taxa").mkdir()
    (tmp_path / "taxa" / "lookalikes.csv").write_text(
        "genus_a,genus_b,how_to_tell,characters,source\n"
        "Leptoria,Platygyra,Look at the wall.,wall,own colonies\n",
        encoding="utf-8",
    )
    (tmp_path / "taxa" / "genera.csv").write_text(
        "genus,family,group,region\nOwnia,Merulinidae,stony,indian_ocean\n", encoding="utf-8"
    )
    code, out, _ = run("taxa", "check", "--project", tmp_path, "--json")
    told = {(p["slug"], p["place"]) for p in json.loads(out)["problems"]}
    assert code == 1
    assert told == {
        ("taxa-lookalike-same", "taxa/lookalikes.csv, line 2, column characters"),
        ("taxa-genus-thin", "taxa/genera.csv, line 2"),
    }


def test_two_genera_side_by_side_fit_eighty_columns() -> None:
    for pair in (("Porites", "Montipora"), ("Halomitra", "Sandalolitha"), ("Diploria", "Favites")):
        code, out, _ = run("lookalikes", *pair, "--px-per-mm", 20)
        assert code == 0
        assert max(map(len, out.splitlines())) <= 80
        assert pair[0] in out


def test_hydrocorals_come_with_their_caution() -> None:
    _, out, _ = run("lookalikes", "Millepora", "Montipora")
    assert "Millepora stings" in out
    assert "plates, smooth plates, crusts" in out
    assert "Source: " in out
    code, listed, _ = run("lookalikes", "Porites")
    assert code == 0
    assert "Montipora" in listed
    assert "Caution" not in listed


@pytest.mark.parametrize(
    ("name", "does"),
    [
        ("Millepora", "stings"),
        ("Zoanthid", "can carry a strong poison"),
        ("Sea anemone", "stings"),
    ],
)
def test_list_of_one_begins_with_what_it_does_to_bare_skin(name: str, does: str) -> None:
    _, listed, _ = run("lookalikes", name)
    assert listed.startswith(f"Caution: {name} {does}. Touch nothing.\n")
    _, told, _ = run("lookalikes", name, "--json")
    assert json.loads(told)["caution"] == does


def test_genera_that_never_meet_are_told() -> None:
    code, out, err = run("lookalikes", "Diploria", "Platygyra", "--json")
    found = json.loads(out)
    assert code == 0
    assert [p["slug"] for p in found["problems"]] == ["lookalikes-never-meet"]
    assert "lookalikes-never-meet" in err
    assert found["genera"] == ["Diploria", "Platygyra"]


def test_json_says_what_a_photo_at_hand_could_show() -> None:
    _, out, _ = run("lookalikes", "Goniastrea", "Favites", "--px-per-mm", "8", "--json")
    rows = json.loads(out)["differs"]
    assert rows
    for row in rows:
        if row["needs_px_per_mm"]:
            assert row["in_photo"] == ("yes" if row["needs_px_per_mm"] <= 8 else "no")


def test_three_genera_are_wrong_usage() -> None:
    assert run("lookalikes", "Aa", "Bb", "Cc")[0] == 2


OWN_TABLES = {
    "regions.csv": "region,made_of,words\nour_bay,western_central_pacific,Our bay\n",
    "characters.csv": "character,question,seen_with,is_hard\nglow,Does it glow?,eye,no\n",
    "character_states.csv": "character,state,words\nglow,bright,bright green\nglow,dull,no glow\n",
    "genera.csv": "genus,family,group,region\nOwnia,Merulinidae,stony,our_bay\n",
    "states.csv": "genus,region,character,state,frequency,source\n"
    + "".join(
        f"Ownia,our_bay,{pair},usual,own colonies\n"
        for pair in (
            "growth_form,massive",
            "corallite_arrangement,cerioid",
            "wall,shared",
            "columella,spongy",
            "paliform_lobes,present",
            "septal_margin,fine_teeth",
            "tissue,thin",
            "glow,bright",
        )
    )
    + "Goniastrea,our_bay,glow,dull,usual,own colonies\n",
    "measures.csv": "genus,region,measure,low,usual_low,usual_high,high,unit,source\n"
    "Ownia,our_bay,corallite_diameter,2,3,5,6,mm,own colonies\n",
    "lookalikes.csv": "genus_a,genus_b,how_to_tell,characters,source\n"
    "Ownia,Goniastrea,Look for the glow.,glow,own colonies\n",
    "checklist.csv": "region,genus,source\nour_bay,Ownia,own\nour_bay,Goniastrea,own\n",
    "frequencies.csv": "region,genus,frequency,source\nour_bay,Ownia,3,counts\n",
}


def test_a_project_adds_all_kinds_of_tables(tmp_path: Path) -> None:
    (tmp_path / "taxa").mkdir()
    for name, text in OWN_TABLES.items():
        (tmp_path / "taxa" / name).write_text(text, encoding="utf-8")
    code, out, err = run("taxa", "check", "--project", tmp_path, "--json")
    assert (code, json.loads(out)["problems"], err) == (0, [], "")
    pair = ("lookalikes", "Ownia", "Goniastrea", "--region", "our_bay", "--project", tmp_path)
    code, out, err = run(*pair)
    assert (code, err) == (0, "")
    assert "Look for the glow." in out
    assert out.index("Does it glow?") < out.index("Much alike")


def refusal(*words: object) -> str:
    """Slug of the error that a command ends with, having printed nothing."""
    done = RUN.invoke(build_app(), [str(w) for w in words])
    assert done.stdout == ""
    assert isinstance(done.exception, InputError)
    return done.exception.slug


@pytest.mark.parametrize("words", [("taxa", "check"), ("lookalikes", "Favites")])
@pytest.mark.parametrize("folder", ["nowhere", "."])
def test_a_folder_that_is_no_project_is_refused(tmp_path: Path, words, folder) -> None:
    assert refusal(*words, "--project", tmp_path / folder) == "project-not-found"


def test_a_scale_needs_two_genera() -> None:
    code, _, err = run("lookalikes", "Favites", "--px-per-mm", "8")
    assert code == 2
    assert "belongs to two genera" in err


def test_a_scale_of_nothing_is_refused() -> None:
    words = ("lookalikes", "Favites", "Goniastrea", "--px-per-mm", "-3")
    assert refusal(*words) == "lookalikes-scale-not-positive"
