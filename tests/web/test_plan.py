"""The plan page: typed wishes, answers with their range, refusals on the same page."""

from __future__ import annotations

import json
import re
from pathlib import Path

from typer.testing import CliRunner

from dryslate.cli.main import build_app

STATED = "/plan?about=stated+share&sd=12&sd_n=8&half_width=5&change=10&correlation=0.7"


def text_of(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def test_page_asks_first_and_answers_with_a_range(client_of, read_only_project: Path) -> None:
    pages = client_of(read_only_project)
    empty = pages.get("/plan")
    assert empty.status_code == 200
    assert "Units that this needs" not in empty.text
    found = pages.get(STATED)
    words = ["plan", "--sd", "0.12", "--sd-n", "8", "--half-width", "0.05", "--change", "0.1"]
    done = CliRunner().invoke(build_app(), [*words, "--correlation", "0.7", "--json"])
    want = json.loads(done.stdout)
    for key in ("units_for_interval", "units_for_change_anew", "units_for_change_same"):
        one = want[key]
        assert f"{one['units']} between {one['lo95']} and {one['hi95']}" in text_of(found), key
    assert "<svg" in found.text
    assert "the same units again" in found.text


def test_a_decimal_comma_is_a_number_and_letters_are_told(
    client_of, read_only_project: Path
) -> None:
    pages = client_of(read_only_project)
    comma = pages.get("/plan?about=stated+share&sd=12&sd_n=8&half_width=2,5")
    assert "± 2.5 points" in comma.text
    wrong = pages.get("/plan?about=stated+share&sd=twelve")
    assert wrong.status_code == 200
    assert "plan-no-number" in wrong.text


def test_what_the_past_does_not_carry_is_told_on_the_page(
    client_of, read_only_project: Path
) -> None:
    pages = client_of(read_only_project)
    assert "plan-figure-unknown" in pages.get("/plan?about=cover_frac|sponges").text
    assert "plan-basis" in pages.get("/plan?about=stated+share").text
    assert "plan-impossible" in pages.get("/plan?about=stated+share&sd=0").text
    assert "plan-sd-without-doubt" in pages.get("/plan?about=stated+share&sd=9").text


def test_past_units_of_the_project_are_offered(client_of, own_project: Path) -> None:
    table = "site,date,unit,design,length_m,kind,category,from_m,to_m\n"
    for unit, metres in (("T1", 2.0), ("T2", 3.5), ("T3", 3.0)):
        head = f"Lantern Steps,2024-03-09,{unit},line_intercept,10,intercept"
        table += f"{head},hard coral,0,{metres}\n{head},sand,{metres},10\n"
    path = own_project.parent / "t.csv"
    path.write_text(table, "utf-8")
    words = ["records", "import", str(own_project), str(path), "--observer", "Ines Varro", "--save"]
    assert CliRunner().invoke(build_app(), words).exit_code == 0
    pages = client_of(own_project)
    assert "hard coral: cover" in pages.get("/plan").text
    found = pages.get("/plan?about=cover_frac|hard+coral&half_width=10")
    assert "From 3 past units of 1 visits" in found.text
    assert "plan-no-photos" in found.text
