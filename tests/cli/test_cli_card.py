"""The card commands, in process: answers, files, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app

APP = build_app()


def run(*words, code=0):
    """Run a command; what it raises on purpose passes through."""
    done = CliRunner().invoke(APP, ["card", *[str(w) for w in words]])
    if isinstance(done.exception, DryslateError):
        raise done.exception
    assert done.exit_code == code, done.output
    return done.stdout


def refused(*words) -> str:
    with pytest.raises(DryslateError) as caught:
        run(*words)
    return caught.value.slug


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_show_prints_the_keys_that_scripts_rely_on() -> None:
    shown = json.loads(run("show", "--json"))
    assert list(shown) == [
        "name", "width_mm", "height_mm", "status", "medium", "print_scale_u_frac", "patches",
        "markers",
    ]  # fmt: skip
    assert (shown["name"], shown["status"], shown["medium"]) == ("field", "nominal", "air")
    assert list(shown["patches"][0]) == [
        "id", "x_mm", "y_mm", "width_mm", "height_mm", "role", "lab_d65",
    ]  # fmt: skip
    assert {p["role"] for p in shown["patches"]} == {"neutral", "colour"}
    assert len(shown["markers"]) == 4


def test_list_and_show_speak_to_people_too() -> None:
    assert "target24" in run("list")
    assert len(run("list", "--json").splitlines()) >= 5
    text = run("show", "--card", "target24")
    assert "r1c1" in text
    assert "measured" in text


def test_unknown_card_is_refused() -> None:
    assert refused("show", "--card", "nix") == "card-unknown"


def test_print_writes_the_named_pdf(here) -> None:
    done = json.loads(run("print", "--paper", "Letter", "--serial", "A17", "--json"))
    assert (here / "card-field-letter.pdf").read_bytes().startswith(b"%PDF")
    assert done == {
        "card": "field",
        "paper": "letter",
        "serial": "A17",
        "path": "card-field-letter.pdf",
    }


def test_picture_is_exactly_the_card_with_its_resolution(here) -> None:
    from dryslate.core.card.rendering import render_picture
    from dryslate.files.reference_tables import FileReferenceTables

    run("picture", "--card", "stick", "--dpi", "600", "-o", "s.png")
    with Image.open("s.png") as image:
        assert image.size == (round(60 / 25.4 * 600), round(15 / 25.4 * 600))
        assert image.info["dpi"] == pytest.approx((600, 600), abs=0.02)
        assert image.info["srgb"] == 0
        pixels = np.array(image)
    card = FileReferenceTables().card("stick")
    assert np.array_equal(pixels, render_picture(card, 600 / 25.4))
    assert refused("picture", "--dpi", "9999") == "dpi-out-of-range"
    assert refused("picture", "--card", "large", "--dpi", "2400") == "dpi-out-of-range"


def test_buoyancy_answers_in_grams_with_doubt() -> None:
    done = json.loads(run("buoyancy", "--size", "210x297x4", "--json"))
    assert done["lift_g"] == pytest.approx(249.48 * (1.0231 - 0.905), rel=0.01)
    assert done["lift_g_u"] > 0
    assert done["steel_g_lo"] < done["steel_g"] < done["steel_g_hi"]
    assert "stainless" in run("buoyancy")
    assert refused("buoyancy", "--material", "cheese") == "material-unknown"
    assert refused("buoyancy", "--size", "0x10x10") == "board-size-not-positive"
    assert refused("buoyancy", "--with", "200:lead") == "board-sinks-already"
    run("buoyancy", "--size", "wide", code=2)
    run("buoyancy", "--with", "much:lead", code=2)


def readings(path: Path, head: str, rows: list[str]) -> Path:
    path.write_text("\n".join([head, "patch_id,lab_l,lab_a,lab_b", *rows]) + "\n", "utf-8")
    return path


def rows_of(card: str = "field") -> list[str]:
    shown = json.loads(run("show", "--card", card, "--json"))
    return [f"{p['id']},{','.join(str(v) for v in p['lab_d65'])}" for p in shown["patches"]]


def test_readings_become_a_measured_card_of_the_project(here) -> None:
    rows = rows_of()
    file = readings(here / "r.csv", "# illuminant: D65", rows + rows)
    done = json.loads(
        run("characterise", "--readings", file, "--project", here, "--serial", "A17", "--json")
    )
    assert (done["status"], done["medium"], done["serial"]) == ("measured", "air", "A17")
    assert all(p["n"] == 2 and min(p["lab_u"]) > 0 for p in done["patches"])
    shown = json.loads(run("show", "--project", here, "--json"))
    assert shown["status"] == "measured"
    assert shown["patches"][3]["lab_d65"] == pytest.approx(done["patches"][3]["lab_d65"])


def test_unknown_and_missing_patches_are_listed_row_by_row(here) -> None:
    rows = rows_of()
    file = readings(here / "r.csv", "# illuminant: D65", ["nix,50,0,0", "wine,x,1,2", *rows[:-1]])
    done = json.loads(run("characterise", "--readings", file, "-o", "f.toml", "--json", code=3))
    found = {(p["slug"], p["place"].rsplit("/", 1)[-1]) for p in done["problems"]}
    assert found == {
        ("reading-patch-unknown", "r.csv line 3"),
        ("reading-not-a-number", "r.csv line 4"),
        ("card-patch-no-value", "patch wine"),
    }


def test_d50_readings_are_carried_over_with_a_wider_doubt(here) -> None:
    file = readings(here / "r.csv", "# made up", rows_of())
    done = json.loads(
        run("characterise", "--readings", file, "--illuminant", "d50", "-o", "f.toml", "--json")
    )
    grey, rose = (next(p for p in done["patches"] if p["id"] == i) for i in ("mid_grey_1", "rose"))
    assert grey["lab_d65"][1:] == pytest.approx([0, 0], abs=0.01)
    assert rose["lab_u"][1] > 2 * grey["lab_u"][1]


def test_print_s_real_size_stretches_the_card_and_is_kept(here) -> None:
    file = readings(here / "r.csv", "# illuminant: D65", rows_of())
    given = ("characterise", "--readings", file, "--project", here, "--json")
    run(*given, "--line-mm", "99.0,99.5")
    again = json.loads(run(*given))
    shown = json.loads(run("show", "--project", here, "--json"))
    assert (shown["width_mm"], shown["height_mm"]) == pytest.approx((148.5, 99.5))
    assert again["print_scale_u_frac"] == pytest.approx(np.hypot(0.0015, 0.0025), rel=0.01)
    assert Path(again["older"]).exists()
    run(*given, "--serial", "B2")
    assert json.loads(run("show", "--project", here, "--json"))["width_mm"] == 150
    assert refused(*given, "--line-mm", "9.9,99") == "check-line-wrong"


def test_readings_that_do_not_say_enough_are_refused(here) -> None:
    rows = rows_of()
    for head, more, slug in (
        ("# made up", (), "readings-light-unstated"),
        ("# made up", ("--illuminant", "F11"), "readings-light-unstated"),
        ("# D65, observer 10 deg", (), "readings-observer-wrong"),
        ("# D65", ("--medium", "mud"), "medium-unknown"),
    ):
        file = readings(here / "r.csv", head, rows)
        assert refused("characterise", "--readings", file, "-o", "f.toml", *more) == slug
    few = readings(here / "few.csv", "# D65", rows[:2])
    assert refused("characterise", "--readings", few, "-o", "f.toml") == "card-too-few-values"
    assert not (here / "f.toml").exists()


def test_ways_to_characterise_exclude_each_other(here) -> None:
    file = readings(here / "r.csv", "# D65", rows_of())
    assert refused("characterise") == "characterise-way"
    assert refused("characterise", "--readings", file, "--dry", "a.jpg") == "characterise-way"
    assert refused("characterise", "--known", "target24") == "characterise-way"
    assert refused("characterise", "--dry", "a.jpg") == "characterise-way"


def grey_photo(path: Path) -> Path:
    Image.fromarray(np.full((400, 600, 3), 118, np.uint8)).save(path, quality=95)
    return path


def test_photos_without_the_cards_are_refused(here) -> None:
    photo = grey_photo(here / "p.jpg")
    nominal = ("characterise", "--known", "large", "--photo", photo)
    assert refused(*nominal) == "card-known-nominal"
    none = ("characterise", "--known", "target24", "--photo", photo)
    with pytest.raises(DryslateError) as caught:
        run(*none)
    assert caught.value.slug == "card-photos-unusable"
    assert "was not found" in caught.value.message
    tray = ("characterise", "--dry", photo, "--filled", photo, "--ptfe", "5,5", "--ptfe", "5,5")
    assert refused(*tray) == "card-not-in-photo"
    assert refused("compare", photo) == "card-twin-not-seen"
    assert refused("compare", photo, grey_photo(here / "q.jpg")) == "card-not-in-photo"


def test_marks_of_an_own_card_are_needed_in_full(here) -> None:
    photo = grey_photo(here / "p.jpg")
    run("from-photo", photo, "--name", "mine", code=2)
    (here / "m.toml").write_text('name = "mine"\ncorners_px = [[1, 2]]\n')
    assert refused("from-photo", photo, "--file", "m.toml") == "card-marks-wrong"
    run(
        "from-photo", photo, "--name", "m", "--corners", "1,1 9,1 9,9", "--ticks", "1,1 9,1",
        "--ticks-mm", "10", "--patch", "a:neutral:1,1,2,2", code=2,
    )  # fmt: skip


def test_own_card_is_defined_by_options_alone(here) -> None:
    img = np.full((400, 600, 3), 118, np.uint8)
    for k, grey in enumerate((235, 160, 60)):
        img[150:250, 100 + 150 * k : 200 + 150 * k] = grey
    Image.fromarray(img).save(here / "p.png")
    patches = []
    for k, name in enumerate(("white", "mid", "black")):
        patches += ["--patch", f"{name}:neutral:{100 + 150 * k},150,{200 + 150 * k},250"]
    done = json.loads(
        run(
            "from-photo", "p.png", "--name", "mine", "--corners", "50,50 550,50 550,350 50,350",
            "--ticks", "100,300 500,300", "--ticks-mm", "80", *patches, "--json",
        )
    )  # fmt: skip
    assert done["width_mm"] == pytest.approx(100, rel=0.01)
    assert done["height_mm"] == pytest.approx(60, rel=0.01)
    shown = json.loads(run("show", "--card", here / "mine.toml", "--json"))
    assert [p["id"] for p in shown["patches"]] == ["white", "mid", "black"]
    assert shown["print_scale_u_frac"] == done["print_scale_u_frac"] > 0.003
    assert (here / "mine.png").exists()


def test_spectra_need_no_illuminant_and_no_change_of_light(here) -> None:
    shown = json.loads(run("show", "--json"))
    bands = list(range(400, 710, 10))
    lines = ["patch_id," + ",".join(f"nm_{b}" for b in bands)]
    for p in shown["patches"]:
        level = ((p["lab_d65"][0] + 16) / 116) ** 3  # CIE 15:2004, equation 8.3, turned round
        lines.append(p["id"] + "," + ",".join([f"{100 * level:.6f}"] * len(bands)))
    (here / "s.csv").write_text("\n".join(lines) + "\n")
    done = json.loads(run("characterise", "--readings", "s.csv", "-o", "f.toml", "--json"))
    found = {p["id"]: p for p in done["patches"]}
    for p in shown["patches"]:
        assert found[p["id"]]["lab_d65"] == pytest.approx([p["lab_d65"][0], 0, 0], abs=0.01)
    assert max(found["rose"]["lab_u"]) == 0.4


def test_values_written_as_cgats_come_back_as_the_same_card(here) -> None:
    (here / "t.txt").write_text(run("show", "--card", "target24", "--cgats"), encoding="utf-8")
    given = ("characterise", "--card", "target24", "--readings", "t.txt", "-o", "t.toml", "--json")
    done = json.loads(run(*given))
    shown = json.loads(run("show", "--card", "target24", "--json"))
    assert done["problems"] == []
    for found, known in zip(done["patches"], shown["patches"], strict=True):
        assert found["lab_d65"] == pytest.approx(known["lab_d65"], abs=0.001)


def test_design_values_are_not_taken_for_readings(here) -> None:
    (here / "field.txt").write_text(run("show", "--cgats"), encoding="utf-8")
    assert refused("characterise", "--readings", "field.txt", "-o", "f.toml") == "readings-nominal"
