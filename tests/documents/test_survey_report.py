"""The report of a survey's results: its numbers are those of the table, and its bytes repeat."""

from __future__ import annotations

import ast
import csv
import hashlib
import json
import os
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app
from dryslate.documents.report_language import Speech, texts_in
from dryslate.documents.survey_charts import Dot, dot_chart, map_chart, scatter_chart, ticks_to
from dryslate.store.results import SqliteResultRoom

ROOT = Path(__file__).resolve().parents[2]
WHO = ("--observer", "Ines Varro")
ODD = 'Ledge <b>& "Inner" # $x$ *reef* \\ {y}'
LONG = "The far end of the outer lagoon, second channel, seaward side, " * 3
BELTS = (
    "site,date,unit,zone,design,length_m,width_m,edge_rule,kind,category,name,n,longest_cm,"
    "normal_pct,pale_pct,bleached_pct,recently_dead_pct,old_dead_pct\n"
)
COUNTS = "site,date,unit,zone,design,length_m,width_m,edge_rule,searched,kind,category,name,n\n"
TAPES = "site,date,unit,zone,design,length_m,is_permanent,kind,category,from_m,to_m\n"


def run(*words: object) -> Any:
    done = CliRunner().invoke(build_app(), [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def project(folder: Path, *tables: str) -> Path:
    run("new", folder)
    run("region", folder, "indo_pacific", *WHO)
    for k, table in enumerate(tables):
        path = folder.parent / f"table{k}.csv"
        path.write_text(table, "utf-8")
        done = run("records", "import", folder, path, *WHO, "--save", "--json")
        assert json.loads(done.stdout)["n_stored"], done.stdout
    return folder


def report(folder: Path, *words: object) -> str:
    out = folder.parent / "r.html"
    run("report", folder, "--results", "-o", out, *words)
    return out.read_text("utf-8")


def pdf_text(path: Path) -> str:
    with pypdfium2.PdfDocument(path) as document:
        return "\n".join(page.get_textpage().get_text_range() for page in document)


class Cells(HTMLParser):
    """Rows of tables by their id, links with their text, and every id."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: dict[str, list[str]] = {}
        self.links: list[tuple[str, str]] = []
        self.ids: list[str] = []
        self._row = self._link = ""
        self._is_cell = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = dict(attrs)
        if own.get("id"):
            self.ids.append(str(own["id"]))
        if tag == "tr":
            self._row = own.get("id") or ""
            self.rows.setdefault(self._row, [])
        if tag == "td":
            self._is_cell = True
            self.rows[self._row].append("")
        if tag == "a":
            self._link = str(own["href"])
            self.links.append((self._link, ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self._is_cell = False
        if tag == "a":
            self._link = ""

    def handle_data(self, data: str) -> None:
        if self._is_cell:
            self.rows[self._row][-1] += data
        if self._link:
            self.links[-1] = (self._link, self.links[-1][1] + data)


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Belts at an oddly named site with zones, tapes on two visits at another."""
    belts = BELTS + "".join(
        f"{quoted(ODD)},2024-05-19,B{z}{k},{z},belt,10,1,centre_inside,colony,hard coral,{name},,"
        f"{5 + 3 * k + c},{90 - 10 * (c % 2)},0,{10 * (c % 2)},0,10\n"
        for z, more in (("crest", 2), ("slope", 0))
        for k in range(4)
        for name, n in (("Favites", 2 + more), ("Porites", 4 - more), ("Acropora", k))
        for c in range(n)
    )
    tapes = TAPES + "".join(
        f"Wall,{date},T{k},crest,line_intercept,10,yes,intercept,hard coral,0,{share + k / step}\n"
        f"Wall,{date},T{k},crest,line_intercept,10,yes,intercept,sand,{share + k / step},10\n"
        for date, share, step in (("2024-05-19", 4.0, 4), ("2025-05-20", 1.5, 5))
        for k in range(4)
    )
    folder = project(tmp_path_factory.mktemp("survey") / "trip", belts, tapes)
    run("sites", "set", folder, "Wall", "--position", "-8.3512, 115.5134", *WHO, "--sure")
    run("sites", "set", folder, ODD, "--position", "-8.4177, 115.6283", "--coarsen-to", "0.1",
        *WHO, "--sure")  # fmt: skip
    return folder


@pytest.fixture(scope="module")
def page(trip: Path) -> str:
    return report(trip, "--pdf")


def written(figure: str, value: float) -> str:
    return f"{100 * value:.1f}" if figure.endswith("_frac") else f"{value:.3g}"


def test_every_number_of_a_figure_is_that_of_its_row(trip: Path, page: str) -> None:
    rows = json.loads(run("results", trip, "--json").stdout)["results"]
    found = Cells(page)
    assert len(rows) > 50
    for k, row in enumerate(rows, 1):
        cells = found.rows[f"figure-{k}"]
        assert cells[0] == str(k)
        assert row["thing"] == cells[2]
        if row["estimate"] is not None:
            assert cells[3] == written(row["figure"], row["estimate"])
        ends = [row["lo95"], row["hi95"]]
        said = [None if end is None else written(row["figure"], end) for end in ends]
        if None not in ends:
            assert cells[4] == f"{said[0]} to {said[1]}"
        elif ends[1] is not None:
            assert cells[4] == f"under {said[1]}"
        assert cells[5].startswith(f"{row['n_units']}: ")
    told = [(href, text) for href, text in found.links if href.startswith("#figure-")]
    assert len(told) >= 6
    for href, text in told:
        number = href.removeprefix("#figure-")
        row = rows[int(number) - 1]
        if row["thing"] != "all corals":  # of the table of names noted seldom: the number itself
            assert row["kind_of_thing"] == "name"
            assert text.split("\N{EN DASH}")[0] == number
            continue
        assert text.replace("\N{NO-BREAK SPACE}", " ").split()[0] == written(
            row["figure"], row["estimate"]
        )


def test_the_trail_leads_from_figures_to_units_and_to_where_rows_were_written(page: str) -> None:
    found = Cells(page)
    assert len(found.ids) == len(set(found.ids))
    assert {href for href, _ in found.links} <= {f"#{name}" for name in found.ids}
    units = [name for name in found.rows if name.startswith("unit-")]
    assert len(units) == 16
    assert all(re.search(r"table[01]\.csv, row \d+", found.rows[name][5]) for name in units)
    rows = [name for name in found.rows if name.startswith("row-")]
    assert len(rows) == 16 + 2 * 4 * 6 + 2 * 6


def test_names_noted_seldom_stand_together_and_in_no_drawing(trip: Path, page: str) -> None:
    table = page[page.index('id="few"') : page.index('id="change"')]
    assert "<td>Acropora</td>" in table  # 2 * (0 + 1 + 2 + 3) colonies; the others have more
    assert "<td>Favites</td>" not in table
    drawn = page[page.index('id="site-1"') : page.index('id="few"')]
    assert ">Favites</text>" in drawn
    assert ">Acropora</text>" not in drawn


def test_the_table_of_figures_lies_beside_the_report_and_its_hash_in_it(
    trip: Path, page: str, tmp_path: Path
) -> None:
    beside = (trip.parent / "r.csv").read_bytes()
    run("results", trip, "--csv", tmp_path / "own.csv")
    assert beside == (tmp_path / "own.csv").read_bytes()
    assert hashlib.sha256(beside).hexdigest() in page
    assert "r.csv" in page


def test_paper_holds_every_figure_in_small_lines(trip: Path, page: str) -> None:
    rows = json.loads(run("results", trip, "--json").stdout)["results"]
    lines = pdf_text(trip.parent / "r.pdf").replace("\r\n", "\n")
    every = lines[lines.index("Every figure\n") :]
    for k, row in enumerate(rows, 1):
        (line,) = re.findall(rf"(?m)^{k} (?!\d+\n).*$(?:\n(?!\d+ ).*$)?", every)[:1]
        if row["estimate"] is not None:
            assert written(row["figure"], row["estimate"]) in line, line


def test_some_sites_visits_and_parts_only(trip: Path, tmp_path: Path) -> None:
    done = run("report", trip, "--results", "-o", tmp_path / "r.html", "--site", "Wall",
               "--part", "sites", "--part", "change")  # fmt: skip
    assert done.exit_code == 0, done.output
    said = (tmp_path / "r.html").read_text("utf-8")
    found = Cells(said)
    assert "Ledge" not in said
    assert 'id="change"' in said
    assert 'id="figures"' not in said
    assert not [name for name in found.rows if name.startswith("unit-")]
    assert {href for href, _ in found.links} <= {f"#{name}" for name in found.ids}
    run("report", trip, "--results", "-o", tmp_path / "r.html", "--site", "Wall",
        "--visit", "2024-05-19")  # fmt: skip
    first = Cells((tmp_path / "r.html").read_text("utf-8"))
    assert len([name for name in first.rows if name.startswith("unit-")]) == 4
    assert not [name for name in first.rows if name.startswith("change-")]
    said = (tmp_path / "r.html").read_text("utf-8")
    assert "Change: shown in the report of all visits alone." in said
    assert "no site was surveyed twice" not in said


def test_a_name_that_ends_as_the_paper_does_overwrites_nothing(trip: Path, tmp_path: Path) -> None:
    out = tmp_path / "for-the-park.pdf"
    done = run("report", trip, "--results", "-o", out, "--site", "Wall", "--part", "sites")
    assert done.exit_code == 0, done.output
    assert out.read_bytes().startswith(b"%PDF-")
    assert "<html" in out.with_suffix(".html").read_text("utf-8")
    run("report", trip, "--results", "-o", tmp_path / "figures.csv", "--part", "sites")
    assert "<html" in (tmp_path / "figures.html").read_text("utf-8")
    assert "<html" not in (tmp_path / "figures.csv").read_text("utf-8")


def test_the_change_log_is_not_read(trip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("the whole change log was read")

    monkeypatch.setattr(SqliteResultRoom, "changes", refuse)
    said = report(trip)
    assert re.search(r"lines in the change log: \d{3,}", said)


def test_a_part_that_there_is_not(trip: Path) -> None:
    with pytest.raises(DryslateError) as caught:
        report(trip, "--part", "weather")
    assert caught.value.slug == "report-part-unknown"
    with pytest.raises(DryslateError) as caught:
        report(trip, "--site", "Nowhere")
    assert caught.value.slug == "results-choice-unknown"


def test_change_is_told_with_what_could_have_been_seen(trip: Path, page: str) -> None:
    changes = json.loads(run("change", trip, "--json").stdout)["changes"]
    (row,) = [r for r in changes if (r["figure"], r["thing"]) == ("cover_frac", "hard coral")]
    assert row["reading"] == "changed"
    assert "coral cover fell by <a href" in page
    assert f"{100 * abs(row['estimate']):.1f} percentage points" in page
    cells = [c for name, c in Cells(page).rows.items() if name.startswith("change-")]
    assert written("cover_frac", row["sees"]) in [c[5] for c in cells]


def test_same_records_same_bytes(trip: Path, page: str) -> None:
    paper = (trip.parent / "r.pdf").read_bytes()
    assert report(trip, "--pdf") == page
    assert (trip.parent / "r.pdf").read_bytes() == paper


def test_names_with_signs_are_set_as_they_are(trip: Path, page: str) -> None:
    assert "<b>& " not in page
    assert "Ledge &lt;b&gt;&amp; " in page
    assert "<script" not in page
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    paper = pdf_text(trip.parent / "r.pdf")
    assert 'Ledge <b>& "Inner" # $x$ *reef* \\ {y}' in paper.replace("\r\n", " ")


def test_a_sensitive_position_is_nowhere(trip: Path, page: str) -> None:
    paper = pdf_text(trip.parent / "r.pdf")
    for text in (page, paper):
        assert "8.4177" not in text
        assert "115.6283" not in text
        assert "20 km" in text or "10 km" in text
    assert "sensitive site" in page


def test_french_has_every_text_and_its_own_numbers(trip: Path) -> None:
    said = report(trip, "--language", "fr")
    assert '<html lang="fr">' in said
    assert "Résultats du relevé" in said
    assert re.search(r"\d,\d\N{NO-BREAK SPACE}%", said)
    assert "likely" not in said
    french = texts_in("fr")
    assert all(sorted(re.findall(r"{\w+}", k)) == sorted(re.findall(r"{\w+}", v))
               for k, v in french.items())  # fmt: skip
    for path in sorted((ROOT / "src" / "dryslate" / "documents").glob("survey_*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            is_said = isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "say"
            if is_said and isinstance(node.args[0], ast.Constant):
                assert node.args[0].value in french


def test_language_that_is_not_written(trip: Path) -> None:
    with pytest.raises(DryslateError) as caught:
        report(trip, "--language", "tlh")
    assert caught.value.slug == "report-language-unknown"


def test_nothing_noted_says_so(tmp_path: Path) -> None:
    run("new", tmp_path / "p")
    said = report(tmp_path / "p", "--pdf")
    assert "Nothing was noted in units yet" in said
    assert "Cover: no unit was read for it" in said
    assert "Nothing was noted in units yet" in pdf_text(tmp_path / "r.pdf").replace("\r\n", " ")


@pytest.mark.skipif(os.name != "posix", reason="no limit on the size of files")
def test_disk_that_fills_up_leaves_the_older_report_whole(trip: Path, tmp_path: Path) -> None:
    import resource  # not on every system

    out = tmp_path / "r.html"
    out.write_text("the report of last year", "utf-8")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (70_000, hard))
    try:
        with pytest.raises(DryslateError) as caught:
            run("report", trip, "--results", "-o", out)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert caught.value.slug == "disk-full"
    assert out.read_text("utf-8") == "the report of last year"
    assert [file.name for file in tmp_path.iterdir()] == ["r.html"]


def test_one_unit_and_all_zeros(tmp_path: Path) -> None:
    line = "Ledge,2024-05-19,{},{},belt,10,1,centre_inside,Favites,{},hard coral,Favites,{}\n"
    table = COUNTS + line.format("B1", "crest", "count", 7)
    table += line.format("B2", "slope", "count", 0) + line.format("B3", "slope", "count", 0)
    said = report(project(tmp_path / "p", table), "--pdf")
    assert "one unit only: nothing says how units differ" in said
    assert "(how sure cannot be said)" in said
    assert "none was found; it is likely under" in said
    assert "nothing found: an upper limit only" in said


def test_forty_genera_and_long_names_fit(tmp_path: Path) -> None:
    line = "{},2024-05-19,B{},,belt,10,1,centre_inside,,count,hard coral,{},{}\n"
    path = ROOT / "src" / "dryslate" / "data" / "taxa" / "genera.csv"
    with path.open(encoding="utf-8", newline="") as file:
        genera = csv.DictReader(line for line in file if not line.startswith("#"))
        names = [row["genus"] for row in genera if "western_central_pacific" in row["region"]][:40]
    assert len(names) == 40
    table = COUNTS + "".join(
        line.format(quoted(LONG.strip()), u, name, 1 + (k + u) % 5)
        for u in range(3)
        for k, name in enumerate(names)
    )
    folder = project(tmp_path / "p", table)
    said = report(folder, "--pdf")
    assert all(name in said for name in names)
    with pypdfium2.PdfDocument(tmp_path / "r.pdf") as document:
        for at in document:
            text = at.get_textpage()
            for k in range(text.count_rects()):
                left, _, right, _ = text.get_rect(k)
                assert -1 <= left <= right <= at.get_width() + 1


def test_tagged_colonies_are_told_by_what_became_of_them(tmp_path: Path) -> None:
    line = "Ledge,{},B{},,belt,10,1,centre_inside,,count,hard coral,Favites,{}\n"
    table = COUNTS + "".join(
        line.format(date, k, 3 + k) for date in ("2024-05-19", "2024-06-10") for k in range(2)
    )
    folder = project(tmp_path / "p", table)
    run("colonies", "tag", folder, "17 <i>", "--visit", "Ledge", "2024-05-19", "--why", "stressed",
        *WHO)  # fmt: skip
    for date, bleached in (("2024-05-19", 20), ("2024-06-10", 70)):
        shares = ("--normal", 100 - bleached, "--pale", 0, "--bleached", bleached)
        done = run("colonies", "see", folder, "17 <i>", "--visit", "Ledge", date, *shares,
                   "--recently-dead", 0, "--old-dead", 0, *WHO)  # fmt: skip
        assert done.exit_code == 0, done.output
    found = Cells(report(folder, "--pdf"))
    ((cells),) = [c for name, c in found.rows.items() if name.startswith("colony-")]
    assert cells[0].startswith("17 <i>")
    assert cells[2:4] == ["because it was stressed", "19\u00a0May 2024"]
    assert cells[4] == "seen, 10\u00a0June 2024"
    assert cells[5].replace("\N{NO-BREAK SPACE}", " ") == "20 %, 70 %"
    assert cells[6] == "none"
    assert "Lost is not dead" in pdf_text(tmp_path / "r.pdf")


def test_charts_hold_what_they_are_given() -> None:
    dots = [
        Dot(label="a <b>", value=0.2, lo=0.1, hi=0.4),
        Dot(label="none", value=0.0, hi=0.3),
        Dot(label="alone", value=0.25),
    ]
    svg = dot_chart(dots, "cover (%)", "{:g}".format)
    assert "a &lt;b&gt;" in svg
    assert svg.count("<circle") == 3
    assert svg.count('fill="#ffffff"') == 2  # without an interval
    assert ticks_to(0.0) == [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    assert ticks_to(3000)[-1] >= 3000
    assert scatter_chart([]).startswith("<svg")
    assert scatter_chart([(0, 0, f"g{k}") for k in range(12)]).count("<text") == 12


def test_map_across_the_date_line_and_of_one_site() -> None:
    def degrees(value: float) -> str:
        return f"{value:g}"

    apart = map_chart([("a", -17.0, 179.9, None), ("b", -17.1, -179.9, None)], degrees, degrees)
    left, width = (
        float(x) for x in re.search(r'<rect x="([\d.]+)" y="10" width="([\d.]+)"', apart).groups()
    )
    xs = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', apart)]
    assert 0.2 * width < xs[1] - xs[0] < width
    one = map_chart([("a", 0.0, 0.0, None)], degrees, degrees)
    assert f'cx="{left + width / 2:.1f}"' in one
    assert "km" in one


def test_numbers_in_both_languages() -> None:
    english, french = Speech("en"), Speech("fr")
    assert english.number(1234.56, 1) == "1,234.6"
    assert french.number(1234.56, 1) == "1\N{NARROW NO-BREAK SPACE}234,6"
    assert english.digits(0) == english.digits(-4e-17) == "0"
    assert english.digits(12345.0) == "12345"
    assert french.digits(0.0254) == "0,0254"
    assert english.date("2024-05-09") == "9\N{NO-BREAK SPACE}May 2024"
    assert french.listed(["a", "b", "c"]) == "a, b et c"
