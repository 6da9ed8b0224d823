"""Tagged colonies in an archive: that each was met, what became of it, its shares and lesions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dryslate.app.archive_measured import write_measured
from dryslate.app.archive_rows import RowMaker
from dryslate.app.archive_tables import flat
from dryslate.app.archived_frames import frames_to_archive
from dryslate.app.colony_records import MET

if TYPE_CHECKING:
    from dryslate.app.archive_names import ArchiveName
    from dryslate.app.archived_records import ArchivedFrame
    from dryslate.app.colony_records import Colony, ColonyFractions, Sighting
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit

WHY_WORDS: Mapping[str, str] = {
    "random": "drawn by chance",
    "place": "by its place",
    "stressed": "because it looked unwell",
}
STATE_WORDS: Mapping[str, str] = {
    "seen": "found",
    "tag_lost": "found by its place, without its tag",
    "dead": "found, dead",
    "not_found": "looked for and not found; that is not dead",
    "not_looked_for": "not looked for",
}


@dataclass(frozen=True, kw_only=True)
class TaggedColonies:
    """
    The tagged colonies of a project, put in order once.

    Parameters
    ----------
    colonies : Mapping
        By identity.
    tags : Mapping
        Site to what its tags say, to identity.
    sightings : Mapping
        By visit.
    fractions, frames : Mapping
        By identity and visit.
    """

    colonies: Mapping[str, Colony]
    tags: Mapping[str, Mapping[str, str]]
    sightings: Mapping[str, Sequence[Sighting]]
    fractions: Mapping[tuple[str, str], Sequence[ColonyFractions]]
    frames: Mapping[tuple[str, str], Sequence[ArchivedFrame]]
    named: dict[str, ArchiveName] = field(default_factory=dict)


def tagged_colonies(store: SurveyStore) -> TaggedColonies:
    """Gather the tagged colonies of a project."""
    tags: dict[str, dict[str, str]] = defaultdict(dict)
    for colony in store.colonies():
        tags[colony.site][colony.label] = colony.organism_id
    sightings: dict[str, list[Sighting]] = defaultdict(list)
    for one in store.colony_sightings():
        sightings[one.visit_id].append(one)
    fractions: dict[tuple[str, str], list[ColonyFractions]] = defaultdict(list)
    for judged in store.colony_fractions():
        if not judged.is_empty:
            fractions[judged.organism_id, judged.visit_id].append(judged)
    elsewhere = {one.photo_id: one.visit_id for one in store.archived_photos()}
    frames: dict[tuple[str, str], list[ArchivedFrame]] = defaultdict(list)
    for frame in frames_to_archive(store):
        photo = store.photo(frame.photo_id)
        visit_id = elsewhere[frame.photo_id] if photo is None else photo.visit_id
        frames[frame.organism_id, visit_id].append(frame)
    return TaggedColonies(
        colonies={one.organism_id: one for one in store.colonies()},
        tags=tags,
        sightings=sightings,
        fractions=fractions,
        frames=frames,
    )


def write_tagged(maker: RowMaker, tagged: TaggedColonies, visit: Visit, event: str) -> None:
    """
    Write what became of tagged colonies on a visit.

    Parameters
    ----------
    maker : RowMaker
        Knows which of them were written already, in a unit or as a coral of a photo.
    tagged : TaggedColonies
    visit : Visit
    event : str
        Of the visit.

    Notes
    -----
    One that was met and is no other row is an occurrence of the visit. One that was not found is
    never an absence, for lost is not dead: it is a measurement of the visit.
    """
    for sighting in tagged.sightings.get(visit.visit_id, ()):
        organism = sighting.organism_id
        colony = tagged.colonies[organism]
        shares = tagged.fractions.get((organism, visit.visit_id), ())
        if sighting.state in MET and organism not in maker.met:
            maker.met[organism] = event, _occurrence(maker, colony, sighting, event, shares)
        at, occurrence = maker.met.get(organism, (event, ""))
        remarks = "" if occurrence else flat(f"tagged colony {colony.label}")
        for what, value in (
            ("what became of the tagged colony", STATE_WORDS[sighting.state]),
            ("why the colony was tagged", WHY_WORDS[colony.why_tagged]),
        ):
            maker.measure(
                (at, occurrence),
                (what, value, ""),
                key=("tagged", organism, visit.visit_id, what),
                who=sighting.observer,
                when=sighting.noted_at,
                remarks=remarks,
            )
        for one in shares:
            maker.shares(
                (at, occurrence), one.shares(), one.lesion, ("tagged", organism, visit.visit_id),
                (one.observer, one.noted_at), remarks,
            )  # fmt: skip
        measured = tagged.frames.get((organism, visit.visit_id), ())
        write_measured(maker, (at, occurrence), measured, visit.visit_id)


def _occurrence(
    maker: RowMaker,
    colony: Colony,
    sighting: Sighting,
    event: str,
    shares: Iterable[ColonyFractions],
) -> str:
    """Write that a colony was met; its name is that of its corals on other visits, if any."""
    found = maker.named.get(colony.organism_id) or maker.names.of(("", "coral", "coral", (), ""))
    assert found is not None  # a coral is some living thing
    occurrence = maker.ids.of("sighting", f"{colony.organism_id}\t{sighting.visit_id}")
    alive = (
        any(one.normal_pct or one.pale_pct or one.bleached_pct for one in shares)
        and sighting.state != "dead"
    )
    maker.occurrences.named(
        {
            "eventID": event,
            "occurrenceID": occurrence,
            "basisOfRecord": "HumanObservation",
            "occurrenceStatus": "present",
            "scientificName": found.name,
            "scientificNameID": found.name_id,
            "taxonRank": found.rank,
            "kingdom": found.kingdom,
            "genus": found.genus,
            "verbatimIdentification": found.verbatim,
            "identificationQualifier": found.qualifier,
            "individualCount": "1",
            "organismID": maker.ids.of("organism", colony.organism_id),
            "recordedBy": sighting.observer,
            "recordNumber": colony.label,
            "vitality": "dead" if sighting.state == "dead" else "alive" if alive else "",
            "occurrenceRemarks": sighting.note,
            "dynamicProperties": '{"tagged":true}',
        }
    )  # fmt: skip
    return occurrence
