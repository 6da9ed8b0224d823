"""The whole chain on a small made-up trip: what is true is found within the doubt stated."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dryslate import wiring
from dryslate.app.archive_check import check_archive
from dryslate.base.errors import InputError
from dryslate.cli.main import build_app
from dryslate.demo import run as demo_run
from dryslate.demo.compare import Comparison
from dryslate.demo.trip_plan import TripVisit, plan_trip

SEED = 6


def small_trip(seed: int) -> tuple[TripVisit, ...]:
    """One visit of the real plan: two stations, five photos of 1.1 MP, one without a card."""
    visit = plan_trip(seed)[0]
    stations = [
        replace(
            s,
            station=replace(s.station, px_per_mm=3.0, size_mm=(480.0, 380.0)),
            shots=tuple(shot for shot in s.shots if shot.shows != "colonies"),
        )
        for s in visit.stations[:2]
    ]
    stations[1] = replace(stations[1], shots=stations[1].shots[::2])  # the second is a close one
    return (replace(visit, stations=tuple(stations), size_px=(1200, 900)),)


@pytest.fixture(scope="module")
def done(tmp_path_factory) -> Iterator[tuple[Path, Result, Comparison]]:
    """The folder of a finished small demo, what it printed, and its comparison."""
    folder = tmp_path_factory.mktemp("demo") / "trip"
    kept = []
    compare = demo_run.compare_with_truth

    def keep(*args) -> Comparison:
        kept.append(compare(*args))
        return kept[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demo_run, "plan_trip", small_trip)
        patch.setattr(demo_run, "compare_with_truth", keep)
        words = ["demo", str(folder), "--seed", str(SEED), "--no-serve"]
        result = CliRunner().invoke(build_app(), words)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        yield folder, result, kept[-1]


def test_demo_ends_by_saying_what_to_open(done) -> None:
    folder, result, _ = done
    assert result.exit_code == 0
    report = folder / "made-up-trip" / "reports" / "report.html"
    said = result.output.replace("\n", "")
    assert str(report) in said
    assert f"for reviewers: {report.with_name('results.html')}" in said
    assert report.with_name("results.pdf").read_bytes()[:5] == b"%PDF-"
    archive = report.with_name("archive.zip")
    assert f"others can read: {archive}" in said
    with wiring.zip_box(archive) as box:
        assert check_archive(box, archive.name).is_sound
    assert "Tagged colonies against the truth" in said
    assert (folder / "changes.csv").is_file()
    assert {p.stem for p in report.with_name("colonies").iterdir()} == {
        "11", "12", "13",  # the fourth of the station is tagged later
    }  # fmt: skip
    page = report.read_text("utf-8")
    assert "<html" in page
    assert "data:image/" in page
    assert 'src="http' not in page


def test_every_card_is_found_and_none_invented(done) -> None:
    found = done[2]
    assert (found.n_cards, found.n_cards_found, found.n_cards_invented) == (4, 4, 0)
    assert found.corner_median_px < 0.5


def test_truth_lies_in_the_stated_intervals(done) -> None:
    measured = done[2].measured
    assert {"length", "area", "mean corallite", "bar of known length"} <= {m.name for m in measured}
    n = sum(m.n for m in measured)
    assert n >= 15
    # 95 % intervals: of 15 to 30 values one or two may miss
    assert sum(m.n - m.n_holds_truth for m in measured) <= 2
    assert max(m.error_median_pct for m in measured) < 6.0


def test_bar_of_known_length_is_right_to_a_percent(done) -> None:
    (bar,) = [m for m in done[2].measured if m.name == "bar of known length"]
    assert bar.error_largest_pct < 1.5
    assert bar.half_width_median_pct < 3.0


def test_grey_chip_on_no_card_comes_out_grey(done) -> None:
    found = done[2]
    assert found.n_chips >= 2
    assert found.n_chips_within == found.n_chips
    assert found.chip_de00_median < 0.5 * found.chip_de00_before_median


def test_corals_are_named_on_evidence_and_looked_at_again_blind(done) -> None:
    folder, _, _ = done
    report = folder / "made-up-trip" / "reports" / "report.html"
    truths = [json.loads(p.read_text("utf-8")) for p in sorted((folder / "truth").iterdir())]
    genus = {c["colony"]: c["genus"] for t in truths for c in t["colonies"]}
    with wiring.survey_store(folder / "made-up-trip", write=False) as store:
        records = {r.record_id: r for r in store.records()}
        named = store.identifications()
        outcomes = {o.record_id: o for o in store.review_outcomes()}
        drawn = {c.record_id for c in store.review_chances() if c.is_drawn}
    assert {r.colony for r in records.values()} == set(genus)
    assert all(r.growth_form for r in records.values())
    first = {i.record_id: i for i in named if i.role == "first"}
    assert first.keys() == records.keys()
    assert all(i.evidence["seen"] for i in first.values())
    assert outcomes.keys() == drawn
    assert drawn
    assert all(o.is_agreed or o.third_id is not None for o in outcomes.values())
    for row in named:
        assert row.role == "first" or row.observer != first[row.record_id].observer
    sure = [i for i in first.values() if (i.confidence or 0) >= 4 and i.rank == "genus"]
    assert all(i.name == genus[records[i.record_id].colony] for i in sure)
    assert "Corals named" in report.read_text("utf-8")


def test_photo_without_card_borrows_its_colours(done) -> None:
    folder, _, _ = done
    with wiring.survey_store(folder / "made-up-trip", write=False) as store:
        rows = [store.correction(p.photo_id) for p in store.photos()]
    outcomes = sorted(row.outcome for row in rows if row is not None)
    assert outcomes == ["borrowed", "corrected", "corrected", "corrected", "corrected"]


def test_turned_photo_with_a_finger_over_a_marker_is_among_them(done) -> None:
    folder = done[0]
    truths = [json.loads(p.read_text("utf-8")) for p in sorted((folder / "truth").iterdir())]
    (hidden,) = [t for t in truths if t["card"] and t["card"]["covered_markers"]]
    assert hidden["size_px"] == [900, 1200]
    with wiring.survey_store(folder / "made-up-trip", write=False) as store:
        (photo,) = [p for p in store.photos() if p.files[0].original_name == hidden["photo"]]
        row = store.correction(photo.photo_id)
    assert photo.metadata.orientation == 6
    assert row is not None
    assert row.result["card"]["n_markers"] == 3


def test_run_again_renders_nothing_and_ends_the_same(done, monkeypatch) -> None:
    folder, _, before = done

    def refuse(job: object) -> None:
        raise AssertionError(f"{job} was rendered again")

    monkeypatch.setattr("dryslate.demo.trip.render_station", refuse)
    again = demo_run.run_demo(
        folder, SEED, demo_run.DemoTools(progress=Silent(), say=lambda text: None)
    )
    assert again.comparison.rows() == before.rows()
    assert again.summary.n_done_before == again.n_photos
    with wiring.survey_store(folder / "made-up-trip", write=False) as store:
        assert len(store.photos()) == again.n_photos
        assert len(store.measurements()) == again.n_measured
        firsts = [i for i in store.identifications() if i.role == "first"]
        assert len(firsts) == again.naming.n == len(store.records())


def test_another_seed_in_the_same_folder_is_refused(done) -> None:
    with pytest.raises(InputError) as caught:
        demo_run.run_demo(done[0], SEED + 1, demo_run.DemoTools(progress=Silent(), say=print))
    assert caught.value.slug == "demo-other-trip"


def test_folder_with_something_else_is_refused_and_left_alone(tmp_path) -> None:
    (tmp_path / "holiday.txt").write_text("mine")
    with pytest.raises(InputError) as caught:
        demo_run.run_demo(tmp_path, 1, demo_run.DemoTools(progress=Silent(), say=print))
    assert caught.value.slug == "demo-folder-in-use"
    assert [p.name for p in tmp_path.iterdir()] == ["holiday.txt"]


class Silent:
    """Progress that shows nothing."""

    def start(self, what: str, total: int | None) -> None: ...

    def step(self, n: int = 1, note: str = "") -> None: ...

    def done(self) -> None: ...
