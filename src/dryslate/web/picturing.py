"""Making pictures ahead as a job beside the pages, behind everything that people wait for."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from typing import TYPE_CHECKING

from dryslate.app.pictures_ahead import make_pictures_ahead
from dryslate.web.benches import tile_bench_of
from dryslate.web.languages import N_

if TYPE_CHECKING:
    from dryslate.web.jobs import Job
    from dryslate.web.reach import Reach

TITLE = N_("Pictures for the pages")
KIND = "pictures"
LOOK_S = 0.25
LATER_THAN_ALL = 15
"""Niceness of the thread, where the system gives threads one."""


def start_picturing(reach: Reach, title: str, observer: str) -> Job:
    """
    Make every picture of the project that is missing; one such job runs at a time.

    Parameters
    ----------
    reach : Reach
    title : str
        `TITLE`, translated when it is shown.
    observer : str
        Whose photos brought it about.

    Returns
    -------
    Job
    """

    def work(job: Job) -> int:
        _step_back()
        bench = tile_bench_of(reach)
        return make_pictures_ahead(bench, reach.reading, job, lambda: _wait(reach, job))

    return reach.jobs.start(title, "/photos", observer, work, kind=KIND)


def _wait(reach: Reach, job: Job) -> None:
    """Wait until no other job runs."""
    while any(other.kind != KIND for other in reach.jobs.running()):
        job.require_wanted()
        time.sleep(LOOK_S)


def _step_back() -> None:
    """Let every other thread come first, where the system can do that for one thread."""
    if hasattr(os, "setpriority"):
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), LATER_THAN_ALL)
