"""``dryslate change``: visits of a project compared, reckoned again by other means."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from typer.testing import CliRunner

from dryslate.base.errors import InputError
from dryslate.cli.main import build_app
from dryslate.core.survey.change import paired_change, unpaired_change
from dryslate.core.survey.change_interval import Scale

FIRST, SECOND = "Ines Varro", "Tomo Halle"
HEADS = "site,date,unit,is_permanent,observer,design,length_m,kind,category,from_m,to_m\n"
PLOTS = {
    "2022-03-05": [0.42, 0.35, 0.51, 0.30],
    "2023-03-11": [0.36, 0.33, 0.44, 0.22],
    "2024-03-08": [0.35, 0.28, 0.40, 0.24],
}


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def tapes(site: str, visits: dict[str, list[float]], permanent: str = "yes", who: str = FIRST):
    """Rows of 10 m tapes with so much hard coral."""
    table = ""
    for date, shares in visits.items():
        for k, share in enumerate(shares):
            head = f"{site},{date},P{k},{permanent},{who},line_intercept,10,intercept"
            table += f"{head},hard coral,0,{10 * share:g}\n{head},sand,{10 * share:g},10\n"
    return table


@pytest.fixture
def project(tmp_path: Path):
    """Make a project of one table."""

    def make(table: str) -> Path:
        folder = tmp_path / "trip"
        run("new", folder)
        path = tmp_path / "t.csv"
        path.write_text(HEADS + table, "utf-8")
        done = run("records", "import", folder, path, "--observer", FIRST, "--save", "--json")
        assert json.loads(done.stdout)["n_stored"], done.stdout
        return folder

    return make


def changes_of(*words: object) -> dict:
    return json.loads(run("change", *words, "--json").stdout)


def row_of(found: dict, **wanted: object) -> dict:
    wanted = {"thing": "hard coral", **wanted}
    (row,) = [r for r in found["changes"] if all(r[k] == v for k, v in wanted.items())]
    return row


def test_permanent_plots_are_paired_and_each_visit_stands_against_the_first(project) -> None:
    found = changes_of(project(tapes("Ledge", PLOTS)))
    a, b, c = (np.array(v) for v in PLOTS.values())
    for last, later in (("2023-03-11", b), ("2024-03-08", c)):
        row = row_of(found, kind="visits", last=last)
        want = stats.ttest_rel(later, a)
        assert row["method"] == "parts_paired"
        assert row["estimate"] == pytest.approx(float((later - a).mean()))
        assert row["estimate"] / row["u"] == pytest.approx(want.statistic)
        tape = (math.inf, math.inf)
        held = paired_change("x", a, later, scale=Scale.FRACTION, counted=tape)
        assert [row["lo95"], row["hi95"]] == pytest.approx([held.change.lo95, held.change.hi95])
        assert row["p"] == pytest.approx(held.p)
        assert row["sees_lo95"] < row["sees"] < row["sees_hi95"]
        assert "of_these_plots" in row["flags"]
        assert len(row["unit_ids"]) == 8
    years = (row["estimate"] / row["before"] + 1) ** (365.25 / 734) - 1
    assert row["annual_rate"] == pytest.approx(years)
    trend = row_of(found, kind="trend")
    assert trend["figure"] == "cover_frac"
    assert trend["df"] == 1
    assert trend["estimate"] == pytest.approx((c.mean() - a.mean()) / 2.01, rel=0.02)


def test_p_of_many_tests_stand_raw_and_adjusted(project) -> None:
    folder = project(tapes("Ledge", PLOTS))
    found = changes_of(folder)
    raw = [r["p"] for r in found["changes"] if r["p"] is not None]
    assert found["n_tests"] == len(raw) == 6  # two visits and a trend, of coral and of sand
    assert all(r["n_tests"] == 6 for r in found["changes"])
    want = stats.false_discovery_control(raw)
    got = [r["p_adjusted"] for r in found["changes"] if r["p"] is not None]
    assert got == pytest.approx(list(want))
    assert changes_of(folder, "--thing", "hard coral")["n_tests"] == 3


def test_units_drawn_anew_are_compared_so_unless_declared_the_same(project) -> None:
    folder = project(tapes("Ledge", PLOTS, "no"))
    a, _, c = PLOTS.values()
    row = row_of(changes_of(folder), kind="visits", last="2024-03-08")
    assert row["method"] == "parts_anew"
    assert row["df"] == pytest.approx(stats.ttest_ind(c, a, equal_var=False).df)
    tape = (math.inf, math.inf)
    assert row["p"] == pytest.approx(
        unpaired_change("x", a, c, scale=Scale.FRACTION, counted=tape).p
    )
    same = row_of(changes_of(folder, "--same-units"), kind="visits", last="2024-03-08")
    assert same["method"] == "parts_paired"
    assert same["sees"] < row["sees"]


def test_a_plot_that_was_seen_once_is_left_out_and_said(project) -> None:
    visits = {"2022-03-05": [0.4, 0.3, 0.5, 0.2], "2023-03-11": [0.3, 0.28, 0.45]}
    row = row_of(changes_of(project(tapes("Ledge", visits))), kind="visits")
    assert row["n_units"] == 3
    assert "unpaired_units_left_out" in row["flags"]
    assert row["before"] == pytest.approx(0.4)  # of the three


def test_nothing_is_said_to_be_unchanged(project) -> None:
    visits = {"2022-03-05": [0.40, 0.30, 0.50], "2023-03-11": [0.42, 0.27, 0.51]}
    folder = project(tapes("Ledge", visits))
    row = row_of(changes_of(folder), kind="visits")
    assert row["reading"] == "not_shown"
    shown = run("change", folder).stdout
    assert f"no change shown; sees from {row['sees']:.3g}" in shown


def test_an_observer_who_changed_with_the_visit_is_told(project) -> None:
    first = tapes("Ledge", {"2022-03-05": PLOTS["2022-03-05"]})
    second = tapes("Ledge", {"2023-03-11": PLOTS["2023-03-11"]}, who=SECOND)
    found = changes_of(project(first + second))
    assert "observer_changed" in row_of(found, kind="visits")["flags"]
    assert "change-observer-confounded" in {p["slug"] for p in found["problems"]}


def two_sites(impact: float) -> str:
    later = {"2022-03-07": [0.5, 0.4, 0.45], "2023-03-13": [0.5 - impact, 0.38, 0.44 - impact]}
    return tapes("Ledge", dict(list(PLOTS.items())[:2])) + tapes("Wall", later)


def test_several_sites_have_a_mean_change_by_a_mixed_model(project) -> None:
    found = changes_of(project(two_sites(0.1)), "--thing", "hard coral")
    assert found["rounds"] == [["2022-03-05", "2022-03-07"], ["2023-03-11", "2023-03-13"]]
    row = row_of(found, kind="sites")
    each = [row_of(found, kind="visits", site=s)["estimate"] for s in ("Ledge", "Wall")]
    assert row["estimate"] == pytest.approx(np.mean(each), abs=1e-6)
    assert (row["method"], row["site"]) == ("bootstrap_mixed", "Ledge; Wall")
    assert 1 <= row["df"] <= 10
    assert 0 < row["p_sites_differ"] < 1


def test_a_site_visited_twice_in_a_round_has_no_model(project) -> None:
    more = tapes("Wall", {"2022-03-07": [0.5, 0.4], "2022-03-20": [0.45, 0.4]})
    folder = project(tapes("Ledge", PLOTS) + more)
    found = changes_of(folder, "--thing", "hard coral")
    assert "change-model-left-out" in {p["slug"] for p in found["problems"]}
    assert not [r for r in found["changes"] if r["kind"] == "sites"]


def test_one_control_and_one_impact_site_give_the_contrast_alone(project) -> None:
    folder = project(two_sites(0.1))
    words = ("--control", "Ledge", "--impact", "Wall", "--after", "2023-01-01")
    row = row_of(changes_of(folder, *words), kind="contrast")
    ledge = np.mean(PLOTS["2023-03-11"]) - np.mean(PLOTS["2022-03-05"])
    wall = np.mean([0.4, 0.38, 0.34]) - np.mean([0.5, 0.4, 0.45])
    assert row["estimate"] == pytest.approx(wall - ledge)
    assert (row["lo95"], row["p"], row["reading"]) == (None, None, "not_known")
    assert "one_site_each" in row["flags"]
    assert "Wall less Ledge (line_intercept)" in run("change", folder, *words).stdout


def test_control_and_impact_need_each_other_and_a_day(project) -> None:
    folder = project(two_sites(0.1))
    with pytest.raises(InputError, match="change-needs-both"):
        run("change", folder, "--control", "Ledge", "--after", "2023-01-01")
    with pytest.raises(InputError, match="Ledge, Wall"):
        run("change", folder, "--control", "Ledge", "--impact", "Reef", "--after", "2023-01-01")
    with pytest.raises(InputError, match="change-site-unknown"):
        run("change", folder, "--control", "Wall", "--impact", "Wall", "--after", "2023-01-01")


def test_plots_that_lost_their_names_are_told(project) -> None:
    second = tapes("Ledge", {"2023-03-11": PLOTS["2023-03-11"]}).replace(",P", ",Q")
    found = changes_of(project(tapes("Ledge", {"2022-03-05": PLOTS["2022-03-05"]}) + second))
    assert row_of(found, kind="visits")["method"] == "parts_anew"
    assert "change-plots-not-paired" in {p["slug"] for p in found["problems"]}


SICK = (
    "site,date,unit,is_permanent,observer,design,area_m2,edge_rule,kind,category,name,"
    "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct\n"
)


def test_plots_that_keep_their_names_are_not_said_to_have_lost_them(tmp_path: Path) -> None:
    rows = ""
    for site in ("Ledge", "Wall"):
        for date, names in (
            ("2022-03-05", ("Porites", "Acropora")),
            ("2023-03-11", ("Acropora", "Porites")),
        ):
            for plot, name in zip(("P0", "P1"), names, strict=True):
                head = f"{site},{date},{plot},yes,{FIRST},quadrat_counts,4,centre_inside"
                share = 20 if (site, date[:4]) == ("Wall", "2022") else 0
                rows += f"{head},colony,hard coral,{name},{100 - share},0,{share},0,0\n"
    folder, table = tmp_path / "trip", tmp_path / "t.csv"
    table.write_text(SICK + rows, "utf-8")
    run("new", folder)
    run("region", folder, "indo_pacific")
    run("records", "import", folder, table, "--observer", FIRST, "--save")
    found = changes_of(folder)
    assert found["changes"]
    assert "change-plots-not-paired" not in {p["slug"] for p in found["problems"]}


def test_table_has_one_change_a_row(project, tmp_path: Path) -> None:
    folder = project(tapes("Ledge", PLOTS))
    assert run("change", folder, "--csv", tmp_path / "c.csv").exit_code == 0
    written = list(csv.DictReader(io.StringIO((tmp_path / "c.csv").read_text("utf-8-sig"))))
    assert len(written) == 6
    assert {"visits", "trend"} == {row["kind"] for row in written}


def test_one_visit_alone_is_nothing_to_compare(project) -> None:
    folder = project(tapes("Ledge", {"2022-03-05": [0.4, 0.3]}))
    assert "Nothing to compare" in run("change", folder).stdout


def test_a_list_that_changed_between_visits_is_brought_to_the_newer(project, tmp_path) -> None:
    first = tapes("Ledge", {"2022-03-05": [0.4, 0.3, 0.5]}).replace(",sand,", ",turf,")
    folder = project(first)
    heads = "category,group,is_hard_coral,definition\n"
    newer = "hard coral,coral,yes,Stony.\nlow algae,algae,no,Short.\nmud,loose,no,Soft.\n"
    (tmp_path / "newer.csv").write_text(heads + newer, "utf-8")
    words = ("records", "categories", folder, "--set", tmp_path / "newer.csv")
    assert run(*words, "--renamed", "turf=low algae").exit_code == 0
    later = tapes("Ledge", {"2023-03-11": [0.3, 0.28, 0.45]}).replace(",sand,", ",low algae,")
    later = later.replace("low algae,3,10", "low algae,3,9\nLedge,2023-03-11,P0,yes,Ines Varro,"
                          "line_intercept,10,intercept,mud,9,10")  # fmt: skip
    (tmp_path / "later.csv").write_text(HEADS + later, "utf-8")
    done = run("records", "import", folder, tmp_path / "later.csv", "--observer", FIRST, "--save")
    assert done.exit_code == 0, done.output
    found = changes_of(folder)
    row = row_of(found, thing="low algae", kind="visits")
    assert (row["before"], row["together"]) == (pytest.approx(0.6), ["turf"])
    assert row["after"] == pytest.approx((0.6 + 0.72 + 0.55) / 3)
    assert "categories_mapped" in row["flags"]
    assert "turf" not in {r["thing"] for r in found["changes"]}
    assert "mud" not in {r["thing"] for r in found["changes"]}
    told = {(p["slug"], p["place"]) for p in found["problems"]}
    assert ("change-categories-mapped", "turf \u2192 low algae") in told
    assert ("change-category-left-out", "mud") in told


def test_names_alone_are_compared_where_that_is_asked(project) -> None:
    table = tapes("Ledge", PLOTS)
    folder = project(table)
    assert changes_of(folder, "--of", "name")["n_tests"] == 0
    assert changes_of(folder, "--of", "category")["n_tests"] == 6
