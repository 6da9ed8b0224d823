"""What must hold of every identification, on the genus tables as shipped."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryslate.core.identify.answer import identify
from dryslate.core.identify.evidence import MEASURES, Evidence, Size
from dryslate.core.identify.model import Model, build_model
from dryslate.core.identify.posterior import score_evidence
from dryslate.files.reference_tables import FileReferenceTables

SWITCHES = {"growth_form", "attachment", "coloniality"}
"""Growth form is weighed with sizes; the others say whether a small coral is a juvenile."""


@cache
def model() -> Model:
    tables = FileReferenceTables()
    return build_model(tables.taxa()[0], tables.error_rates(), "indo_pacific")


@st.composite
def evidences(draw: st.DrawFn) -> Evidence:
    """Any subset of characters, several states now and then, sizes now and then."""
    characters = model().taxa.characters
    names = draw(st.lists(st.sampled_from(sorted(characters)), unique=True, max_size=8))
    seen, not_seen = {}, {}
    for name in names:
        some = st.sets(st.sampled_from(sorted(characters[name].states)), min_size=1, max_size=2)
        target = seen if draw(st.integers(0, 3)) else not_seen
        target[name] = frozenset(draw(some))
    measures = draw(st.lists(st.sampled_from(MEASURES), unique=True, max_size=2))
    sizes = {
        m: Size(value_mm=draw(st.floats(0.05, 2000)), u_mm=draw(st.floats(0, 5))) for m in measures
    }
    return Evidence(region="indo_pacific", seen=seen, not_seen=not_seen, sizes=sizes)


def p_genus(evidence: Evidence) -> np.ndarray:
    return score_evidence([evidence], model()).p_genus[0]


@settings(max_examples=60, deadline=None)
@given(evidences())
def test_posterior_sums_to_one_and_leaves_every_genus_in(evidence: Evidence) -> None:
    p = p_genus(evidence)
    assert p.sum() == pytest.approx(1.0)
    assert (p > 0).all()


@settings(max_examples=40, deadline=None)
@given(evidences(), st.randoms(use_true_random=False))
def test_order_of_evidence_does_not_matter(evidence: Evidence, random: object) -> None:
    def shuffled(mapping: dict[str, object]) -> dict[str, object]:
        keys = list(mapping)
        random.shuffle(keys)  # type: ignore[attr-defined]  # hypothesis' Random
        return {k: mapping[k] for k in keys}

    other = replace(
        evidence,
        seen=shuffled(dict(evidence.seen)),
        not_seen=shuffled(dict(evidence.not_seen)),
        sizes=shuffled(dict(evidence.sizes)),
    )
    assert p_genus(other) == pytest.approx(p_genus(evidence), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(evidences(), st.data())
def test_could_not_tell_changes_nothing(evidence: Evidence, data: st.DataObject) -> None:
    open_ = sorted(set(model().taxa.characters) - set(evidence.seen) - set(evidence.not_seen))
    unclear = frozenset(data.draw(st.sets(st.sampled_from(open_), max_size=4)))
    assert p_genus(replace(evidence, unclear=unclear)) == pytest.approx(p_genus(evidence))


@settings(max_examples=60, deadline=None)
@given(evidences(), st.data())
def test_no_single_slip_can_exclude_a_genus(evidence: Evidence, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(model().taxa.characters)))
    states = sorted(model().taxa.characters[name].states)
    bare = replace(
        evidence,
        seen={c: s for c, s in evidence.seen.items() if c != name},
        not_seen={c: s for c, s in evidence.not_seen.items() if c != name},
        sizes={} if name in SWITCHES else evidence.sizes,
    )
    slipped = replace(
        bare, seen={**bare.seen, name: frozenset({data.draw(st.sampled_from(states))})}
    )
    before, after = p_genus(bare), p_genus(slipped)
    # every entry of the confusion is at least slip / n: that bounds the odds of any two genera
    bound = (len(states) / model().rates.slip) ** model().rates.temperature
    odds = (after / before) / (after / before).max()
    assert odds.min() >= 1.0 / bound * (1 - 1e-9)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(MEASURES), st.floats(0.01, 10_000), st.floats(0, 3))
def test_no_size_can_exclude_a_genus(measure: str, value_mm: float, u_mm: float) -> None:
    bare = Evidence(seen={"coloniality": frozenset({"solitary"})})
    p = p_genus(replace(bare, sizes={measure: Size(value_mm=value_mm, u_mm=u_mm)}))
    ratio = p / p_genus(bare)
    # the narrowest kind (sd 0.15) against the tail (sd 2.4 or more) at its floor of 1e-6
    assert (ratio / ratio.max()).min() > 1e-9
    if math.log(0.1) < math.log(value_mm) < math.log(300):
        assert (ratio / ratio.max()).min() > 1e-5


@settings(max_examples=25, deadline=None)
@given(evidences())
def test_answer_keeps_its_promises(evidence: Evidence) -> None:
    answer = identify(evidence, model())
    p = dict(zip(model().genera, p_genus(evidence).tolist(), strict=True))
    inside = sum(p[g] for g in answer.set95)
    assert inside >= 0.95 - 1e-9
    assert inside - p[answer.set95[-1]] < 0.95
    asked = set(evidence.seen) | set(evidence.not_seen) | set(evidence.sizes)
    for following in answer.next:
        assert following.character not in asked
        assert following.seen_with in ("eye", "lens", "scale")
        assert following.expected_bits >= 0
    for ranked in answer.ranked:
        assert all(r.log_odds > 0 for r in ranked.for_)
        assert all(r.log_odds < 0 for r in ranked.against)
    assert 0.0 <= answer.memory_share <= 1.0
