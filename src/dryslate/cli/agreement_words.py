"""Agreement of observers in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from dryslate.app.observer_agreement import FEWEST

if TYPE_CHECKING:
    from dryslate.app.observer_agreement import Looks, NamesCompared, ObserverAgreement

REASONS = {
    "few": f"no coefficient under {FEWEST} corals compared",
    "one_name": "chance alone gives full agreement: one name only was used",
    "no_spread": "no interval: no two corals differ in how far the names agree",
}
CAUTION = (
    "Corals of one photo or unit are alike, so the intervals can be too narrow. Both observers can "
    "err alike: agreement is not correctness. Sizes are not compared, since the second observer "
    "is shown those measured before."
)


def agreement_lines(found: ObserverAgreement) -> Iterator[str]:
    """
    Say how far observers agree.

    Parameters
    ----------
    found : ObserverAgreement

    Yields
    ------
    str
        A line each.
    """
    yield "Drawn by chance, among names that nothing made doubtful: these speak for such names."
    yield from _looks(found.by_chance)
    yield "Drawn because they were doubtful: these read too low for the survey as a whole."
    yield from _looks(found.doubtful)
    if found.n_hidden:
        yield (
            f"{found.n_hidden} left out: a coral of the same label and visit still waits for this "
            "person's own look."
        )
    yield CAUTION


def _looks(looks: Looks) -> Iterator[str]:
    """Say all together, then each two, then what was taken for what."""
    together = looks.together
    if not together.n_corals:
        yield "  No coral was looked at twice."
        return
    yield f"  All together: {_words(together)}"
    for pair in looks.pairs:
        yield f"  {' and '.join(pair.observers)}: {_words(pair)}"
    for one in together.taken_for:
        yield f"  {one.names[0]} against {one.names[1]}: {one.n}"


def _words(one: NamesCompared) -> str:
    """Say the figures of two observers or all."""
    parts = [f"{one.n_corals} looked at twice"]
    if one.n_compatible:
        parts.append(f"{one.n_compatible} left out (one name holds the other, or they overlap)")
    if one.observed is not None:
        doubt = "" if one.observed_u is None else f" ± {one.observed_u:.2f}"
        parts.append(
            f"{one.n_alike} of {one.n_compared} alike, {one.observed:.2f}{doubt} "
            f"({one.observed_lo95:.2f} to {one.observed_hi95:.2f})"
        )
    if one.n_short:
        parts.append(f"{one.n_short} of them short of genus")
    return "; ".join([*parts, *_beyond(one)]) + "."


def _beyond(one: NamesCompared) -> Iterator[str]:
    """Say the coefficient, or why there is none."""
    found = one.beyond_chance
    if found is not None and found.value is not None:
        name = "Cohen's kappa" if one.observers else "Gwet's AC1"
        doubt = ""
        if found.u is not None:
            doubt = f" ± {found.u:.2f} ({found.lo95:.2f} to {found.hi95:.2f})"
        yield f"{name} {found.value:.2f}{doubt}, {found.n_categories} names used"
    if one.reason in REASONS:
        yield REASONS[one.reason]
