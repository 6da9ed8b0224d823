"""Positions and what a project says of itself, in the stores."""

from __future__ import annotations

import pytest

from dryslate.base.errors import StoreError


def test_places_people_and_names_come_back(store, rows) -> None:
    rows.fill(store)
    assert store.site_places() == (rows.site_place(),)
    assert store.unit_places() == (rows.unit_place(),)
    assert store.project_people() == (rows.person(),)
    assert store.name_ids() == (rows.name_id(),)
    assert dict(store.project_facts()) == {"title": "Two reefs"}
    assert store.project_id() == store.project_id() != ""
    assert "Tevi" in {one.observer for one in store.observers()}


def test_changed_place_is_logged_and_half_a_position_is_none(store, rows) -> None:
    rows.fill(store)
    store.save_site_place(rows.site_place(latitude_deg=None, longitude_deg=None))
    assert store.site_places()[0].latitude_deg is None
    assert [c.what for c in store.changes("site_places")] == ["insert", "update"]
    store.save_project_fact("title", "")
    assert dict(store.project_facts()) == {}


def test_place_of_a_unit_that_is_not_there_is_refused_and_goes_with_its_unit(store, rows) -> None:
    rows.fill(store)
    with pytest.raises(StoreError):
        store.save_unit_place(rows.unit_place(unit_id="unit nowhere"))
    with store.write():
        store.save_unit(rows.unit("T9"))
        store.save_unit_place(rows.unit_place(unit_id="unit T9"))
    store.delete_unit("unit T9")
    assert [one.unit_id for one in store.unit_places()] == ["unit T1"]


def test_list_of_names_is_replaced_whole_and_a_role_is_taken_out(store, rows) -> None:
    rows.fill(store)
    store.replace_name_ids([rows.name_id(name="Porites", scientific_name="Porites")])
    assert [one.name for one in store.name_ids()] == ["Porites"]
    store.delete_project_person("Ines Varro", "contact")
    assert store.project_people() == ()
    assert [c.what for c in store.changes("project_people")] == ["insert", "delete"]
