"""What came of following the tagged colonies, held against the truth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

from dryslate import wiring
from dryslate.app.colonies import find_colony
from dryslate.app.colony_colours import colour_series
from dryslate.app.colony_due import due_dates
from dryslate.app.colony_words import STEP_WORDS
from dryslate.app.coral_health import SHARES
from dryslate.demo.following import coral_of, frames_of, off_px, shown_in
from dryslate.demo.tagged import TAGGED, Tagged

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony
    from dryslate.app.ports import SurveyStore

Docs = Sequence[Mapping[str, Any]]

SAME = 0.5
"""True differences under this, in L*, chroma or degrees, are taken as none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourHeld:
    """
    One change of colour of a colony against its own first visit.

    Parameters
    ----------
    label, site, date, figure : str
    difference, lo95, hi95, true : float
    verdict : str
    """

    label: str
    site: str
    date: str
    figure: str
    difference: float
    lo95: float
    hi95: float
    true: float
    verdict: str

    @property
    def is_held(self) -> bool:
        """Whether the truth lies in the interval."""
        return self.lo95 <= self.true <= self.hi95

    @property
    def is_wrong(self) -> bool:
        """Whether a change is said where there is none, or the other way."""
        is_none = abs(self.true) < SAME
        return self.verdict == "changed" and (is_none or self.true * self.difference < 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """
    What came of following the colonies.

    Parameters
    ----------
    n_colonies, n_stressed : int
        All, and those tagged because they looked stressed.
    states : Mapping of str to int
        How often what was noted.
    n_photos : int
        With an outline of a colony, counted once for each colony.
    carried_px : tuple of (float, float)
        Of each outline that was carried and stayed: how far off, and the stated misfit.
    n_by_hand : int
        Outlines that could not be carried, or lay wrong, and were drawn.
    colours : tuple of ColourHeld
        Every change of L*, chroma and hue that states an interval.
    judged_off_pct : tuple of float
        How far each fraction that is there was judged off, in per cent of the colony.
    n_due : Mapping of str to int
        Looks by their state on the day after the last visit.
    next_look : str
        What is to be looked at next, in words; empty where nothing is.
    """

    n_colonies: int
    n_stressed: int
    states: Mapping[str, int]
    n_photos: int
    carried_px: tuple[tuple[float, float], ...]
    n_by_hand: int
    colours: tuple[ColourHeld, ...]
    judged_off_pct: tuple[float, ...]
    n_due: Mapping[str, int]
    next_look: str

    def rows(self) -> list[tuple[str, str]]:
        """Return it as rows of a table."""
        if not self.n_colonies:
            return []
        rows = [
            (
                "colonies",
                f"{self.n_colonies}, {self.n_stressed} of them tagged because they were stressed; "
                + ", ".join(f"{n} times {words}" for words, n in self.states.items()),
            ),
            ("outlines", self._outlines()),
        ]
        if self.colours:
            changed = [c for c in self.colours if c.verdict == "changed"]
            rows.append(
                (
                    "colour against the first visit",
                    f"truth within the 95 % interval in {sum(c.is_held for c in self.colours)} of "
                    f"{len(self.colours)} (L*, chroma, hue); changed said in {len(changed)}, "
                    f"wrongly in {sum(c.is_wrong for c in changed)}",
                )
            )
        if self.judged_off_pct:
            rows.append(
                (
                    "fractions judged by eye",
                    f"{len(self.judged_off_pct)}, off by {median(self.judged_off_pct):.0f} % of "
                    f"the colony in the median, {max(self.judged_off_pct):.0f} at most "
                    "(no interval is stated)",
                )
            )
        if self.n_due:
            looks = ", ".join(f"{n} {state.replace('_', ' ')}" for state, n in self.n_due.items())
            rows.append(("looks since the onset", looks + self.next_look))
        return rows

    def _outlines(self) -> str:
        """Say how outlines came to their photos."""
        said = f"in {self.n_photos} photos; {len(self.carried_px)} carried"
        if self.carried_px:
            off, misfit = (median(values) for values in zip(*self.carried_px, strict=True))
            said += f", off by {off:.1f} px in the median where {misfit:.1f} px is stated"
        return f"{said}; {self.n_by_hand} drawn anew by hand"


def held_to_truth(project: Path, truth: Docs) -> Followed:
    """
    Hold what was noted and measured of the tagged colonies to the truth.

    Parameters
    ----------
    project : Path
    truth : sequence of Mapping
        Of each photo.

    Returns
    -------
    Followed
        Counted from what is on record, all of it. The distance from white is in the picture as the
        camera rendered it, so there is no truth to hold it to.
    """
    states: dict[str, int] = {}
    carried: list[tuple[float, float]] = []
    colours: list[ColourHeld] = []
    off: list[float] = []
    n_by_hand = n_photos = n_stressed = 0
    with wiring.survey_store(project, write=False) as store:
        known = store.colonies()
        for tagged in TAGGED:
            if tagged.label not in {c.label for c in known}:
                continue
            colony = find_colony(store, tagged.label)
            n_stressed += colony.why_tagged == "stressed"
            for seen in store.colony_sightings(colony.organism_id):
                words = seen.state.replace("_", " ")
                states[words] = states.get(words, 0) + 1
            more, n_drawn, n_frames = _outlines(store, colony, tagged, truth)
            carried += more
            n_by_hand += n_drawn
            n_photos += n_frames
            colours += _colours(store, colony, tagged, truth)
            off += _judged(store, colony, tagged, truth)
        n_due, next_look = _due(store, truth) if known else ({}, "")
    return Followed(
        n_colonies=len(known),
        n_stressed=n_stressed,
        states=states,
        n_photos=n_photos,
        carried_px=tuple(carried),
        n_by_hand=n_by_hand,
        colours=tuple(colours),
        judged_off_pct=tuple(off),
        n_due=n_due,
        next_look=next_look,
    )


def _outlines(
    store: SurveyStore, colony: Colony, tagged: Tagged, truth: Docs
) -> tuple[list[tuple[float, float]], int, int]:
    """How far carried outlines lie off with the stated misfit; drawn anew; photos."""
    docs = {str(d["photo"]): d for docs in frames_of(tagged, truth).values() for d in docs}
    names = {p.photo_id: f.original_name for p in store.photos() for f in p.files}
    carried, n_by_hand = [], 0
    frames = store.colony_frames(colony.organism_id)
    for frame in frames:
        coral = shown_in(tagged, docs[names[frame.photo_id]])
        assert coral is not None  # else it had not been outlined there
        if frame.misfit_px is not None:
            carried.append((off_px(frame.outline_px, coral), frame.misfit_px))
        else:
            n_by_hand += not frame.is_reference
    return carried, n_by_hand, len(frames)


def true_colours(tagged: Tagged, truth: Docs) -> dict[str, dict[str, float]]:
    """Return a coral's true L*, chroma and hue by date."""
    found = {}
    for doc in truth:
        for coral in doc["colonies"]:
            if coral["colony"] == coral_of(tagged):
                lightness, a, b = coral["lab_d65"]
                found[str(doc["date"])] = {
                    "lightness": lightness,
                    "chroma": math.hypot(a, b),
                    "hue_deg": math.degrees(math.atan2(b, a)),
                }
    return found


def _colours(store: SurveyStore, colony: Colony, tagged: Tagged, truth: Docs) -> list[ColourHeld]:
    """Every change of colour that states an interval and has a truth."""
    true = true_colours(tagged, truth)
    dates = {v.visit_id: v.date for v in store.visits()}
    series = colour_series(store, colony)
    found = []
    for visit_id, changes in series.changes.items():
        assert series.first_visit_id is not None  # a change is against something
        now, first = true[dates[visit_id]], true[dates[series.first_visit_id]]
        for change in changes:
            if change.figure not in now or change.lo95 is None or change.hi95 is None:
                continue
            gap = now[change.figure] - first[change.figure]
            if change.figure == "hue_deg":
                gap = (gap + 180.0) % 360.0 - 180.0
            found.append(
                ColourHeld(
                    label=colony.label,
                    site=colony.site,
                    date=dates[visit_id],
                    figure=change.figure,
                    difference=change.difference,
                    lo95=change.lo95,
                    hi95=change.hi95,
                    true=gap,
                    verdict=change.verdict,
                )
            )
    return found


def _judged(store: SurveyStore, colony: Colony, tagged: Tagged, truth: Docs) -> list[float]:
    """How far off each fraction that is there was judged."""
    health = {
        str(doc["date"]): coral["health"]
        for doc in truth
        for coral in doc["colonies"]
        if coral["colony"] == coral_of(tagged)
    }
    dates = {v.visit_id: v.date for v in store.visits()}
    found = []
    for row in store.colony_fractions(colony.organism_id):
        true = health[dates[row.visit_id]]
        for name in SHARES:
            share, told = true[name.removesuffix("_pct")], row.shares()[name]
            if share > 0 and told is not None:
                found.append(abs(told - 100.0 * share))
    return found


def _due(store: SurveyStore, truth: Docs) -> tuple[dict[str, int], str]:
    """Looks that the onset asks for, by their state when the trip is over; and the next."""
    last = max(str(doc["date"]) for doc in truth)
    found = due_dates(store, last)
    n_due: dict[str, int] = {}
    for one in found:
        n_due[one.state] = n_due.get(one.state, 0) + 1
    later = next((d for d in found if d.state == "open"), None)
    if later is None:
        return n_due, ""
    said = f"; next after {STEP_WORDS[later.step]}, {later.from_date} to {later.to_date}"
    return n_due, said
