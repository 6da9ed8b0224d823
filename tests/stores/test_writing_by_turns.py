"""A long job and people who save share a project: each transaction takes its turn."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from dryslate.app.project_records import Observer, Site
from dryslate.base.errors import StoreError
from dryslate.store.sqlite import SqliteSurveyStore, StoreOptions


@pytest.fixture
def project(tmp_path: Path) -> Path:
    SqliteSurveyStore.create(tmp_path, options=StoreOptions(who="Mara")).close()
    return tmp_path


def opened(project: Path, who: str, **more: object) -> SqliteSurveyStore:
    options = StoreOptions(who=who, **more)  # type: ignore[arg-type]
    return SqliteSurveyStore.open(project, write=True, options=options)


def test_somebody_saves_between_two_transactions_of_a_long_job(project) -> None:
    with opened(project, "job", by_turns=True) as job:
        job.save_site(Site(site="Quiet Ledge", note=""))
        with opened(project, "Tevi", wait_s=0.5) as person:
            person.save_observer(Observer(observer="Tevi", note=""))
        job.save_site(Site(site="Lantern Steps", note=""))
        assert [s.site for s in job.sites()] == ["Lantern Steps", "Quiet Ledge"]
        assert [o.observer for o in job.observers()] == ["Tevi"]
        assert [c.who for c in job.changes() if c.table_name != "project"] == ["job", "Tevi", "job"]


def test_inside_a_transaction_the_job_keeps_its_turn(project) -> None:
    with opened(project, "job", by_turns=True) as job, job.write():
        job.save_site(Site(site="Quiet Ledge", note=""))
        with pytest.raises(StoreError) as caught:
            opened(project, "Tevi", wait_s=0.1)
    assert caught.value.slug == "project-busy"


def test_error_inside_a_turn_undoes_it_and_lets_others_in(project) -> None:
    def fail(job: SqliteSurveyStore) -> None:
        with job.write():
            job.save_site(Site(site="Quiet Ledge", note=""))
            raise RuntimeError

    with opened(project, "job", by_turns=True) as job:
        with pytest.raises(RuntimeError):
            fail(job)
        assert job.sites() == ()
        opened(project, "Tevi", wait_s=0.1).close()


def test_job_and_people_lose_nothing_to_each_other(project) -> None:
    def job() -> None:
        with opened(project, "job", by_turns=True) as store:
            for n in range(40):
                store.save_site(Site(site=f"site {n:02}", note=""))

    thread = threading.Thread(target=job)
    thread.start()
    for n in range(15):
        with opened(project, "Tevi") as store:
            store.save_observer(Observer(observer=f"person {n:02}", note=""))
    thread.join()
    with SqliteSurveyStore.open(project, write=False) as store:
        assert len(store.sites()) == 40
        assert len(store.observers()) == 15
