"""What ends a run of corrections before its end: a place that takes no more files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from dryslate.app.correction_json import empty_document
from dryslate.app.correction_records import CorrectAnswer, CorrectJob, Outcome
from dryslate.base.problems import Problem

NOT_WRITTEN: Final = frozenset({"disk-full", "folder-read-only", "write-failed"})
"""Faults of the place a photo goes to; they say nothing of the photo."""

STOPPING: Final = frozenset({"disk-full", "folder-read-only"})
"""Those that the next photo would meet too."""

UNDONE: Final = frozenset({*NOT_WRITTEN, "correct-unexpected", "correct-not-reached"})
"""Reasons that say nothing of the photo: such an answer is not stored, so the next run retries."""


def outcome_of(problem: Problem) -> Outcome:
    """
    Tell a photo that is refused from one whose result found no place.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    {"refused", "not_written"}
    """
    return "not_written" if problem.slug in NOT_WRITTEN else "refused"


def stopping_problem(document: Mapping[str, Any]) -> Mapping[str, str] | None:
    """
    Return what stops the run in a photo's document, None where nothing does.

    Parameters
    ----------
    document : Mapping

    Returns
    -------
    Mapping or None
        The problem as a dictionary.
    """
    if document["corrected"] is not None:
        return None
    return next((p for p in document["problems"] if p["slug"] in STOPPING), None)


class Stop:
    """
    Hands out jobs until one of the answers says that the next could not be written either.

    Parameters
    ----------
    jobs : sequence of CorrectJob
    """

    def __init__(self, jobs: Sequence[CorrectJob]) -> None:
        self._jobs = jobs
        self._n_out = 0
        self.is_set = False

    def handed_out(self) -> Iterator[CorrectJob]:
        """Yield the jobs, each only when it is asked for."""
        while not self.is_set and self._n_out < len(self._jobs):
            self._n_out += 1
            yield self._jobs[self._n_out - 1]

    def look_at(self, answer: CorrectAnswer) -> None:
        """Stop handing out where this answer says that nothing more can be written."""
        if answer.outcome == "not_written" and stopping_problem(answer.result) is not None:
            self.is_set = True

    def left_over(self) -> Sequence[CorrectJob]:
        """Return the jobs that were never handed out."""
        return self._jobs[self._n_out :]


def not_reached(job: CorrectJob) -> CorrectAnswer:
    """
    Return the answer for a photo that the run did not come to.

    Parameters
    ----------
    job : CorrectJob

    Returns
    -------
    CorrectAnswer
    """
    document = empty_document(job.name, job.sha256 or None)
    problem = Problem(
        slug="correct-not-reached",
        severity="error",
        place=job.name,
        message="the run stopped before this photo, because nothing more could be written.",
        fix="Make room or give another folder, then run the same command again.",
    )
    document["problems"] = [problem.as_dict()]
    return CorrectAnswer(outcome="not_reached", result=document)
