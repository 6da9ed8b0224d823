"""``dryslate plan``: from past units or a stated spread to units, with the range of the answer."""

from __future__ import annotations

import json
import math
import shutil
import statistics
from pathlib import Path

import pytest
from scipy import stats
from typer.testing import CliRunner

from dryslate.base.errors import InputError
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")
HEADS = "site,date,unit,zone,is_permanent,design,"


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def plan_of(*words: object) -> dict:
    return json.loads(run("plan", *words, "--json").stdout)


def slugs(found: dict) -> set[str]:
    return {problem["slug"] for problem in found["problems"]}


def tapes(visits: dict[str, dict[str, float]], permanent: str) -> str:
    """Rows of 10 m tapes with so many metres of hard coral."""
    table = HEADS + "length_m,kind,category,from_m,to_m\n"
    for date, units in visits.items():
        for unit, metres in units.items():
            head = f"Ledge,{date},{unit},crest,{permanent},line_intercept,10,intercept"
            table += f"{head},hard coral,0,{metres}\n{head},sand,{metres},10\n"
    return table


@pytest.fixture
def project(tmp_path: Path):
    """Make a project of one table."""

    def make(table: str) -> Path:
        folder = tmp_path / "trip"
        run("new", folder)
        path = tmp_path / "t.csv"
        path.write_text(table, "utf-8")
        done = run("records", "import", folder, path, *WHO, "--save", "--json")
        assert json.loads(done.stdout)["n_stored"], done.stdout
        return folder

    return make


FIRST = {"T1": 2.0, "T2": 3.5, "T3": 3.0, "T4": 2.5}
SECOND = {"T1": 1.5, "T2": 3.4, "T3": 2.2, "T4": 2.1}


def test_units_from_a_stated_spread_carry_its_doubt() -> None:
    found = plan_of("--sd", 0.12, "--sd-n", 8, "--half-width", 0.05)
    lo = 0.12 * math.sqrt(7 / stats.chi2.ppf(0.975, 7))
    hi = 0.12 * math.sqrt(7 / stats.chi2.ppf(0.025, 7))
    assert found["basis"]["sd"] == pytest.approx({"sd": 0.12, "df": 7, "lo95": lo, "hi95": hi})

    def least(sd: float) -> int:
        return next(
            n for n in range(3, 999) if stats.t.ppf(0.975, n - 1) * sd / math.sqrt(n) <= 0.05
        )

    assert found["units_for_interval"] == {
        "units": least(0.12),
        "lo95": least(lo),
        "hi95": least(hi),
    }
    assert {"plan-no-pairs", "plan-no-photos"} <= slugs(found)


def test_power_and_alpha_are_settable_and_no_plan_goes_below_three_units() -> None:
    usual = plan_of("--sd", 0.1, "--sd-n", 6, "--change", 0.1)["units_for_change_anew"]
    more = plan_of("--sd", 0.1, "--sd-n", 6, "--change", 0.1, "--power", 0.9)
    strict = plan_of("--sd", 0.1, "--sd-n", 6, "--change", 0.1, "--alpha", 0.01)
    assert usual["units"] == 17  # Cohen 1992, table 2: d = 1 needs 17 (from memory)
    assert more["units_for_change_anew"]["units"] > usual["units"]
    assert strict["units_for_change_anew"]["units"] > usual["units"]
    tiny = plan_of("--sd", 0.001, "--sd-n", 6, "--change", 0.2, "--half-width", 0.2)
    assert tiny["units_for_change_anew"]["units"] == tiny["units_for_interval"]["units"] == 3


def test_spread_that_is_stated_as_known_is_told() -> None:
    found = plan_of("--sd", 0.1, "--half-width", 0.05)
    assert "plan-sd-without-doubt" in slugs(found)
    given = plan_of("--sd", 0.1, "--sd-interval", 0.06, 0.25, "--half-width", 0.05)
    assert "plan-sd-without-doubt" not in slugs(given)
    assert given["units_for_interval"]["hi95"] > found["units_for_interval"]["hi95"]


def test_past_units_are_pooled_within_visits_and_permanent_plots_pair(project) -> None:
    folder = project(tapes({"2023-05-19": FIRST, "2024-05-19": SECOND}, "yes"))
    found = plan_of("--from", folder, "--change", 0.1, "--half-width", 0.1)
    shares = [[m / 10 for m in visit.values()] for visit in (FIRST, SECOND)]
    pooled = math.sqrt(statistics.mean(statistics.variance(s) for s in shares))
    gaps = [b - a for a, b in zip(*shares, strict=True)]
    assert found["basis"]["sd"]["sd"] == pytest.approx(pooled)
    assert found["basis"]["sd"]["df"] == 6
    assert found["basis"]["sd_of_differences"]["sd"] == pytest.approx(statistics.stdev(gaps))
    assert found["basis"]["level"] == pytest.approx(statistics.mean(shares[0] + shares[1]))
    assert found["units_for_change_same"]["units"] < found["units_for_change_anew"]["units"]
    assert found["table"][0]["units"] == 3
    assert "plan-no-photos" in slugs(found)
    shown = run("plan", "--from", folder, "--change", 0.1).stdout
    assert "the same units again" in shown


def test_units_drawn_anew_do_not_pair_unless_declared_the_same(project) -> None:
    folder = project(tapes({"2023-05-19": FIRST, "2024-05-19": SECOND}, "no"))
    assert plan_of("--from", folder, "--change", 0.1)["units_for_change_same"] is None
    same = plan_of("--from", folder, "--change", 0.1, "--same-units")
    assert same["units_for_change_same"] is not None


def test_photos_and_points_are_weighed_against_units(web_project, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(web_project, tmp_path / "trip"))
    table = "site,date,unit,design,n_points,point_rule,kind,category,photo,x_px,y_px\n"
    photos = {"A": ("DRY_0001", "DRY_0002"), "B": ("DRY_0003", "DRY_0006")}
    on = {"DRY_0001": 2, "DRY_0002": 3, "DRY_0003": 0, "DRY_0006": 2}
    for unit, names in photos.items():
        for name in names:
            for k in range(4):
                what = "hard coral" if k < on[name] else "sand"
                table += (
                    f"Lantern Steps,2024-03-09,{unit},photo_points,4,random,point,{what},"
                    f"{name}.JPG,{k},5\n"
                )
    path = tmp_path / "t.csv"
    path.write_text(table, "utf-8")
    assert json.loads(run("records", "import", folder, path, *WHO, "--save", "--json").stdout)[
        "n_stored"
    ]
    minutes = ("--minutes", 30, 2, 0.1)
    found = plan_of("--from", folder, "--half-width", 0.1, *minutes)
    shares = [[on[p] / 4 for p in unit] for unit in photos.values()]
    within = sum(statistics.variance(s) for s in shares) / 2
    between = statistics.variance([statistics.mean(s) for s in shares])
    parts = found["basis"]["components"]
    assert parts["ms_photos"] == pytest.approx(within)
    assert parts["units"] == pytest.approx(max(between - within / 2, 0))
    rows = {(a["photos"], a["points"]): a for a in found["allocations"]}
    assert set(rows) == {(m, k) for m in (1, 2, 4) for k in (2, 4, 8)}
    assert rows[2, 4]["plan"]["units"] == found["units_for_interval"]["units"]
    assert rows[4, 8]["sd"] < rows[1, 2]["sd"]
    assert rows[2, 4]["work_min"] == pytest.approx(rows[2, 4]["plan"]["units"] * (30 + 2 * 2.4))


def test_power_curve_has_the_same_bytes_each_time(tmp_path: Path) -> None:
    words = ("plan", "--sd", 0.1, "--sd-n", 6, "--change", 0.1, "--correlation", 0.5)
    for name in ("a.svg", "b.svg"):
        assert run(*words, "--svg", tmp_path / name).exit_code == 0
    first, second = ((tmp_path / name).read_bytes() for name in ("a.svg", "b.svg"))
    assert first == second
    assert b"the same units again" in first
    with pytest.raises(InputError, match="plan-no-curve"):
        run("plan", "--sd", 0.1, "--half-width", 0.1, "--svg", tmp_path / "c.svg")


def test_plans_that_the_data_do_not_carry_are_refused(project) -> None:
    with pytest.raises(InputError, match="plan-basis"):
        run("plan", "--change", 0.1)
    folder = project(tapes({"2024-05-19": {"T1": 2.0}}, "no"))
    with pytest.raises(InputError, match="plan-data-too-thin"):
        run("plan", "--from", folder, "--change", 0.1)
    with pytest.raises(InputError, match="cover_frac of sand"):
        run("plan", "--from", folder, "--thing", "sponges")
    with pytest.raises(InputError, match="plan-figure-unknown"):
        run("plan", "--from", folder, "--figure", "density_per_m2")


def test_spread_of_one_design_does_not_stand_for_another(project) -> None:
    table = "site,date,unit,design,length_m,width_m,area_m2,edge_rule,kind,category,n\n"
    for unit, design, size, n in (
        ("B1", "belt", "10,1,", 4),
        ("B2", "belt", "10,1,", 9),
        ("Q1", "quadrat_counts", ",,1", 2),
        ("Q2", "quadrat_counts", ",,1", 1),
    ):
        table += f"Ledge,2024-05-19,{unit},{design},{size},centre_inside,count,hard coral,{n}\n"
    words = ("--from", project(table), "--figure", "density_per_m2", "--half-width", 0.5)
    with pytest.raises(InputError, match="plan-several-designs"):
        run("plan", *words)
    assert plan_of(*words, "--design", "belt")["basis"]["sd"]["sd"] == pytest.approx(
        statistics.stdev([0.4, 0.9])
    )
