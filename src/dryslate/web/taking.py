"""Taking in a memory card, and making second copies, as jobs beside the pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.requests import Request

from dryslate import wiring
from dryslate.app.second_copy import (
    SecondReport,
    SecondTools,
    make_second_copy,
    require_second,
)
from dryslate.app.take import plan_take, run_take
from dryslate.app.take_records import TakeReport, TakeRequest, TakeTools
from dryslate.app.visits import require_name
from dryslate.web import picturing
from dryslate.web.errors import Refusal
from dryslate.web.jobs import Job
from dryslate.web.languages import N_
from dryslate.web.reach import Reach, observer_of, reach_of
from dryslate.web.zones_said import say_zone

if TYPE_CHECKING:
    from dryslate.app.ports import Progress, SurveyStore

TITLE = N_("Taking in")
SECOND = N_("Making the second copy")


class Unheard:
    """A `Progress` that shows nothing."""

    def start(self, what: str, total: int | None) -> None:
        """Begin a stretch of work."""

    def step(self, n: int = 1, note: str = "") -> None:
        """Count steps done."""

    def done(self) -> None:
        """End the stretch."""


def folder_from(request: Request, text: str) -> Path | None:
    """
    Return a folder that was typed, None where nothing was.

    Raises
    ------
    Refusal
        ``page-role`` on a team's server: nobody else's browser names folders of this computer;
        ``page-input`` where it is no whole path.
    """
    words = text.strip()
    if not words:
        return None
    if reach_of(request).settings.is_team:
        raise Refusal("page-role", 403)
    if "\0" in words or not Path(words).is_absolute():
        raise Refusal("page-input", 422, "a folder is given by its whole path")
    return Path(words)


def tools_for(store: SurveyStore, progress: Progress) -> TakeTools:
    """Return the ports that taking in works through."""
    return TakeTools(
        store=store,
        files=wiring.intake_files(),
        reader=wiring.photo_reader(),
        clock=wiring.clock(),
        progress=progress,
    )


def start_take(
    request: Request,
    wanted: TakeRequest,
    after: Callable[[TakeReport], None] | None = None,
    zone: str = "",
) -> Job:
    """
    Take in as a job; what cannot be begun is refused before.

    Parameters
    ----------
    request : Request
    wanted : TakeRequest
    after : callable, optional
        Takes the report when all is written down.
    zone : str
        Where all units of the visit lie, as far as is known now; empty where not said.

    Returns
    -------
    Job
        Its answer is the report, its page the one that shows it. The one under way already,
        where it does the same.
    """
    reach, observer = reach_of(request), observer_of(request)
    said = require_name(zone, "zone") if zone.strip() else ""
    pictures = picturing.TITLE
    with reach.reading() as store:
        plan_take(wanted, tools_for(store, Unheard()))

    def work(job: Job) -> TakeReport:
        job.page = f"/take/done/{job.job_id}"
        report = take_in_turns(reach, observer, wanted, job)
        if said:
            say_zone(reach, observer, report.visit_id, said)
        if after is not None:
            after(report)
        picturing.start_picturing(reach, pictures, observer)
        return report

    return reach.jobs.start(TITLE, "", observer, work, kind="take", asked=(wanted, said))


def take_in_turns(reach: Reach, observer: str, wanted: TakeRequest, job: Job) -> TakeReport:
    """Take in while others save between two files."""
    project = reach.settings.project
    with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
        tools = tools_for(store, job)
        return run_take(plan_take(wanted, tools), tools)


def second_tools(project: Path, store: SurveyStore, progress: Progress) -> SecondTools:
    """Return the ports that making second copies works through."""
    return SecondTools(
        store=store,
        files=wiring.intake_files(),
        read_back=wiring.read_back,
        vault=wiring.vault(project),
        clock=wiring.clock(),
        progress=progress,
    )


def start_second(request: Request, visit_id: str, second: Path) -> Job:
    """
    Make second copies as a job; what cannot be begun is refused before.

    Parameters
    ----------
    request : Request
    visit_id : str
    second : Path

    Returns
    -------
    Job
        Its answer is the report. The one under way already, where it does the same.
    """
    reach, observer = reach_of(request), observer_of(request)
    project = reach.settings.project
    with reach.reading() as store:
        require_second(second_tools(project, store, Unheard()), project, visit_id, second)

    def work(job: Job) -> SecondReport:
        with wiring.survey_store(project, write=True, who=observer, by_turns=True) as store:
            tools = second_tools(project, store, job)
            return make_second_copy(tools, project, visit_id, second)

    page = f"/take/copies?{urlencode({'visit': visit_id})}"
    return reach.jobs.start(SECOND, page, observer, work, kind="take", asked=(visit_id, second))
