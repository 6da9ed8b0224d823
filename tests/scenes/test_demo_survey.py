"""Records of the made-up survey: imported as tables are, figures that hold their truth."""

from __future__ import annotations

import csv
import json

import pytest
from bench.demo_truth import VISITS, figures_of_seed

from dryslate import wiring
from dryslate.app.survey_results import survey_results
from dryslate.base.errors import InputError
from dryslate.core.survey.designs import DESIGNS
from dryslate.demo.survey import _is_inside, held_of, import_records, survey_trip
from dryslate.demo.survey_rows import draw_records
from dryslate.demo.survey_truth import GENERA, HARD, plan_survey
from dryslate.store.sqlite import SqliteSurveyStore


def test_truth_lies_in_the_intervals_as_often_as_they_say() -> None:
    """Two seeds of the twenty of the benchmark, chosen by being the first."""
    done = [figures_of_seed(seed) for seed in (100, 101)]
    held = [inside for figures, _, _ in done for _, inside in figures]
    assert len(held) >= 200
    assert 0.90 <= sum(held) / len(held) <= 0.99
    kinds = {key[2:4] for figures, _, _ in done for key, _ in figures}
    assert ("line_intercept", "density_per_m2") in kinds
    assert ("line_intercept", "geometric_mean_cm") in kinds
    changes = [one for _, _, changed in done for one in changed]
    assert len(changes) >= 50
    assert sum(one.is_held for one in changes) / len(changes) >= 0.85
    assert all(one.true < 0 for one in changes if one.row.thing == HARD)


def test_truth_of_another_reef_is_not_held(tmp_path) -> None:
    """The comparison can fail: figures of one reef against the truth of another."""
    truths, others = (plan_survey(VISITS, seed) for seed in (100, 500))
    project = tmp_path
    SqliteSurveyStore.create(project).close()
    tables = draw_records(truths[0], 100, has_points=True)
    import_records(project, project / "tables", tables, truths[0].observer)
    with wiring.survey_store(project, write=False) as store:
        found = survey_results(store, wiring.result_settings())
        assert {s.design.design for s in store.unit_designs()} == set(DESIGNS)
    held = [inside for _, inside in held_of(found, others)]
    assert len(held) >= 50
    assert sum(held) / len(held) < 0.8


def photo(**more: object) -> dict[str, object]:
    return {
        "site": "Lantern Steps",
        "date": "2024-03-09",
        "observer": "Ines Varro",
        "station": "L1",
        "photo": "AAA_0001.JPG",
        "size_px": [2048, 1536],
        "card": None,
        "colonies": [],
        "is_survey": True,
        "shows": "station",
    } | more


def test_survey_writes_tables_truth_and_figures_and_goes_on(tmp_path) -> None:
    project = tmp_path / "made-up-trip"
    project.mkdir()
    SqliteSurveyStore.create(project).close()
    photos = [photo(), photo(station="Q1"), photo(date="2024-05-18")]
    done = survey_trip(tmp_path, project, photos, 3)
    truth = json.loads((tmp_path / "survey-truth.json").read_text("utf-8"))
    assert [t["date"] for t in truth] == ["2024-03-09", "2024-05-18"]
    first, second = (sum(t["cover_frac"][g] for g in GENERA) for t in truth)
    assert second < 0.95 * first  # there is a change to be found
    for t in truth:
        assert sum(t["cover_frac"].values()) == pytest.approx(1.0, abs=1e-4)
    with (tmp_path / "results.csv").open(encoding="utf-8-sig") as file:
        assert len(list(csv.DictReader(file))) == done.n_figures > 200
    assert {p.name for p in (tmp_path / "tables" / "Lantern Steps 2024-03-09").iterdir()} == {
        "units.csv", "rows.csv", "timed-swims.xlsx",
    }  # fmt: skip
    assert done.n_compared >= 80
    again = survey_trip(tmp_path, project, photos, 3)
    assert again == done


def test_records_that_do_not_add_up_are_refused(tmp_path) -> None:
    SqliteSurveyStore.create(tmp_path).close()
    (truth, _) = plan_survey(VISITS, 3)
    units, rows = draw_records(truth, 3)
    rows = [r for r in rows if r.get("cell") != 7]
    with pytest.raises(InputError) as caught:
        import_records(tmp_path, tmp_path / "tables", (units, rows), truth.observer)
    assert caught.value.slug == "demo-records-refused"


def test_point_lies_in_an_outline() -> None:
    bay = [(0, 0), (10, 0), (10, 10), (5, 4), (0, 10)]
    assert _is_inside(bay, 2, 2)
    assert not _is_inside(bay, 5, 8)
    assert not _is_inside(bay, 11, 5)
