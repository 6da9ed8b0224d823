"""``dryslate community``: from tables of records to comparisons that can be reckoned by hand."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app

WHO = ("--observer", "Ines Varro")
HEADS = "site,date,unit,zone,design,length_m,width_m,edge_rule,searched,kind,category,name,n\n"
LINE = "{},{},{},{},belt,10,1,centre_inside,{},count,hard coral,{},{}\n"


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def trip(tmp_path: Path):
    """A project with belts: the call takes (site, date, unit, zone, {name: n})."""

    def make(units: list[tuple[str, str, str, str, dict[str, int]]], searched: str = "") -> Path:
        folder = tmp_path / "trip"
        run("new", folder)
        run("region", folder, "indo_pacific", *WHO)
        table = HEADS + "".join(
            LINE.format(site, date, unit, zone, searched, name, n)
            for site, date, unit, zone, found in units
            for name, n in found.items()
        )
        path = tmp_path / "t.csv"
        path.write_text(table, "utf-8")
        done = run("records", "import", folder, path, *WHO, "--save", "--json")
        assert json.loads(done.stdout)["n_stored"], done.stdout
        return folder

    return make


def reef(sites: tuple[str, ...] = ("Ledge", "Wall")) -> list:
    """Crest of Favites and slope of Porites at each site, four belts each."""
    draws = np.random.default_rng(5)
    return [
        (site, "2024-05-19", f"{zone}{k}", zone, {
            "Favites": int(base + draws.integers(0, 4)),
            "Porites": int(25 - base + draws.integers(0, 4)),
        })
        for site in sites
        for zone, base in (("crest", 20), ("slope", 5))
        for k in range(4)
    ]  # fmt: skip


def rows_of(folder: Path, *more: object) -> list[dict]:
    done = run("community", folder, *more, "--json")
    return json.loads(done.stdout)["rows"]


def test_zones_differ_and_units_are_exchanged_within_sites(trip) -> None:
    rows = rows_of(trip(reef()), "--by", "zone")
    (test,) = [r for r in rows if r["figure"] == "permanova_f"]
    # within each of two visits 8! / (4! 4!) = 70 ways; crest and slope changed over in both
    assert test["n_distinct"] == test["n_permutations"] == 70 * 70
    assert test["p"] == test["p_smallest"] == pytest.approx(2 / 4900)
    assert test["exchanged"] == "units_within_sites"
    assert test["n_units"] == 16
    shares = {r["term"]: r["estimate"] for r in rows if r["figure"] == "permanova_r2_frac"}
    assert sum(shares.values()) == pytest.approx(1)
    assert shares["zone"] > 0.8
    axes = [r for r in rows if r["figure"] == "axis_1"]
    assert len(axes) == 16 == len({r["unit_id"] for r in axes})
    parts = {r["thing"]: r["estimate"] for r in rows if r["figure"] == "contribution_frac"}
    (whole,) = [r["estimate"] for r in rows if r["figure"] == "dissimilarity_frac"]
    assert sum(parts.values()) == pytest.approx(whole)
    assert set(parts) == {"Favites", "Porites"}


def test_two_sites_a_group_can_find_nothing_and_it_is_said(trip) -> None:
    folder = trip(reef(("A", "B", "C", "D")))
    groups = [w for s, g in zip("ABCD", "nnyy", strict=True) for w in ("--group", f"{s}={g}")]
    (test,) = [r for r in rows_of(folder, *groups) if r["figure"] == "permanova_f"]
    assert (test["n_distinct"], test["exchanged"]) == (6, "whole_sites")
    assert test["p_smallest"] == pytest.approx(2 / 6)
    assert "few_permutations" in test["flags"]
    said = run("community", folder, *groups).stdout
    assert "do groups differ (group)? F " in said
    assert "does the spread of groups differ (group)? F " in said
    assert "6 distinct ways to exchange whole sites" in said
    assert "smallest possible p 0.33" in said
    assert "no p of 0.05 or less is possible" in said


def test_visits_are_numbered_at_each_site(trip) -> None:
    first = reef()
    later = [(s, "2025-06-02", u, z, {"Favites": 3, "Porites": 30 + k})
             for k, (s, _, u, z, _n) in enumerate(first)]  # fmt: skip
    rows = rows_of(trip(first + later), "--by", "visit")
    (test,) = [r for r in rows if r["figure"] == "permanova_f"]
    assert test["n_units"] == 32
    groups = {r["first"] for r in rows if r["figure"] == "axis_1"}
    assert groups == {"visit 1", "visit 2"}
    assert test["p"] < 0.01


def test_same_seed_same_table(trip, tmp_path: Path) -> None:
    folder = trip(reef())
    for name in ("a.csv", "b.csv"):
        run("community", folder, "--csv", tmp_path / name)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    table = list(csv.DictReader(io.StringIO((tmp_path / "a.csv").read_text("utf-8-sig"))))
    assert {row["by"] for row in table} == {"site"}
    assert "seed 1" in table[0]["method"]


def test_empty_unit_and_names_not_searched_for_are_left_out_and_counted(trip) -> None:
    units = reef()
    units[0] = (*units[0][:4], {"Favites": 0})
    units[1] = (*units[1][:4], {"Favites": 9, "Pavona": 4})
    rows = rows_of(trip(units, "Favites;Porites"), "--by", "zone")
    assert rows[0]["n_left_out"] == 1
    assert rows[0]["n_things_left_out"] == 1  # Pavona: the other belts did not search for it
    assert {"empty_units", "things_not_searched"} <= set(rows[0]["flags"])


def test_too_few_units_is_said_by_design(trip) -> None:
    done = run("community", trip(reef()[:2]))
    assert done.exit_code == 3
    assert "[community-too-few-units]" in done.stderr


def test_one_group_still_gives_the_picture(trip) -> None:
    done = run("community", trip(reef(("Ledge",))), "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 3
    assert found["problems"][0]["slug"] == "community-groups-alike"
    assert {row["figure"] for row in found["rows"]} == {"stress", "axis_1", "axis_2"}


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (("--by", "colour"), "community-what"),
        (("--measure", "x"), "community-what"),
        (("--by", "group"), "community-what"),
        (("--group", "Ledge"), "community-what"),
        (("--group", "Nowhere=a", "--group", "Wall=b"), "community-site-unknown"),
    ],
)
def test_words_that_are_no_choice(trip, words: tuple[str, ...], slug: str) -> None:
    with pytest.raises(DryslateError) as caught:
        run("community", trip(reef()), *words)
    assert caught.value.slug == slug


def test_nothing_noted(tmp_path: Path) -> None:
    run("new", tmp_path / "p")
    assert "No units can be compared yet" in run("community", tmp_path / "p").stdout
