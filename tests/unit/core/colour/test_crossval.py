"""Groups that are left out, and the choice between fits."""

from __future__ import annotations

import numpy as np
import pytest

from dryslate.core.card.definition import Patch
from dryslate.core.colour.crossval import Candidate, Trial, choose_trial, hue_groups
from dryslate.core.colour.estimate import Belief

BELIEF = Belief(mean=np.zeros(16), precision=np.eye(16))


def patch(
    name: str, lab: tuple[float, float, float], role: str = "colour", group: str = ""
) -> Patch:
    return Patch(
        patch_id=name, x_mm=0, y_mm=0, width_mm=1, height_mm=1, role=role, lab_d65=lab,
        hue_group=group,
    )  # fmt: skip


def trial(fit: str, by_group: list[float], *, has_tone: bool = False) -> Trial:
    return Trial(
        candidate=Candidate(fit=fit, has_tone=has_tone, belief=BELIEF, shares=np.ones(1)),
        theta=np.zeros(16),
        covariance=np.eye(16),
        left_out_de00=np.ones(3),
        by_group=np.array(by_group),
    )


def test_every_colour_is_left_out_exactly_once_and_twins_stay_together() -> None:
    hues = np.radians(np.arange(0, 360, 30))
    patches = [patch(f"c{i}", (50, 30 * np.cos(h), 30 * np.sin(h))) for i, h in enumerate(hues)]
    patches += [
        patch(f"g{i}", (level, 0, 0), "neutral") for i, level in enumerate((20, 50, 51, 90))
    ]
    groups = hue_groups(patches)
    assert sorted(np.concatenate(groups).tolist()) == list(range(16))
    assert len(groups) == 8  # six of hue, two of grey
    assert any({13, 14} <= set(group.tolist()) for group in groups)


def test_neighbouring_hues_fall_into_one_group() -> None:
    patches = [
        patch(f"c{i}", (50, 30 * np.cos(h), 30 * np.sin(h)))
        for i, h in enumerate((0.1, 3.0, 0.2, 2.9))
    ]
    found = {frozenset(g.tolist()) for g in hue_groups(patches) if len(g)}
    assert found == {frozenset({0, 2}), frozenset({1, 3})}


def test_named_hue_groups_of_the_card_are_used() -> None:
    patches = [
        patch("a", (50, 30, 0), group="red"),
        patch("b", (50, 0, 30), group="x"),
        patch("c", (50, 30, 1), group="x"),
    ]
    assert [g.tolist() for g in hue_groups(patches) if len(g)] == [[0], [1, 2]]


def test_simplest_fit_within_the_standard_error_wins() -> None:
    simple = trial("neutral_gain", [2.0, 3.1, 4.0])
    best = trial("affine", [2.3, 2.6, 4.0])
    assert choose_trial([simple, best]) is simple


def test_fuller_fit_wins_a_tie_where_a_prior_holds_it() -> None:
    simple = trial("neutral_gain", [2.0, 3.1, 4.0])
    fuller = trial("affine", [2.3, 2.75, 4.08])
    assert simple.by_group.mean() < fuller.by_group.mean()
    assert choose_trial([simple, fuller]) is simple
    assert choose_trial([simple, fuller], is_informed=True) is fuller


def test_clearly_better_fit_wins() -> None:
    simple = trial("neutral_gain", [4.0, 5.1, 6.0])
    best = trial("affine", [2.0, 3.0, 4.0])
    assert choose_trial([simple, best]) is best


def test_simplicity_may_not_cost_more_than_five_per_cent() -> None:
    simple = trial("neutral_gain", [1.0, 9.0, 3.0])  # far within its large standard error
    best = trial("affine", [3.0, 5.0, 3.0])
    assert simple.by_group.mean() > 1.05 * best.by_group.mean()
    assert choose_trial([simple, best]) is best


def test_better_tone_of_one_fit_goes_forward() -> None:
    straight, bent = (
        trial("affine", [3.0, 3.0, 3.0]),
        trial("affine", [2.0, 2.0, 2.0], has_tone=True),
    )
    assert choose_trial([straight, bent]) is bent


def test_score_is_the_mean_over_groups_with_its_standard_error() -> None:
    mean, error = trial("affine", [1.0, 2.0, 3.0]).score
    assert mean == pytest.approx(2.0)
    assert error == pytest.approx(1.0 / np.sqrt(3.0))
