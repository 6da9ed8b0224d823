"""Long jobs: those of a kind one after the other, none forgotten, and what is told of them."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from dryslate.web.job_words import job_words
from dryslate.web.jobs import JobBoard

WHO = "Ines Varro"


def until(is_so: Callable[[], bool]) -> None:
    """Wait until something is so."""
    for _ in range(400):
        if is_so():
            return
        time.sleep(0.02)
    raise AssertionError("it did not come about")


def test_another_job_of_a_kind_waits_and_is_done_too() -> None:
    board, goes_on, done = JobBoard(), threading.Event(), []

    def first(_: object) -> None:
        goes_on.wait(30)
        done.append("first visit")

    one = board.start("Correcting", "/", WHO, first, kind="correct", asked="first visit")
    two = board.start(
        "Correcting", "/", WHO, lambda _: done.append("second visit"), "correct", "second visit"
    )
    assert two is not one
    until(lambda: bool(two.what))
    assert job_words("en", two)["what"] == "waits for its turn"
    assert job_words("fr", two)["what"] != two.what
    assert done == []
    goes_on.set()
    until(lambda: one.state == two.state == "done")
    assert done == ["first visit", "second visit"]


def test_the_very_same_job_runs_once() -> None:
    board, goes_on = JobBoard(), threading.Event()
    one = board.start("Copying", "/", WHO, lambda _: goes_on.wait(30), "take", ("card", "crest"))
    two = board.start("Copying", "/", WHO, lambda _: goes_on.wait(30), "take", ("card", "crest"))
    assert two is one
    goes_on.set()
    until(lambda: one.state == "done")


def test_a_job_that_waits_can_be_stopped_and_a_stopped_one_says_so() -> None:
    board, goes_on, done = JobBoard(), threading.Event(), []
    one = board.start("Copying", "/", WHO, lambda _: goes_on.wait(30), "take", "one")
    two = board.start("Copying", "/", WHO, done.append, "take", "two")
    two.cancelled.set()
    until(lambda: two.state == "cancelled")
    one.cancelled.set()
    told = job_words("en", one)
    assert told["is_stopping"]
    assert told["what"] == "stops after this one"
    goes_on.set()
    until(lambda: one.state == "done")
    assert not job_words("en", one)["is_stopping"]
    assert done == []
