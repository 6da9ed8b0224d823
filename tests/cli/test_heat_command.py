"""``dryslate heat``: from a logger's file to degree heating weeks."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryslate.base.errors import DryslateError
from dryslate.cli.main import build_app

MEAN = ("--warmest-month", 29.0, "made up for this test")


def run(*words: object):
    done = CliRunner().invoke(build_app(), ["heat", *[str(word) for word in words]])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def logger(folder: Path, zone: str = "+10:00", head: str = "time,temperature_c") -> Path:
    rows = [
        f"2024-02-{day:02d}T{hour:02d}:00{zone},{45 if day in (1, 10) else 30}"
        for day in range(1, 11)
        for hour in range(24)
    ]
    path = folder / "reef.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    return path


def test_logger_in_local_time_with_zone(tmp_path: Path) -> None:
    lain = ("--deployed", "2024-02-02", "2024-02-09")
    found = json.loads(run(logger(tmp_path), *MEAN, *lain, "--offset", "0", "--json").stdout)
    assert found["source"] == "made up for this test"
    assert found["n_out_of_water"] == 48
    assert [day["date"] for day in found["days"]] == [f"2024-02-0{k}" for k in range(2, 10)]
    assert found["highest"] == {"date": "2024-02-09", "dhw": pytest.approx(8 / 7)}
    assert found["first_reached"] == {"4": None, "8": None}
    assert found["gaps"] == []
    assert found["flags"] == ["heat_window_short"]
    said = run(logger(tmp_path), *MEAN, *lain).stdout
    assert "Highest: 1.1 °C-weeks on 2024-02-09" in said
    assert "8 °C-weeks: not reached" in said
    assert "Logger minus source: not stated" in said
    assert "Reservations: record shorter than 12 weeks; logger's offset not stated" in said


def test_local_time_without_zone_is_a_fault_until_the_zone_is_stated(tmp_path: Path) -> None:
    path = logger(tmp_path, zone="")
    done = run(path, *MEAN)
    assert done.exit_code == 1
    assert "reef.csv, row 2, time" in done.stderr
    assert done.stderr.count("logger-time-no-zone") == 20
    assert "and 220 more faults" in done.stderr
    lain = ("--deployed", "2024-02-02T00:00", "2024-02-09T23:00")
    stated = json.loads(run(path, *MEAN, *lain, "--zone", "+10:00", "--json").stdout)
    own = json.loads(run(logger(tmp_path), *MEAN, *lain, "--json").stdout)
    assert stated == own


def test_dates_with_decimal_commas_and_an_empty_cell(tmp_path: Path) -> None:
    path = tmp_path / "daily.csv"
    rows = ["day;sst", "2024-02-01;30,0", "2024-02-02;", "2024-02-03;31,0", "2024-02-04;29,99"]
    path.write_text("\n".join(rows) + "\n", "utf-8")
    found = json.loads(run(path, *MEAN, "--columns", "day", "sst", "--json").stdout)
    assert [day["dhw"] for day in found["days"]] == pytest.approx([1 / 7, 1 / 7, 3 / 7, 3 / 7])
    assert found["days"][1]["mean_c"] is None
    assert found["gaps"] == [{"from": "2024-02-02", "to": "2024-02-02", "days": 1, "readings": 0}]


def test_every_unreadable_cell_is_listed(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text("time,temperature_c\nnoon,28\n2024-02-01T01:00Z,warm\n", "utf-8")
    done = run(path, *MEAN)
    assert done.exit_code == 1
    assert done.stderr.count("logger-cell-unreadable") == 2
    assert "row 2, time" in done.stderr
    assert "row 3, temperature_c" in done.stderr


@pytest.mark.parametrize(
    ("words", "slug"),
    [
        (("--columns", "when", "what"), "logger-column-missing"),
        (("--zone", "east"), "logger-zone-wrong"),
        (("--deployed", "spring", "autumn"), "logger-cell-unreadable"),
        ((), "heat-readings-unusable"),
    ],
)
def test_what_cannot_be_used(tmp_path: Path, words: tuple[str, ...], slug: str) -> None:
    with pytest.raises(DryslateError, match=slug):
        run(logger(tmp_path), *MEAN, *words)


def test_logger_is_kept_for_a_site_and_drawn_by_colonies_plot(tmp_path: Path) -> None:
    from dryslate.app.colonies import TagRequest, tag_colony
    from dryslate.app.records import Visit
    from dryslate.store.sqlite import SqliteSurveyStore

    project = tmp_path / "project"
    project.mkdir()
    visit = Visit(visit_id="Reef 2024-02-05", site="Reef", date="2024-02-05", observer="Mara")
    with SqliteSurveyStore.create(project) as store:
        store.save_visit(visit)
        request = TagRequest(label="17", observer="Mara", visit=("Reef", visit.date), why="random")
        tag_colony(store, request, "2024-02-05T12:00:00Z", lambda: "1" * 8)
    path = logger(tmp_path)
    kept = ("--deployed", "2024-02-02", "2024-02-09", "--keep", project, "--site", "Reef")
    assert run(path, *MEAN, *kept).exit_code == 2  # who keeps it is not said
    found = json.loads(run(path, *MEAN, *kept, "--observer", "Mara", "--json").stdout)
    assert found["highest"]["dhw"] == pytest.approx(8 / 7)
    out = tmp_path / "17.svg"
    plot = ["colonies", "plot", str(project), "17", "--out", str(out)]
    assert CliRunner().invoke(build_app(), plot).exit_code == 0
    stored = out.read_text("utf-8")
    assert "°C-weeks" in stored
    given = [*plot, "--logger", str(path), "--warmest-month", "29.5", "other"]
    given += ["--deployed", "2024-02-02", "2024-02-09"]
    assert CliRunner().invoke(build_app(), given).exit_code == 0
    assert out.read_text("utf-8") != stored  # what is given on the command wins
    with SqliteSurveyStore.open(project, write=False) as store:
        (one,) = store.site_loggers("Reef")
    assert (one.warmest_c, one.deployed_to, one.file_name) == (29.0, "2024-02-09", "reef.csv")


@pytest.mark.parametrize("offset", ["nan", "inf", "1e9", "-10.1"])
def test_offset_that_no_logger_has_is_no_offset(tmp_path: Path, offset: str) -> None:
    with pytest.raises(DryslateError, match="off its source"):
        run(logger(tmp_path), *MEAN, f"--offset={offset}")


@pytest.mark.parametrize("row", ["", "2024-02-01T00:00+10:00,nan\n2024-02-01T01:00+10:00,\n"])
def test_file_without_a_temperature_says_so(tmp_path: Path, row: str) -> None:
    path = tmp_path / "bare.csv"
    path.write_text(f"time,temperature_c\n{row}", "utf-8")
    with pytest.raises(DryslateError, match="no temperature to read"):
        run(path, *MEAN)


def part(folder: Path, name: str, days: range, degrees: float = 30.0) -> Path:
    rows = [f"2024-02-{day:02d}T{hour:02d}:00Z,{degrees}" for day in days for hour in range(24)]
    path = folder / name
    path.write_text("\n".join(["time,temperature_c", *rows]) + "\n", "utf-8")
    return path


def test_files_of_one_logger_are_joined_by_time_and_overlaps_are_told(tmp_path: Path) -> None:
    second = part(tmp_path, "a second.csv", range(6, 11))
    first = part(tmp_path, "b first.csv", range(1, 8))
    (tmp_path / "whole").mkdir()
    whole = part(tmp_path / "whole", "whole.csv", range(1, 11))
    (tmp_path / "notes.md").write_text("not a table", "utf-8")
    done = run(second, first, *MEAN, "--json")
    assert json.loads(done.stdout) == json.loads(run(whole, *MEAN, "--json").stdout)
    assert "logger-files-overlap" in done.stderr
    assert "b first.csv, a second.csv" in done.stderr
    assert "48 stand in both and count once, 0 in one only" in " ".join(done.stderr.split())
    assert json.loads(run(tmp_path, *MEAN, "--json").stdout) == json.loads(done.stdout)
    apart = run(part(tmp_path, "c.csv", range(8, 11)), first, *MEAN)
    assert "overlap" not in apart.stderr


def test_files_that_read_otherwise_at_one_time_are_no_one_logger(tmp_path: Path) -> None:
    first = part(tmp_path, "a.csv", range(1, 8))
    with pytest.raises(DryslateError, match="logger-files-differ"):
        run(first, part(tmp_path, "b.csv", range(7, 11), degrees=30.5), *MEAN)
    with pytest.raises(DryslateError, match="logger-files-zones"):
        run(first, logger(tmp_path), *MEAN)
    (tmp_path / "empty").mkdir()
    assert run(tmp_path / "empty", *MEAN).exit_code == 2


def test_files_of_one_logger_are_kept_together(tmp_path: Path) -> None:
    from dryslate.app.logger_records import SiteLogger
    from dryslate.app.project_records import Site
    from dryslate.app.site_loggers import site_heat
    from dryslate.store.sqlite import SqliteSurveyStore

    project = tmp_path / "project"
    project.mkdir()
    with SqliteSurveyStore.create(project) as store:
        store.save_site(Site(site="Reef"))
    keep = ("--keep", project, "--site", "Reef", "--observer", "Mara")
    first, second = part(tmp_path, "a.csv", range(1, 6)), part(tmp_path, "b.csv", range(5, 9))
    together = json.loads(run(first, second, *MEAN, *keep, "--json").stdout)
    with SqliteSurveyStore.open(project, write=False) as store:
        (heat,) = site_heat(store, "Reef")
    assert [one.file_name for one in heat.files] == ["a.csv", "b.csv"]
    assert [one.slug for one in heat.notes] == ["logger-files-overlap"]
    assert heat.found is not None
    assert heat.found.highest()[1] == together["highest"]["dhw"] == pytest.approx(8 / 7)
    later = part(tmp_path, "c.csv", range(9, 13))
    more = ("--offset", "-0.5", "--deployed", "2024-02-09", "2024-02-11", "--logger-name", "a.csv")
    done = run(later, *MEAN, *keep, *more, "--json")
    joined = json.loads(done.stdout)
    assert (joined["n_readings"], joined["n_out_of_water"]) == (11 * 24, 24)
    assert "deployment_not_stated" in joined["flags"]  # of the first two files
    with SqliteSurveyStore.open(project, write=False) as store:
        kept: tuple[SiteLogger, ...] = store.site_loggers("Reef")
        (heat,) = site_heat(store, "Reef")
    assert {one.offset_c for one in kept} == {-0.5}
    assert len(heat.files) == 3
