"""The tagged colonies of the made-up trip: noted, outlined and measured, visit by visit."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dryslate import wiring
from dryslate.app.colonies import TagRequest, tag_colony
from dryslate.app.colony_colours import follow_colony
from dryslate.app.colony_due import state_onset
from dryslate.app.colony_outlines import (
    carry_outline,
    confirm_outline,
    draw_outline,
    reference_of,
)
from dryslate.app.colony_visits import Seen, frame_of, judge_colony, see_colony
from dryslate.app.visits import find_visit
from dryslate.base.errors import InputError
from dryslate.demo.tagged import ONSET, ONSET_REASON, TAGGED, Tagged
from dryslate.demo.trip_truth import POINTING_U_PX

if TYPE_CHECKING:
    from dryslate.app.colony_records import Colony, Points
    from dryslate.app.measure_project import Bench
    from dryslate.app.ports import SurveyStore
    from dryslate.app.records import Visit
    from dryslate.core.scale.alignment import Features

Doc = Mapping[str, Any]
Docs = Sequence[Doc]

EYE_FRAC = 0.03
"""A person who looks at a carried outline sees it lie wrong from this share of its size on."""
JUDGED_SD = 0.05
JUDGED_TO = 0.05
"""Fractions are judged by eye: an error of their own each, and to the nearest five per cent."""
N_POINTS = 36
"""About so many points an observer sets around a colony."""
STATES = ("normal", "pale", "bleached", "recently_dead", "old_dead")


@dataclass(frozen=True, slots=True)
class _Work:
    """What a station's colonies are followed with."""

    bench: Bench
    observer: str
    seed: int
    seen: dict[str, Features]
    ids: Mapping[str, str]

    @property
    def store(self) -> SurveyStore:
        """The project's store."""
        return self.bench.store

    def who(self, date: str) -> tuple[str, str]:
        """Who says so, and when."""
        return self.observer, f"{date}T19:00:00+00:00"


def station_of(tagged: Tagged) -> str:
    """Return the name of a tagged coral's station."""
    return f"{'LQ'[tagged.station // 3]}{tagged.station % 3 + 1}"


def coral_of(tagged: Tagged) -> str:
    """Return the name of a tagged coral in the truth of each photo."""
    return f"{station_of(tagged)}-{tagged.number + 1}"


def frames_of(tagged: Tagged, truth: Docs) -> dict[str, list[Doc]]:
    """Return by date the photos that were taken of a station's tagged colonies, this one or not."""
    found: dict[str, list[Doc]] = {}
    for doc in sorted(truth, key=lambda d: (d["date"], d["photo"])):
        if doc["station"] == station_of(tagged) and doc["shows"] != "station":
            found.setdefault(str(doc["date"]), []).append(doc)
    return found


def shown_in(tagged: Tagged, doc: Doc) -> Mapping[str, Any] | None:
    """Return the truth about a tagged coral in a photo; None where it is not whole in it."""
    name = coral_of(tagged)
    return next((c for c in doc["colonies"] if c["colony"] == name and c["whole_in_frame"]), None)


def follow_trip(project: Path, truth: Docs, seed: int) -> None:
    """
    Tag the colonies, note each on every visit, carry its outline, and measure its colour.

    Parameters
    ----------
    project : Path
        Its photos corrected.
    truth : sequence of Mapping
        Of each photo, as `dryslate.demo.trip_truth.truth_of` makes it.
    seed : int

    Notes
    -----
    What the observer draws is off by a pixel at each point, what is judged by eye by some per
    cent. A carried outline that an eye would see lie wrong is drawn anew, and so is one that could
    not be carried. Run again, nothing changes.
    """
    for station in dict.fromkeys(station_of(t) for t in TAGGED):
        docs = [d for d in truth if d["station"] == station]
        if not docs:
            continue
        observer = str(docs[0]["observer"])
        with wiring.survey_store(project, write=True, who=observer) as store:
            ids = {f.original_name: p.photo_id for p in store.photos() for f in p.files}
            work = _Work(wiring.measure_bench(project, store), observer, seed, {}, ids)
            for tagged in TAGGED:
                if station_of(tagged) == station:
                    _follow(work, tagged, docs)
            if any(d["date"] >= ONSET for d in docs):
                at = (str(docs[0]["site"]), None), (ONSET, ONSET_REASON)
                state_onset(store, *at, work.who(ONSET))


def _follow(work: _Work, tagged: Tagged, docs: Docs) -> None:
    """Follow one colony through all its visits."""
    by_date = frames_of(tagged, docs)
    rounds = [r for r in enumerate(by_date) if r[0] >= tagged.first_round]
    if not rounds:
        return
    site = str(docs[0]["site"])
    first = rounds[0][1]
    request = _request(tagged, (site, first), work.observer, float(by_date[first][0]["depth_m"]))
    identity = uuid.UUID(bytes=hashlib.sha256(f"{work.seed} {tagged.label}".encode()).digest()[:16])
    colony = tag_colony(work.store, request, work.who(first)[1], lambda: str(identity))
    for round_, date in rounds:
        visit = find_visit(work.store, site, date)
        _note(work, colony, (tagged, round_), (visit, by_date[date][0]))
        for doc in by_date[date]:
            coral = shown_in(tagged, doc)
            if coral is not None:
                _outline(work, colony, doc, coral)
    follow_colony(work.bench, colony, work.who(rounds[-1][1])[1])


def _request(tagged: Tagged, visit: tuple[str, str], observer: str, depth_m: float) -> TagRequest:
    """What is written down of a colony that is tagged."""
    return TagRequest(
        label=tagged.label,
        observer=observer,
        visit=visit,
        why=tagged.why,
        place=tagged.place,
        depth_m=depth_m,
        from_what=f"stake of {station_of(tagged)}",
        bearing_deg=tagged.bearing_deg,
        distance_m=tagged.distance_m,
        neighbours=tagged.neighbours,
    )


def _note(work: _Work, colony: Colony, what: tuple[Tagged, int], where: tuple[Visit, Doc]) -> None:
    """Note what became of a colony on a visit, and judge it once."""
    (tagged, round_), (visit, doc) = what, where
    store, who = work.store, work.who(visit.date)
    state = tagged.state_on(round_)
    noted = {r.colony: r.record_id for r in store.records() if r.visit_id == visit.visit_id}
    note = "loose rubble where it stood" if state == "not_found" else None
    record = noted.get(coral_of(tagged))
    see_colony(store, colony, visit, Seen(state=state, record=record, note=note), who)
    rows = store.colony_fractions(colony.organism_id)
    if state == "not_found" or any(r.visit_id == visit.visit_id for r in rows):
        return
    health = next(c["health"] for c in doc["colonies"] if c["colony"] == coral_of(tagged))
    rng = np.random.default_rng([work.seed, 74_000 + 10 * int(tagged.label) + round_])
    shares = {f"{k}_pct": v for k, v in judged(health, rng).items()}
    judge_colony(store, colony, visit, (shares, tagged.lesions[round_]), who)


def judged(health: Mapping[str, float], rng: np.random.Generator) -> dict[str, float]:
    """
    Judge fractions by eye, as per cent that make 100.

    Examples
    --------
    >>> found = judged({"normal": 0.6, "pale": 0.4}, np.random.default_rng(1))
    >>> sum(found.values()), found["bleached"]
    (100.0, 0.0)
    """
    true = np.array([health.get(name, 0.0) for name in STATES])
    seen = np.where(true > 0, np.maximum(true + rng.normal(0.0, JUDGED_SD, len(true)), 0.0), 0.0)
    steps = np.round(seen / seen.sum() / JUDGED_TO)
    steps[int(steps.argmax())] += round(1.0 / JUDGED_TO) - steps.sum()
    return {k: float(100.0 * JUDGED_TO * n) for k, n in zip(STATES, steps, strict=True)}


def _outline(work: _Work, colony: Colony, doc: Doc, coral: Mapping[str, Any]) -> None:
    """Draw a colony's outline in its first photo, carry it to the others, and look at it."""
    store, who = work.store, work.who(str(doc["date"]))
    photo_id = work.ids[str(doc["photo"])]
    known = frame_of(store, colony, photo_id)
    if known is not None and known.is_confirmed:
        return
    if reference_of(store, colony) is None:
        draw_outline(store, colony, photo_id, _drawn(work, doc, coral), who)
        return
    try:
        carried = carry_outline(work.bench, colony, photo_id, who, seen=work.seen)
        lies_right = is_near(carried.frame.outline_px, coral)
    except InputError as error:
        if not error.slug.startswith("align-"):
            raise
        lies_right = False
    if lies_right:
        confirm_outline(store, colony, photo_id, who)
    else:
        draw_outline(store, colony, photo_id, _drawn(work, doc, coral), who)


def points_around(coral: Mapping[str, Any]) -> NDArray[np.float64]:
    """Return the points that an observer sets around a coral, as far apart each from the next."""
    outline = np.asarray(coral["outline_px"], dtype=np.float64)
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.arange(N_POINTS) * along[-1] / N_POINTS
    return np.column_stack([np.interp(at, along, closed[:, k]) for k in (0, 1)])


def off_px(outline_px: Points, coral: Mapping[str, Any]) -> float:
    """Return how far the points of an outline lie from the true one: root mean square."""
    true = np.asarray(coral["outline_px"], dtype=np.float32)
    gaps = [cv2.pointPolygonTest(true, (float(x), float(y)), True) for x, y in outline_px]
    return float(np.sqrt(np.mean(np.square(gaps))))


def is_near(outline_px: Points, coral: Mapping[str, Any]) -> bool:
    """Whether a carried outline looks right to a person."""
    x, y = np.asarray(outline_px).T
    area = 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))
    return off_px(outline_px, coral) <= EYE_FRAC * float(np.sqrt(area))


def _drawn(work: _Work, doc: Doc, coral: Mapping[str, Any]) -> Points:
    """An outline as the observer draws it."""
    exact = points_around(coral)
    number = int(str(doc["photo"])[4:8])
    rng = np.random.default_rng([work.seed, 75_000 + number, sum(coral["colony"].encode())])
    drawn = exact + rng.normal(0.0, POINTING_U_PX, exact.shape)
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in drawn)
