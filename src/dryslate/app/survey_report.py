"""Collect what the report of a survey's results shows, from its records alone."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate.app.change import ChangeAsked, Changes, changes_of
from dryslate.app.change_series import surveyed_units
from dryslate.app.coarse_position import shared_position
from dryslate.app.colony_book import colony_stories
from dryslate.app.colony_colours import colour_series
from dryslate.app.community import Community, CommunitySettings, compare_communities
from dryslate.app.report_contents import MOST_COMPARED, MapPlace, ReportChoice, SurveyReport
from dryslate.app.report_units import reported_units
from dryslate.app.result_choice import ResultChoice
from dryslate.app.result_rows import results_table
from dryslate.app.survey_results import survey_results

if TYPE_CHECKING:
    from dryslate.app.colony_book import ColonyStory
    from dryslate.app.community_table import By
    from dryslate.app.ports import DocumentWriter, Progress, SurveyStore
    from dryslate.app.records import Photo
    from dryslate.app.result_settings import ResultSettings
    from dryslate.core.health.colony_colour import ColourChange


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSource:
    """
    What making the report works with.

    Parameters
    ----------
    folder : Path
        The project.
    store, documents
        Ports.
    settings : ResultSettings
    save : callable
        Puts bytes into a file, whole or not at all.
    """

    folder: Path
    store: SurveyStore
    documents: DocumentWriter
    settings: ResultSettings
    save: Callable[[Path, bytes], None]


def write_results_report(
    source: ReportSource,
    out: Path | None,
    language: str,
    *,
    has_pdf: bool,
    choice: ReportChoice | None = None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """
    Write the report of a survey's results, and the table of its figures beside it.

    Parameters
    ----------
    source : ReportSource
    out : Path or None
        None for ``reports/results.html`` in the project. A name that ends as the PDF or the table
        does names those: the report lies beside it as HTML.
    language : str
    has_pdf : bool
        Write a PDF beside it.
    choice : ReportChoice, optional
        Without it everything.
    progress : Progress, optional

    Returns
    -------
    dict
        ``report``, ``pdf``, ``table``, ``n_units``, ``n_figures``, ``problems``.

    Raises
    ------
    SettingsError
        ``report-language-unknown``.
    InputError
        ``results-choice-unknown``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    """
    path = out if out is not None else source.folder / "reports" / "results.html"
    has_pdf = has_pdf or path.suffix.lower() == ".pdf"
    told = progress or _Untold()
    told.start("figures and drawings", len(STEPS) + 1 + has_pdf)
    if path.suffix.lower() in (".pdf", ".csv"):  # else one file would be written over the other
        path = path.with_suffix(".html")
    report, table = collect_survey_report(source, path.with_suffix(".csv").name, choice, told)
    source.documents.survey_report(report, path, language, as_pdf=False)
    told.step()
    pdf = path.with_suffix(".pdf") if has_pdf else None
    if pdf is not None:
        source.documents.survey_report(report, pdf, language, as_pdf=True)
        told.step()
    source.save(path.with_suffix(".csv"), table)
    told.done()
    return {
        "report": str(path),
        "pdf": None if pdf is None else str(pdf),
        "table": str(path.with_suffix(".csv")),
        "n_units": len(report.units),
        "n_figures": len(report.rows),
        "problems": [],
    }


STEPS = ("figures", "units", "change", "likeness", "colonies")
"""What is collected one after the other."""


class _Untold:
    """Progress that nobody follows."""

    def start(self, what: str, total: int | None) -> None:
        """Begin."""

    def step(self, n: int = 1, note: str = "") -> None:
        """Go on."""

    def done(self) -> None:
        """End."""


def collect_survey_report(
    source: ReportSource, table_name: str, choice: ReportChoice | None, progress: Progress
) -> tuple[SurveyReport, bytes]:
    """
    Collect the report; the same records give the same report.

    Parameters
    ----------
    source : ReportSource
        The folder's name is the title where the project states none.
    table_name : str
        Of the table of figures beside the report.
    choice : ReportChoice or None
    progress : Progress

    Returns
    -------
    SurveyReport
    bytes
        The table of its figures as CSV.
    """
    store, settings = source.store, source.settings
    choice = choice or ReportChoice()
    rows = survey_results(store, settings, ResultChoice(sites=choice.sites, dates=choice.dates))
    progress.step()
    table = results_table(rows)
    photos = store.photos()
    facts = store.project_facts()
    visits = tuple(v for v in store.visits() if choice.has(v.site, v.date))
    ids = frozenset(visit.visit_id for visit in visits)
    units = reported_units(store, photos, ids)
    progress.step()
    changes, named_changes = _changes(store, settings, choice)
    progress.step()
    most = max(Counter(unit.design.design for unit in units).values(), default=0)
    is_asked = "likeness" in choice.parts and choice.is_whole
    has_likeness = is_asked and most <= MOST_COMPARED
    communities = _communities(store, settings) if has_likeness else ()
    progress.step()
    colonies = _colonies(store, choice) if "colonies" in choice.parts else ()
    progress.step()
    own_photos = [photo for photo in photos if photo.visit_id in ids]
    report = SurveyReport(
        title=facts.get("title") or source.folder.resolve().name,
        state_utc=store.last_changed_utc(),
        n_changes=store.last_change_no(),
        visits=visits,
        units=units,
        rows=rows,
        n_named=store.n_named(),
        choice=choice,
        changes=changes,
        named_changes=named_changes,
        communities=communities,
        is_too_large_to_compare=is_asked and not has_likeness,
        colonies=colonies,
        places=_places(store),
        conditions={one.visit_id: one for one in store.visit_conditions()},
        facts=facts,
        people=store.project_people(),
        settings=settings,
        cards=_cards(store),
        cameras=_cameras(own_photos),
        n_photos=len(own_photos),
        n_aside=len(store.photos_set_aside()),
        table_sha256=hashlib.sha256(table).hexdigest(),
        table_name=table_name,
    )
    return report, table


def _changes(
    store: SurveyStore, settings: ResultSettings, choice: ReportChoice
) -> tuple[Changes, Changes]:
    """Compare the visits; of some sites and visits, those changes that lie among them."""
    if "change" not in choice.parts:
        return Changes(rows=()), Changes(rows=())
    visited = surveyed_units(store, settings.usual, settings.coverage)
    found = changes_of(visited, ChangeAsked(of=("category", "group")))
    named = changes_of(visited, ChangeAsked(of=("name",)))
    return _among(found, choice), _among(named, choice)


def _among(found: Changes, choice: ReportChoice) -> Changes:
    """Leave out changes that reach beyond the chosen sites and visits."""
    if choice.is_whole:
        return found
    rows = tuple(
        row
        for row in found.rows
        if all(
            choice.has(site.strip(), date)
            for site in row.site.split(";")
            for date in (row.first, row.last)
        )
    )
    return replace(found, rows=rows)


def _communities(store: SurveyStore, settings: ResultSettings) -> tuple[tuple[By, Community], ...]:
    """Compare by zone, visit and site, where there are two or more of them."""
    zones, dates, sites = defaultdict(set), defaultdict(set), set()
    visits = {visit.visit_id: visit for visit in store.visits()}
    for unit in store.units():
        visit = visits[unit.visit_id]
        zones[unit.visit_id].add(unit.zone)
        dates[visit.site].add(visit.date)
        sites.add(visit.site)
    wanted: list[By] = []
    if any(len(found) > 1 for found in zones.values()):
        wanted.append("zone")
    if any(len(found) > 1 for found in dates.values()):
        wanted.append("visit")
    if len(sites) > 1:
        wanted.append("site")
    how = [CommunitySettings(by=by, usual=settings.usual) for by in wanted]
    return tuple((one.by, compare_communities(store, one)) for one in how)


def _colonies(
    store: SurveyStore, choice: ReportChoice
) -> tuple[tuple[ColonyStory, tuple[ColourChange, ...]], ...]:
    """Return every tagged colony with how its colour changed since its own first visit."""
    found = []
    wanted = {site.casefold() for site in choice.sites}
    for story in colony_stories(store):
        if wanted and story.colony.site.casefold() not in wanted:
            continue
        changes = colour_series(store, story.colony).changes
        found.append((story, list(changes.values())[-1] if changes else ()))
    return tuple(found)


def _places(store: SurveyStore) -> tuple[MapPlace, ...]:
    """Return where sites may be shown, as in an archive: two squares would tell the edge."""
    found = []
    for place in store.site_places():
        shared = shared_position(place)
        if shared.latitude_deg is None or shared.longitude_deg is None:
            continue
        found.append(
            MapPlace(
                site=place.site,
                latitude_deg=shared.latitude_deg,
                longitude_deg=shared.longitude_deg,
                grid_deg=place.grid_deg,
                uncertainty_m=None if place.grid_deg is not None else place.uncertainty_m,
            )
        )
    return tuple(found)


def _cards(store: SurveyStore) -> tuple[str, ...]:
    """Name the printed cards that corrections rest on, each with its number of photos."""
    found: Counter[str] = Counter()
    for row in store.corrections():
        card = row.result.get("card") or {}
        if card.get("found"):
            serial = f", {card['serial']}" if card.get("serial") else ""
            found[f"{card['name']}{serial}"] += 1
    return tuple(f"{name} ({n})" for name, n in sorted(found.items()))


def _cameras(photos: Sequence[Photo]) -> tuple[str, ...]:
    """Name the cameras and lenses, each with its number of photos."""
    found: Counter[str] = Counter()
    for photo in photos:
        known = (photo.metadata.camera_make, photo.metadata.camera_model, photo.metadata.lens_model)
        words = " ".join(part for part in known if part)
        if words:
            found[words] += 1
    return tuple(f"{name} ({n})" for name, n in sorted(found.items()))
