"""Measuring the colour of a grey chip on no card: alone, in a project, and over the trip."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from dryslate import wiring
from dryslate.cli.main import build_app
from dryslate.core.colour.spaces import lab_to_linear_srgb, linear_to_srgb

TRUE_LAB = (53.0, 0.0, 0.0)
OTHER_LAB = (53.0, 45.0, 30.0)
CHIP, OTHER, GLARE = (700, 90), (950, 90), (1200, 90)
"""Centres of a grey chip, a red one and a blown-out spot above the card."""


def run(*words: object) -> Any:
    return CliRunner().invoke(build_app(), [*map(str, words)])


def documents(result: Any) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines() if line.startswith("{")]


def around(centre: tuple[int, int], half: float = 25.0) -> list[tuple[float, float]]:
    x, y = centre
    return [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]


def save(card_photos: ModuleType, path: Path, *, seed: int = 1, card: str | None = "field") -> None:
    """Write a photo with chips of known colour under the same cast and veil as the card."""
    pixels, _ = card_photos.card_pixels(card_photos.Plan(seed=seed, card=card))
    rng = np.random.default_rng(seed)
    for (x, y), lab in ((CHIP, TRUE_LAB), (OTHER, OTHER_LAB)):
        light = lab_to_linear_srgb(np.array(lab)) * card_photos.CAST + card_photos.VEIL
        light = light + rng.normal(0, 0.001, (80, 80, 3))
        codes = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint8)
        pixels[y - 40 : y + 40, x - 40 : x + 40] = codes
    x, y = GLARE
    pixels[y - 40 : y + 40, x - 40 : x + 40] = 255
    Image.fromarray(pixels).save(path, "JPEG", quality=95, subsampling=0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, card_photos: ModuleType) -> Path:
    """Two photos with a card and one without, and files of outlines."""
    made = tmp_path_factory.mktemp("colours")
    (made / "card").mkdir()
    save(card_photos, made / "card" / "IMG_0001.jpg")
    save(card_photos, made / "card" / "IMG_0002.jpg", seed=2)
    save(card_photos, made / "card" / "IMG_0003.jpg", seed=3, card=None)
    for name, points in (
        ("chip", around(CHIP)),
        ("glare", around(GLARE)),
        ("dot", around(CHIP, 3.0)),
    ):
        text = "x_px,y_px\n" + "\n".join(f"{x},{y}" for x, y in points)
        (made / f"{name}.csv").write_text(text, "utf-8")
    return made


@pytest.fixture(scope="module")
def trip(folder: Path) -> Path:
    """A project of those photos, corrected, with the chip named."""
    project = folder / "trip"
    taken = run(
        *("take", folder / "card", "--into", project, "--visit", "North bay", "2031-05-04"),
        *("--observer", "Ana"),
    )
    assert taken.exit_code in (0, 3), taken.output
    corrected = run("correct", "--project", project, "--json")
    assert corrected.exit_code in (0, 3), corrected.output
    named = run("control", project, "--name", "loose chip", "--lab", *TRUE_LAB, "0.5")
    assert named.exit_code == 0, named.output
    return project


def table(trip: Path, name: str, lines: list[tuple[str, str, list[tuple[float, float]]]]) -> Path:
    path = trip.parent / name
    rows = [
        f'{photo},{colony},colour,"{" ".join(f"{x},{y}" for x, y in points)}"'
        for photo, colony, points in lines
    ]
    path.write_text("\n".join(["photo,colony,kind,points", *rows]), "utf-8")
    return path


def test_grey_chip_in_a_single_photo_is_grey_within_its_interval(folder: Path) -> None:
    result = run(
        "measure", folder / "card" / "IMG_0001.jpg", "--colour", folder / "chip.csv", "--json"
    )
    assert result.exit_code == 0, result.output
    (told,) = documents(result)
    assert (told["kind"], told["index"], told["card"]) == ("colour", 0, "field")
    for lo, true, hi in zip(told["lab_lo95"], TRUE_LAB, told["lab_hi95"], strict=True):
        assert lo <= true <= hi
    assert max(told["lab_u"]) < 8.0
    assert told["n_px"] == pytest.approx(2500, rel=0.03)
    total = np.sqrt(np.sum(np.square(list(told["budget"].values())), axis=0))
    assert total == pytest.approx(np.array(told["lab_u"]), rel=0.01)


def test_colour_is_said_in_words_with_its_interval(folder: Path) -> None:
    result = run("measure", folder / "card" / "IMG_0001.jpg", "--colour", folder / "chip.csv")
    assert result.exit_code == 0, result.output
    for name in ("L*", "a*", "b*"):
        assert f"colour 1: {name} " in result.output
    assert "95 %" in result.output


def test_areas_that_hold_no_colour_are_said_and_the_rest_goes_on(folder: Path) -> None:
    result = run(
        *("measure", folder / "card" / "IMG_0001.jpg", "--colour", folder / "glare.csv"),
        *("--colour", folder / "dot.csv", "--colour", folder / "chip.csv", "--json"),
    )
    assert result.exit_code == 3
    glare, dot, chip = documents(result)
    assert [p["slug"] for p in glare["problems"] if p["severity"] == "error"] == [
        "measure-colour-clipped"
    ]
    assert "measure-colour-few-pixels" in {p["slug"] for p in dot["problems"]}
    assert (glare["lab"], glare["n_px"], dot["lab_u"]) == (None, None, None)
    assert chip["lab"] is not None


def test_photo_without_a_card_has_no_colour_by_itself(folder: Path) -> None:
    result = run(
        "measure", folder / "card" / "IMG_0003.jpg", "--colour", folder / "chip.csv", "--json"
    )
    assert result.exit_code == 1
    (told,) = documents(result)
    assert "measure-colour-no-fit" in {p["slug"] for p in told["problems"]}


def test_project_keeps_colours_by_the_stored_correction_and_follows_the_chip(trip: Path) -> None:
    picks = table(
        trip,
        "chips.csv",
        [
            ("IMG_0001.jpg", "loose chip", around(CHIP)),
            ("IMG_0002.jpg", "loose chip", around(CHIP)),
            ("IMG_0001.jpg", "loose chip", around(GLARE)),
        ],
    )
    result = run("measure", "--project", trip, "--from", picks, "--json")
    assert result.exit_code == 3
    told = documents(result)
    assert [d["saved"] for d in told] == [True, True, False]
    (alone,) = documents(
        run(
            *("measure", trip.parent / "card" / "IMG_0001.jpg"),
            *("--colour", trip.parent / "chip.csv", "--json"),
        )
    )
    assert told[0]["lab"] == pytest.approx(alone["lab"], abs=1e-6)  # stored fit and new fit agree
    assert told[0]["lab_u"] == pytest.approx(alone["lab_u"], abs=1e-6)
    with wiring.survey_store(trip, write=False) as store:
        rows = [r for r in store.measurements() if r.colony == "loose chip"]
        keys = [store.correction(r.photo_id).key for r in rows]
    assert [r.kind for r in rows] == ["colour", "colour"]
    assert [r.correction_key for r in rows] == keys
    assert rows[0].values["lab"] == told[0]["lab"]

    checked = documents(run("check", trip, "--json"))[0]
    (chip,) = checked["controls"]
    assert (chip["n"], chip["photos"]) == (2, ["IMG_0001.jpg", "IMG_0002.jpg"])
    assert len(chip["de00_each"]) == 2
    assert max(chip["de00_each"]) < 4.0
    assert not {p["slug"] for p in checked["problems"]} & {"control-off", "control-one-off"}
    assert "CIEDE2000" in run("check", trip).output


def test_report_shows_colours_of_chips_and_corals(trip: Path) -> None:
    picks = table(trip, "coral.csv", [("IMG_0001.jpg", "K12", around(OTHER))])
    assert run("measure", "--project", trip, "--from", picks).exit_code == 0
    assert run("report", trip).exit_code in (0, 3)
    page = (trip / "reports" / "report.html").read_text("utf-8")
    assert "CIEDE2000 from the known colour" in page
    assert "spectra unlike those of the card" in page
    assert "no doubt stated" not in page
    assert page.index("K12") < page.index("loose chip")


def test_chip_that_is_not_what_it_is_said_to_be_is_named(trip: Path) -> None:
    assert run("control", trip, "--name", "wrong chip", "--lab", 53, 0, 0, "0.5").exit_code == 0
    picks = table(trip, "wrong.csv", [("IMG_0001.jpg", "wrong chip", around(OTHER))])
    assert run("measure", "--project", trip, "--from", picks).exit_code == 0
    checked = documents(run("check", trip, "--json"))[0]
    slugs = {p["slug"] for p in checked["problems"] if "wrong chip" in p["place"]}
    assert slugs == {"control-off", "control-one-off"}
    wrong = next(c for c in checked["controls"] if c["name"] == "wrong chip")
    assert wrong["de00_median"] > 15.0
    assert run("report", trip).exit_code in (0, 3)
    page = (trip / "reports" / "report.html").read_text("utf-8")
    assert "wrong chip in IMG_0001.jpg: " in page


def test_lengths_and_colours_of_one_photo_look_for_the_card_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dryslate.app import card_reading

    n_looks = []
    find = card_reading.find_cards

    def counted(*args: Any, **more: Any) -> Any:
        n_looks.append(1)
        return find(*args, **more)

    monkeypatch.setattr(card_reading, "find_cards", counted)
    photo = folder / "card" / "IMG_0001.jpg"
    words = ["--between", "500,500", "700,500", "--colour", folder / "chip.csv", "--json"]
    length, colour = documents(run("measure", photo, *words))
    assert length["length_mm"] > 0
    assert colour["lab"] is not None
    assert len(n_looks) == 1
