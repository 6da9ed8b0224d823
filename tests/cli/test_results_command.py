"""``dryslate results``: from tables of records to figures that can be reckoned by hand."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from scipy import stats
from typer.testing import CliRunner

import dryslate
from dryslate import wiring
from dryslate.app.project_records import Site
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")
HEADS = "site,date,unit,zone,design,"
BELTS = HEADS + "length_m,width_m,edge_rule,searched,kind,category,name,n\n"
SHARES = "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct"


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def results_of(tmp_path: Path):
    """Store a table and return its figures by figure, thing and zone."""

    def make(table: str) -> dict[tuple[str, str, str], dict]:
        folder = tmp_path / "trip"
        if not folder.exists():
            run("new", folder)
            run("region", folder, "indo_pacific", *WHO)
        path = tmp_path / "t.csv"
        path.write_text(table, "utf-8")
        done = run("records", "import", folder, path, *WHO, "--save", "--json")
        assert json.loads(done.stdout)["n_stored"], done.stdout
        found = json.loads(run("results", folder, "--json").stdout)["results"]
        return {(r["figure"], r["thing"], r["zone"]): r for r in found}

    return make


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a project with one site."""
    folder = tmp_path_factory.mktemp("once") / "trip"
    run("new", folder)
    with wiring.survey_store(folder, write=True, who="Ines Varro") as store:
        store.save_site(Site(site="Ledge"))
    return folder


def tape(unit: str, coral_m: float, length: float = 10.0) -> str:
    head = f"Ledge,2024-05-19,{unit},crest,line_intercept,{length},intercept"
    return f"{head},hard coral,0,{coral_m}\n{head},sand,{coral_m},{length}\n"


def test_cover_of_tapes_is_the_mean_of_units_with_t_on_the_logit(results_of) -> None:
    table = HEADS + "length_m,kind,category,from_m,to_m\n"
    shares = [0.2, 0.35, 0.3, 0.25, 0.4]
    table += "".join(tape(f"T{k}", 10 * share) for k, share in enumerate(shares))
    row = results_of(table)["cover_frac", "hard coral", "crest"]
    mean, sd = 0.3, math.sqrt(sum((x - 0.3) ** 2 for x in shares) / 4)
    u = sd / math.sqrt(5)
    half = stats.t.ppf(0.975, 4) * u / (mean * (1 - mean))  # delta method, by hand
    ends = [1 / (1 + math.exp(-(math.log(mean / (1 - mean)) + s * half))) for s in (-1, 1)]
    assert row["estimate"] == pytest.approx(mean)
    assert row["u"] == pytest.approx(u)
    assert [row["lo95"], row["hi95"]] == pytest.approx(ends, abs=2e-3)
    assert (row["n_units"], row["method"], row["df"]) == (5, "t_logit", 4)
    assert len(row["unit_ids"]) == 5


def test_zero_is_counted_and_blank_is_left_out(results_of) -> None:
    head = "Ledge,2024-05-19,{},slope,belt,10,1,centre_inside,Favites,count,hard coral,Favites,{}\n"
    other = "Ledge,2024-05-19,B4,slope,belt,10,1,centre_inside,Porites,count,hard coral,Porites,7\n"
    table = BELTS + head.format("B1", 20) + head.format("B2", 0) + head.format("B3", 10) + other
    found = results_of(table)
    row = found["density_per_m2", "Favites", "slope"]
    assert row["estimate"] == pytest.approx(1.0)  # (20 + 0 + 10) / 3 belts of 10 m2
    assert (row["n_units"], row["n_blank"]) == (3, 1)
    assert found["density_per_m2", "Porites", "slope"]["n_units"] == 1
    whole = found["density_per_m2", "hard coral", "slope"]
    assert whole["estimate"] == pytest.approx((20 + 0 + 10 + 7) / 40)


def belts(rows: list[tuple[str, str, str, object]], searched: str) -> str:
    head = "Ledge,2024-05-19,{},slope,belt,10,1,centre_inside,{},{},hard coral,{},{}\n"
    return BELTS + "".join(
        head.format(unit, searched, "count" if name else "none_seen", name, "" if n is None else n)
        for unit, _, name, n in rows
    )


def test_a_name_nobody_searched_for_has_no_interval_and_adds_up(results_of) -> None:
    seen = [("B1", "", "Porites", 4), ("B2", "", "Porites", 6), ("B3", "", "Porites", 2)]
    more = [("B1", "", "Favites", 3), ("B2", "", "Merulinidae", 5)]
    found = results_of(belts([*seen, *more], "Porites; Acropora"))
    density = {thing: row for (what, thing, _), row in found.items() if what == "density_per_m2"}
    told = density["Favites"]
    assert told["estimate"] == pytest.approx(3 / 30)  # not 3 / 10, of the belt it was met in
    assert (told["lo95"], told["hi95"], told["method"]) == (None, None, "none")
    assert (told["n_units"], "not_searched" in told["flags"]) == (3, True)
    short = density["Merulinidae"]  # what could not be told to genus would have been noted
    assert (short["estimate"], short["n_units"]) == (pytest.approx(5 / 30), 3)
    assert short["lo95"] is not None
    parts = [
        density[name]["estimate"] for name in ("Porites", "Acropora", "Favites", "Merulinidae")
    ]
    assert sum(parts) == pytest.approx(density["all corals"]["estimate"])


def test_a_name_that_some_units_searched_for_is_of_those_units(results_of) -> None:
    table = belts([("B1", "", "Favites", 3), ("B2", "", "Porites", 6)], "Porites; Favites")
    table += belts([("B3", "", "Favites", 9), ("B4", "", "Porites", 2)], "Porites")[len(BELTS) :]
    found = results_of(table)["density_per_m2", "Favites", "slope"]
    assert found["estimate"] == pytest.approx(3 / 20)  # B3 only happened on it
    assert (found["n_units"], found["n_blank"]) == (2, 2)


def test_whoever_searched_for_hard_corals_searched_for_every_genus(results_of) -> None:
    head = "Ledge,2024-05-19,B3,slope,belt,10,1,centre_inside,hard coral,none_seen,,hard coral,\n"
    table = belts([("B1", "", "Favites", 3), ("B2", "", "Porites", 6)], "hard coral") + head
    found = results_of(table)
    for thing, n in (("Favites", 3), ("Porites", 6), ("all corals", 9), ("hard coral", 9)):
        row = found["density_per_m2", thing, "slope"]
        assert (row["estimate"], row["n_units"]) == (pytest.approx(n / 30), 3), thing


def test_a_unit_without_rows_is_blank_whatever_it_searched_for(results_of, tmp_path: Path) -> None:
    results_of(belts([("B1", "", "Porites", 4), ("B2", "", "Porites", 6)], "Porites; Acropora"))
    units = tmp_path / "units.csv"
    units.write_text(
        "site,date,unit,zone,design,length_m,width_m,edge_rule,searched\n"
        "Ledge,2024-05-19,B9,slope,belt,10,1,centre_inside,Porites; Acropora\n",
        "utf-8",
    )
    run("records", "import", tmp_path / "trip", units, *WHO, "--save")
    found = json.loads(run("results", tmp_path / "trip", "--json").stdout)["results"]
    density = {r["thing"]: r for r in found if r["figure"] == "density_per_m2"}
    for thing, wanted in (("Porites", 0.5), ("Acropora", 0.0), ("all corals", 0.5)):
        row = density[thing]
        assert (row["estimate"], row["n_units"], row["n_blank"]) == (wanted, 2, 1), thing
    assert {r["n_units"] for r in found if r["figure"].startswith("hill_q")} == {2}


def test_all_corals_and_their_category_are_zero_in_the_same_units(results_of) -> None:
    head = "Ledge,2024-05-19,{},slope,belt,10,1,centre_inside,{},{},{},{},{}\n"
    rows = [
        ("B1", "", "count", "hard coral", "Porites", 4),
        ("B2", "", "count", "hard coral", "", 2),
        ("B3", "", "count", "giant clam", "", 7),
        ("B4", "Porites", "none_seen", "", "Porites", ""),  # says nothing of other corals
    ]
    found = results_of(BELTS + "".join(head.format(*row) for row in rows))
    for thing in ("hard coral", "all corals"):
        row = found["density_per_m2", thing, "slope"]
        assert (row["estimate"], row["n_units"]) == (pytest.approx(6 / 30), 3), thing
    named = found["density_per_m2", "Porites", "slope"]
    assert (named["estimate"], named["n_units"]) == (pytest.approx(4 / 30), 3)
    unnamed = found["density_per_m2", "corals without a name", "slope"]
    assert (unnamed["estimate"], unnamed["n_units"]) == (pytest.approx(2 / 30), 3)


def test_one_unit_has_no_interval_and_all_zero_a_limit_only(results_of) -> None:
    head = "Wall,2024-05-19,{},,belt,10,1,centre_inside,Favites,count,hard coral,Favites,{}\n"
    one = results_of(BELTS + head.format("B1", 20))["density_per_m2", "Favites", ""]
    assert one["estimate"] == pytest.approx(2.0)
    assert (one["lo95"], one["hi95"]) == (None, None)
    head = head.replace("Wall", "Edge").replace("Favites", "Porites")
    found = results_of(BELTS + head.format("B1", 0) + head.format("B2", 0))
    none = found["density_per_m2", "Porites", ""]
    assert none["estimate"] == 0
    assert none["lo95"] is None
    assert none["hi95"] > 0


def test_zones_and_permanent_plots_are_kept_apart(results_of) -> None:
    table = HEADS + "is_permanent,area_m2,edge_rule,kind,category,n\n"
    line = "Ledge,2024-05-19,{},{},quadrat_counts,{},1,two_sides_in,count,hard coral,{}\n"
    units = [("Q1", "crest", "no", 4), ("Q2", "crest", "no", 6), ("Q3", "slope", "no", 1)]
    units += [("P1", "crest", "yes", 9), ("P2", "crest", "yes", 11)]
    folder = results_of(table + "".join(line.format(*u) for u in units))
    assert folder["density_per_m2", "hard coral", "slope"]["n_units"] == 1
    plots = folder["density_per_m2", "hard coral", "crest"]  # the later of the two: the plots
    assert plots["estimate"] == pytest.approx(10.0)
    assert "of_these_plots" in plots["flags"]


def test_prevalence_is_of_colonies_examined(results_of) -> None:
    table = HEADS + f"length_m,width_m,edge_rule,kind,category,{SHARES}\n"
    head = "Ledge,2024-05-19,{},,belt,10,1,centre_inside,colony,hard coral,{}\n"
    sound, white, dead = "100,0,0,0,0", "40,0,60,0,0", "0,0,0,0,100"
    for unit, states in (("B1", [sound] * 3 + [white] + [dead]), ("B2", [sound] * 4 + [white] * 2)):
        table += "".join(head.format(unit, state) for state in states)
    row = results_of(table)["prevalence_bleached_frac", "hard coral", ""]
    assert row["estimate"] == pytest.approx(3 / 10)
    assert row["method"] == "jackknife_t_logit"


def test_points_that_could_not_be_read_leave_the_denominator(results_of) -> None:
    table = HEADS + "length_m,spacing_m,kind,category,at_m,unreadable\n"
    line = "Ledge,2024-05-19,{},,point_intercept,2,0.5,point,{},{},{}\n"
    for unit in ("L1", "L2"):
        for k, (what, why) in enumerate(
            [("hard coral", ""), ("sand", ""), ("sand", ""), ("", "shade")], start=1
        ):
            table += line.format(unit, what, 0.5 * k, why)
    row = results_of(table)["cover_frac", "hard coral", ""]
    assert row["estimate"] == pytest.approx(1 / 3)


def test_table_has_one_figure_a_row(results_of, tmp_path: Path) -> None:
    table = HEADS + "minutes,kind,category,n\n"
    table += "Ledge,2024-05-19,S1,,timed_swim,30,count,hard coral,3\n"
    table += "Ledge,2024-05-19,S2,,timed_swim,20,count,hard coral,4\n"
    row = results_of(table)["count_per_min", "hard coral", ""]
    assert row["estimate"] == pytest.approx((3 / 30 + 4 / 20) / 2)
    assert run("results", tmp_path / "trip", "--csv", tmp_path / "r.csv").exit_code == 0
    written = list(csv.DictReader(io.StringIO((tmp_path / "r.csv").read_text("utf-8-sig"))))
    assert float(written[0]["estimate"]) == pytest.approx(row["estimate"])
    shown = run("results", tmp_path / "trip").stdout
    assert shown.startswith("Ledge, 2024-05-19, timed swim\n  Counts per minute\n")
    assert re.search(r"    hard coral +0\.15  [0-9.]+ to [0-9.]+ +2 units", shown)


def test_rows_from_python_are_those_of_the_command(results_of, tmp_path: Path) -> None:
    table = HEADS + "minutes,kind,category,n\n"
    table += "Ledge,2024-05-19,S1,,timed_swim,30,count,hard coral,3\n"
    table += "Ledge,2024-05-19,S2,,timed_swim,20,count,hard coral,4\n"
    said = results_of(table)
    rows = dryslate.survey_results(tmp_path / "trip", figures=["count"])
    assert {(r.figure, r.thing, r.zone): r.as_dict() for r in rows} == {
        key: row for key, row in said.items() if key[0] == "count_per_min"
    }


def test_some_figures_only(results_of, tmp_path: Path) -> None:
    folder = tmp_path / "trip"
    table = HEADS + f"length_m,width_m,edge_rule,kind,category,longest_cm,{SHARES}\n"
    line = "{},{},{},,belt,10,1,centre_inside,colony,hard coral,{},100,0,0,0,0\n"
    for site, date in (("Ledge", "2024-05-19"), ("Wall", "2024-05-19"), ("Ledge", "2025-05-20")):
        for unit, size in (("B1", 12), ("B2", 3)):
            table += line.format(site, date, unit, size)
    results_of(table)

    def rows(*words: object) -> list[dict]:
        return json.loads(run("results", folder, *words, "--json").stdout)["results"]

    assert {r["site"] for r in rows("--site", "ledge")} == {"Ledge"}
    assert {r["date"] for r in rows("--visit", "2025-05-20")} == {"2025-05-20"}
    assert {r["figure"] for r in rows("--figure", "dens", "--figure", "size_q50")} == {
        "density_per_m2",
        "size_q50_cm",
    }
    classes = rows("--figure", "class", "--size-classes", "2,6", "--size-cut-off", "5")
    assert {r["about"] for r in classes} == {
        "2 to under 6 cm; colonies of 5 cm and more",
        "6 cm and more; colonies of 5 cm and more",
    }
    (juveniles, *_) = rows("--figure", "juvenile", "--juvenile", "15", "--site", "Wall")
    assert juveniles["about"] == "colonies under 15 cm"
    for words, slug in (
        (("--figure", "heat"), "results-choice-unknown"),
        (("--site", "Edge"), "results-choice-unknown"),
        (("--size-classes", "5;10"), "results-size-classes-wrong"),
    ):
        with pytest.raises(InputError) as error:
            run("results", folder, *words)
        assert error.value.slug == slug
    shown = run("results", folder, "--site", "Wall").stdout
    assert "Longest diameter, median (cm) (all sizes)" in shown


def test_points_on_a_photo_that_is_set_aside_are_left_out(web_project, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(web_project, tmp_path / "trip"))
    table = HEADS + "n_points,point_rule,kind,category,photo,x_px,y_px\n"
    line = "Lantern Steps,2024-03-09,{},,photo_points,2,random,point,{},{},{},5\n"
    for unit, photo, first in (("A", "DRY_0001", "hard coral"), ("B", "DRY_0002", "sand")):
        for k, what in enumerate((first, "sand")):
            table += line.format(unit, what, f"{photo}.JPG", k)
    path = tmp_path / "t.csv"
    path.write_text(table, "utf-8")
    done = json.loads(run("records", "import", folder, path, *WHO, "--save", "--json").stdout)
    assert done["n_stored"] == 4, done

    def cover() -> tuple[float, int]:
        rows = json.loads(run("results", folder, "--json").stdout)["results"]
        (row,) = [r for r in rows if (r["figure"], r["thing"]) == ("cover_frac", "hard coral")]
        return row["estimate"], row["n_units"]

    assert cover() == (0.25, 2)
    run("set-aside", folder, "DRY_0002.JPG", "--reason", "blurred", *WHO)
    assert cover() == (0.5, 1)


def test_names_short_of_genus_stay_rows_and_bound_the_genus(results_of) -> None:
    head = "Ledge,2024-05-19,{},,belt,10,1,centre_inside,,count,hard coral,{},{}\n"
    noted = [("B1", "Favites", 6), ("B1", "Favites or Porites", 2), ("B1", "Merulinidae", 1)]
    noted += [("B1", "", 3), ("B2", "Favites", 2), ("B2", "Porites", 4), ("B2", "cannot tell", 2)]
    found = results_of(BELTS + "".join(head.format(*row) for row in noted))
    what = "density_per_m2"
    assert found[what, "all corals", ""]["estimate"] == pytest.approx((12 + 8) / 20)
    assert found[what, "Favites or Porites", ""]["estimate"] == pytest.approx(2 / 20)
    assert found[what, "corals without a name", ""]["estimate"] == pytest.approx(3 / 20)
    favites = found[what, "Favites", ""]
    assert favites["estimate"] == pytest.approx(8 / 20)  # as if none of them were
    assert favites["if_all"] == pytest.approx((12 + 4) / 20)  # Merulinidae holds Favites
    assert favites["undetermined_frac"] == pytest.approx(8 / 16)
    assert found[what, "Porites", ""]["if_all"] == pytest.approx((5 + 6) / 20)  # not Merulinidae
    assert found[what, "Merulinidae", ""]["if_all"] is None


def test_a_genus_in_no_list_keeps_its_row_and_may_be_any(results_of, tmp_path: Path) -> None:
    head = "Ledge,2024-05-19,{},,belt,10,1,centre_inside,,count,hard coral,{},{}\n"
    rows = [("B1", "Favites", 6), ("B1", "Porites", 2), ("B2", "Favites", 2), ("B2", "Porites", 0)]
    results_of(BELTS + "".join(head.format(*row) for row in rows))
    with wiring.survey_store(tmp_path / "trip", write=True) as store:
        store.save_survey_rows(  # as a project's own name is, once its list has lost it
            replace(
                noted,
                name="",
                current_names=(),
                rank="none",
                row=replace(noted.row, name="Zzyzora"),
            )
            for noted in store.survey_rows()
            if noted.name == "Porites"
        )
    found = json.loads(run("results", tmp_path / "trip", "--json").stdout)["results"]
    rows = {r["thing"]: r for r in found}
    assert rows["Zzyzora"]["estimate"] == pytest.approx(0.1)
    assert rows["Favites"]["if_all"] == pytest.approx(0.5)
    assert "name_in_no_list" in rows["Zzyzora"]["flags"]


def test_bounds_of_cover_are_means_of_units(results_of) -> None:
    table = HEADS + "length_m,kind,category,name,from_m,to_m\n"
    head = "Ledge,2024-05-19,{},,line_intercept,10,intercept,{},{},{},{}\n"
    for unit, favites, open_ in (("T1", 2, 3), ("T2", 4, 1)):
        table += head.format(unit, "hard coral", "Favites", 0, favites)
        table += head.format(unit, "hard coral", "cannot tell", favites, favites + open_)
        table += head.format(unit, "sand", "", favites + open_, 10)
    found = results_of(table)
    row = found["cover_frac", "Favites", ""]
    assert row["estimate"] == pytest.approx(0.3)
    assert row["if_all"] == pytest.approx(0.5)
    assert row["undetermined_frac"] == pytest.approx(0.4)
    assert found["cover_frac", "all corals", ""]["estimate"] == pytest.approx(0.5)


def quadrats(zone: str, counts: dict[str, list[int]]) -> str:
    line = "Ledge,2024-05-19,{},{},quadrat_counts,,,centre_inside,,count,hard coral,{},{},1\n"
    return "".join(
        line.format(f"{zone}{k}", zone, name, n)
        for name, numbers in counts.items()
        for k, n in enumerate(numbers)
    )


def test_a_site_is_weighed_from_its_zones_and_without_weights_there_is_none(
    results_of, tmp_path: Path
) -> None:
    folder = tmp_path / "trip"
    crest, slope = {"Favites": [4, 6, 5], "Porites": [1, 0, 2]}, {"Favites": [1, 2, 0, 1]}
    table = BELTS.replace(",n\n", ",n,area_m2\n") + quadrats("crest", crest)
    found = results_of(table + quadrats("slope", slope))
    assert ("density_per_m2", "Favites", "") not in found
    said = json.loads(run("results", folder, "--json").stdout)["notes"]
    assert [(n["slug"], n["place"]) for n in said] == [("results-zones-unweighted", "Ledge")]

    run("units", "zone-weights", folder, "Ledge", "crest=1200", "slope=3600", "--source",
        "habitat map of 2024", *WHO)  # fmt: skip
    document = json.loads(run("results", folder, "--json").stdout)
    rows = {r["thing"]: r for r in document["results"] if r["weights"]}
    favites = rows["Favites"]
    assert favites["estimate"] == pytest.approx(0.25 * 5 + 0.75 * 1)
    crest_u, slope_u = 1 / math.sqrt(3), math.sqrt(2 / 3) / math.sqrt(4)
    assert favites["u"] == pytest.approx(math.hypot(0.25 * crest_u, 0.75 * slope_u))
    assert (favites["method"], favites["zone"], favites["n_units"]) == ("zones_t_log", "", 7)
    assert favites["weights"] == "crest 0.25; slope 0.75"
    assert (favites["if_all"], favites["undetermined_frac"]) == (pytest.approx(2.0), 0.0)
    assert len(favites["unit_ids"]) == 7
    assert rows["Porites"]["estimate"] == pytest.approx(0.25)  # on the slope there was none
    assert document["notes"] == []
    assert "zones weighed crest 0.25; slope 0.75" in run("results", folder).stdout
    shown = run("units", "zone-weights", folder).stdout
    assert "habitat map of 2024" in shown
    assert json.loads(run("units", "zone-weights", folder, "--json").stdout)["zone_weights"]

    run("units", "zone-weights", folder, "Ledge", "crest=30", "slope=50", "flat=20", "--measure",
        "share", "--source", "the same with the flat", *WHO)  # fmt: skip
    document = json.loads(run("results", folder, "--json").stdout)
    assert not [r for r in document["results"] if r["weights"]]
    assert [n["slug"] for n in document["notes"]] == ["results-zone-not-surveyed"]


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (("Edge", "crest=1", "slope=2"), "site-unknown"),
        (("Ledge", "crest=1"), "zone-weights-wrong"),
        (("Ledge", "crest=-1", "slope=2"), "zone-weights-wrong"),
        (("Ledge", "crest=0", "slope=0"), "zone-weights-wrong"),
        (("Ledge", "crest", "slope=2"), "zone-weights-wrong"),
        (("Ledge", "crest=2", "crest=2"), "zone-weights-wrong"),
        (("Ledge", "crest=2", "slope=2", "--measure", "acres"), "zone-weights-wrong"),
        (("Ledge", "crest=0.2", "slope=0.2", "--measure", "share"), "zone-weights-wrong"),
        (("Ledge", "crest=2", "slope=2", "--source", " "), "zone-weights-without-source"),
    ],
)
def test_weights_that_cannot_be_used_are_refused(made_once, words, slug: str) -> None:
    source = () if "--source" in words else ("--source", "map")
    with pytest.raises(InputError) as error:
        run("units", "zone-weights", made_once, *words, *source, *WHO)
    assert error.value.slug == slug
