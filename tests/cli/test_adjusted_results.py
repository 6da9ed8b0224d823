"""``dryslate results`` with second looks: figures by name corrected, beside the raw."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.fakes.looked_again import look_again
from typer.testing import CliRunner

from dryslate.base.errors import FormatError, InputError
from dryslate.cli.main import build_app

INES = "Ines Varro"
HEADS = "site,date,unit,design,length_m,spacing_m,kind,category,name,at_m\n"
POINTS = {"T1": (8, 4, 2), "T2": (6, 3, 3), "T3": (10, 4, 1), "T4": (7, 5, 2)}
NAMES = ("Favites", "Goniastrea", "Porites")


def run(*words: object):
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """Four tapes of 20 points with three genera by name."""
    folder, table = tmp_path / "trip", HEADS
    run("new", folder)
    run("region", folder, "indo_pacific", "--observer", INES)
    for unit, numbers in POINTS.items():
        words = [name for name, n in zip(NAMES, numbers, strict=True) for _ in range(n)]
        for k in range(20):
            name = words[k] if k < len(words) else ""
            what = "hard coral" if name else "sand"
            head = f"Ledge,2024-05-19,{unit},point_intercept,10,0.5,point"
            table += f"{head},{what},{name},{0.5 * (k + 1)}\n"
    path = tmp_path / "t.csv"
    path.write_text(table, "utf-8")
    done = run("records", "import", folder, path, "--observer", INES, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 80, done.stdout
    return folder


def rows_of(folder: Path, *words: object) -> tuple[dict[tuple[str, str], dict], str]:
    done = run("results", folder, "--json", *words)
    found = json.loads(done.stdout)
    said = " ".join(f"{note['slug']} {note['message']}" for note in found["notes"])
    return {(r["figure"], r["thing"]): r for r in found["results"]}, said


LOOKS = (
    [("Favites", "Favites", 0.1)] * 18
    + [("Favites", "Goniastrea", 0.1)] * 2
    + [("Favites", "Goniastrea", 1.0)] * 4
    + [("Goniastrea", "Goniastrea", 0.1)] * 22
    + [("Porites", "Porites", 0.1)] * 25
)


def test_cover_by_name_is_corrected_beside_the_raw_by_weighted_second_looks(project) -> None:
    look_again(project, LOOKS)
    rows, said = rows_of(project)
    covers = np.array([list(v) for v in POINTS.values()]) / 20
    raw = covers.mean(axis=0)
    weights = np.array([18 / 0.1, 2 / 0.1 + 4])  # Favites that stayed, and that were Goniastrea
    moved = weights[1] / weights.sum()
    want = {
        "Favites": raw[0] * (1 - moved),
        "Goniastrea": raw[1] + raw[0] * moved,
        "Porites": raw[2],
    }
    for name, value in want.items():
        before, after = rows["cover_frac", name], rows["cover_adjusted_frac", name]
        assert after["estimate"] == pytest.approx(value)
        assert after["lo95"] < value < after["hi95"]
        assert (after["method"], after["n_units"]) == ("twice_named_t", 4)
        assert after["unit_ids"] == before["unit_ids"]
    before, after = (rows[f, "Goniastrea"] for f in ("cover_frac", "cover_adjusted_frac"))
    assert after["hi95"] - after["lo95"] > before["hi95"] - before["lo95"]
    total = sum(rows["cover_adjusted_frac", n]["estimate"] for n in NAMES)
    assert total == pytest.approx(raw.sum())
    assert "names-not-adjusted" not in said
    assert "corrected for misnaming" in run("results", project).stdout


def test_a_unit_where_nothing_could_be_read_is_blank_in_the_corrected_figure_too(project) -> None:
    head = HEADS.replace("at_m", "at_m,unreadable")
    lines = [
        f"Ledge,2024-05-19,T5,point_intercept,10,0.5,point,,,{k / 2 + 0.5},yes" for k in range(20)
    ]
    path = project.parent / "dark.csv"
    path.write_text(head + "\n".join(lines) + "\n", "utf-8")
    done = run("records", "import", project, path, "--observer", INES, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 20, done.stdout
    look_again(project, LOOKS)
    by_looks, by_table = (
        rows_of(project)[0],
        rows_of(project, "--error-table", table(project, GOOD))[0],
    )
    for rows in (by_looks, by_table):
        for figure in ("cover_frac", "cover_adjusted_frac"):
            row = rows[figure, "Favites"]
            assert (row["n_units"], row["n_blank"]) == (4, 1)
            assert "blank_units" in row["flags"]


def test_names_with_few_looks_are_pooled_with_their_look_alikes_or_left(project) -> None:
    few = [("Favites", "Favites", 0.1)] * 15 + [("Goniastrea", "Favites", 0.1)] * 9
    look_again(project, few + [("Porites", "Porites", 0.1)] * 5)
    rows, said = rows_of(project)
    pool = "Favites or Goniastrea"
    raw, after = rows["cover_frac", pool], rows["cover_adjusted_frac", pool]
    assert raw["estimate"] == pytest.approx(np.mean([sum(v[:2]) for v in POINTS.values()]) / 20)
    assert after["estimate"] == pytest.approx(raw["estimate"])
    assert ("cover_adjusted_frac", "Porites") not in rows
    assert "Porites (5)" in said
    assert "names-not-adjusted" in said


def test_those_drawn_by_chance_that_still_wait_take_no_weight_from_those_looked_at(project) -> None:
    """Doubtful names, drawn for certain, are looked at first; half of the others wait."""
    look_again(project, [*LOOKS, *[("Favites", "", 0.1)] * 20, *[("Porites", "", 0.1)] * 47])
    rows, _ = rows_of(project)
    raw = np.mean([v[0] for v in POINTS.values()]) / 20
    weights = np.array([18 / 0.05, 2 / 0.05 + 4])  # 67 of 134 drawn by chance are settled
    want = raw * weights[0] / weights.sum()
    assert rows["cover_adjusted_frac", "Favites"]["estimate"] == pytest.approx(want)


def test_looks_at_doubtful_names_alone_correct_nothing_and_that_is_said(project) -> None:
    doubtful = [("Favites", "Goniastrea", 1.0)] * 12 + [("Favites", "Favites", 1.0)] * 12
    look_again(project, doubtful + [("Favites", "", 0.1)] * 5)
    rows, said = rows_of(project)
    assert not [key for key in rows if "adjusted" in key[0]]
    assert "names-not-adjusted Second looks so far are at doubtful names only" in said


@pytest.mark.parametrize("has_others", [True, False])
def test_hit_rate_weighs_those_looked_at_and_says_where_they_are_doubtful_only(
    project, has_others
) -> None:
    doubtful = [("Favites", "Goniastrea", 1.0)] * 15 + [("Favites", "Favites", 1.0)] * 15
    others = [("Porites", "Porites", 0.1)] * 30 * has_others
    waiting = [("Porites", "", 0.1)] * 30
    look_again(project, doubtful * (2 - has_others) + others + waiting)
    told = json.loads(run("review", "rate", project, "--json").stdout)
    assert told["is_doubtful_only"] is not has_others
    # 30 of 60 drawn with a chance of 0.1 were looked at: each stands for 20
    assert told["rate"] == pytest.approx((15 + 30 * 20) / (30 + 30 * 20) if has_others else 0.5)
    said = " ".join(run("review", "rate", project).stdout.split())
    assert ("Only doubtful names were looked at so far" in said) is not has_others


def test_without_second_looks_nothing_is_corrected(project) -> None:
    rows, said = rows_of(project)
    assert not [key for key in rows if "adjusted" in key[0]]
    assert "names-not-adjusted" not in said


def table(folder: Path, text: str) -> Path:
    path = folder.parent / "errors.csv"
    path.write_text(text, "utf-8")
    return path


GOOD = "# made up for this test\ntrue,read,n\nFavites,Favites,80\nFavites,Goniastrea,20\n"
GOOD += "Goniastrea,Goniastrea,45\nGoniastrea,Favites,5\n"


def test_a_table_from_outside_is_inverted(project) -> None:
    rows, _ = rows_of(project, "--error-table", table(project, GOOD))
    covers = np.array([list(v[:2]) for v in POINTS.values()]) / 20
    want = np.linalg.solve(np.array([[0.8, 0.2], [0.1, 0.9]]).T, covers.mean(axis=0))
    for name, value in zip(NAMES[:2], want, strict=True):
        row = rows["cover_adjusted_frac", name]
        assert row["estimate"] == pytest.approx(value)
        assert row["method"] == "outside_table_draws"
        assert row["u"] > rows["cover_frac", name]["u"]
        assert row["flags"] == ["rates_from_elsewhere"]
        assert row["lo95"] < value < row["hi95"]
    assert ("cover_adjusted_frac", "Porites") not in rows


def test_a_correction_beyond_what_can_be_is_flagged_and_not_cut_off(project) -> None:
    text = GOOD.replace("Goniastrea,Favites,5", "Goniastrea,Favites,1")
    text = text.replace("Favites,Favites,80", "Favites,Favites,50")
    text = text.replace("Favites,Goniastrea,20", "Favites,Goniastrea,50")
    row = rows_of(project, "--error-table", table(project, text))[0][
        "cover_adjusted_frac", "Goniastrea"
    ]
    assert row["estimate"] < 0
    assert row["lo95"] < row["estimate"] < row["hi95"]
    assert "adjusted_outside" in row["flags"]


def test_shares_without_the_number_checked_are_taken_as_exact_and_said_so(project) -> None:
    counted = table(project, GOOD)
    wide = rows_of(project, "--error-table", counted)[0]["cover_adjusted_frac", "Favites"]
    text = "true,read,share\nFavites,Favites,0.8\nFavites,Goniastrea,0.2\n"
    text += "Goniastrea,Goniastrea,0.9\nGoniastrea,Favites,0.1\n"
    row = rows_of(project, "--error-table", table(project, text))[0][
        "cover_adjusted_frac", "Favites"
    ]
    assert row["estimate"] == pytest.approx(wide["estimate"])
    assert row["hi95"] - row["lo95"] < wide["hi95"] - wide["lo95"]
    assert {"rates_from_elsewhere", "rates_taken_as_exact", "coverage_low"} <= set(row["flags"])
    said = run("results", project, "--error-table", counted).stdout
    assert "by error rates from elsewhere, assumed to hold here" in said


SHARES = "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct"
ILL = {"T1": ((5, 10), (2, 11)), "T2": ((3, 11), (1, 13)), "T3": ((6, 10), (2, 10))}
"""Of each belt, for Favites and Goniastrea: bleached colonies, and all that were examined."""


def test_prevalence_by_name_is_corrected_by_a_table_from_outside_only(project) -> None:
    head = "site,date,unit,design,length_m,width_m,edge_rule,kind,category,name," + SHARES
    lines = [head]
    for unit, genera in ILL.items():
        for name, (ill, n) in zip(NAMES, genera, strict=False):
            for k in range(n):
                state = "40,0,60,0,0" if k < ill else "100,0,0,0,0"
                belt = f"Ledge,2024-05-19,B{unit},belt,10,1,centre_inside,colony,hard coral"
                lines.append(f"{belt},{name},{state}")
    path = project.parent / "belts.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    done = run("records", "import", project, path, "--observer", INES, "--save", "--json")
    assert json.loads(done.stdout)["n_stored"] == 65, done.stdout
    rows, _ = rows_of(project, "--error-table", table(project, GOOD))
    counts = np.array(list(ILL.values())).sum(axis=0)
    back = np.linalg.inv(np.array([[0.8, 0.2], [0.1, 0.9]]).T)
    want = (back @ counts[:, 0]) / (back @ counts[:, 1])
    for k, name in enumerate(NAMES[:2]):
        raw = rows["prevalence_bleached_frac", name]
        row = rows["prevalence_bleached_adjusted_frac", name]
        assert row["estimate"] == pytest.approx(want[k])
        assert (row["n_units"], row["n_colonies"]) == (3, raw["n_colonies"])
        assert row["hi95"] - row["lo95"] > 0
        assert row["flags"] == ["rates_from_elsewhere", "coverage_high"]
    # what the table takes from one genus it gives to the other
    assert want[0] > rows["prevalence_bleached_frac", "Favites"]["estimate"]
    assert want[1] < rows["prevalence_bleached_frac", "Goniastrea"]["estimate"]
    # nobody saw an old dead part, and nothing is made of that
    assert not [key for key in rows if key[0] == "prevalence_old_dead_adjusted_frac"]
    look_again(project, LOOKS)
    assert not [key for key in rows_of(project)[0] if key[0].startswith("prevalence_bleached_adj")]


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("true,read,number\n", "confusion-table-broken"),
        ("true,read,n\nFavites,Favites,many\n", "confusion-table-broken"),
        ("true,read,n\nFavites,Favites,3\nFavites,Favites,4\n", "confusion-table-broken"),
        ("true,read,n\nFavites,Goniastrea,3\n", "confusion-table-broken"),  # never checked
        ("true,read,share\nFavites,Favites,0.7\n", "confusion-table-broken"),  # not 1
        (GOOD + "Blorpites,Blorpites,9\n", "confusion-name-unknown"),
        (
            "true,read,n\nFavites,Favites,5\nFavites,Goniastrea,5\n"
            "Goniastrea,Favites,5\nGoniastrea,Goniastrea,5\n",
            "confusion-not-usable",  # tells nothing apart
        ),
    ],
)
def test_a_table_that_cannot_be_used_is_told(project, text: str, slug: str) -> None:
    with pytest.raises((InputError, FormatError)) as error:
        run("results", project, "--error-table", table(project, text))
    assert error.value.slug == slug
