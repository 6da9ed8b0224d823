"""The runner on this machine: everything comes back, nothing stops the rest."""

from __future__ import annotations

import pickle
import threading
import time

import cv2
import pytest

from dryslate.batch.local_runner import LocalRunner, usable_cores


def test_every_job_comes_back_once_with_its_answer() -> None:
    answers = dict(LocalRunner(3).run(lambda n: n * n, range(50)))
    assert answers == {n: n * n for n in range(50)}


def test_a_failing_job_comes_back_as_its_exception_and_the_rest_goes_on() -> None:
    def invert(n: int) -> float:
        return 1 / n

    answers = dict(LocalRunner(2).run(invert, [2, 0, 4]))
    assert isinstance(answers.pop(0), ZeroDivisionError)
    assert answers == {2: 0.5, 4: 0.25}


def test_answers_come_as_they_finish_not_in_the_order_given() -> None:
    gate = threading.Event()

    def job(name: str) -> str:
        if name == "slow":
            gate.wait(30)
        return name

    answers = LocalRunner(2).run(job, ["slow", "quick"])
    assert next(answers)[0] == "quick"
    gate.set()
    assert [name for name, _ in answers] == ["slow"]


def test_no_more_jobs_are_taken_from_the_list_than_the_pool_can_hold() -> None:
    taken: list[int] = []

    class Jobs(list[int]):
        def __iter__(self):  # type: ignore[no-untyped-def]
            for n in range(1000):
                taken.append(n)
                yield n

    run = LocalRunner(2).run(lambda n: n, Jobs())
    next(run)
    assert len(taken) <= 4
    run.close()


def test_interrupt_in_the_reader_lets_running_jobs_finish_and_cancels_the_rest() -> None:
    done: list[int] = []

    def job(n: int) -> int:
        time.sleep(0.01)
        done.append(n)
        return n

    def read() -> None:
        for _ in LocalRunner(2).run(job, range(100)):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read()
    n_done = len(done)
    assert n_done < 10
    time.sleep(0.05)
    assert len(done) == n_done


def test_interrupt_inside_a_job_is_its_answer_not_the_end() -> None:
    def job(n: int) -> int:
        if n == 1:
            raise KeyboardInterrupt
        return n

    answers = dict(LocalRunner(1).run(job, [0, 1, 2]))
    assert isinstance(answers[1], KeyboardInterrupt)
    assert answers[2] == 2


def test_workers_must_be_one_or_more() -> None:
    with pytest.raises(ValueError, match="workers"):
        LocalRunner(0)
    assert LocalRunner().workers == usable_cores() >= 1


def test_runner_survives_pickling() -> None:
    assert pickle.loads(pickle.dumps(LocalRunner(2))).workers == 2


def test_opencv_has_one_thread_while_any_run_lasts_and_its_own_afterwards() -> None:
    before = cv2.getNumThreads()
    cv2.setNumThreads(3)
    try:
        outer = LocalRunner(1).run(lambda _: cv2.getNumThreads(), range(4))
        assert next(outer) == (0, 1)
        assert [n for _, n in LocalRunner(2).run(lambda _: cv2.getNumThreads(), range(3))] == [
            1
        ] * 3
        assert cv2.getNumThreads() == 1, "the outer run still lasts"
        outer.close()
        assert cv2.getNumThreads() == 3
    finally:
        cv2.setNumThreads(before)
