"""Shares of a coral's surface: what is a whole, and what stays unknown."""

from __future__ import annotations

import pytest

from dryslate.app.coral_health import SHARES, check_health

WHOLE = dict(zip(SHARES, (60.0, 20.0, 15.0, 5.0, 0.0), strict=True))


def slugs(shares):
    return [p.slug for p in check_health(shares)]


def test_five_shares_make_a_hundred():
    assert slugs(WHOLE) == []
    assert slugs({**WHOLE, "old_dead_pct": 1.0}) == ["health-sum-not-100"]
    assert slugs({**WHOLE, "normal_pct": 59.0}) == ["health-sum-not-100"]
    assert slugs({**WHOLE, "normal_pct": 59.95}) == []  # rounded by hand


def test_what_was_not_judged_needs_room_and_is_not_zero():
    assert slugs({}) == []
    assert slugs({"bleached_pct": 30.0}) == []
    assert slugs({**WHOLE, "normal_pct": None}) == []
    assert slugs({"bleached_pct": 80.0, "pale_pct": 30.0}) == ["health-sum-not-100"]


@pytest.mark.parametrize("share", [-1.0, 101.0, float("nan"), float("inf")])
def test_an_impossible_share_is_refused(share):
    assert slugs({"pale_pct": share}) == ["health-share-impossible"]
