"""The archive page: what would be in it, what is missing, where sites lie, making and download."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse

from dryslate import wiring
from dryslate.app.archive_make import ArchiveReport, make_archive, require_photos
from dryslate.app.archive_preview import preview_archive
from dryslate.app.package_make import PackageReport, make_package
from dryslate.app.project_words import LICENCES, set_facts, set_person
from dryslate.app.publication_records import ROLES, ProjectPerson
from dryslate.app.site_positions import PlaceWords, set_site_place
from dryslate.app.survey_results import survey_results
from dryslate.app.telling_texts import require_texts
from dryslate.base.typed import typed_number
from dryslate.web.errors import Refusal
from dryslate.web.languages import N_
from dryslate.web.pages import page, translate
from dryslate.web.reach import observer_of, reach_of

if TYPE_CHECKING:
    from dryslate.web.jobs import Job

router = APIRouter()
TITLE = N_("Making an archive")
FILES = {"archive": "darwin-core-archive.zip", "package": "data-package.zip"}
Short = Annotated[str, Form(max_length=300)]
Long = Annotated[str, Form(max_length=20_000)]
ROLE_WORDS = {
    "creator": N_("made the data"),
    "contact": N_("answers questions"),
    "metadataProvider": N_("wrote this description"),
    "principalInvestigator": N_("leads the project"),
    "surveyor": N_("surveyed"),
    "identifier": N_("named corals"),
    "photographer": N_("took photos"),
    "data entry": N_("typed records"),
}
assert tuple(ROLE_WORDS) == ROLES
UNSAID = {
    "title": N_("a title"),
    "licence": N_("the licence"),
    "rights holder": N_("whom the data belong to"),
    "creator": N_("who made the data"),
    "contact": N_("who answers questions"),
}


def _file(project: Path, what: str) -> Path:
    """Where a made file lies."""
    return project / "derived" / "archives" / FILES[what]


@router.get("/archive", response_class=HTMLResponse)
def archive(
    request: Request,
    job: Annotated[str, Query(pattern="^[0-9a-f]{16}$")] = "0" * 16,
    site: Annotated[str, Query(max_length=300)] = "",
) -> HTMLResponse:
    """Show what an archive would hold and lack, and what was made."""
    reach = reach_of(request)
    with reach.reading() as store:
        found = preview_archive(store)
    told = reach.jobs.look(job)
    line = next((one for one in found.sites if one.site == site), None)
    line = line or next((one for one in found.sites if not one.shared.latitude), None)
    shown: dict[str, Any] = {
        "found": found,
        "job": told,
        "report": told.answer if told is not None else None,
        "chosen": line or (found.sites[0] if found.sites else None),
        "licences": list(LICENCES),
        "roles": {key: translate(request, words) for key, words in ROLE_WORDS.items()},
        "unsaid": {key: translate(request, words) for key, words in UNSAID.items()},
        "made": [what for what in FILES if _file(reach.settings.project, what).is_file()],
    }
    return page(request, "archive.html", **shown)


@router.post("/archive/words")
def words(  # noqa: PLR0913, PLR0917  one field each for what the project says
    request: Request,
    title: Short = "",
    licence: Short = "",
    rights_holder: Short = "",
    permit: Short = "",
    summary: Long = "",
    methods: Long = "",
) -> RedirectResponse:
    """Keep what the project says of itself."""
    said = {"title": title, "licence": licence, "rights_holder": rights_holder, "permit": permit}
    with reach_of(request).writing(observer_of(request)) as store:
        set_facts(store, {**said, "summary": summary, "methods": methods})
    return RedirectResponse("/archive", 303)


@router.post("/archive/person")
def person(
    request: Request, name: Short, role: Short, organisation: Short = "", email: Short = ""
) -> RedirectResponse:
    """Keep a person with a role."""
    said = ProjectPerson(person=name, role=role, organisation=organisation, email=email.strip())
    with reach_of(request).writing(observer_of(request)) as store:
        set_person(store, said)
    return RedirectResponse("/archive#people", 303)


@router.post("/archive/person/remove")
def remove_person(request: Request, name: Short, role: Short) -> RedirectResponse:
    """Take out a person's role."""
    with reach_of(request).writing(observer_of(request)) as store:
        store.delete_project_person(name, role)
    return RedirectResponse("/archive#people", 303)


@router.post("/archive/site")
def site_place(  # noqa: PLR0913, PLR0917  one field each for what is known of a place
    request: Request,
    site: Short,
    position: Short = "",
    uncertainty_m: Short = "",
    grid_deg: Short = "",
    country: Short = "",
    country_code: Short = "",
    water_body: Short = "",
    locality: Short = "",
    published_locality: Short = "",
    is_sure: Annotated[bool, Form()] = False,
) -> RedirectResponse:
    """Keep where a site lies."""
    said = PlaceWords(
        position=position,
        uncertainty_m=_number(uncertainty_m, "uncertainty_m"),
        grid_deg=_number(grid_deg, "grid_deg") or 0.0,
        country=country,
        country_code=country_code,
        water_body=water_body,
        locality=locality,
        published_locality=published_locality,
        is_sure=is_sure,
    )
    observer = observer_of(request)
    with reach_of(request).writing(observer) as store:
        set_site_place(store, site, said, observer, wiring.clock())
    return RedirectResponse(f"/archive?{urlencode({'site': site})}#places", 303)


def _number(text: str, name: str) -> float | None:
    """Read a number as people type it; None where the field is empty."""
    try:
        return typed_number(text)
    except ValueError as error:
        raise Refusal("page-input", 422, name) from error


@router.post("/archive/make")
def start(
    request: Request,
    what: Annotated[str, Form(pattern="^(archive|package)$")],
    photos: Annotated[str, Form(max_length=20)] = "none",
    texts: Annotated[str, Form(max_length=20)] = "refuse",
) -> RedirectResponse:
    """Make the file as a job."""
    reach, observer, which = reach_of(request), observer_of(request), require_photos(photos)
    how = require_texts(texts)
    project = reach.settings.project

    def work(job: Job) -> ArchiveReport | PackageReport:
        job.page = f"/archive?job={job.job_id}"
        path = _file(project, what)
        with reach.reading() as store, wiring.zip_maker(path) as box:
            if what == "archive":
                tools = wiring.archive_tools(project, store)
                return make_archive(store, tools, box, which, job, how)
            return make_package(store, survey_results(store, wiring.result_settings()), box, how)

    title, asked = translate(request, TITLE), (what, which, how)
    job = reach.jobs.start(title, "/archive", observer, work, kind="archive", asked=asked)
    return RedirectResponse(f"/archive?job={job.job_id}", 303)


@router.get("/archive/file/{what}")
def download(request: Request, what: str) -> FileResponse:
    """Hand out a file that was made."""
    if what not in FILES or not _file(reach_of(request).settings.project, what).is_file():
        raise Refusal("page-not-found", 404)
    path = _file(reach_of(request).settings.project, what)
    return FileResponse(path, media_type="application/zip", filename=FILES[what])
