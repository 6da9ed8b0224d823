"""The second observer: looks blind, and the two names are compared; see also `settling`."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewOutcomeRow,
)
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import Named, NameRequest, name_record
from dryslate.app.note_records import find_record
from dryslate.app.ports import SurveyStore
from dryslate.app.review_draw import waiting
from dryslate.app.review_state import State, said_name, state_of
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.provenance import key_of
from dryslate.core.identify.relation import relate_names
from dryslate.core.identify.review import compare_names
from dryslate.core.identify.taxa import TaxaData


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindRecord:
    """
    What a second observer is shown: the coral, and nothing of what it was called or why it is here.

    Parameters
    ----------
    record : RecordRow
    photo : str or None
        File name of the photo.
    photo_regions : tuple
        Where in which photo the coral is.
    measured : tuple of dict
        Kind and values of its measurements.
    """

    record: RecordRow
    photo: str | None
    photo_regions: tuple[tuple[str, float, float, float, float], ...]
    measured: tuple[dict[str, Any], ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON; the note is left out, since it may hold a name."""
        return {
            "record_id": self.record.record_id,
            "colony": self.record.colony,
            "visit_id": self.record.visit_id,
            "photo": self.photo,
            "photo_id": self.record.photo_id,
            "photo_regions": [list(box) for box in self.photo_regions],
            "growth_form": self.record.growth_form,
            "is_juvenile": self.record.is_juvenile,
            "place": self.record.place,
            "sizes_noted": dict(self.record.sizes_noted),
            "measured": list(self.measured),
        }

    def words(self) -> str:
        """Say which coral is to be looked at."""
        return _blind_words(self)


def _blind_words(blind: BlindRecord) -> str:
    """Say which coral is to be looked at."""
    where = blind.photo or blind.record.place or "no photo"
    boxes = "; ".join(
        f"{x0:g},{y0:g} to {x1:g},{y1:g}" for _, x0, y0, x1, y1 in blind.photo_regions
    )
    record = blind.record
    return (
        f"{record.colony} ({record.visit_id}), {where}{f' at {boxes}' if boxes else ''}; "
        f"record {record.record_id[:12]}"
    )


def waiting_records(store: SurveyStore, observer: str) -> frozenset[str]:
    """Return the ids of the records that wait for this observer's second look."""
    who = require_observer(store, observer)
    return frozenset(r for r in waiting(store) if who not in _named_before(store, r))


def blind_queue(store: SurveyStore, observer: str) -> tuple[BlindRecord, ...]:
    """
    Return what waits for this observer's second look, blind.

    Parameters
    ----------
    store : SurveyStore
    observer : str
        What this person named first is left out.

    Returns
    -------
    tuple of BlindRecord
        In an order that has nothing to do with why they were drawn.
    """
    who = require_observer(store, observer)
    records = {r.record_id: r for r in store.records()}
    first = {i.identification_id: i for i in store.identifications()}
    names = {p.photo_id: p.files[0].original_name for p in store.photos()}
    measured = {
        m.measurement_id: m for m in (*store.archived_measurements(), *store.measurements())
    }
    hidden = ("budget", "flags", "problems")
    found = []
    for record_id, chance in waiting(store).items():
        said = first[chance.identification_id]
        if who in _named_before(store, record_id):
            continue
        record = records[record_id]
        rows = [measured[m] for m in record.measurement_ids if m in measured]
        found.append(
            BlindRecord(
                record=record,
                photo=names.get(record.photo_id or ""),
                photo_regions=said.photo_regions,
                measured=tuple(
                    {"kind": m.kind, **{k: v for k, v in m.values.items() if k not in hidden}}
                    for m in rows
                ),
            )
        )
    return tuple(found)


def _named_before(store: SurveyStore, record_id: str) -> set[str]:
    """Who has named a record in any role."""
    return {name for i in store.identifications(record_id) for name in i.who()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """The identification of a second or third look, what came of it, and how things stand."""

    named: Named
    outcome: ReviewOutcomeRow
    state: State

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON; the other observers' names are not told."""
        told = {
            k: v
            for k, v in asdict(self.outcome).items()
            if k not in ("first_id", "second_id", "third_id")
        }
        return {**told, "identification": self.named.as_dict()}

    def words(self) -> str:
        """Say what came of it."""
        if self.state in ("settled", "together"):
            how = " by the two together" if self.state == "together" else ""
            return f"Settled{how}: {self.outcome.settled_name}."
        if self.state == "agreed":
            return f"Agreed: {self.outcome.settled_name}."
        return f"{_open_words(self.state, self.outcome)}: {DECIDES}."


DECIDES = "a third observer decides, or the two together"


def _open_words(state: State, outcome: ReviewOutcomeRow) -> str:
    """Say why a name is not settled."""
    if state == "coarser":
        return (
            "The second name is coarser and fits the first, so it neither confirms nor contradicts "
            "it; the first name stays, not confirmed"
        )
    if state == "finer":
        return "The second name is finer and fits the first; the first name stays until then"
    if state == "reopened":
        return "Open again; no name is settled"
    if outcome.is_agreed is None:
        return "The two names share no rank"
    at = outcome.rank_shared
    return f"The two names {'overlap in part' if outcome.is_agreed else f'differ at {at}'}"


def look_again(
    store: SurveyStore, identifier: Identifier, request: NameRequest, now: str
) -> Looked:
    """
    Store a second observer's name, compare it with the first, and store what came of it.

    Parameters
    ----------
    store : SurveyStore
    identifier : Identifier
    request : NameRequest
        Its role is taken as second.
    now : str

    Returns
    -------
    Looked

    Raises
    ------
    InputError
        ``review-not-waiting``, ``review-same-observer``, and those of `name_record`.
    """
    with store.write():
        record = find_record(store, request.record, request.photo)
        chance = waiting(store).get(record.record_id)
        if chance is None:
            return _done_before(store, identifier, (record, request), now)
        if require_observer(store, request.observer) in _named_before(store, record.record_id):
            raise same_person(record)
        named = name_record(store, identifier, replace(request, role="second"), now)
        rows = {i.identification_id: i for i in store.identifications(record.record_id)}
        first = rows[chance.identification_id]
        outcome = _compared(first, named.row, identifier.taxa)
        store.save_review_outcome(outcome)
    return Looked(named=named, outcome=outcome, state=state_of(outcome, rows))


def _done_before(
    store: SurveyStore, identifier: Identifier, asked: tuple[RecordRow, NameRequest], now: str
) -> Looked:
    """Return an outcome that the same words of the same person brought before, or refuse."""
    record, request = asked
    outcomes = [o for o in store.review_outcomes() if o.record_id == record.record_id]
    if outcomes:
        rows = {i.identification_id: i for i in store.identifications(record.record_id)}
        mine = rows[outcomes[0].second_id]
        if mine.observer == require_observer(store, request.observer):
            again = replace(request, role="second", at=None)
            before = len(rows)
            named = name_record(store, identifier, again, now)
            if not named.is_new and len(store.identifications(record.record_id)) == before:
                state = state_of(outcomes[0], rows)
                return Looked(named=named, outcome=outcomes[0], state=state)
    raise InputError(
        "review-not-waiting",
        f"{record.colony}: it does not wait for a second observer.",
        "See what waits: dryslate review look.",
    )


def same_person(record: RecordRow) -> InputError:
    """Return the error for someone who looks twice."""
    return InputError(
        "review-same-observer",
        f"{record.colony}: this observer has named it before, so the look would not be blind.",
        "Let somebody else look.",
    )


def _compared(
    first: IdentificationRow, second: IdentificationRow, taxa: TaxaData
) -> ReviewOutcomeRow:
    """The outcome of two names."""
    found = compare_names(
        (first.rank, first.current_names), (second.rank, second.current_names), taxa
    )
    relation = relate_names(said_name(first), said_name(second), found)
    is_same = relation == "same"
    return ReviewOutcomeRow(
        outcome_id=key_of({"first": first.identification_id, "second": second.identification_id}),
        record_id=first.record_id,
        first_id=first.identification_id,
        second_id=second.identification_id,
        rank_shared=found.rank_shared,
        is_agreed=found.is_agreed,
        agreed_at=found.agreed_at,
        settled_name=(first.name or first.name_as_recorded) if is_same else "",
        settled_names=first.current_names if is_same else (),
        settled_rank=first.rank if is_same else "",
        relation=relation,
        settled_how="agreed" if is_same else "",
        observer=second.observer,
        decided_at=second.identified_at,
    )
