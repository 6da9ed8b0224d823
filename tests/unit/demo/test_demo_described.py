"""What the made-up project says of itself."""

from __future__ import annotations

from pathlib import Path

from dryslate import wiring
from dryslate.app.project_records import Observer, Site
from dryslate.app.visits import require_visit
from dryslate.demo.describe import describe_trip
from dryslate.demo.trip_plan import plan_trip


def test_conditions_and_permit_are_stated_and_gaps_stay_gaps(tmp_path: Path) -> None:
    trip, project = plan_trip(1), tmp_path / "trip"
    project.mkdir()
    with wiring.new_store(project, who=trip[0].observer) as store, store.write():
        for visit in trip:
            store.save_site(Site(site=visit.site))
            store.save_observer(Observer(observer=visit.observer))
            store.save_visit(require_visit(store, visit.site, visit.date, visit.observer))
    for _ in range(2):  # again changes nothing
        describe_trip(project, trip)
        with wiring.survey_store(project, write=False) as store:
            stated = {one.visit_id: one for one in store.visit_conditions()}
            facts = dict(store.project_facts())
        assert len(stated) == len(trip) == 8
        assert {one.visibility_m for one in stated.values()} == {14.0, 11.0, 16.0, 9.0}
        assert sum(one.tide in (None, "") for one in stated.values()) == 2
        assert facts["permit"].startswith("none needed")
