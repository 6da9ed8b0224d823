"""When tagged colonies are to be looked at after stress set in: what is due, late or missed."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, Literal

from dryslate.app.colony_records import Colony, StressOnset
from dryslate.app.visits import require_date, require_observer
from dryslate.base.errors import InputError
from dryslate.base.provenance import key_of

if TYPE_CHECKING:
    from dryslate.app.colony_records import Sighting
    from dryslate.app.ports import SurveyStore

Step = Literal["weeks_2_4", "months_2", "months_6", "months_12", "months_24"]
DueState = Literal["done", "late", "open", "due", "overdue", "missed", "not_asked"]
TO_DO: tuple[DueState, ...] = ("overdue", "due")
"""States of looks that somebody is to go for now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """When a step is due after the onset, and how far from that a visit still counts."""

    months: int = 0
    days: int = 0
    before_days: int = 0
    after_days: int = 0


STEPS: dict[Step, _Rule] = {
    "weeks_2_4": _Rule(days=28, before_days=14),
    "months_2": _Rule(months=2, before_days=14, after_days=14),
    "months_6": _Rule(months=6, before_days=30, after_days=30),
    "months_12": _Rule(months=12, before_days=30, after_days=30),
    "months_24": _Rule(months=24, before_days=60, after_days=60),
}
"""
After Oliver et al. 2004 (2, 6, 12 and 24 months), and within two to four weeks during the event
(common practice). How far from the date a visit still counts is our own choice.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class DueDate:
    """
    One look at a colony that the time since the onset asks for.

    Parameters
    ----------
    organism_id, label, site : str
    onset_date : str
    step : str
        One of `STEPS`.
    from_date, due_date, to_date : str
        A visit from the first to the last counts.
    until_date : str
        Up to and with this day a look is late and still worth going for; then it is missed.
    state : str
        ``done``; ``late``: looked at after its time and by `until_date`; ``open``: its time has not
        come; ``due``: it is now; ``overdue``: its time is over and nobody looked, a late look is
        still to be had; ``missed``: that is over too; ``not_asked``: its time was over before the
        colony was tagged, or the colony had died.
    visit_id : str or None
        On which it was done, in time or late.
    """

    organism_id: str
    label: str
    site: str
    onset_date: str
    step: Step
    from_date: str
    due_date: str
    to_date: str
    until_date: str
    state: DueState
    visit_id: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


def onset_at(site: str, colony: Colony | None, date: str) -> str:
    """Return the id of the onset of a site, or of one colony, on a date."""
    organism_id = None if colony is None else colony.organism_id
    return key_of({"site": site, "organism": organism_id, "date": date.strip()})[:32]


def state_onset(
    store: SurveyStore,
    where: tuple[str, Colony | None],
    said: tuple[str, str],
    who: tuple[str, str],
) -> StressOnset:
    """
    Say when stress set in at a site, or for one colony; the same again changes nothing.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    where : (str, Colony or None)
        The site, and one colony where it holds for that only.
    said : (str, str)
        The date, and the reason for it.
    who : (str, str)
        Observer and time.

    Returns
    -------
    StressOnset

    Raises
    ------
    InputError
        ``visit-date``, ``onset-reason-missing``, ``onset-site-unknown``.
    """
    site, colony = where
    if site not in {s.site for s in store.sites()}:
        raise InputError(
            "onset-site-unknown",
            f"The project has no site {site!r}.",
            "Give the site as it was given to `dryslate take`.",
        )
    date, reason = require_date(said[0]), " ".join(said[1].split())
    if not reason:
        raise InputError(
            "onset-reason-missing",
            "It is not said why stress is taken to have set in on that date.",
            "Say where the date comes from: first white colonies seen, or a logger.",
        )
    organism_id = None if colony is None else colony.organism_id
    onset = StressOnset(
        onset_id=onset_at(site, colony, date),
        site=site,
        organism_id=organism_id,
        onset_date=date,
        reason=reason,
        observer=require_observer(store, who[0]),
        stated_at=who[1],
    )
    known = {o.onset_id: o for o in store.stress_onsets()}.get(onset.onset_id)
    if known is not None and known.reason == reason:
        return known
    store.save_stress_onset(onset)
    return onset


def take_onset_back(store: SurveyStore, onset_id: str, who: tuple[str, str]) -> StressOnset:
    """
    Take an onset back; it stays on record as taken back.

    Raises
    ------
    InputError
        ``onset-unknown``.
    """
    from dataclasses import replace

    found = next((o for o in store.stress_onsets() if o.onset_id == onset_id), None)
    if found is None:
        raise InputError(
            "onset-unknown",
            "That onset of stress is not on record, or was taken back.",
            "Look at the list of onsets again.",
        )
    observer = require_observer(store, who[0])
    wanted = replace(found, is_taken_back=True, observer=observer, stated_at=who[1])
    store.save_stress_onset(wanted)
    return wanted


def due_dates(store: SurveyStore, today: str) -> tuple[DueDate, ...]:
    """
    Return every look that the onsets ask for, colony by colony.

    Parameters
    ----------
    store : SurveyStore
    today : str
        Year-month-day.

    Returns
    -------
    tuple of DueDate
        By date. A colony is followed from the latest onset of its site or its own; a later onset
        starts the count anew, and what was asked before it and not yet over falls away.

    Notes
    -----
    Done is a visit within the time on which somebody looked: seen, dead, tag lost, or not found.
    After its time a look is overdue until the time of the next one begins, or a later onset: from
    then on a visit counts for that one, and what nobody looked at is missed. The last is overdue
    for as many days more as its own time was long. A visit in between counts as late.
    """
    day = datetime.date.fromisoformat(require_date(today))
    dates = {v.visit_id: datetime.date.fromisoformat(v.date) for v in store.visits()}
    sightings: dict[str, list[Sighting]] = {}
    for seen in store.colony_sightings():
        sightings.setdefault(seen.organism_id, []).append(seen)
    found, stated = [], store.stress_onsets()
    for colony in store.colonies():
        onsets = sorted(
            {
                datetime.date.fromisoformat(o.onset_date)
                for o in stated
                if o.site == colony.site and o.organism_id in (None, colony.organism_id)
            }
        )
        mine = sightings.get(colony.organism_id, [])
        looked = [(dates[s.visit_id], s) for s in mine if s.state != "not_looked_for"]
        for onset, later in zip_longest(onsets, onsets[1:]):
            found += _of_onset(colony, (onset, later), looked, day)
    return tuple(sorted(found, key=lambda d: (d.due_date, d.site, d.label)))


def due_together(due: Iterable[DueDate]) -> tuple[tuple[DueDate, ...], ...]:
    """
    Put together the looks that one visit to a site would do.

    Parameters
    ----------
    due : iterable of DueDate

    Returns
    -------
    tuple of tuple of DueDate
        Those of one site, onset, step and state, by date and site; in each by label.
    """
    groups: dict[tuple[str, ...], list[DueDate]] = {}
    for one in sorted(due, key=lambda d: (d.due_date, d.site, d.label)):
        key = (one.due_date, one.site, one.onset_date, one.step, one.state)
        groups.setdefault(key, []).append(one)
    return tuple(tuple(group) for group in groups.values())


def _of_onset(
    colony: Colony,
    onsets: tuple[datetime.date, datetime.date | None],
    looked: Sequence[tuple[datetime.date, Sighting]],
    today: datetime.date,
) -> list[DueDate]:
    """List the looks that one onset asks for."""
    onset, later = onsets
    first = min((date for date, _ in looked), default=onset)
    died = min((date for date, s in looked if s.state == "dead"), default=None)
    found = []
    for step, (start, due, end, until) in _windows(onset).items():
        if later is not None and end >= later:
            continue
        last = until if later is None else min(until, later - datetime.timedelta(days=1))
        visit_id = next((s.visit_id for date, s in looked if start <= date <= end), None)
        after = next((s.visit_id for date, s in looked if end < date <= last), None)
        state: DueState = "open" if today < start else "due" if today <= end else "overdue"
        if visit_id is not None:
            state = "done"
        elif end < first or (died is not None and died < end):
            state = "not_asked"
        elif after is not None:
            state, visit_id = "late", after
        elif today > last:
            state = "missed"
        found.append(
            DueDate(
                organism_id=colony.organism_id,
                label=colony.label,
                site=colony.site,
                onset_date=onset.isoformat(),
                step=step,
                from_date=start.isoformat(),
                due_date=due.isoformat(),
                to_date=end.isoformat(),
                until_date=last.isoformat(),
                state=state,
                visit_id=visit_id,
            )
        )
    return found


def _windows(onset: datetime.date) -> dict[Step, tuple[datetime.date, ...]]:
    """Return by step the first day, the day, the last day, and the last day of a late look."""
    days = datetime.timedelta
    found = {}
    for step, rule in STEPS.items():
        due = _months_after(onset, rule.months) + days(days=rule.days)
        found[step] = due - days(days=rule.before_days), due, due + days(days=rule.after_days)
    starts = [start for start, _, _ in found.values()]
    start, _, end = list(found.values())[-1]
    untils = [*(nxt - days(days=1) for nxt in starts[1:]), end + (end - start)]
    return {
        step: (*dates, until) for (step, dates), until in zip(found.items(), untils, strict=True)
    }


def _months_after(date: datetime.date, months: int) -> datetime.date:
    """Add months; the last day of a shorter month stands for a day that it has not."""
    month = date.month - 1 + months
    year, month = date.year + month // 12, month % 12 + 1
    return date.replace(
        year=year, month=month, day=min(date.day, calendar.monthrange(year, month)[1])
    )
