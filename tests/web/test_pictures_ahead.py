"""Pictures of the pages made ahead: after correcting, behind other work, going on where stopped."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable

import pytest

from dryslate import wiring
from dryslate.app.pictures_ahead import make_pictures_ahead, missing_pictures
from dryslate.web.benches import tile_bench_of
from dryslate.web.picturing import start_picturing
from dryslate.web.taking import Unheard

N_PICTURES = 7
"""Of the small project: four photos, three of them corrected."""


def until(is_so: Callable[[], bool]) -> None:
    for _ in range(1200):
        if is_so():
            return
        time.sleep(0.05)
    raise AssertionError("waited for a minute")


@pytest.fixture
def pages(client_of, own_project):
    """The small project without any picture."""
    shutil.rmtree(own_project / "derived" / "tiles", ignore_errors=True)
    return client_of(own_project)


def missing(pages) -> int:
    with wiring.survey_store(pages.project, write=False) as store:
        return len(missing_pictures(wiring.tile_bench(pages.project), store))


def test_correcting_makes_the_pictures_of_all_photos_afterwards(pages) -> None:
    n_before = missing(pages)
    assert n_before >= N_PICTURES
    assert pages.post("/photos/correct", data={"port": "flat"}).status_code == 303
    board = pages.client.app.state.reach.jobs
    until(lambda: not board.running())
    assert missing(pages) == 0
    assert not [job for job in board._jobs.values() if job.state != "done"]


def test_pictures_wait_while_other_work_runs_and_then_are_made(pages) -> None:
    reach = pages.client.app.state.reach
    goes_on = threading.Event()
    reach.jobs.start("other work", "/", "Ines Varro", lambda _: goes_on.wait(60), kind="correct")
    n_before = missing(pages)
    job = start_picturing(reach, "pictures", "Ines Varro")
    until(lambda: job.n_total == n_before)
    time.sleep(0.4)
    assert missing(pages) == n_before
    goes_on.set()
    until(lambda: job.state == "done")
    assert missing(pages) == 0


def test_stopped_pictures_go_on_where_they_stopped(pages) -> None:
    reach, made = pages.client.app.state.reach, []
    n_before = missing(pages)

    def stop() -> None:
        if len(made) == 2:
            raise KeyboardInterrupt
        made.append(1)

    def run(wait: Callable[[], None]) -> int:
        return make_pictures_ahead(tile_bench_of(reach), reach.reading, Unheard(), wait)

    with pytest.raises(KeyboardInterrupt):
        run(stop)
    assert missing(pages) == n_before - 2
    made = []
    assert run(lambda: made.append(1)) == 0
    assert len(made) == n_before - 2
    assert run(lambda: pytest.fail("nothing is left to be made")) == 0


def test_photo_that_cannot_be_read_is_counted_and_keeps_nobody_waiting(pages) -> None:
    reach = pages.client.app.state.reach
    with reach.reading() as store:
        file = store.photos()[0].files[0]
    path = wiring.vault(pages.project).path_of(file.sha256, file.original_name)
    path.chmod(0o644)
    path.write_bytes(b"\xff\xd8 no photo any more")
    assert make_pictures_ahead(tile_bench_of(reach), reach.reading, Unheard(), lambda: None) == 1
    assert missing(pages) == 1
