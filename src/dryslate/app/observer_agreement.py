"""How far observers agree on names, from blind second looks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from dryslate.app.review_state import latest_outcomes, relation_of, said_name
from dryslate.core.identify.hit_rate import wilson_interval
from dryslate.core.survey.agreement import Agreement

if TYPE_CHECKING:
    from dryslate.app.identification_rows import IdentificationRow, ReviewOutcomeRow
    from dryslate.app.ports import SurveyStore

FEWEST = 20
"""Corals compared that a coefficient needs (our choice; with fewer its interval is rough)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenFor:
    """Two names given to the same corals, and to how many: of a pair, each one's own first."""

    names: tuple[str, str]
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NamesCompared:
    """
    What two observers, or all together, called the same corals.

    Parameters
    ----------
    observers : tuple of str
        The two; empty for all together.
    n_corals : int
        Looked at twice, the second time blind.
    n_compatible : int
        Of them left out of all figures: one name holds the other, or they have genera in common.
    n_alike, n_apart : int
        Those compared.
    n_short : int
        Of those compared, corals that at least one observer named short of genus.
    observed, observed_u, observed_lo95, observed_hi95 : float or None
        Share alike, by Wilson; no uncertainty is stated where all or none are alike.
    beyond_chance : Agreement or None
        Cohen's kappa of two, Gwet's AC1 of all together.
    reason : str
        Why value, uncertainty or interval is missing: ``nothing``, ``few``, ``one_name``,
        ``no_spread``; empty: none is.
    taken_for : tuple of TakenFor
        The most frequent first.
    """

    observers: tuple[str, ...]
    n_corals: int
    n_compatible: int
    n_alike: int
    n_apart: int
    n_short: int
    observed: float | None
    observed_u: float | None
    observed_lo95: float | None
    observed_hi95: float | None
    beyond_chance: Agreement | None
    reason: str
    taken_for: tuple[TakenFor, ...]

    @property
    def n_compared(self) -> int:
        """Return how many corals the figures rest on."""
        return self.n_alike + self.n_apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """Second looks that came about in one way: of all observers, and of each two."""

    together: NamesCompared
    pairs: tuple[NamesCompared, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ObserverAgreement:
    """
    How far observers agree on names.

    Parameters
    ----------
    by_chance : Looks
        At names drawn at random among those that nothing made doubtful.
    doubtful : Looks
        At names drawn because they were doubtful.
    n_hidden : int
        Corals left out because one of the same label and visit still waits for this person.
    """

    by_chance: Looks
    doubtful: Looks
    n_hidden: int = 0

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {**asdict(self), "fewest": FEWEST}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """A coral that two observers named: who, what, and whether the two names can be compared."""

    observers: tuple[str, str]
    names: tuple[str, str]
    is_compatible: bool
    is_short: bool


def observer_agreement(store: SurveyStore, observer: str | None = None) -> ObserverAgreement:
    """
    Compare first names with those that second observers gave without seeing them.

    Parameters
    ----------
    store : SurveyStore
    observer : str or None
        Who is shown it: corals of the same label and visit as one that waits for this person's
        own look are left out. None: nobody in particular, nothing is left out.

    Returns
    -------
    ObserverAgreement
        By the latest first and second name of each coral; what was settled later changes nothing.

    Notes
    -----
    Sizes are not compared: whoever looks again is shown what was measured before.
    """
    rows = {i.identification_id: i for i in store.identifications()}
    outcomes = latest_outcomes(store)
    hidden = _twins_of_waiting(store, observer) & set(outcomes)
    reasons = {c.identification_id: c.reasons for c in store.review_chances()}
    told: dict[bool, list[_Look]] = {True: [], False: []}
    for record_id, outcome in outcomes.items():
        if record_id not in hidden:
            by_chance = "random" in reasons.get(outcome.first_id, ())
            told[by_chance].append(_look(outcome, rows))
    return ObserverAgreement(
        by_chance=_looks(told[True]), doubtful=_looks(told[False]), n_hidden=len(hidden)
    )


def _twins_of_waiting(store: SurveyStore, observer: str | None) -> set[str]:
    """Return records of corals that wait for a person's look, in whatever photo they are."""
    if observer is None:
        return set()
    from dryslate.app.coral_page import hidden_names

    waiting, records = hidden_names(store, observer), store.records()
    labels = {(r.visit_id, r.colony) for r in records if r.record_id in waiting}
    return {r.record_id for r in records if (r.visit_id, r.colony) in labels}


def _look(outcome: ReviewOutcomeRow, rows: dict[str, IdentificationRow]) -> _Look:
    """Return what an outcome says of two observers."""
    two = (rows[outcome.first_id], rows[outcome.second_id])
    first, second = sorted(two, key=lambda row: row.observer)
    relation = relation_of(outcome, rows)
    shared = set(first.current_names) & set(second.current_names)
    names = (said_name(first).name, said_name(second).name)
    return _Look(
        observers=(first.observer, second.observer),
        names=(names[0], names[0]) if relation == "same" else names,
        is_compatible=relation in ("coarser", "finer") or (relation == "differs" and bool(shared)),
        is_short=any(row.rank != "genus" or len(row.current_names) != 1 for row in two),
    )


def _looks(looks: Sequence[_Look]) -> Looks:
    """Compare all together, then each two, those with most corals first."""
    each: dict[tuple[str, str], list[_Look]] = {}
    for look in looks:
        each.setdefault(look.observers, []).append(look)
    pairs = [_compared(pair, found) for pair, found in each.items()]
    return Looks(
        together=_compared((), looks),
        pairs=tuple(sorted(pairs, key=lambda one: (-one.n_corals, one.observers))),
    )


def _compared(observers: tuple[str, ...], looks: Sequence[_Look]) -> NamesCompared:
    """Compare names; those that can both be right are left out of the figures."""
    used = [look for look in looks if not look.is_compatible]
    names = [look.names if observers else _sorted(look.names) for look in used]
    n, n_alike = len(names), sum(a == b for a, b in names)
    beyond = _beyond_chance(bool(observers), names) if n >= FEWEST else None
    share = n_alike / n if n else None
    lo, hi = (None, None) if share is None else wilson_interval(share, n)
    has_spread = 0 < n_alike < n
    return NamesCompared(
        observers=observers,
        n_corals=len(looks),
        n_compatible=len(looks) - n,
        n_alike=n_alike,
        n_apart=n - n_alike,
        n_short=sum(look.is_short for look in used),
        observed=share,
        observed_u=(share * (1 - share) / n) ** 0.5 if share and has_spread else None,
        observed_lo95=lo,
        observed_hi95=hi,
        beyond_chance=beyond,
        reason=_reason(n, beyond),
        taken_for=_taken_for(names),
    )


def _sorted(names: tuple[str, str]) -> tuple[str, str]:
    """Put two names in one order: neither is known to be right."""
    return (min(names), max(names))


def _beyond_chance(is_pair: bool, names: Sequence[tuple[str, str]]) -> Agreement:
    """Return kappa of two observers, or AC1 whoever they were."""
    from dryslate.core.survey.agreement import Coefficient, cohen_kappa, count_pairs, read_ratings
    from dryslate.core.survey.agreement_many import agree

    ratings = read_ratings(names)
    return cohen_kappa(count_pairs(ratings)) if is_pair else agree(ratings, Coefficient.GWET_AC1)


def _reason(n: int, beyond: Agreement | None) -> str:
    """Say why something is missing."""
    if beyond is None:
        return "few" if n else "nothing"
    if beyond.value is None:
        return "one_name"
    return "no_spread" if beyond.u is None else ""


def _taken_for(names: Iterable[tuple[str, str]]) -> tuple[TakenFor, ...]:
    """Count names that differ, the most frequent first."""
    counts = Counter(pair for pair in names if pair[0] != pair[1])
    ordered = sorted(counts.items(), key=lambda one: (-one[1], one[0]))
    return tuple(TakenFor(names=pair, n=n) for pair, n in ordered)
