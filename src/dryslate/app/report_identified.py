"""Who called which coral what, on what evidence, and what a second look brought."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dryslate.app.identification_rows import (
    IdentificationRow,
    RecordRow,
    ReviewChanceRow,
    ReviewOutcomeRow,
)
from dryslate.app.identify import Identifier
from dryslate.app.identify_records import role_words
from dryslate.app.identify_request import parse_record
from dryslate.app.ports import ReferenceTables, SurveyStore
from dryslate.app.review_state import Rows, latest_outcomes, relation_of, settled_of, state_of
from dryslate.app.standing_names import first_look
from dryslate.base.figures import with_doubt
from dryslate.core.identify.answer import Answer
from dryslate.core.identify.confidence import WORDS
from dryslate.core.identify.evidence import Evidence
from dryslate.core.identify.reasons import Reason
from dryslate.core.identify.taxa import TaxaData

N_REASONS = 3
LEAST_LOG_ODDS = 0.25
"""Weaker reasons (less than 1.3 times the odds) are not shown."""
ROLE_WORDS = {
    "first": "first look",
    "second": "second look, blind",
    "third": "third look",
    "together": "the two together",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """
    One observer's look at a coral.

    Parameters
    ----------
    role, observer : str
    name : str
        The current name with its qualifier.
    recorded : str
        The name as recorded, where it differs; else empty.
    confidence : str
        In words; empty where not stated.
    seen : tuple of str
        What was noted, in words.
    """

    role: str
    observer: str
    name: str
    recorded: str
    confidence: str
    seen: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """
    What the first observer's evidence says.

    Parameters
    ----------
    verdict : str
    genera : tuple of (str, str, float)
        Genus, likelihood word, probability: those that are not unlikely.
    for_, against : tuple of str
        The strongest reasons for and against the first genus.
    memory_frac : float
        Share of that evidence which rests on memory.
    next_question : str
        What to look at next; empty where nothing is left.
    """

    verdict: str
    genera: tuple[tuple[str, str, float], ...]
    for_: tuple[str, ...]
    against: tuple[str, ...]
    memory_frac: float
    next_question: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentifiedCoral:
    """
    One recorded coral with its names.

    Parameters
    ----------
    colony, visit, photo_name : str
    photo_id : str or None
    looks : tuple of Look
        In the order they were made.
    weighed : Weighed or None
        None where no evidence was noted.
    review : str
        What became of a second look, in words.
    is_open : bool
        Whether a look is still owed.
    name : str
        The name that holds now.
    """

    colony: str
    visit: str
    photo_name: str
    photo_id: str | None
    looks: tuple[Look, ...]
    weighed: Weighed | None
    review: str
    is_open: bool
    name: str


def identified_corals(
    store: SurveyStore, tables: ReferenceTables, photo_names: Mapping[str, str]
) -> tuple[IdentifiedCoral, ...]:
    """
    Return every recorded coral that has a name.

    Parameters
    ----------
    store : SurveyStore
    tables : ReferenceTables
        Of the project: its genus data weigh the evidence.
    photo_names : Mapping of str to str
        Names of photos by id; corals in other photos are left out.

    Returns
    -------
    tuple of IdentifiedCoral
        By colony, then visit.
    """
    named: dict[str, list[IdentificationRow]] = defaultdict(list)
    for row in store.identifications():
        named[row.record_id].append(row)
    if not named:
        return ()
    identifier = Identifier(tables, region=store.region())
    chances = {c.record_id: c for c in store.review_chances()}
    outcomes = latest_outcomes(store)
    visits = {v.visit_id: f"{v.site}, {v.date}" for v in store.visits()}
    found = [
        _coral(
            record,
            named[record.record_id],
            identifier,
            (chances.get(record.record_id), outcomes.get(record.record_id)),
            (visits.get(record.visit_id, ""), photo_names.get(record.photo_id or "", "")),
        )
        for record in store.records()
        if record.record_id in named and (record.photo_id is None or record.photo_id in photo_names)
    ]
    return tuple(sorted(found, key=lambda c: (c.colony, c.visit)))


def _coral(
    record: RecordRow,
    rows: Sequence[IdentificationRow],
    identifier: Identifier,
    came: tuple[ReviewChanceRow | None, ReviewOutcomeRow | None],
    places: tuple[str, str],
) -> IdentifiedCoral:
    """Put one coral together."""
    chance, outcome = came
    by_id = {r.identification_id: r for r in rows}
    review, is_open = _review(chance, outcome, by_id)
    first = first_look(rows) or rows[0]
    settled = settled_of(outcome, by_id)[0] if outcome is not None else ""
    return IdentifiedCoral(
        colony=record.colony,
        visit=places[0],
        photo_name=places[1],
        photo_id=record.photo_id,
        looks=tuple(_look(row, identifier.taxa) for row in rows),
        weighed=_weighed(first, identifier),
        review=review,
        is_open=is_open,
        name=settled or _full_name(first),
    )


def _full_name(row: IdentificationRow) -> str:
    """Return the current name with its qualifier, or the name as recorded."""
    name = row.name or row.name_as_recorded
    return f"{row.qualifier} {name}" if row.qualifier.endswith(".") else name


def _look(row: IdentificationRow, taxa: TaxaData) -> Look:
    """One look in words."""
    evidence, _ = parse_record(dict(row.evidence))
    return Look(
        role=ROLE_WORDS[role_words(row)],
        observer=" and ".join(sorted(row.who())),
        name=_full_name(row),
        recorded=row.name_as_recorded if row.name_now else "",
        confidence=WORDS.get(row.confidence or 0, ""),
        seen=_seen_words(evidence, taxa),
    )


def _seen_words(evidence: Evidence, taxa: TaxaData) -> tuple[str, ...]:
    """What was seen, not seen and measured, in words."""
    found = []
    for given, start in ((evidence.seen, ""), (evidence.not_seen, "not ")):
        for name, states in given.items():
            character = taxa.characters.get(name)
            known: Mapping[str, str] = {} if character is None else character.states
            words = " and ".join(known.get(s, s.replace("_", " ")) for s in sorted(states))
            found.append(f"{name.replace('_', ' ')}: {start}{words}")
    for name, size in evidence.sizes.items():
        found.append(f"{name.replace('_', ' ')}: {with_doubt(size.value_mm, size.u_mm)}")
    unclear = sorted(name.replace("_", " ") for name in evidence.unclear)
    if unclear:
        found.append(f"could not tell: {', '.join(unclear)}")
    return tuple(found)


def _weighed(row: IdentificationRow, identifier: Identifier) -> Weighed | None:
    """Weigh the evidence of a look; None where none was noted or it cannot be used."""
    evidence, _ = parse_record(dict(row.evidence))
    if not (evidence.seen or evidence.not_seen or evidence.sizes):
        return None
    answer, _ = identifier.answer(evidence)
    return None if answer is None else _in_words(answer)


def _in_words(answer: Answer) -> Weighed:
    """Take the parts of an answer that a report shows."""
    first = answer.ranked[0]
    return Weighed(
        verdict=answer.verdict,
        genera=tuple(
            (r.genus, r.likelihood_word, r.probability)
            for r in answer.ranked
            if r.likelihood_word != "unlikely"
        ),
        for_=_strongest(first.for_),
        against=_strongest(first.against),
        memory_frac=answer.memory_share,
        next_question=answer.next[0].question if answer.next else "",
    )


def _strongest(reasons: Sequence[Reason]) -> tuple[str, ...]:
    """Return the texts of the first few reasons that weigh something."""
    return tuple(r.text for r in reasons[:N_REASONS] if abs(r.log_odds) >= LEAST_LOG_ODDS)


def _review(
    chance: ReviewChanceRow | None, outcome: ReviewOutcomeRow | None, rows: Rows
) -> tuple[str, bool]:
    """Say what became of the second look, and whether a look is still owed."""
    if outcome is not None:
        return _outcome_words(outcome, rows)
    if chance is None:
        return "no draw for a second look yet", False
    if chance.is_drawn:
        return "a second look is owed", True
    return f"not drawn for a second look (chance {100.0 * chance.p_drawn:.0f}\u00a0%)", False


def _outcome_words(outcome: ReviewOutcomeRow, rows: Rows) -> tuple[str, bool]:
    """Say what came of a second look, and whether a person still has to decide."""
    state, relation = state_of(outcome, rows), relation_of(outcome, rows)
    before = {"same": "the two agreed", "differs": "the two differed"}.get(
        relation, f"the second look was {relation}"
    )
    if state == "settled":
        return f"{before}; settled by a third as {outcome.settled_name}", False
    if state == "together":
        return f"{before}; settled by the two together as {outcome.settled_name}", False
    if state == "agreed":
        return f"agreed on {outcome.settled_name}", False
    if state == "reopened":
        return f"{before}; open again, a person decides", True
    if state in ("coarser", "finer"):
        name, rank = rows[outcome.second_id].name_as_recorded, rows[outcome.first_id].rank
        told = f"not confirmed to {rank}" if rank in ("genus", "family") else "not confirmed"
        if state == "finer":
            told = "the first name stays until a person decides"
        return f"the second look is {state} and fits ({name}): {told}", True
    if outcome.is_agreed is None:
        return "the two names share no rank; a third decides, or the two together", True
    if outcome.is_agreed:
        return "the two names overlap in part; a third decides, or the two together", True
    at = f", agreed at {outcome.agreed_at} only" if outcome.agreed_at else ""
    return (
        f"the two differ at {outcome.rank_shared}{at}; a third decides, or the two together",
        True,
    )
