"""Run jobs on this machine in threads: decoding, correcting and encoding all let go of the lock."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import contextmanager
from itertools import islice
from typing import TypeVar

Job = TypeVar("Job")
Answer = TypeVar("Answer")

_AHEAD = 2
"""Jobs handed to the pool per worker, so that a long list holds no memory."""


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)


class LocalRunner:
    """
    Runs jobs side by side in threads and hands back each as it finishes.

    Parameters
    ----------
    workers : int or None
        How many jobs at a time; None for one a core.

    Notes
    -----
    OpenCV is told to use one thread meanwhile, since whole photos run side by side. What a job
    raises comes back as its answer: one bad photo never stops the rest. An interrupt stops the
    handing out of jobs, lets those under way finish (their files are written whole) and is
    then raised again.
    """

    def __init__(self, workers: int | None = None) -> None:
        if workers is not None and workers < 1:
            raise ValueError(f"workers must be 1 or more, got {workers}")
        self.workers = usable_cores() if workers is None else workers

    def run(
        self, function: Callable[[Job], Answer], jobs: Iterable[Job]
    ) -> Iterator[tuple[Job, Answer | BaseException]]:
        """
        Yield each job with its answer, or with what it raised, as they finish.

        Parameters
        ----------
        function : callable
            Pure and picklable, so that another runner could send it elsewhere.
        jobs : iterable
            One argument each; asked for as there is room, so that the caller can stop.

        Yields
        ------
        tuple
            The job and its answer or exception, in the order of finishing.
        """
        with _one_opencv_thread():
            yield from self._run(function, jobs)

    def _run(
        self, function: Callable[[Job], Answer], jobs: Iterable[Job]
    ) -> Iterator[tuple[Job, Answer | BaseException]]:
        pool = ThreadPoolExecutor(self.workers, thread_name_prefix="dryslate")
        waiting = iter(jobs)
        running: dict[Future[Answer], Job] = {}
        try:
            while True:
                room = _AHEAD * self.workers - len(running)
                for job in islice(waiting, room):
                    running[pool.submit(function, job)] = job
                if not running:
                    break
                finished, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in finished:
                    job = running.pop(future)
                    raised = future.exception()
                    yield job, (future.result() if raised is None else raised)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


class _Runs:
    """How many runs are under way in this process, and what OpenCV used before the first."""

    lock = threading.Lock()
    under_way = 0
    threads_before = 0


@contextmanager
def _one_opencv_thread() -> Iterator[None]:
    """Hold OpenCV, whose setting is the whole process's, to one thread while any run lasts."""
    import cv2

    with _Runs.lock:
        if _Runs.under_way == 0:
            _Runs.threads_before = cv2.getNumThreads()
            cv2.setNumThreads(1)
        _Runs.under_way += 1
    try:
        yield
    finally:
        with _Runs.lock:
            _Runs.under_way -= 1
            if _Runs.under_way == 0:
                cv2.setNumThreads(_Runs.threads_before)
