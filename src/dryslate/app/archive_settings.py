"""
What an archive says of the project as a whole, as JSON in eml.xml (additionalMetadata).

The schema of EML leaves that element to whoever writes the file. Records stand in the tables; here
stand only what no table of an archive holds: lists of categories, zones and their weights, tagged
colonies, draws for second looks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields, replace
from typing import TYPE_CHECKING, Any

from dryslate.app.archived_frames import frames_to_archive, require_measured
from dryslate.app.archived_records import ArchivedFrame, ArchivedSketch
from dryslate.app.checked_rows import checked_row
from dryslate.app.colony_due import onset_at
from dryslate.app.colony_records import Colony, ColonyFractions, Neighbour, Sighting, StressOnset
from dryslate.app.identification_rows import ReviewDrawRow
from dryslate.app.project_records import Zone
from dryslate.app.publication_records import NameId, ProjectPerson
from dryslate.app.survey_records import Category, CategoryMapping
from dryslate.app.zone_records import ZoneWeight

if TYPE_CHECKING:
    from dryslate.app.archive_ids import Identifiers
    from dryslate.app.ports import SurveyStore
    from dryslate.app.published_sites import PublishedSite

VERSION = 2
KINDS: Mapping[str, type] = {
    "zones": Zone,
    "zone_weights": ZoneWeight,
    "categories": Category,
    "category_mappings": CategoryMapping,
    "people": ProjectPerson,
    "name_ids": NameId,
    "colonies": Colony,
    "sightings": Sighting,
    "fractions": ColonyFractions,
    "onsets": StressOnset,
    "frames": ArchivedFrame,
    "draws": ReviewDrawRow,
    "sketches": ArchivedSketch,
}
"""Word to the kind of its rows, in an order in which each can be stored after the one before."""


def settings_of(
    store: SurveyStore,
    published: Mapping[str, PublishedSite],
    sensitive: Iterable[str],
    ids: Identifiers,
) -> dict[str, Any]:
    """
    Gather what holds for the project as a whole.

    Parameters
    ----------
    store : SurveyStore
    published : Mapping
        What each site is called in the archive.
    sensitive : iterable of str
        Sites of which no words leave the project.
    ids : Identifiers

    Returns
    -------
    dict
        Plain values. Visits are told by site and date, as published. How a tagged colony is found
        again, and notes of zones, are left out at sensitive sites.
    """
    hidden = set(sensitive)
    names = {site: one.name for site, one in published.items()}
    has_withheld = any(one.is_withheld for one in published.values())
    dates = {one.visit_id: (one.site, one.date) for one in store.visits()}

    def visit(visit_id: str) -> str:
        site, date = dates[visit_id]
        return f"{names[site]} {date}"

    def named(one: Any) -> Any:
        return replace(one, site=names[one.site])

    def anew(one: Any) -> Any:
        return ids.anew(one) if has_withheld else one

    tagged = {one.organism_id: one for one in store.colonies()}
    colonies = [
        replace(
            named(found_again_by_nobody(one) if one.site in hidden else one),
            first_visit_id=visit(one.first_visit_id),
            sketch_sha256=None,
        )
        for one in tagged.values()
    ]
    rows: dict[str, Iterable[Any]] = {
        "zones": [
            named(replace(one, note="") if one.site in hidden else one) for one in store.zones()
        ],
        "zone_weights": [named(one) for one in store.zone_weights()],
        "categories": store.categories(),
        "category_mappings": store.category_mappings(),
        "people": store.project_people(),
        "name_ids": store.name_ids(),
        "colonies": colonies,
        "sightings": [
            anew(replace(one, visit_id=visit(one.visit_id))) for one in store.colony_sightings()
        ],
        "fractions": [
            replace(one, visit_id=visit(one.visit_id)) for one in store.colony_fractions()
        ],
        "onsets": [
            named(published_onset(one, published[one.site], tagged))
            for one in store.stress_onsets()
        ],
        "frames": frames_to_archive(store),
        "draws": [anew(one) for one in store.review_draws()],
        "sketches": [s for s in sketches_of(store) if tagged[s.organism_id].site not in hidden],
    }
    return {
        "archive": VERSION,
        "region": store.region(),
        "facts": dict(store.project_facts()),
        "sites": [names[one.site] for one in store.sites()],
        **{word: [_plain(one) for one in found] for word, found in rows.items()},
    }


def sketches_of(store: SurveyStore) -> list[ArchivedSketch]:
    """Return which file shows the sketch of each colony's place, here or elsewhere."""
    here = [
        ArchivedSketch(organism_id=one.organism_id, sha256=one.sketch_sha256)
        for one in store.colonies()
        if one.sketch_sha256 is not None
    ]
    known = {one.organism_id for one in here}
    return here + [one for one in store.archived_sketches() if one.organism_id not in known]


def found_again_by_nobody(colony: Colony) -> Colony:
    """Leave out how a colony is found."""
    return replace(
        colony, place="", from_what="", bearing_deg=None, distance_m=None, neighbours=(), note=""
    )


def published_onset(
    onset: StressOnset, site: PublishedSite, colonies: Mapping[str, Colony]
) -> StressOnset:
    """Return an onset whose id, a hash of site and date, is made of what the site is called."""
    if not site.is_withheld:
        return onset
    colony = colonies.get(onset.organism_id or "")
    return replace(onset, onset_id=onset_at(site.name, colony, onset.onset_date))


def _plain(row: Any) -> dict[str, Any]:
    """Return what a row says; what it does not say is left out."""
    return {k: v for k, v in asdict(row).items() if v not in (None, "", (), {})}


def rows_of(settings: Mapping[str, Any], word: str) -> list[Any]:
    """
    Read the rows of one word.

    Raises
    ------
    ValueError, TypeError, KeyError
        Where one of them is no row of its kind.
    """
    kind = KINDS[word]
    known = {field.name for field in fields(kind)}
    found = []
    for said in settings.get(word, ()):
        values = {key: value for key, value in dict(said).items() if key in known}
        if "neighbours" in values:
            near = values["neighbours"]
            values["neighbours"] = tuple(checked_row(Neighbour, one) for one in near)
        row = checked_row(kind, values)
        found.append(require_measured(row) if kind is ArchivedFrame else row)
    return found
