"""Weights of zones in the stores."""

from __future__ import annotations

import pytest

from dryslate.base.errors import StoreError


def test_weights_come_back_and_are_replaced_whole(store, rows) -> None:
    rows.fill(store)
    assert [one.zone for one in store.zone_weights(rows.SITE)] == ["crest", "slope"]
    assert store.zone_weights("nowhere") == ()
    store.replace_zone_weights(rows.SITE, [rows.zone_weight(weight=2.0), rows.zone_weight("flat")])
    assert [(o.zone, o.weight) for o in store.zone_weights()] == [("crest", 2.0), ("flat", 1200.0)]
    assert "flat" in {zone.zone for zone in store.zones(rows.SITE)}
    told = [c.what for c in store.changes("zone_weights")]
    assert sorted(told) == ["delete", "insert", "insert", "insert", "update"]


def test_sqlite_refuses_weights_without_source_or_below_zero(rows, tmp_path) -> None:
    from dryslate.store.sqlite import SqliteSurveyStore

    with SqliteSurveyStore.create(tmp_path) as store:
        rows.fill(store)
        for wrong in ({"weight": -1.0}, {"source": ""}, {"measure": "acres"}):
            with pytest.raises(StoreError):
                store.replace_zone_weights(rows.SITE, [rows.zone_weight(**wrong)])
