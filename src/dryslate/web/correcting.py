"""Correcting photos as a job beside the pages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.correct import Workshop
from dryslate.app.correct_project import ProjectPlace
from dryslate.app.correct_request import parse_port
from dryslate.app.correct_run import RunRequest, run_corrections
from dryslate.app.correction_records import CorrectSettings
from dryslate.web import picturing
from dryslate.web.jobs import Job
from dryslate.web.languages import N_
from dryslate.web.reach import reach_of

if TYPE_CHECKING:
    from dryslate.app.correct_summary import Summary

TITLE = N_("Correcting photos")


def start_correcting(
    request: Request, observer: str, ids: frozenset[str], port: str, page: str
) -> Job:
    """
    Correct photos of the project; what is done already stays, so that it goes on where it stopped.

    Parameters
    ----------
    request : Request
    observer : str
    ids : frozenset of str
        Photos.
    port : str
        What stood between lens and water, as the command has it.
    page : str
        Where to look when it is done.

    Returns
    -------
    Job
        The one under way already, where it does the same.
    """
    reach = reach_of(request)
    settings = CorrectSettings(port=parse_port(port))
    pictures = picturing.TITLE

    def work(job: Job) -> Summary:
        summary = correct_in_turns(reach.settings.project, observer, settings, ids, job)
        picturing.start_picturing(reach, pictures, observer)
        return summary

    return reach.jobs.start(TITLE, page, observer, work, kind="correct", asked=(ids, port))


def correct_in_turns(
    project: Path, observer: str, settings: CorrectSettings, ids: frozenset[str], job: Job
) -> Summary:
    """Correct while others save between two photos."""
    workshop = Workshop(
        reader=wiring.photo_reader(),
        tables=wiring.reference_tables(project),
        runner=wiring.runner(),
        progress=job,
    )
    with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
        summary, problems = run_corrections(
            ProjectPlace(folder=project, store=store, vault=wiring.vault(project)),
            workshop,
            RunRequest(photos=(), settings=settings, ids=ids),
            lambda _: job.require_wanted(),
        )
    job.problems += problems
    return summary
