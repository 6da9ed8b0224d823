"""Results on the pages: figures of one site and subject, and the way back to what they rest on."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from tests.fakes.looked_again import look_again
from typer.testing import CliRunner

from dryslate.app.result_panels import panels_of, subject_of
from dryslate.cli.main import build_app

HEADS = "site,date,unit,zone,design,length_m,width_m,edge_rule,searched,kind,category,name,n\n"
BELT = "{},2024-05-{},{},slope,belt,10,1,centre_inside,,count,hard coral,{},{}\n"
TAPES = "site,date,unit,zone,design,length_m,kind,category,name,from_m,to_m\n"


def tape(unit: str, coral_m: float) -> str:
    head = f"Ledge,2024-05-19,{unit},crest,line_intercept,10,intercept"
    return f"{head},hard coral,Porites,0,{coral_m}\n{head},sand,,{coral_m},10\n"


@pytest.fixture
def surveyed(own_project: Path, tmp_path: Path) -> Path:
    """A project with belts at two visits, and tapes."""
    belts = HEADS + "".join(
        BELT.format("Ledge", day, f"B{k}", "Favites", n)
        for day, counts in ((19, (20, 0, 10)), (20, (5, 4, 6)))
        for k, n in enumerate(counts)
    )
    belts += BELT.format("Wall", 19, "B9", "Porites", 3)
    tapes = TAPES + "".join(tape(f"T{k}", m) for k, m in enumerate((2.0, 3.5, 3.0, 2.5, 4.0)))
    for name, text in (("belts.csv", belts), ("tapes.csv", tapes)):
        (tmp_path / name).write_text(text, "utf-8")
        words = ["records", "import", own_project, tmp_path / name, "--observer", "Ines Varro"]
        done = CliRunner().invoke(build_app(), [*map(str, words), "--save"])
        assert done.exit_code == 0, done.output
    return own_project


def trails(page_html: str) -> list[str]:
    """Addresses that figures lead to, each once."""
    return list(
        dict.fromkeys(html.unescape(a) for a in re.findall(r'"(/results/trail[^"]+)"', page_html))
    )


def test_nothing_noted_says_so_and_where_to_begin(client_of, read_only_project) -> None:
    told = client_of(read_only_project).get("/results").text
    assert "Nothing was noted in units yet" in told
    assert 'href="/records"' in told


def test_figures_of_a_site_stand_by_subject_with_their_intervals(client_of, surveyed) -> None:
    pages = client_of(surveyed)
    cover = pages.get("/results?site=Ledge").text
    assert re.search(r">30\.0\s%<", cover)  # (2 + 3.5 + 3 + 2.5 + 4) m of five tapes of 10 m
    assert "5 units" in cover
    assert "Wall" in cover  # among the sites to choose from
    density = pages.get("/results?site=Ledge&subject=density&things=name").text
    assert ">1.00<" in density  # (20 + 0 + 10) / 3 belts of 10 m2
    assert ">0.500<" in density
    assert "<i>Favites</i>" in density
    assert pages.get("/results?site=Nowhere&subject=what&things=ever").status_code == 200


def test_a_figure_leads_to_its_units_rows_and_where_they_were_written(client_of, surveyed) -> None:
    pages = client_of(surveyed)
    found = trails(pages.get("/results?site=Ledge&subject=density&things=name").text)
    first = next(a for a in found if "2024-05-19" in a and "figure=density" in a)
    told = pages.get(first).text
    assert "3 units" in told
    assert told.count("1 row counts to it, of 1") == 3
    assert "belts.csv, row 2" in told
    assert re.search(r'href="/records/units/[0-9a-z-]+"', told)
    unknown = pages.get(first.replace("Favites", "Goniastrea"))
    assert unknown.status_code == 422
    assert "results-figure-unknown" in unknown.text


def test_every_figure_that_is_shown_can_be_followed(client_of, surveyed) -> None:
    pages = client_of(surveyed)
    seen = 0
    for subject in ("cover", "density", "sizes", "health"):
        for things in ("category", "group", "name"):
            shown = pages.get(f"/results?site=Ledge&subject={subject}&things={things}").text
            for address in trails(shown):
                told = pages.get(address)
                assert told.status_code == 200, address
                seen += 1
    assert seen >= 10


def test_what_is_stored_meanwhile_is_seen_at_once(client_of, surveyed, tmp_path) -> None:
    pages = client_of(surveyed)
    before = pages.get("/results?site=Wall&subject=density").text
    assert "2 units" not in before
    (tmp_path / "more.csv").write_text(HEADS + BELT.format("Wall", 19, "B10", "Porites", 5))
    words = ["records", "import", surveyed, tmp_path / "more.csv", "--observer", "Ines Varro"]
    assert CliRunner().invoke(build_app(), [*map(str, words), "--save"]).exit_code == 0
    assert "2 units" in pages.get("/results?site=Wall&subject=density").text


@pytest.mark.parametrize(
    ("figure", "subject"),
    [
        ("cover_frac", "cover"),
        ("juvenile_density_per_m2", "density"),
        ("count_per_min", "density"),
        ("size_q50_cm", "sizes"),
        ("prevalence_lesion_frac", "health"),
        ("partial_mortality_old_frac", "health"),
        ("anything_else", "diversity"),
    ],
)
def test_each_figure_has_one_subject(figure, subject) -> None:
    assert subject_of(figure) == subject


def test_axis_holds_every_estimate_and_fractions_end_at_one(client_of, surveyed) -> None:
    from dryslate import wiring
    from dryslate.app.survey_results import survey_results

    with wiring.survey_store(surveyed, write=False) as store:
        rows = survey_results(store, wiring.result_settings())
    panels = panels_of(rows)
    assert sum(len(same) for panel in panels for same in panel.things) == len(rows)
    for panel in panels:
        for row in (row for same in panel.things for row in same):
            assert row.estimate is None or panel.low <= row.estimate <= panel.high
        assert panel.high <= 1.0 or not panel.figure.endswith("_frac")


@pytest.fixture
def looked_at_again(surveyed: Path) -> Path:
    """The same, with corals that were looked at again: many called Favites were Goniastrea."""
    visit = "Ledge 2024-05-19"
    looks = [("Favites", "Favites", 0.1)] * 15 + [("Favites", "Goniastrea", 0.1)] * 4
    looks += [("Goniastrea", "Goniastrea", 0.1)] * 5 + [("Porites", "Porites", 0.1)] * 25
    look_again(surveyed, looks, visit)
    return surveyed


def test_figures_corrected_for_misnaming_stand_beside_the_raw_with_their_trail(
    client_of, looked_at_again
) -> None:
    pages = client_of(looked_at_again)
    cover = pages.get("/results?site=Ledge&things=name").text
    assert "Cover, corrected for misnaming (names as second looks settled them)" in cover
    density = pages.get("/results?site=Ledge&subject=density&things=name").text
    assert "Density, corrected for misnaming" in density
    assert "names that are corrected together" in density
    together = next(
        a for a in trails(density) if "density_adjusted" in a and "Goniastrea" in a and "05-19" in a
    )
    assert "1 row counts to it, of 1" in pages.get(together).text  # rows of the names it holds


def test_french_pages_say_in_french_what_corrected_figures_are(client_of, looked_at_again) -> None:
    pages = client_of(looked_at_again)
    french = {"accept": "text/html", "accept-language": "fr"}
    cover = pages.get("/results?site=Ledge&things=name", headers=french).text
    assert "Recouvrement, corrigé des erreurs de nom" in cover
    assert "second looks" not in cover
