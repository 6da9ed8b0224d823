"""How sure an observer is: one key from 1 to 5, each with the probability that it stands for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

P_STATED: Mapping[int, float] = {1: 0.3, 2: 0.5, 3: 0.7, 4: 0.9, 5: 0.98}
"""Probability that the name is right, as the observer states it with each key."""
WORDS: Mapping[int, str] = {
    1: "a guess: right about 3 times in 10",
    2: "as likely right as wrong: 5 in 10",
    3: "more likely right than not: 7 in 10",
    4: "nearly sure: 9 in 10",
    5: "sure: 49 in 50",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyScore:
    """
    How often names given with one key were right.

    Parameters
    ----------
    confidence : int
    p_stated : float
    n, n_right : int
    """

    confidence: int
    p_stated: float
    n: int
    n_right: int


def score_confidence(answers: Iterable[tuple[int, bool]]) -> tuple[tuple[KeyScore, ...], float]:
    r"""
    Compare stated confidence with what turned out.

    Parameters
    ----------
    answers : iterable of (int, bool)
        Key, and whether the name was right.

    Returns
    -------
    keys : tuple of KeyScore
        For each key that was used, in order.
    brier : float
        Brier score; 0 is best; NaN where there are no answers.

    Notes
    -----
    :math:`B = \frac{1}{n} \sum_i (p_i - o_i)^2` [1]_, two-class form with `o` = 1 for right.

    References
    ----------
    .. [1] Brier, G.W. (1950). Verification of forecasts expressed in terms of probability.
       Monthly Weather Review 78, 1-3 (half of the two-class sum given there).

    Examples
    --------
    >>> keys, brier = score_confidence([(4, True), (4, False)])
    >>> keys[0].n, keys[0].n_right, round(brier, 2)
    (2, 1, 0.41)
    """
    rows = list(answers)
    keys = tuple(
        KeyScore(
            confidence=key,
            p_stated=P_STATED[key],
            n=sum(k == key for k, _ in rows),
            n_right=sum(k == key and right for k, right in rows),
        )
        for key in sorted({k for k, _ in rows})
    )
    if not rows:
        return keys, float("nan")
    return keys, sum((P_STATED[k] - float(right)) ** 2 for k, right in rows) / len(rows)
