"""Making pages from templates: words in the person's language, and what every page shows."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse

import dryslate
from dryslate.web.job_words import job_words
from dryslate.web.languages import catalogue, day, number, offered, signed, size_words, visited
from dryslate.web.languages import language_of as language_of  # noqa: PLC0414  taken along
from dryslate.web.light import light_of
from dryslate.web.places import PLACES, around
from dryslate.web.reach import Reach, reach_of
from dryslate.web.reason_words import reason_words
from dryslate.web.said import colon, said, semicolon, told, value
from dryslate.web.taken_apart import templates_taken_apart
from dryslate.web.taxon_names import genera, genera_of, taxon


@cache
def _environment(language: str) -> Environment:
    """Templates of one language."""
    environment = Environment(
        loader=PackageLoader("dryslate.web"),
        autoescape=True,
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
        bytecode_cache=templates_taken_apart(),
    )
    environment.install_gettext_translations(catalogue(language), newstyle=True)  # type: ignore[attr-defined]
    environment.filters["taxon"], environment.filters["genera"] = taxon, genera
    own: dict[str, Callable[..., Any]] = {
        "doubt": lambda size: size_words(size[0], size[1], language),
        "number": lambda value, digits=1: number(value, digits, language),
        "day": lambda text: day(text, language),
        "visited": lambda visit_id: visited(visit_id, language),
        "signed": lambda value: signed(value, language),
        "told": partial(told, language),
        "said": lambda text, of_data=False: said_html(language, text, of_data),
        "in_words": lambda text: value(language, text, of_data=True),
        "capitalize_first": lambda text: text[:1].upper() + text[1:],
        "minutes": partial(minutes_words, language),
        "gap": partial(gap_words, language),
        "reason": partial(reason_words, language),
    }
    environment.filters.update((name, _when_shown(does)) for name, does in own.items())
    return environment


def _when_shown(does: Callable[..., Any]) -> Callable[..., Any]:
    """Keep a filter from being worked out ahead: templates taken apart serve all languages."""

    @pass_context
    def filtered(_context: Context, *given: Any, **named: Any) -> Any:
        return does(*given, **named)

    return filtered


def said_html(language: str, text: str, of_data: bool = False) -> str:
    """Return what the core says in the page's language; English is marked as such."""
    found = text if language == "en" else said(language, text, of_data=of_data)
    return Markup('<span lang="en">{}</span>').format(text) if found is None else found


def state_words(reach: Reach, language: str, character: str, state: str) -> str:
    """Return the words of a state of the genus data, in a language."""
    from dryslate import wiring  # only where states are shown: the first page is there sooner

    tables = wiring.reference_tables(reach.settings.project)
    taxa = reach.keep("taxa data", lambda: tables.taxa()[0])
    known = taxa.characters.get(character)
    words = known.states.get(state) if known is not None else None
    return catalogue(language).gettext(words) if words else state.replace("_", " ")


def minutes_words(language: str, minutes: float) -> str:
    """Say a duration: minutes, or hours once it is over ninety."""
    if minutes < 90:
        return f"{max(1, round(minutes))} min"
    return f"{number(minutes / 60.0, 1, language)} h"


def gap_words(language: str, minutes: float) -> str:
    """
    Say how long nothing happened: minutes, hours, or days from two days on.

    Examples
    --------
    >>> gap_words("en", 12), gap_words("en", 150), gap_words("en", 671.5 * 60)
    ('12 min', '2.5 h', '28 days')
    """
    if minutes < 48 * 60:
        return minutes_words(language, minutes)
    days = round(minutes / (24 * 60))
    return catalogue(language).ngettext("%(num)s day", "%(num)s days", days) % {"num": days}


def translate(request: Request, text: str) -> str:
    """Return a text in the person's language."""
    return catalogue(language_of(request)).gettext(text)


def page(request: Request, template: str, status: int = 200, **context: Any) -> HTMLResponse:
    """
    Answer with a filled template.

    Parameters
    ----------
    request : Request
    template : str
        Below ``templates/``.
    status : int
        HTTP status.
    **context
        What the template shows beside what every page has.

    Returns
    -------
    HTMLResponse
    """
    return HTMLResponse(part(request, template, **context), status)


def part(request: Request, template: str, **context: Any) -> str:
    """
    Fill a template.

    Parameters
    ----------
    request : Request
    template : str
        Below ``templates/``.
    **context
        What the template shows beside what every page has.

    Returns
    -------
    str
    """
    language = language_of(request)
    session = request.scope.get("state", {}).get("session")
    reach = reach_of(request)
    may_change = session is not None and session.may("surveyor")
    listed = around(
        request.url.path,
        PLACES if may_change else [place for place in PLACES if not place.is_work],
    )
    shared = {
        "request_path": request.url.path,
        "language": language,
        "languages": offered(),
        "light": light_of(request),
        "session": session,
        "may_change": may_change,
        "may_lead": session is not None and session.may("lead"),
        "places": dict(zip(("top", "within", "here"), listed, strict=True)),
        "project_name": reach.settings.project.resolve().name,
        "is_team": reach.settings.is_team,
        "running": [job_words(language, job) for job in reach.jobs.running()],
        "state_words": partial(state_words, reach, language),
        "colon": colon(language),
        "semicolon": semicolon(language),
        "static_version": static_version(),
        "has_viewer": vendor_is_there(),
        "genus_names": lambda: genera_of(reach),
    }
    return _environment(language).get_template(template).render({**shared, **context})


@cache
def vendor_is_there() -> bool:
    """Tell whether the browser code of others came with this build."""
    vendor = files("dryslate.web") / "static" / "vendor"
    return (vendor / "openseadragon.min.js").is_file() and (vendor / "htmx.min.js").is_file()


@cache
def static_version() -> str:
    """
    Return a text that changes when any of our static files does, for the browser's cache.

    Their sizes and times are looked at and not their content, which takes longer than the page.
    """
    import hashlib
    import os

    seen = hashlib.sha256(dryslate.__version__.encode())
    parts = [str(files("dryslate.web") / "static")]
    while parts:
        for entry in sorted(os.scandir(parts.pop()), key=lambda one: one.name):
            if entry.is_dir():
                parts.append(entry.path)
            elif not entry.name.startswith("."):
                told = entry.stat()
                seen.update(f"{entry.name} {told.st_size} {told.st_mtime_ns}\n".encode())
    return seen.hexdigest()[:12]
