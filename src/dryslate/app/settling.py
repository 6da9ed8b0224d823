"""Settling a coral's name: by a third, by the two who looked together; and opening it again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from dryslate.app.identification_rows import IdentificationRow, RecordRow, ReviewOutcomeRow
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import Named, NameRequest, name_record
from dryslate.app.note_records import find_record
from dryslate.app.ports import SurveyStore
from dryslate.app.review_state import UNDECIDED, State, latest_outcomes, state_of
from dryslate.app.second_observer import Looked, same_person
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.provenance import key_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """
    How the review of a coral stands.

    Parameters
    ----------
    record : RecordRow
    outcome : ReviewOutcomeRow
        The latest.
    state : str
        As `dryslate.app.review_state.state_of`.
    first, second : IdentificationRow
    third : IdentificationRow or None
        What was decided, while it stands.
    """

    record: RecordRow
    outcome: ReviewOutcomeRow
    state: State
    first: IdentificationRow
    second: IdentificationRow
    third: IdentificationRow | None

    @property
    def is_undecided(self) -> bool:
        """Tell whether a person may settle it."""
        return self.state in UNDECIDED

    @property
    def settled_name(self) -> str:
        """Return the settled name; empty where none is."""
        return "" if self.is_undecided else self.outcome.settled_name

    @property
    def settled_rank(self) -> str:
        """Return the settled name's rank; empty where none is."""
        return "" if self.is_undecided else self.outcome.settled_rank

    def the_two(self) -> frozenset[str]:
        """Return the two who looked."""
        return frozenset((self.first.observer, self.second.observer))

    def settlers(self) -> frozenset[str]:
        """Return who settled it: the third, or the two."""
        if self.is_undecided:
            return frozenset()
        return self.the_two() if self.third is None else self.third.who()


def standing_of(store: SurveyStore, record_id: str) -> Standing | None:
    """Return how the review of a coral stands; None where nobody has looked a second time."""
    outcome, record = latest_outcomes(store).get(record_id), store.record(record_id)
    if outcome is None or record is None:
        return None
    rows = {i.identification_id: i for i in store.identifications(record_id)}
    return Standing(
        record=record,
        outcome=outcome,
        state=state_of(outcome, rows),
        first=rows[outcome.first_id],
        second=rows[outcome.second_id],
        third=None if outcome.third_id is None else rows[outcome.third_id],
    )


def open_reviews(store: SurveyStore) -> tuple[dict[str, Any], ...]:
    """Return the records that a person has to decide: both names, not saying whose is which."""
    rows = {i.identification_id: i for i in store.identifications()}
    records = {r.record_id: r for r in store.records()}
    found = []
    for o in latest_outcomes(store).values():
        state = state_of(o, rows)
        if state not in UNDECIDED:
            continue
        both = sorted(
            (rows[i] for i in (o.first_id, o.second_id)), key=lambda row: row.name_as_recorded
        )
        found.append(
            {
                "record_id": o.record_id,
                "colony": records[o.record_id].colony,
                "photo_id": records[o.record_id].photo_id,
                "names": [row.name_as_recorded for row in both],
                "state": state,
                "rank_shared": o.rank_shared,
                "agreed_at": o.agreed_at,
            }
        )
    return tuple(found)


def settle(store: SurveyStore, identifier: Identifier, request: NameRequest, now: str) -> Looked:
    """
    Let a third observer decide; all names stay.

    Parameters
    ----------
    store : SurveyStore
    identifier : Identifier
    request : NameRequest
        Its role is taken as third; `together_with` is ignored.
    now : str

    Returns
    -------
    Looked

    Raises
    ------
    InputError
        ``review-nothing-open``, ``review-same-observer``, and those of `name_record`.
    """
    request = replace(request, role="third", together_with=None)
    with store.write():
        record = find_record(store, request.record, request.photo)
        standing = _reviewed(store, record)
        who = require_observer(store, request.observer)
        if standing.third is not None and standing.third.who() == {who}:
            return _said_again(store, identifier, (standing, request), now)
        _require_undecided(standing)
        if who in _looked(store, record):
            raise same_person(record)
        named = name_record(store, identifier, request, now)
        return _saved(store, standing, named, ("third", now))


def settle_together(
    store: SurveyStore, identifier: Identifier, request: NameRequest, now: str
) -> Looked:
    """
    Let the two who looked decide together, at one screen; all names stay.

    Parameters
    ----------
    store : SurveyStore
    identifier : Identifier
    request : NameRequest
        `observer` and `together_with` are the two who looked; neither can do it alone.
    now : str

    Returns
    -------
    Looked
        Stored with both, and told apart from what an independent third settled.

    Raises
    ------
    InputError
        ``review-nothing-open``, ``review-not-the-two``, and those of `name_record`.
    """
    with store.write():
        record = find_record(store, request.record, request.photo)
        standing = _reviewed(store, record)
        one = require_observer(store, request.observer)
        other = require_observer(store, request.together_with or "")
        two = frozenset((one, other))
        if two != standing.the_two():
            raise InputError(
                "review-not-the-two",
                f"{record.colony}: only the two who looked can settle it together.",
                "Name both of them; anybody else settles it alone, as a third.",
            )
        request = replace(request, role="third", observer=one, together_with=other)
        if standing.third is not None and standing.third.who() == two:
            return _said_again(store, identifier, (standing, request), now)
        _require_undecided(standing)
        named = name_record(store, identifier, request, now)
        return _saved(store, standing, named, ("together", now))


def reopen(
    store: SurveyStore, record_id: str, observer: str, now: str, *, is_lead: bool
) -> Standing:
    """
    Open a settled coral again; every name and the earlier decision stay in its history.

    Parameters
    ----------
    store : SurveyStore
    record_id : str
    observer : str
    now : str
    is_lead : bool
        Whether the observer leads the survey; else only who settled it may.

    Returns
    -------
    Standing

    Raises
    ------
    InputError
        ``review-nothing-settled``, ``review-not-yours``, ``record-unknown``.
    """
    with store.write():
        record = find_record(store, record_id)
        standing = standing_of(store, record.record_id)
        who = require_observer(store, observer)
        if standing is None or standing.is_undecided:
            raise InputError(
                "review-nothing-settled",
                f"{record.colony}: nothing is settled that could be opened again.",
                "See what is open: dryslate review open.",
            )
        if not is_lead and who not in standing.settlers():
            raise InputError(
                "review-not-yours",
                f"{record.colony}: it was settled by {_and(standing.settlers())}.",
                "Ask one of them, or somebody who leads the survey.",
            )
        before = standing.outcome
        outcome = replace(
            before,
            outcome_id=key_of({"before": before.outcome_id, "reopened_by": who, "at": now}),
            third_id=None,
            settled_name="",
            settled_names=(),
            settled_rank="",
            settled_how="reopened",
            observer=who,
            decided_at=now,
        )
        store.save_review_outcome(outcome)
        return replace(standing, outcome=outcome, state="reopened", third=None)


def _reviewed(store: SurveyStore, record: RecordRow) -> Standing:
    """How the review of a coral stands; an error where nobody looked a second time."""
    standing = standing_of(store, record.record_id)
    if standing is None:
        raise InputError(
            "review-nothing-open",
            f"{record.colony}: there are no two names to decide between.",
            "See what is open: dryslate review open.",
        )
    return standing


def _require_undecided(standing: Standing) -> None:
    """Refuse to settle what is settled."""
    if standing.is_undecided:
        return
    how = "both said it" if standing.state == "agreed" else f"by {_and(standing.settlers())}"
    raise InputError(
        "review-nothing-open",
        f"{standing.record.colony}: it is settled as {standing.settled_name} ({how}).",
        "Nothing needs doing; if it is wrong, open it again first: dryslate review reopen.",
    )


def _looked(store: SurveyStore, record: RecordRow) -> set[str]:
    """Who named a coral first or second, or waits to: not independent as a third."""
    rows = store.identifications(record.record_id)
    return {i.observer for i in rows if i.role in ("first", "second")}


def _said_again(
    store: SurveyStore,
    identifier: Identifier,
    asked: tuple[Standing, NameRequest],
    now: str,
) -> Looked:
    """The same decision once more: nothing is stored twice, and nothing else is taken."""
    standing, request = asked
    named = name_record(store, identifier, request, now)
    if named.is_new:
        _require_undecided(standing)
    return Looked(named=named, outcome=standing.outcome, state=standing.state)


def _saved(store: SurveyStore, standing: Standing, named: Named, how: tuple[str, str]) -> Looked:
    """Store a decision."""
    row, before = named.row, standing.outcome
    outcome: ReviewOutcomeRow = replace(
        before,
        outcome_id=key_of({"before": before.outcome_id, "third": row.identification_id}),
        third_id=row.identification_id,
        settled_name=row.name or row.name_as_recorded,
        settled_names=row.current_names,
        settled_rank=row.rank,
        settled_how=how[0],
        observer=row.observer,
        decided_at=row.identified_at if named.is_new else how[1],
    )
    store.save_review_outcome(outcome)
    state: State = "together" if how[0] == "together" else "settled"
    return Looked(named=named, outcome=outcome, state=state)


def _and(names: frozenset[str]) -> str:
    """Join names."""
    return " and ".join(sorted(names))
