"""Making a Darwin Core archive of a project, visit by visit, and saying what it lacks."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, Protocol, cast, get_args

from dryslate.app.archive_conditions import write_conditions
from dryslate.app.archive_corals import SecondLooks, second_looks_of, write_coral
from dryslate.app.archive_events import EventMaker, photo_time, read_points, unit_date
from dryslate.app.archive_ids import Identifiers, content_address
from dryslate.app.archive_loggers import loggers_to_archive, n_broken_loggers, write_logger
from dryslate.app.archive_names import NameRoom
from dryslate.app.archive_photos import write_elsewhere
from dryslate.app.archive_rows import RowMaker
from dryslate.app.archive_settings import settings_of
from dryslate.app.archive_tables import FILES, Missing, TableWriter, TextSink, described
from dryslate.app.archive_tables import missing_terms as missing
from dryslate.app.archive_tagged import TaggedColonies, tagged_colonies, write_tagged
from dryslate.app.archive_words import Also, dumps
from dryslate.app.archived_frames import MEDIA_TYPES
from dryslate.app.project_words import LICENCES, licence_address
from dryslate.app.published_sites import published_sites, sensitive_note
from dryslate.app.telling_texts import TextGate, Texts, text_gate
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.formats.dwca_meta import write_meta
from dryslate.formats.eml import EmlWords, Party, write_eml

if TYPE_CHECKING:
    from dryslate.app.archived_records import ArchivedPhoto
    from dryslate.app.condition_records import VisitConditions
    from dryslate.app.ports import Progress, SurveyStore
    from dryslate.app.records import Photo, Visit
    from dryslate.app.survey_records import Category, StatedDesign
    from dryslate.app.unit_records import Unit
    from dryslate.core.identify.taxa import TaxaData

Photos = Literal["none", "corrected", "originals"]


class ArchiveBox(Protocol):
    """Takes the files of an archive."""

    def table(self, name: str) -> TextSink:
        """Return what takes the text of a table."""

    def add_text(self, name: str, text: str) -> None:
        """Write a whole file."""

    def add_file(self, name: str, parts: Iterable[bytes]) -> None:
        """Write a file that comes in pieces."""

    def add_tables(self, names: Iterable[str]) -> None:
        """Write tables that were waiting."""


@dataclass(frozen=True, kw_only=True)
class ArchiveTools:
    """
    What an archive is made with beside the records.

    Parameters
    ----------
    taxa : TaxaData
    usual : tuple of Category
        The list of a project that has none of its own.
    category_names : Mapping
        Category to scientific name, rank and kingdom.
    picture : callable
        Photo, which copy, and whether its places must go, to media type, ending and bytes; None
        where there is none that may leave the project.
    """

    taxa: TaxaData
    usual: tuple[Category, ...]
    category_names: Mapping[str, tuple[str, str, str]]
    picture: Callable[[Photo, Photos, bool], tuple[str, bytes] | None]


@dataclass(frozen=True, kw_only=True)
class ArchiveReport:
    """
    What an archive holds and lacks.

    Parameters
    ----------
    n_rows : Mapping
        Rows by table.
    n_absent : int
        Occurrences that are absences.
    n_pictures : int
    missing : tuple of Missing
        Required and recommended terms that are empty in some rows.
    names_without_id, categories_without_taxon, sensitive : tuple of str
    left_out : Mapping
        What is not in the archive, by reason.
    problems : tuple of Problem
    """

    n_rows: Mapping[str, int]
    n_absent: int
    n_pictures: int
    missing: tuple[Missing, ...]
    names_without_id: tuple[str, ...]
    categories_without_taxon: tuple[str, ...]
    sensitive: tuple[str, ...]
    left_out: Mapping[str, int]
    problems: tuple[Problem, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "n_rows": dict(self.n_rows),
            "n_absent": self.n_absent,
            "n_pictures": self.n_pictures,
            "missing": [one.as_dict() for one in self.missing],
            "names_without_id": list(self.names_without_id),
            "categories_without_taxon": list(self.categories_without_taxon),
            "sensitive": list(self.sensitive),
            "left_out": dict(self.left_out),
            "problems": [one.as_dict() for one in self.problems],
        }


@dataclass(kw_only=True)
class _Work:
    """What is carried from visit to visit."""

    store: SurveyStore
    tools: ArchiveTools
    box: ArchiveBox
    ids: Identifiers
    events: EventMaker
    rows: RowMaker
    writers: Mapping[str, TableWriter]
    photos: Photos
    seconds: SecondLooks
    organism_of: Mapping[str, str]
    tagged: TaggedColonies
    aside: frozenset[str]
    conditions: Mapping[str, VisitConditions]
    elsewhere: Mapping[str, Sequence[ArchivedPhoto]]
    on_paper: frozenset[str]
    withheld: frozenset[str]
    gate: TextGate
    n_pictures: int = 0
    with_event: set[str] = field(default_factory=set)
    designs: set[str] = field(default_factory=set)
    boxes: list[tuple[float, float]] = field(default_factory=list)
    days: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class _Here:
    """A visit with its photos' times, those set aside left out."""

    visit: Visit
    times: Mapping[str, str]


def make_archive(
    store: SurveyStore,
    tools: ArchiveTools,
    box: ArchiveBox,
    photos: Photos = "none",
    progress: Progress | None = None,
    texts: Texts = "refuse",
) -> ArchiveReport:
    """
    Write a Darwin Core archive.

    Parameters
    ----------
    store : SurveyStore
    tools : ArchiveTools
    box : ArchiveBox
    photos : {"none", "corrected", "originals"}
    progress : Progress, optional
    texts : {"refuse", "withhold", "as-written"}
        What is done with texts that tell where a sensitive site lies.

    Returns
    -------
    ArchiveReport

    Raises
    ------
    InputError
        ``archive-texts-tell``.

    Notes
    -----
    One visit is held at a time. Nothing depends on the clock or the computer: the same records
    give the same bytes.
    """
    work = _begin(store, tools, box, photos, texts)
    visits = store.visits()
    if progress is not None:
        progress.start("Visits", len(visits))
    for visit in visits:
        _visit(work, visit)
        if progress is not None:
            progress.step()
    if progress is not None:
        progress.done()
    _loggers(work)
    for writer in work.writers.values():
        writer.flush()
    kept = [n for n, w in work.writers.items() if w.n_rows or n in ("Event", "Occurrence")]
    box.add_text("meta.xml", write_meta([described(name) for name in kept]))
    box.add_text("eml.xml", write_eml(_words(work)))
    n_told = work.gate.close()
    if n_told and texts == "withhold":
        work.rows.left_out["texts that tell where a sensitive site lies"] += n_told
    box.add_tables([FILES[name][0] for name in kept])
    return _report(work)


def _begin(
    store: SurveyStore, tools: ArchiveTools, box: ArchiveBox, photos: Photos, texts: Texts
) -> _Work:
    """Set up what is shared by all visits."""
    facts = store.project_facts()
    ids = Identifiers(store.project_id())
    categories = store.categories() or tools.usual
    names = NameRoom(
        taxa=tools.taxa,
        region=store.region(),
        categories=tools.category_names,
        own={one.name: one for one in store.name_ids()},
    )
    places = {one.site: one for one in store.site_places()}
    published = published_sites(
        [one.site for one in store.sites()], places, lambda site: ids.of("site", site)
    )
    withheld = frozenset(site for site, one in published.items() if one.is_withheld)
    gate = text_gate(store, withheld, texts, lambda text: ids.of("text", text))
    writers = {
        name: TableWriter(box.table(file), columns, None if gate.is_open else gate, name)
        for name, (file, columns) in FILES.items()
    }
    rows = RowMaker(
        ids=ids,
        names=names,
        occurrences=writers["Occurrence"],
        measurements=writers["ExtendedMeasurementOrFact"],
        dead={one.category for one in categories if one.group == "dead coral"},
        has_withheld=any(one.is_withheld for one in published.values()),
    )
    conditions = {one.visit_id: one for one in store.visit_conditions()}
    elsewhere: dict[str, list[ArchivedPhoto]] = defaultdict(list)
    here = set(store.photo_ids())
    for photo in store.archived_photos():
        if photo.photo_id not in here:
            elsewhere[photo.visit_id].append(photo)
    same = {
        "datasetName": facts.get("title", ""),
        "license": licence_address(facts.get("licence", "")),
        "rightsHolder": facts.get("rights_holder", ""),
    }
    return _Work(
        store=store,
        tools=tools,
        box=box,
        ids=ids,
        events=EventMaker(
            ids=ids,
            same=same,
            places=places,
            unit_places={one.unit_id: one for one in store.unit_places()},
            zones={(one.site, one.zone): one for one in store.zones()},
            published=published,
            methods=facts.get("methods", ""),
            conditions={key: one.words() for key, one in conditions.items()},
        ),
        rows=rows,
        writers=writers,
        photos=photos,
        seconds=second_looks_of(store),
        organism_of={
            one.record_id: one.organism_id for one in store.colony_sightings() if one.record_id
        },
        tagged=tagged_colonies(store),
        aside=frozenset(one.photo_id for one in store.photos_set_aside()),
        conditions=conditions,
        elsewhere=elsewhere,
        on_paper=_on_paper(store),
        withheld=withheld,
        gate=gate,
    )


def _on_paper(store: SurveyStore) -> frozenset[str]:
    """
    Name photos that a sensitive site's name or place may be read off: sketches, sheets, slates.

    A clock that was photographed may be a receiver's, which shows where it was.
    """
    sketches = {one.sketch_sha256 for one in store.colonies() if one.sketch_sha256 is not None}
    found = (store.photo(one) for one in sketches)
    shown = {one.photo_id for one in store.sheet_photos()}
    shown |= {one.photo_id for one in store.unit_photos() if one.how == "slate"}
    shown |= {one.photo_id for one in store.clock_offsets() if one.photo_id is not None}
    return frozenset(shown | {one.photo_id for one in found if one is not None})


def _loggers(work: _Work) -> None:
    """Write the loggers that lay at sites, each an event of its own."""
    for stated, found in loggers_to_archive(work.store, work.withheld):
        work.writers["Event"].named(write_logger(work.rows, work.events, stated, found))
        work.days += [str(found.days[0]), str(found.days[-1])]
    n_broken = n_broken_loggers(work.store)
    if n_broken:
        work.rows.left_out["loggers whose file cannot be worked out"] += n_broken


def _visit(work: _Work, visit: Visit) -> None:
    """Write a visit: itself, its units, its corals, its photos."""
    store, event_writer = work.store, work.writers["Event"]
    units = store.units(visit.visit_id)
    stated = {one.unit_id: one for one in store.unit_designs(visit.visit_id)}
    photos = {one.photo_id: one for one in store.photos(visit.visit_id)}
    unit_of = {j.photo_id: j.unit_id for j in store.unit_photos(visit.visit_id) if j.unit_id}
    clocks = store.clock_offsets(visit.visit_id)
    visit_event = work.events.visit(visit, list(stated.values()), clocks)
    event_writer.named(visit_event)
    work.days.append(visit.date)
    shared = work.events.shared(visit.site)
    if shared.latitude_deg is not None and shared.longitude_deg is not None:
        work.boxes.append((shared.latitude_deg, shared.longitude_deg))
    events = {unit.unit_id: work.ids.of("unit", unit.unit_id) for unit in units}
    photo_events: dict[str, str] = {}
    offsets = {one.camera: one.utc_offset for one in clocks if one.utc_offset}
    times = {key: photo_time(one, offsets) for key, one in photos.items() if key not in work.aside}
    here = _Here(visit=visit, times=times)
    work.rows.organisms = work.tagged.tags.get(visit.site, {})
    work.rows.met.clear()
    for unit in units:
        mine = [key for key, unit_id in unit_of.items() if unit_id == unit.unit_id]
        photo_events |= _unit(work, here, unit, stated.get(unit.unit_id), mine)
    of_photo = {key: events[unit] for key, unit in unit_of.items()} | photo_events
    for record in store.records(visit.visit_id):
        if record.photo_id in work.aside:
            work.rows.left_out["corals in photos that are set aside"] += 1
            continue
        event = events.get(unit_of.get(record.photo_id or "", ""), visit_event["eventID"])
        organism = work.organism_of.get(record.record_id, "")
        write_coral(work.rows, store, record, event, work.seconds, organism)
    if visit.visit_id in work.conditions:
        write_conditions(work.rows, work.conditions[visit.visit_id], visit_event["eventID"])
    write_tagged(work.rows, work.tagged, visit, visit_event["eventID"])
    for key, time in times.items():
        _picture(work, visit, photos[key], of_photo.get(key, visit_event["eventID"]), time)
    for photo in work.elsewhere.get(visit.visit_id, ()):
        write_elsewhere(work.writers["Multimedia"], photo, visit_event["eventID"])


def _unit(
    work: _Work,
    here: _Here,
    unit: Unit,
    stated: StatedDesign | None,
    mine: Iterable[str],
) -> dict[str, str]:
    """Write a unit with its rows; returns the events of its photos."""
    noted = work.store.survey_rows(unit.unit_id) if stated is not None else ()
    rows = [one for one in noted if one.row.photo_id not in work.aside]
    if len(rows) < len(noted):
        work.rows.left_out["points on photos that are set aside"] += len(noted) - len(rows)
    read = read_points(rows)
    date = here.visit.date
    if stated is not None and stated.design.design == "photo_points":
        date = unit_date(here.visit.date, [here.times.get(key, "") for key in read or mine])
    photo_events = {}
    for photo_id in read:  # one photo may have been read for two units
        again = f"{unit.unit_id}\t" if photo_id in work.with_event else ""
        photo_events[photo_id] = work.ids.of("photo", again + photo_id)
    work.with_event.update(read)
    also: Also = {}
    unit_event = work.ids.of("unit", unit.unit_id)
    if stated is not None:
        work.designs.add(stated.design.design)
        also = work.rows.unit(stated, rows, unit_event, photo_events)
    event = work.events.unit(here.visit, unit, stated, rows, date, also.get(unit_event, ()))
    work.writers["Event"].named(event)
    for photo_id, n_read in sorted(read.items()):
        when = here.times.get(photo_id) or here.visit.date
        words = also.get(photo_events[photo_id], ())
        made = work.events.photo(event, photo_id, n_read, when, words)
        work.writers["Event"].named(made | {"eventID": photo_events[photo_id]})
    return photo_events


def _picture(work: _Work, visit: Visit, photo: Photo, event: str, time: str) -> None:
    """Write a photo's row, and a copy where copies are wanted."""
    preferred = photo.files[0]
    place = work.events.places.get(visit.site)
    is_sensitive = place is not None and place.grid_deg is not None
    address, source = content_address(photo.photo_id), ""
    media_type = MEDIA_TYPES.get(preferred.kind, "")
    if work.photos != "none":
        tells = is_sensitive and photo.photo_id in work.on_paper
        made = None if tells else work.tools.picture(photo, work.photos, is_sensitive)
        if made is None:
            work.rows.left_out["photos of which no copy may or can leave the project"] += 1
        else:
            ending, data = made
            source = f"media/{photo.photo_id[:32]}{ending}"
            media_type = "image/jpeg" if ending == ".jpg" else media_type
            work.box.add_file(source, [data])
            work.n_pictures += 1
    same = work.events.same
    work.writers["Multimedia"].named(
        {
            "eventID": event,
            "identifier": address,
            "type": "StillImage",
            "format": media_type,
            "title": preferred.original_name,
            "description": {
                "none": "",
                "corrected": "colour corrected by the card in the frame",
                "originals": "as the camera wrote it",
            }[work.photos]
            + (", without the place in its metadata" if source and is_sensitive else ""),
            "created": time,
            "creator": photo.observer or "",
            "source": source,
            "license": same["license"],
            "rightsHolder": same["rightsHolder"],
        }
    )


def _words(work: _Work) -> EmlWords:
    """Gather what eml.xml says."""
    from dryslate.app.archive_events import PROTOCOLS

    store, facts = work.store, work.store.project_facts()
    licence = facts.get("licence", "")
    lats, lons = [a for a, _ in work.boxes], [b for _, b in work.boxes]
    places = work.events.places.values()
    words = sorted({w for p in places for w in (p.water_body, p.country) if w})
    sensitive = _sensitive(work)
    notes = []
    if sensitive:
        sites = "1 sensitive site" if len(sensitive) == 1 else f"{len(sensitive)} sensitive sites"
        notes.append(f"Positions of {sites} are coarsened; exact positions are withheld.")
    return EmlWords(
        package_id=work.ids.of("archive", "darwin core"),
        title=work.gate.text("title", facts.get("title", "")) or "Coral reef survey",
        published=_last_change(store),
        language=facts.get("language", "") or "en",
        summary=work.gate.text("summary", facts.get("summary", "")),
        licence=licence,
        licence_url=LICENCES.get(licence, licence if licence.startswith("https://") else ""),
        methods=work.gate.text("methods", facts.get("methods", "")),
        parties=list(_parties(store, facts)),
        box=(min(lons), max(lons), max(lats), min(lats)) if work.boxes else None,
        where=", ".join(words),
        first=min(work.days, default=""),
        last=max(work.days, default=""),
        taxa=sorted(work.rows.names.exported()),
        sampling="; ".join(PROTOCOLS[one] for one in sorted(work.designs)),
        notes=notes,
        settings=dumps(work.gate.value("eml.xml", _settings(work, sensitive))),
    )


def _settings(work: _Work, sensitive: Sequence[str]) -> dict[str, Any]:
    """Gather what holds for the project as a whole, as plain values."""
    return settings_of(work.store, work.events.published, sensitive, work.ids)


def _last_change(store: SurveyStore) -> str:
    """Return the day of the newest change of the records: the archive is as of that day."""
    return store.last_changed_utc()[:10]


def _parties(store: SurveyStore, facts: Mapping[str, str]) -> Iterator[Party]:
    """Name who stands for the project; creator and contact are needed."""
    people = store.project_people()
    schema = {"creator", "contact", "metadataProvider"}
    for one in people:
        yield Party(
            element=one.role if one.role in schema else "associatedParty",
            name=one.person,
            organisation=one.organisation,
            email=one.email,
            role=one.role,
        )
    fallback = facts.get("rights_holder", "") or "not stated"
    for needed in ("creator", "contact"):
        if not any(one.role == needed for one in people):
            yield Party(element=needed, organisation=fallback)


def _sensitive(work: _Work) -> list[str]:
    return [p.site for p in work.events.places.values() if p.grid_deg is not None]


def _report(work: _Work) -> ArchiveReport:
    """Say what the archive holds and lacks."""
    found = [m for name, writer in work.writers.items() for m in missing(name, writer)]
    sensitive = _sensitive(work)
    left_out: Counter[str] = work.rows.left_out
    return ArchiveReport(
        n_rows={name: writer.n_rows for name, writer in work.writers.items()},
        n_absent=work.rows.n_absent,
        n_pictures=work.n_pictures,
        missing=tuple(found),
        names_without_id=tuple(sorted(work.rows.names.without_id)),
        categories_without_taxon=tuple(sorted(work.rows.names.no_taxon)),
        sensitive=tuple(sorted(sensitive)),
        left_out=dict(sorted(left_out.items())),
        problems=tuple(wanting_words(work.store)),
    )


def wanting_words(store: SurveyStore) -> Iterator[Problem]:
    """Yield what the project has not said and an archive should carry."""
    facts, people = store.project_facts(), {one.role for one in store.project_people()}
    for name, fix in (
        ("title", "--title"),
        ("licence", "--licence"),
        ("rights_holder", "--rights-holder"),
    ):
        if not facts.get(name):
            yield _told(
                "archive-fact-missing", name.replace("_", " "), f"`dryslate describe FOLDER {fix}`"
            )
    for role in ("creator", "contact"):
        if role not in people:
            yield _told(
                "archive-fact-missing", role, f"`dryslate describe FOLDER --person NAME {role}`"
            )
    placed = {p.site: p for p in store.site_places()}
    for site in store.sites():
        place = placed.get(site.site)
        if place is None or place.latitude_deg is None:
            yield _told(
                "archive-site-without-position",
                site.site,
                "`dryslate sites set`, or take it from a receiver: `dryslate sites gpx`.",
            )
        elif place.grid_deg is not None:
            yield sensitive_note(site.site)


def _told(slug: str, place: str, fix: str) -> Problem:
    return Problem(
        slug=slug, severity="warning", place=place, message="not stated in this project", fix=fix
    )


def require_photos(text: str) -> Photos:
    """
    Return which copies of photos are wanted.

    Raises
    ------
    InputError
        ``archive-photos``.
    """
    for known in get_args(Photos):
        if known == text:
            return cast("Photos", known)
    raise InputError(
        "archive-photos", f"{text!r}: no such copies.", "Give none, corrected or originals."
    )
