"""Candidates fitted side by side: the same answers as each fold of each by itself."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.colour.crossval import Candidate, score_candidates
from dryslate.core.colour.difference import ciede2000
from dryslate.core.colour.estimate import Belief, Observations, fit_parameters, predict
from dryslate.core.colour.spaces import linear_srgb_to_lab, linear_to_srgb

N_GREY, N = 6, 18
GROUPS = [np.arange(6, 12), np.arange(12, 18), np.array([0, 2, 4]), np.array([1, 3, 5])]


def scene(rng: np.random.Generator) -> tuple[Observations, np.ndarray]:
    """Greys and colours under a blue-green light, a little noise, and one patch that is dirty."""
    reference = rng.uniform(0.05, 0.8, (N, 3))
    reference[:N_GREY] = np.linspace(0.03, 0.85, N_GREY)[:, None]
    seen = reference * np.exp(rng.normal(0.0, 0.02, (N, 3)))
    seen[13] *= 0.6
    gain = np.array([3.0, 1.2, 1.0])
    observations = Observations(
        encoded=linear_to_srgb(seen / gain),
        place=rng.uniform(-1.0, 1.0, (N, 2)),
        reference=reference,
        whitener=np.tile(30.0 * np.eye(3), (N, 1, 1)),
        gain=gain,
    )
    return observations, linear_srgb_to_lab(reference)


def candidate(n_terms: int, *, only_greys: bool, tone_u: float) -> Candidate:
    spread = np.concatenate([np.full(3 * n_terms, 0.1), [0.1] * 3, [tone_u] * 2, [0.1] * 2])
    shares = (np.arange(N) < (N_GREY if only_greys else N)).astype(float)
    mean = np.concatenate([np.eye(3, n_terms).ravel(), np.zeros(7)])
    belief = Belief(mean=mean, precision=np.diag(spread**-2.0))
    return Candidate(fit="affine", has_tone=tone_u > 0.01, belief=belief, shares=shares)


CANDIDATES = [
    candidate(3, only_greys=True, tone_u=1e-3),
    candidate(3, only_greys=False, tone_u=1e-3),
    candidate(6, only_greys=False, tone_u=0.2),
    candidate(3, only_greys=True, tone_u=0.2),
    candidate(3, only_greys=False, tone_u=0.2),
]


@pytest.mark.parametrize("index", range(len(CANDIDATES)))
def test_each_group_is_judged_by_a_fit_that_never_saw_it(index: int) -> None:
    seen, lab = scene(np.random.default_rng(5))
    trial = score_candidates(CANDIDATES, seen, lab, GROUPS)[index]
    chosen = CANDIDATES[index]
    assert trial.candidate is chosen
    n_terms = chosen.belief.n_terms
    start, _ = fit_parameters(seen, chosen.belief, chosen.shares[None])
    residual = 30.0 * (seen.reference - predict(start, seen, n_terms)[0][0])
    size = np.linalg.norm(residual, axis=1)
    share = chosen.shares * np.minimum(1.0, 3.0 / np.maximum(size, 3.0))
    for k, group in enumerate(GROUPS):
        kept = np.where(np.isin(np.arange(N), group), 0.0, share)
        theta, _ = fit_parameters(seen, chosen.belief, kept[None], start=start, n_steps=3)
        left = linear_srgb_to_lab(predict(theta, seen, n_terms)[0][0, group])
        assert trial.by_group[k] == pytest.approx(ciede2000(left, lab[group]).mean(), rel=1e-9)
    whole, _ = fit_parameters(seen, chosen.belief, share[None], start=start, n_steps=3)
    np.testing.assert_allclose(trial.theta, whole[0], rtol=1e-9, atol=1e-12)


def test_empty_groups_are_passed_over() -> None:
    seen, lab = scene(np.random.default_rng(6))
    nobody = np.zeros(0, dtype=np.intp)
    plain = score_candidates(CANDIDATES[:1], seen, lab, GROUPS)[0]
    with_empty = score_candidates(CANDIDATES[:1], seen, lab, [nobody, *GROUPS])[0]
    np.testing.assert_array_equal(plain.by_group, with_empty.by_group)
