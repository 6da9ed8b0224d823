"""Long jobs: run beside the pages, tell how far they are, can be cancelled, survive a reload."""

from __future__ import annotations

import logging
import secrets
import threading
import time
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

from dryslate.base.errors import DryslateError
from dryslate.base.problems import Problem
from dryslate.web.errors import Refusal, problem_of_error
from dryslate.web.languages import S_

LOG = logging.getLogger("dryslate.web")
KEPT_JOBS = 50
WAITING = S_("waits for its turn")
"""What a job does while another of its kind is under way."""
LOOK_S = 0.1


class JobCancelledError(Exception):
    """Raised inside a job at its next step after somebody cancelled it."""


@dataclass(slots=True, kw_only=True)
class Job:
    """
    One long piece of work; doubles as the `Progress` its use case reports to.

    Parameters
    ----------
    job_id : str
    title : str
        What it does, in English words that a page translates.
    page : str
        Where to go when it is done.
    observer : str
    kind : str
        Jobs of one kind do not run side by side; empty where they may.
    asked : hashable
        What was asked for, to tell the same job from another of its kind.
    """

    job_id: str
    title: str
    page: str
    observer: str
    kind: str = ""
    asked: Hashable = ""
    state: str = "running"
    what: str = ""
    n_done: int = 0
    n_total: int | None = None
    note: str = ""
    answer: Any = None
    problems: list[Problem] = field(default_factory=list)
    started_s: float = field(default_factory=time.monotonic)
    stretch_s: float = field(default_factory=time.monotonic)
    ended_s: float | None = None
    cancelled: threading.Event = field(default_factory=threading.Event)

    def start(self, what: str, total: int | None) -> None:
        """Begin a stretch of work."""
        self.require_wanted()
        self.what, self.n_total, self.n_done, self.note = what, total, 0, ""
        self.stretch_s = time.monotonic()

    def step(self, n: int = 1, note: str = "") -> None:
        """Count steps done; ends the job here where it was cancelled."""
        self.n_done += n
        self.note = note or self.note
        self.require_wanted()

    def done(self) -> None:
        """End the stretch."""
        self.note = ""

    def require_wanted(self) -> None:
        """Stop where somebody cancelled the job."""
        if self.cancelled.is_set():
            raise JobCancelledError

    def left_s(self) -> float | None:
        """Return the seconds this stretch will likely take from now on."""
        if self.state != "running" or not self.n_total or not self.n_done:
            return None
        spent = time.monotonic() - self.stretch_s
        return spent / self.n_done * max(0, self.n_total - self.n_done)

    def as_dict(self) -> dict[str, Any]:
        """Return how far it is, for the page."""
        left = self.left_s()
        return {
            "job": self.job_id,
            "title": self.title,
            "state": self.state,
            "what": self.what,
            "n_done": self.n_done,
            "n_total": self.n_total,
            "note": self.note,
            "left_s": None if left is None else round(left),
            "page": self.page,
            "problems": [problem.as_dict() for problem in self.problems],
        }


class JobBoard:
    """All long jobs of a server; one of a kind runs at a time, the others wait for their turn."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: dict[str, Job] = {}

    def start(
        self,
        title: str,
        page: str,
        observer: str,
        work: Callable[[Job], Any],
        kind: str = "",
        asked: Hashable = "",
    ) -> Job:
        """
        Run `work` in a thread of its own.

        Parameters
        ----------
        title, page, observer : str
            What it does, where to go when it is done, and who asked.
        work : callable
            Takes the job, to which it reports as `Progress`; returns anything to be kept.
        kind : str
            Where one of this kind is under way already, this one waits until that has ended.
        asked : hashable
            Where that one was asked for the very same, it is returned and none started.

        Returns
        -------
        Job
        """
        job = Job(
            job_id=secrets.token_hex(8),
            title=title,
            page=page,
            observer=observer,
            kind=kind,
            asked=asked,
        )
        with self._lock:
            for other in self._jobs.values():
                if _is_same(other, job):
                    return other
            ended = [k for k, j in self._jobs.items() if j.state != "running"]
            for key in ended[: max(0, len(self._jobs) - KEPT_JOBS)]:
                del self._jobs[key]
            self._jobs[job.job_id] = job
        threading.Thread(
            target=self._run, args=(job, work), name=f"job-{job.job_id}", daemon=True
        ).start()
        return job

    def find(self, job_id: str) -> Job:
        """Return a job; refuses one that is not known (the server was started anew)."""
        with self._lock:
            if job_id not in self._jobs:
                raise Refusal("page-not-found", 404)
            return self._jobs[job_id]

    def look(self, job_id: str) -> Job | None:
        """Return a job, None where it is not known."""
        with self._lock:
            return self._jobs.get(job_id)

    def running(self) -> list[Job]:
        """Return the jobs under way, oldest first."""
        with self._lock:
            return [job for job in self._jobs.values() if job.state == "running"]

    def stop_all(self, wait_s: float = 10.0) -> None:
        """Cancel everything and wait a little, when the server ends."""
        for job in self.running():
            job.cancelled.set()
        until = time.monotonic() + wait_s
        while self.running() and time.monotonic() < until:
            time.sleep(0.02)

    def _run(self, job: Job, work: Callable[[Job], Any]) -> None:
        """Do the work when its turn comes; whatever ends it is told on the job."""
        try:
            self._take_turn(job)
            job.answer = work(job)
            state = "done"
        except JobCancelledError:
            state = "cancelled"
        except DryslateError as error:
            job.problems.append(problem_of_error(error))
            state = "failed"
        except Exception:
            LOG.exception("job %s failed", job.title)
            job.problems.append(Refusal("page-fault", 500).problem())
            state = "failed"
        job.ended_s = time.monotonic()
        job.state = state

    def _take_turn(self, job: Job) -> None:
        """Wait until those of its kind that came before have ended."""
        while self._is_behind(job):
            job.what = WAITING
            job.require_wanted()
            time.sleep(LOOK_S)
        job.what = ""

    def _is_behind(self, job: Job) -> bool:
        """Tell whether one of its kind that came before is under way."""
        with self._lock:
            before = list(self._jobs.values())
        before = before[: before.index(job)]
        return any(job.kind and one.kind == job.kind and one.state == "running" for one in before)


def _is_same(other: Job, job: Job) -> bool:
    """Tell whether a job under way does what another was asked for."""
    if not job.kind or other.state != "running" or other.cancelled.is_set():
        return False
    return (other.kind, other.asked) == (job.kind, job.asked)
