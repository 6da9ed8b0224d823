"""What every record is called as things stand: what was settled, else the first observer's name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from dryslate.app.identification_rows import IdentificationRow, RecordRow, ReviewOutcomeRow
from dryslate.app.review_state import latest_outcomes, settled_of, state_of

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingName:
    """
    What a record is called as things stand.

    Parameters
    ----------
    record : RecordRow
    name, rank : str
        The settled name, else the first observer's latest.
    name_as_recorded : str
    status : str
        ``no name``, ``one observer``, ``agreed``, ``open`` (two names that differ), ``coarser``
        (the second look is coarser and fits: not confirmed), ``finer``, ``settled`` (a third
        decided), ``together`` (the two who looked decided) or ``reopened``.
    n_identifications : int
    """

    record: RecordRow
    name: str
    rank: str
    name_as_recorded: str
    status: str
    n_identifications: int

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            **asdict(self.record),
            **{k: v for k, v in _fields(self).items() if k != "record"},
        }

    def as_row(self) -> tuple[str, str, str, str, str]:
        """Return it as a line of a table."""
        record = self.record
        name = self.name or self.name_as_recorded
        return (record.colony, record.visit_id, record.growth_form or "", name, self.status)


def _fields(standing: StandingName) -> dict[str, Any]:
    """Fields of a standing name."""
    return {n: getattr(standing, n) for n in StandingName.__dataclass_fields__}


def standing_names(store: SurveyStore) -> tuple[StandingName, ...]:
    """Return what every record is called as things stand, in the order noted."""
    outcomes = latest_outcomes(store)
    names: dict[str, list[IdentificationRow]] = {}
    for row in store.identifications():
        names.setdefault(row.record_id, []).append(row)
    return tuple(
        _standing(record, names.get(record.record_id, ()), outcomes.get(record.record_id))
        for record in store.records()
    )


def standing_name(store: SurveyStore, record: RecordRow) -> StandingName:
    """Return what one record is called as things stand."""
    said = store.identifications(record.record_id)
    return _standing(record, said, latest_outcomes(store).get(record.record_id))


def first_look(said: Sequence[IdentificationRow]) -> IdentificationRow | None:
    """
    Return the first look at a coral that holds: the latest of those of first observers.

    Parameters
    ----------
    said : sequence of IdentificationRow
        Of one coral, the oldest first.

    Returns
    -------
    IdentificationRow or None
    """
    return next((row for row in reversed(said) if row.role == "first"), None)


def _standing(
    record: RecordRow, said: Sequence[IdentificationRow], outcome: ReviewOutcomeRow | None
) -> StandingName:
    """What a record is called by its identifications and the latest outcome of its looks."""
    first = first_look(said)
    status = "no name" if first is None else "one observer"
    name, rank = (first.name, first.rank) if first else ("", "")
    if outcome is not None:
        rows = {row.identification_id: row for row in said}
        status = state_of(outcome, rows)
        settled = settled_of(outcome, rows)
        name, rank = (settled[0], settled[2]) if settled[2] else (name, rank)
    return StandingName(
        record=record,
        name=name,
        rank=rank,
        name_as_recorded=first.name_as_recorded if first else "",
        status=status,
        n_identifications=len(said),
    )
