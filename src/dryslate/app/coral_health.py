"""How much of a coral looks normal, pale, bleached, recently dead or long dead."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from dryslate.app.identification_rows import RecordRow
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem

SHARES = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct", "old_dead_pct")
"""Shares of a coral's surface, in the order in which they are asked."""

ROUNDING_PCT = 0.1
"""How far from 100 the sum of five shares may be: three times 33.3 is a whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthRow:
    """
    One judgement of a coral; a later one follows an earlier one.

    Parameters
    ----------
    record_id : str
    normal_pct, pale_pct, bleached_pct, recently_dead_pct, old_dead_pct : float or None
        Per cent of the surface; None where it was not judged.
    observer : str
    noted_at : str
        ISO 8601 with its offset from UTC.
    """

    record_id: str
    observer: str
    noted_at: str
    normal_pct: float | None = None
    pale_pct: float | None = None
    bleached_pct: float | None = None
    recently_dead_pct: float | None = None
    old_dead_pct: float | None = None

    def shares(self) -> dict[str, float | None]:
        """Return the shares by name."""
        return {name: getattr(self, name) for name in SHARES}

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {**self.shares(), "observer": self.observer, "noted_at": self.noted_at}


class HealthStore(Protocol):
    """Judgements of corals' health."""

    def coral_health(self) -> tuple[HealthRow, ...]:
        """Return the latest judgement of every coral that has one."""

    def coral_health_history(self, record_id: str) -> tuple[HealthRow, ...]:
        """Return every judgement of one coral, oldest first."""

    def save_coral_health(self, row: HealthRow) -> None:
        """Add a judgement; the latest one's shares and observer again change nothing."""


class HealthRecords(HealthStore, Protocol):
    """What noting a coral's health needs of the store."""

    def records(self, visit_id: str | None = None) -> tuple[RecordRow, ...]:
        """Return the records of one visit, or all."""


def check_health(shares: Mapping[str, float | None]) -> list[Problem]:
    """
    Check the shares of a coral's surface.

    Parameters
    ----------
    shares : Mapping
        Per cent by name of `SHARES`; None or missing where not judged.

    Returns
    -------
    list of Problem
        ``health-share-impossible``, ``health-sum-not-100``.

    Notes
    -----
    All five known have to make 100 %. Where some are not known, the known ones must leave room
    for them: what was not judged stays unknown and is not taken as zero.

    Examples
    --------
    >>> [p.slug for p in check_health({"normal_pct": 80.0, "pale_pct": 30.0})]
    ['health-sum-not-100']
    >>> check_health({"normal_pct": 80.0})
    []
    """
    problems = []
    known = {name: value for name in SHARES if (value := shares.get(name)) is not None}
    for name, value in known.items():
        if not (math.isfinite(value) and 0.0 <= value <= 100.0):
            problems.append(
                Problem(
                    slug="health-share-impossible",
                    severity="error",
                    place=name,
                    message=f"a share of {value:g} % is not possible",
                    fix="Give 0 to 100, or leave it empty where it was not judged.",
                )
            )
    total = sum(known.values())
    is_whole = len(known) == len(SHARES)
    if problems or not known:
        return problems
    if (is_whole and abs(total - 100.0) > ROUNDING_PCT) or total > 100.0 + ROUNDING_PCT:
        problems.append(
            Problem(
                slug="health-sum-not-100",
                severity="error",
                place="",
                message=f"the shares make {total:g} %, not 100 %",
                fix="Change them until they make 100 %, or leave empty what was not judged.",
            )
        )
    return problems


def whole_shares(shares: Mapping[str, float | None]) -> dict[str, float] | None:
    """
    Return all five shares, or None where some are not known.

    Parameters
    ----------
    shares : Mapping
        Per cent by name of `SHARES`; checked by `check_health`.

    Returns
    -------
    dict or None

    Notes
    -----
    What was not judged is unknown, unless the others make the whole: then there is none of it.

    Examples
    --------
    >>> whole_shares({"normal_pct": 60.0, "pale_pct": 40.0})["bleached_pct"]
    0.0
    >>> whole_shares({"normal_pct": 60.0, "pale_pct": 20.0}) is None
    True
    """
    known = {name: value for name in SHARES if (value := shares.get(name)) is not None}
    if len(known) < len(SHARES) and abs(sum(known.values()) - 100.0) > ROUNDING_PCT:
        return None
    return {name: known.get(name, 0.0) for name in SHARES}


def note_health(
    store: HealthRecords, record_id: str, shares: Mapping[str, float | None], who: tuple[str, str]
) -> HealthRow:
    """
    Note how a coral looks; the same again changes nothing, all empty says that it is not known.

    Parameters
    ----------
    store : HealthRecords
    record_id : str
    shares : Mapping
        Per cent by name of `SHARES`.
    who : tuple of str
        Observer and time.

    Returns
    -------
    HealthRow

    Raises
    ------
    InputError
        ``record-unknown``, ``health-share-impossible``, ``health-sum-not-100``.
    """
    if not any(r.record_id == record_id for r in store.records()):
        raise InputError(
            "record-unknown",
            f"No record has the id {record_id[:12]!r}.",
            "Save a measurement of the coral first, or note it.",
        )
    for problem in check_health(shares):
        place = f"{problem.place}: " if problem.place else ""
        raise InputError(problem.slug, f"{place}{problem.message}.", problem.fix)
    observer, now = who
    known = {name: _number(shares.get(name)) for name in SHARES}
    row = HealthRow(record_id=record_id, observer=observer, noted_at=now, **known)
    store.save_coral_health(row)
    return row


def _number(value: float | None) -> float | None:
    """A share as it is stored."""
    return None if value is None else float(value)
