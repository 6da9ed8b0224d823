"""Tagged colonies put together from their records: the visits of each, and each visit summed up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any

from dryslate.app.colony_records import (
    STATES,
    Colony,
    ColonyFractions,
    ColonyFrame,
    Sighting,
)
from dryslate.app.coral_health import SHARES, whole_shares
from dryslate.app.standing_names import standing_names

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyVisit:
    """
    What is on record of a colony on one visit.

    Parameters
    ----------
    visit : Visit
    sighting : Sighting or None
        None: nothing was said of it.
    fractions : tuple of ColonyFractions
        One of each observer.
    frames : tuple of ColonyFrame
    """

    visit: Visit
    sighting: Sighting | None
    fractions: tuple[ColonyFractions, ...]
    frames: tuple[ColonyFrame, ...]

    def mean_shares(self) -> dict[str, float] | None:
        """Return the mean over observers whose shares make the whole; None where nobody's do."""
        found = (whole_shares(row.shares()) for row in self.fractions)
        whole = [shares for shares in found if shares is not None]
        if not whole:
            return None
        return {name: sum(s[name] for s in whole) / len(whole) for name in SHARES}

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "visit_id": self.visit.visit_id,
            "date": self.visit.date,
            "sighting": None if self.sighting is None else self.sighting.as_dict(),
            "fractions": [row.as_dict() for row in self.fractions],
            "mean_shares": self.mean_shares(),
            "frames": [frame.as_dict() for frame in self.frames],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyStory:
    """
    A colony with all its visits.

    Parameters
    ----------
    colony : Colony
    name : str
        What it is called by the names of the corals that it was noted as; empty: not known. Names
        that differ stand side by side.
    visits : tuple of ColonyVisit
        Every visit to its site from the one on which it was tagged, by date.
    """

    colony: Colony
    name: str
    visits: tuple[ColonyVisit, ...]

    @property
    def last(self) -> ColonyVisit | None:
        """Return the last visit on which something was said of it."""
        return next((v for v in reversed(self.visits) if v.sighting is not None), None)


def colony_stories(store: SurveyStore, site: str | None = None) -> tuple[ColonyStory, ...]:
    """
    Put every colony together with its visits.

    Parameters
    ----------
    store : SurveyStore
    site : str, optional

    Returns
    -------
    tuple of ColonyStory
        In the order tagged.
    """
    book = _Book(store)
    return tuple(book.story(colony) for colony in store.colonies(site))


def colony_story(store: SurveyStore, colony: Colony) -> ColonyStory:
    """Put one colony together with its visits."""
    return _Book(store).story(colony)


class _Book:
    """The rows about colonies, read once."""

    def __init__(self, store: SurveyStore) -> None:
        self.visits = store.visits()
        self.names = {n.record.record_id: n.name for n in standing_names(store)}
        self.photos = {p.photo_id: p.visit_id for p in store.photos()}
        self.sightings = {(s.organism_id, s.visit_id): s for s in store.colony_sightings()}
        self.fractions: dict[tuple[str, str], list[ColonyFractions]] = {}
        for row in store.colony_fractions():
            if not row.is_empty:
                self.fractions.setdefault((row.organism_id, row.visit_id), []).append(row)
        self.frames: dict[tuple[str, str], list[ColonyFrame]] = {}
        for frame in store.colony_frames():
            key = (frame.organism_id, self.photos[frame.photo_id])
            self.frames.setdefault(key, []).append(frame)

    def story(self, colony: Colony) -> ColonyStory:
        """Put one colony together."""
        first = next((v.date for v in self.visits if v.visit_id == colony.first_visit_id), "")
        visits = [v for v in self.visits if v.site == colony.site and v.date >= first]
        told = []
        names: list[str] = []
        for visit in visits:
            key = (colony.organism_id, visit.visit_id)
            sighting = self.sightings.get(key)
            name = "" if sighting is None else self.names.get(sighting.record_id or "", "")
            if name and name not in names:
                names.append(name)
            told.append(
                ColonyVisit(
                    visit=visit,
                    sighting=sighting,
                    fractions=tuple(self.fractions.get(key, ())),
                    frames=tuple(self.frames.get(key, ())),
                )
            )
        return ColonyStory(colony=colony, name=" / ".join(names), visits=tuple(told))


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitHealth:
    """
    The tagged colonies of a visit, those tagged for one kind of reason together.

    Parameters
    ----------
    visit : Visit
    group : str
        ``not_chosen`` (tagged at random or by place) or ``stressed``: the two are never mixed.
    states : Mapping
        How many colonies, by state; ``nothing_said`` for those without a word.
    n_judged : int
        Colonies whose shares, as somebody judged them, make the whole.
    medians, lowest, highest : Mapping
        Per cent by fraction over those colonies; empty where none was judged.
    """

    visit: Visit
    group: str
    states: Mapping[str, int]
    n_judged: int
    medians: Mapping[str, float]
    lowest: Mapping[str, float]
    highest: Mapping[str, float]

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "visit_id": self.visit.visit_id,
            "group": self.group,
            "states": dict(self.states),
            "n_judged": self.n_judged,
            "median_pct": dict(self.medians),
            "lowest_pct": dict(self.lowest),
            "highest_pct": dict(self.highest),
        }


def visit_health(stories: Sequence[ColonyStory]) -> tuple[VisitHealth, ...]:
    """
    Sum up the tagged colonies of each visit; of these colonies only, so without an interval.

    Parameters
    ----------
    stories : sequence of ColonyStory

    Returns
    -------
    tuple of VisitHealth
        By date; colonies tagged because they looked unwell stand apart.
    """
    groups: dict[tuple[str, str], list[ColonyVisit]] = {}
    for story in stories:
        group = "stressed" if story.colony.why_tagged == "stressed" else "not_chosen"
        for visit in story.visits:
            groups.setdefault((visit.visit.visit_id, group), []).append(visit)
    found = [_health_of(visits, group) for (_, group), visits in groups.items()]
    return tuple(sorted(found, key=lambda h: (h.visit.date, h.visit.visit_id, h.group)))


def _health_of(visits: Sequence[ColonyVisit], group: str) -> VisitHealth:
    """Sum up colonies of one visit."""
    said = Counter(v.sighting.state if v.sighting else "nothing_said" for v in visits)
    judged = [shares for v in visits if (shares := v.mean_shares()) is not None]
    columns = {name: [shares[name] for shares in judged] for name in SHARES} if judged else {}
    return VisitHealth(
        visit=visits[0].visit,
        group=group,
        states={state: said[state] for state in (*STATES, "nothing_said") if said[state]},
        n_judged=len(judged),
        medians={name: median(values) for name, values in columns.items()},
        lowest={name: min(values) for name, values in columns.items()},
        highest={name: max(values) for name, values in columns.items()},
    )
