"""How often a team's first names hold, beside the model's probability."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from dryslate.app.identification_rows import IdentificationRow, ReviewOutcomeRow
from dryslate.app.look_chances import is_of_doubtful_only, settled_chances
from dryslate.app.ports import SurveyStore
from dryslate.app.review_state import LookCounts, count_looks, latest_outcomes, settled_of
from dryslate.core.identify.confidence import KeyScore, score_confidence
from dryslate.core.identify.hit_rate import FEWEST_VERIFIED, HitRate, Verified, measure_hit_rate


@dataclass(frozen=True, slots=True, kw_only=True)
class TeamHitRate:
    """
    How often the team's first names hold, beside the model's probability.

    Parameters
    ----------
    hit_rate : HitRate
    keys : tuple of KeyScore
        By stated confidence, counted plainly.
    brier : float or None
    n_not_genus : int
        Verified to genus where the first name was no single genus: not counted.
    looks : LookCounts
        What second looks brought.
    n_together : int
        Of the verified corals, those that the two who looked settled together.
    is_doubtful_only : bool
        Verified so far are names drawn for certain only, though there are others.
    """

    hit_rate: HitRate
    keys: tuple[KeyScore, ...]
    brier: float | None
    n_not_genus: int
    looks: LookCounts = field(default_factory=LookCounts)
    n_together: int = 0
    is_doubtful_only: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            **asdict(self.hit_rate),
            "fewest": FEWEST_VERIFIED,
            "keys": [asdict(k) for k in self.keys],
            "brier": self.brier,
            "n_not_genus": self.n_not_genus,
            "looks": asdict(self.looks),
            "n_together": self.n_together,
            "is_doubtful_only": self.is_doubtful_only,
        }

    def words(self) -> str:
        """Say it in a sentence or two."""
        rate = self.hit_rate
        if rate.rate is None or rate.rate_lo95 is None or rate.rate_hi95 is None:
            return (
                f"{rate.n} verified corals; from {FEWEST_VERIFIED} on the team's hit rate is "
                "stated."
            )
        model = (
            f" The model gave those names {rate.mean_probability:.0%} on average "
            f"({rate.n_weighed} corals)."
            if rate.mean_probability is not None
            else " No evidence was weighed for those names."
        )
        return (
            f"{rate.rate:.0%} of the team's first names hold ({rate.rate_lo95:.0%} to "
            f"{rate.rate_hi95:.0%}; {rate.n} verified corals, weighted by their chance of being "
            f"drawn, worth {rate.n_effective:.0f}).{model}{self._together()}"
            f"{self._doubtful()}"
        )

    def _doubtful(self) -> str:
        """Say so where the share is of doubtful names."""
        if not self.is_doubtful_only:
            return ""
        return " Only doubtful names were looked at so far: of all names more hold."

    def _together(self) -> str:
        """Say how many of them no independent third settled."""
        if not self.n_together:
            return ""
        return f" {self.n_together} of them were settled by the two together, not by a third."


def team_hit_rate(store: SurveyStore) -> TeamHitRate:
    """
    Estimate how often the team's first names hold at genus.

    Parameters
    ----------
    store : SurveyStore

    Returns
    -------
    TeamHitRate
        From records whose name two observers share, or somebody settled, at genus; and from those
        where somebody settled something that the first name is no part of. A coarser second look
        verifies nothing.
    """
    rows = {i.identification_id: i for i in store.identifications()}
    verified, answers, n_other, n_together = [], [], 0, 0
    held = {
        outcome.first_id: (outcome, is_held)
        for outcome in latest_outcomes(store).values()
        if (is_held := _has_held(rows[outcome.first_id], outcome, settled_of(outcome, rows)))
        is not None
    }
    drawn = store.review_chances()
    chances = settled_chances(drawn, held)
    for outcome, is_held in held.values():
        first = rows[outcome.first_id]
        if first.rank != "genus" or len(first.current_names) != 1:
            n_other += 1
            continue
        verified.append(
            Verified(
                is_hit=is_held,
                p_drawn=chances[outcome.first_id],
                probability=first.probability,
            )
        )
        n_together += outcome.settled_how == "together"
        if first.confidence is not None:
            answers.append((first.confidence, is_held))
    keys, brier = score_confidence(answers)
    return TeamHitRate(
        hit_rate=measure_hit_rate(verified),
        keys=keys,
        brier=brier if answers else None,
        n_not_genus=n_other,
        looks=count_looks(store),
        n_together=n_together,
        is_doubtful_only=is_of_doubtful_only(drawn, held),
    )


def _has_held(
    first: IdentificationRow,
    outcome: ReviewOutcomeRow,
    settled: tuple[str, tuple[str, ...], str],
) -> bool | None:
    """Whether the first name held; None where the settled name does not tell at genus."""
    _, names, rank = settled
    if len(names) == 1 and rank == "genus":
        return first.current_names == names
    if outcome.third_id is None or not names:
        return None
    return None if set(first.current_names) & set(names) else False
