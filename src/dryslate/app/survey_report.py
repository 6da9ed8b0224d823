"""Collect what the report of a survey's results shows, from its records alone."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryslate.app.change import ChangeAsked, Changes, changes_of
from dryslate.app.change_series import surveyed_units
from dryslate.app.colony_book import colony_stories
from dryslate.app.colony_colours import colour_series
from dryslate.app.community import Community, CommunitySettings, compare_communities
from dryslate.app.result_rows import ResultRow, results_table
from dryslate.app.survey_results import survey_results
from dryslate.core.survey.designs import UnitDesign

if TYPE_CHECKING:
    from dryslate.app.colony_book import ColonyStory
    from dryslate.app.community_table import By
    from dryslate.app.ports import DocumentWriter, SurveyStore
    from dryslate.app.publication_records import ProjectPerson
    from dryslate.app.records import Photo, Visit
    from dryslate.app.result_settings import ResultSettings
    from dryslate.app.survey_records import NotedRow
    from dryslate.app.unit_records import Unit
    from dryslate.core.health.colony_colour import ColourChange

MOST_ROWS = 3_000
"""Rows that the trail lists one by one; with more, it names their places only."""


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
    """

    folder: Path
    store: SurveyStore
    documents: DocumentWriter
    settings: ResultSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedUnit:
    """
    One unit, with where its rows were written.

    Parameters
    ----------
    number : int
        In the report.
    unit : Unit
    site, date : str
    design : UnitDesign
    list_version : int or None
        Of the categories its rows use.
    n_rows : int
    rows : tuple of NotedRow
        All of them, or none where the survey has too many to list.
    places : tuple of str
        Files, sheets and cells that rows were taken from, a range each.
    photos : tuple of (str, str)
        Name and hash.
    """

    number: int
    unit: Unit
    site: str
    date: str
    design: UnitDesign
    list_version: int | None
    n_rows: int
    rows: tuple[NotedRow, ...]
    places: tuple[str, ...]
    photos: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPlace:
    """
    Where a site is shown.

    Parameters
    ----------
    site : str
    latitude_deg, longitude_deg : float
        Of a sensitive site the middle of its square of the grid.
    grid_deg : float or None
        That grid, where the position was made coarse.
    uncertainty_m : float or None
    """

    site: str
    latitude_deg: float
    longitude_deg: float
    grid_deg: float | None = None
    uncertainty_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyReport:
    """
    Everything the report shows.

    Parameters
    ----------
    title, state_utc : str
        `state_utc`: the last change of the records.
    n_changes : int
        Lines of the change log.
    visits : tuple of Visit
    units : tuple of ReportedUnit
    rows : tuple of ResultRow
        The figures; the report writes no number of a figure that is not here.
    changes, named_changes : Changes
        Of categories and groups; of names of corals.
    communities : tuple of (str, Community)
        By zone, visit and site, where there are such.
    colonies : tuple of (ColonyStory, tuple of ColourChange)
        Each with its colour at the last visit against its own first; empty where none was measured.
    places : tuple of MapPlace
    facts : mapping of str to str
    people : tuple of ProjectPerson
    settings : ResultSettings
    cards : tuple of str
    cameras : tuple of str
    n_photos, n_aside : int
    table_sha256 : str
        Of the table of figures as CSV.
    """

    title: str
    state_utc: str
    n_changes: int
    visits: tuple[Visit, ...]
    units: tuple[ReportedUnit, ...]
    rows: tuple[ResultRow, ...]
    changes: Changes
    named_changes: Changes
    communities: tuple[tuple[By, Community], ...]
    colonies: tuple[tuple[ColonyStory, tuple[ColourChange, ...]], ...]
    places: tuple[MapPlace, ...]
    facts: Mapping[str, str]
    people: tuple[ProjectPerson, ...]
    settings: ResultSettings
    cards: tuple[str, ...]
    cameras: tuple[str, ...]
    n_photos: int
    n_aside: int
    table_sha256: str


def write_results_report(
    source: ReportSource, out: Path | None, language: str, *, has_pdf: bool
) -> dict[str, Any]:
    """
    Write the report of a survey's results.

    Parameters
    ----------
    source : ReportSource
    out : Path or None
        None for ``reports/results.html`` in the project.
    language : str
    has_pdf : bool
        Write a PDF beside it.

    Returns
    -------
    dict
        ``report``, ``pdf``, ``n_units``, ``n_figures``, ``problems``.

    Raises
    ------
    SettingsError
        ``report-language-unknown``.
    StoreError
        ``disk-full``, ``folder-read-only``, ``write-failed``.
    """
    report = collect_survey_report(source.store, source.folder, source.settings)
    path = out if out is not None else source.folder / "reports" / "results.html"
    source.documents.survey_report(report, path, language, as_pdf=False)
    pdf = path.with_suffix(".pdf") if has_pdf else None
    if pdf is not None:
        source.documents.survey_report(report, pdf, language, as_pdf=True)
    return {
        "report": str(path),
        "pdf": None if pdf is None else str(pdf),
        "n_units": len(report.units),
        "n_figures": len(report.rows),
        "problems": [],
    }


def collect_survey_report(
    store: SurveyStore, folder: Path, settings: ResultSettings
) -> SurveyReport:
    """
    Collect the report; the same records give the same report.

    Parameters
    ----------
    store : SurveyStore
    folder : Path
        Its name is the title where the project states none.
    settings : ResultSettings

    Returns
    -------
    SurveyReport
    """
    rows = survey_results(store, settings)
    changes = store.changes()
    photos = store.photos()
    facts = store.project_facts()
    visited = surveyed_units(store, settings.usual)
    return SurveyReport(
        title=facts.get("title") or folder.resolve().name,
        state_utc=changes[-1].changed_utc if changes else "",
        n_changes=len(changes),
        visits=store.visits(),
        units=_units(store, photos),
        rows=rows,
        changes=changes_of(visited, ChangeAsked(of=("category", "group"))),
        named_changes=changes_of(visited, ChangeAsked(of=("name",))),
        communities=_communities(store, settings),
        colonies=_colonies(store),
        places=_places(store),
        facts=facts,
        people=store.project_people(),
        settings=settings,
        cards=_cards(store),
        cameras=_cameras(photos),
        n_photos=len(photos),
        n_aside=len(store.photos_set_aside()),
        table_sha256=hashlib.sha256(results_table(rows)).hexdigest(),
    )


def _units(store: SurveyStore, photos: Sequence[Photo]) -> tuple[ReportedUnit, ...]:
    """Return every unit that states how it was sampled, numbered by site, date, zone and name."""
    visits = {visit.visit_id: visit for visit in store.visits()}
    units = {unit.unit_id: unit for unit in store.units()}
    names = {p.photo_id: p.files[0].original_name for p in photos}
    rows: dict[str, list[NotedRow]] = defaultdict(list)
    for noted in store.survey_rows():
        rows[noted.unit_id].append(noted)
    is_listed = sum(map(len, rows.values())) <= MOST_ROWS
    joined: dict[str, set[str]] = defaultdict(set)
    for one in store.unit_photos():
        if one.unit_id is not None:
            joined[one.unit_id].add(one.photo_id)
    for unit_id, noted_rows in rows.items():
        joined[unit_id] |= {n.row.photo_id for n in noted_rows if n.row.photo_id}
    found = []
    for stated in store.unit_designs():
        unit = units[stated.unit_id]
        visit, own = visits[unit.visit_id], rows[unit.unit_id]
        pictures = sorted((names.get(p, p[:12]), p) for p in joined[unit.unit_id])
        key = (visit.site, visit.date, unit.zone or "", unit.name or "", unit.unit_id)
        found.append((key, unit, visit, stated, own, tuple(pictures)))
    return tuple(
        ReportedUnit(
            number=number,
            unit=unit,
            site=visit.site,
            date=visit.date,
            design=stated.design,
            list_version=stated.list_version,
            n_rows=len(own),
            rows=tuple(own) if is_listed else (),
            places=_ranges([noted.row.place for noted in own]),
            photos=pictures,
        )
        for number, (_, unit, visit, stated, own, pictures) in enumerate(
            sorted(found, key=lambda one: one[0]), 1
        )
    )


def _ranges(places: Sequence[str]) -> tuple[str, ...]:
    """Put places of one file that follow one another together: the first and the last."""
    found: dict[str, list[str]] = defaultdict(list)
    for place in places:
        if place:
            head = place.rstrip("0123456789")
            found[head].append(place.removeprefix(head))
    said = []
    for head, ends in found.items():
        numbers = sorted({int(end) for end in ends if end})
        if not numbers:
            said.append(head)
        elif len(numbers) == 1:
            said.append(f"{head}{numbers[0]}")
        else:
            said.append(f"{head}{numbers[0]}\N{EN DASH}{numbers[-1]}")
    return tuple(said)


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
    store: SurveyStore,
) -> tuple[tuple[ColonyStory, tuple[ColourChange, ...]], ...]:
    """Return every tagged colony with how its colour changed since its own first visit."""
    found = []
    for story in colony_stories(store):
        changes = colour_series(store, story.colony).changes
        found.append((story, list(changes.values())[-1] if changes else ()))
    return tuple(found)


def _places(store: SurveyStore) -> tuple[MapPlace, ...]:
    """Return where sites may be shown: sensitive ones by the middle of their square."""
    found = []
    for place in store.site_places():
        if place.latitude_deg is None or place.longitude_deg is None:
            continue
        latitude, longitude = place.latitude_deg, place.longitude_deg
        if place.grid_deg is not None:
            latitude, longitude = (_coarse(d, place.grid_deg) for d in (latitude, longitude))
        found.append(
            MapPlace(
                site=place.site,
                latitude_deg=latitude,
                longitude_deg=longitude,
                grid_deg=place.grid_deg,
                uncertainty_m=None if place.grid_deg is not None else place.uncertainty_m,
            )
        )
    return tuple(found)


def _coarse(degrees: float, grid_deg: float) -> float:
    """Return the middle of the square of a grid that a position lies in."""
    return (degrees // grid_deg + 0.5) * grid_deg


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
