"""A colony's life as a picture needs it: fractions, change of colour, and heat stress by date."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.colony_book import colony_story
from dryslate.app.colony_colours import colour_series

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony
    from dryslate.app.ports import SurveyStore
    from dryslate.core.health.colony_colour import ColourChange
    from dryslate.core.health.heat import HeatSeries


@dataclass(frozen=True, slots=True, kw_only=True)
class TimelineVisit:
    """
    One visit of a timeline.

    Parameters
    ----------
    date : str
    state : str
        Empty: nothing was said.
    shares : Mapping or None
        Mean over observers, per cent by fraction; None: not judged.
    changes : tuple of ColourChange
        Against the first visit with a colour.
    is_first_colour : bool
        The visit that the others are held against.
    """

    date: str
    state: str
    shares: Mapping[str, float] | None
    changes: tuple[ColourChange, ...]
    is_first_colour: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """
    A colony from visit to visit.

    Parameters
    ----------
    title : str
    visits : tuple of TimelineVisit
    heat : tuple of HeatSeries
        One a logger of the site.
    say : callable
        Puts the picture's words into a language.
    """

    title: str
    visits: tuple[TimelineVisit, ...]
    heat: tuple[HeatSeries, ...] = ()
    say: Callable[[str], str] = str


def colony_timeline(
    store: SurveyStore,
    colony: Colony,
    heat: Sequence[HeatSeries] = (),
    say: Callable[[str], str] = str,
) -> Timeline:
    """
    Put a colony's timeline together.

    Parameters
    ----------
    store : SurveyStore
    colony : Colony
    heat : sequence of HeatSeries
        Of the loggers at its site.
    say : callable
        Puts the picture's words into a language.

    Returns
    -------
    Timeline
        Visits of which nothing is on record are left out.
    """
    story, series = colony_story(store, colony), colour_series(store, colony)
    visits = tuple(
        TimelineVisit(
            date=visit.visit.date,
            state="" if visit.sighting is None else visit.sighting.state,
            shares=visit.mean_shares(),
            changes=series.changes.get(visit.visit.visit_id, ()),
            is_first_colour=visit.visit.visit_id == series.first_visit_id,
        )
        for visit in story.visits
        if visit.sighting is not None
    )
    return Timeline(
        title=f"{colony.label}, {colony.site}", visits=visits, heat=tuple(heat), say=say
    )
