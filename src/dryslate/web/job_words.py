"""A long job in the person's language: what it does, how far it is, what went wrong."""

from __future__ import annotations

from typing import Any

from dryslate.web.jobs import WAITING, Job
from dryslate.web.languages import S_, catalogue
from dryslate.web.said import said, told

STRETCHES = (
    S_("copying"),
    S_("taking in"),
    S_("Correcting"),
    S_("figures and drawings"),
    S_("pictures for the pages"),
    S_("sheets"),
    WAITING,
)
STOPPING = S_("stops after this one")
"""What the use cases call the stretches of their work."""


def job_words(language: str, job: Job) -> dict[str, Any]:
    """
    Return how far a job is, for the page of one person.

    Parameters
    ----------
    language : str
    job : Job

    Returns
    -------
    dict
    """
    state = job.as_dict()
    state["title"] = catalogue(language).gettext(job.title)
    state["is_stopping"] = job.state == "running" and job.cancelled.is_set()
    what = STOPPING if state["is_stopping"] else job.what
    state["what"] = said(language, what) or what
    state["problems"] = [told(language, problem) for problem in job.problems]
    return state
