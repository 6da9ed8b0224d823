"""How things stand with a coral that was looked at twice, from what is stored of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, cast

from dryslate.app.identification_rows import IdentificationRow, ReviewOutcomeRow
from dryslate.core.identify.relation import Relation, SaidName, relate_names

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.core.identify.name_book import Rank

State = Literal["agreed", "coarser", "finer", "open", "reopened", "settled", "together"]
UNDECIDED: tuple[State, ...] = ("open", "finer", "coarser", "reopened")
"""States in which a person may settle the name."""
Rows = Mapping[str, IdentificationRow]
"""Identifications by id."""


def said_name(row: IdentificationRow) -> SaidName:
    """Return a stored name as it is compared."""
    return SaidName(
        name=row.name or row.name_as_recorded,
        rank=cast("Rank", row.rank),
        genera=row.current_names,
    )


def relation_of(outcome: ReviewOutcomeRow, rows: Rows) -> Relation:
    """
    Say how the second name of an outcome stands to the first.

    Parameters
    ----------
    outcome : ReviewOutcomeRow
    rows : Mapping
        Identifications by id; looked up for rows of before the relation was kept.

    Returns
    -------
    {"same", "coarser", "finer", "differs"}
    """
    if outcome.relation:
        return cast("Relation", outcome.relation)
    from dryslate.core.identify.review import Agreement

    found = Agreement(
        rank_shared=outcome.rank_shared,
        is_agreed=outcome.is_agreed,
        agreed_at=outcome.agreed_at,
    )
    first, second = rows[outcome.first_id], rows[outcome.second_id]
    return relate_names(said_name(first), said_name(second), found)


def state_of(outcome: ReviewOutcomeRow, rows: Rows) -> State:
    """
    Say how things stand after an outcome.

    Parameters
    ----------
    outcome : ReviewOutcomeRow
        The latest of its record.
    rows : Mapping
        Identifications by id.

    Returns
    -------
    str
        ``agreed``; ``open`` (two names that differ); ``coarser``, ``finer`` (the second fits the
        first, a person may decide); ``reopened``; ``settled`` (by a third), ``together``.
    """
    if outcome.third_id is not None:
        return "together" if outcome.settled_how == "together" else "settled"
    if outcome.settled_how == "reopened":
        return "reopened"
    relation = relation_of(outcome, rows)
    if relation == "same":
        return "agreed"
    return "open" if relation == "differs" else relation


def settled_of(outcome: ReviewOutcomeRow, rows: Rows) -> tuple[str, tuple[str, ...], str]:
    """
    Return name, current genera and rank that are settled; empty where nothing is.

    A name that two observers share is settled, and one that somebody decided; a coarser second
    name settles nothing, also in rows of before that was told apart.
    """
    if outcome.third_id is None and state_of(outcome, rows) != "agreed":
        return "", (), ""
    return outcome.settled_name, outcome.settled_names, outcome.settled_rank


def latest_outcomes(store: SurveyStore) -> dict[str, ReviewOutcomeRow]:
    """Return the outcome that holds, by record."""
    return {o.record_id: o for o in store.review_outcomes()}


@dataclass(frozen=True, slots=True, kw_only=True)
class LookCounts:
    """
    What second looks brought.

    Parameters
    ----------
    same, coarser, finer, differs : int
        How the second name stood to the first, each coral once.
    n_third, n_together : int
        Of them settled by an independent third, and by the two together.
    n_undecided : int
        Of them still to be decided by a person.
    """

    same: int = 0
    coarser: int = 0
    finer: int = 0
    differs: int = 0
    n_third: int = 0
    n_together: int = 0
    n_undecided: int = 0

    @property
    def n(self) -> int:
        """Return how many corals were looked at twice."""
        return self.same + self.coarser + self.finer + self.differs

    def words(self) -> str:
        """Say it in a sentence or two."""
        if not self.n:
            return "No coral was looked at a second time yet."
        decided = self.n_third + self.n_together
        return (
            f"{self.n} corals were looked at twice: {self.same} the same name, {self.coarser} a "
            f"coarser one that fits (neither confirmed nor contradicted), {self.finer} a finer "
            f"one that fits, {self.differs} another name. {decided} settled since: "
            f"{self.n_third} by a third, {self.n_together} by the two together; "
            f"{self.n_undecided} to be decided."
        )


def count_looks(store: SurveyStore) -> LookCounts:
    """
    Count what second looks brought, each coral once.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    LookCounts
    """
    rows = {i.identification_id: i for i in store.identifications()}
    outcomes = latest_outcomes(store).values()
    relations = Counter(relation_of(o, rows) for o in outcomes)
    states = Counter(state_of(o, rows) for o in outcomes)
    return LookCounts(
        same=relations["same"],
        coarser=relations["coarser"],
        finer=relations["finer"],
        differs=relations["differs"],
        n_third=states["settled"],
        n_together=states["together"],
        n_undecided=sum(states[s] for s in UNDECIDED),
    )
