"""The draw: which first names a second observer looks at again."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from dryslate.app.identification_rows import IdentificationRow, ReviewChanceRow, ReviewDrawRow
from dryslate.app.ports import SurveyStore
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.provenance import key_of
from dryslate.core.identify.review import Candidate, DrawSettings, find_review


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawReport:
    """
    What a draw brought.

    Parameters
    ----------
    n_candidates : int
        Identifications that had not taken part in a draw before.
    chances : tuple of ReviewChanceRow
    n_waiting : int
        Records that now wait for a second observer, those of earlier draws included.
    """

    n_candidates: int
    chances: tuple[ReviewChanceRow, ...]
    n_waiting: int

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON: counts, and no names."""
        drawn = [c for c in self.chances if c.is_drawn]
        return {
            "n_candidates": self.n_candidates,
            "n_drawn": len(drawn),
            "n_random": sum("random" in c.reasons for c in drawn),
            "n_waiting": self.n_waiting,
            "random_p_drawn": next((c.p_drawn for c in self.chances if c.p_drawn < 1.0), None),
        }

    def words(self) -> str:
        """Say what was drawn."""
        d = self.as_dict()
        return (
            f"{d['n_drawn']} of {d['n_candidates']} new names drawn, {d['n_random']} of them at "
            f"random; {d['n_waiting']} records wait for a second observer."
        )


def draw_queue(
    store: SurveyStore,
    observer: str,
    now: str,
    settings: DrawSettings | None = None,
    seed: int = 1,
) -> DrawReport:
    """
    Draw what a second observer looks at, from all first names that took part in no draw yet.

    Parameters
    ----------
    store : SurveyStore
    observer, now : str
    settings : DrawSettings or None
    seed : int
        Each draw of a project takes its own numbers from it.

    Returns
    -------
    DrawReport
        Nothing new: nothing is stored.

    Raises
    ------
    InputError
        ``review-share`` where a share or limit is not from 0 to 1, or the seed is below 0.
    """
    settings = settings or DrawSettings()
    limits = (settings.random_frac, settings.least_probability)
    if any(not 0.0 <= v <= 1.0 for v in limits) or seed < 0:
        raise InputError(
            "review-share",
            f"share {settings.random_frac}, least probability {settings.least_probability}, seed "
            f"{seed}: expected shares from 0 to 1 and a seed of 0 or more.",
            "For example --share 0.1 --least 0.8 --seed 1.",
        )
    who = require_observer(store, observer)
    with store.write():
        latest = {i.record_id: i for i in store.identifications() if i.role == "first"}
        seen = {c.identification_id for c in store.review_chances()}
        under_way = {r for r in waiting(store)} | {o.record_id for o in store.review_outcomes()}
        under_way |= _set_aside(store)
        fresh = {
            i.identification_id: i
            for i in latest.values()
            if i.identification_id not in seen and i.record_id not in under_way
        }
        rows = _drawn(fresh, settings, seed, len(store.review_draws()))
        if rows:
            draw = ReviewDrawRow(
                draw_id=rows[0].draw_id,
                seed=seed,
                random_frac=settings.random_frac,
                least_probability=settings.least_probability,
                observer=who,
                drawn_at=now,
            )
            store.save_review_draw(draw, rows)
        return DrawReport(n_candidates=len(fresh), chances=rows, n_waiting=len(waiting(store)))


def draw_names(
    store: SurveyStore, who_when: tuple[str, str], limits: tuple[float, float], seed: int
) -> DrawReport:
    """Draw with a random share and a least probability as typed; see `draw_queue`."""
    settings = DrawSettings(random_frac=limits[0], least_probability=limits[1])
    return draw_queue(store, *who_when, settings, seed)


def _drawn(
    fresh: dict[str, IdentificationRow], settings: DrawSettings, seed: int, n_earlier: int
) -> tuple[ReviewChanceRow, ...]:
    """Draw among fresh identifications."""
    candidates = [
        Candidate(
            identification_id=name,
            probability=row.probability,
            confidence=row.confidence,
            conflicts=row.conflicts,
        )
        for name, row in fresh.items()
    ]
    chances = find_review(candidates, settings, np.random.default_rng([seed, n_earlier]))
    draw_id = key_of(
        {"seed": seed, "n": n_earlier, "settings": asdict(settings), "ids": sorted(fresh)}
    )
    return tuple(
        ReviewChanceRow(
            identification_id=c.identification_id,
            record_id=fresh[c.identification_id].record_id,
            draw_id=draw_id,
            p_drawn=c.p_drawn,
            is_drawn=c.is_drawn,
            reasons=c.reasons,
        )
        for c in chances
    )


def waiting(store: SurveyStore) -> dict[str, ReviewChanceRow]:
    """
    Return the records that were drawn and have no outcome yet, by record id, in its order.

    A coral does not wait while its photo is set aside; taken back, the photo brings it again.
    """
    done = {o.record_id for o in store.review_outcomes()} | _set_aside(store)
    rows = [c for c in store.review_chances() if c.is_drawn and c.record_id not in done]
    return {c.record_id: c for c in sorted(rows, key=lambda c: c.record_id)}


def _set_aside(store: SurveyStore) -> set[str]:
    """Return the records of corals whose photo is set aside."""
    photos = {one.photo_id for one in store.photos_set_aside()}
    return {r.record_id for r in store.records() if r.photo_id in photos} if photos else set()
