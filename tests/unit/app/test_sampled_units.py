"""The units of a visit as the pages on records list them."""

from __future__ import annotations

from dryslate.app.sampled_units import sampled_of_visit
from dryslate.app.set_aside import set_aside
from dryslate.app.unit_words import UnitWords
from dryslate.app.units import mark_slates, move_photos


def test_photos_of_a_unit_are_counted_as_on_the_strip_without_slates(memory_store, dive) -> None:
    store, who = memory_store, "Ines Varro"
    dive.add_visit(store)
    ids = dive.add_photos(store, [("slate", 0), ("a", 1), ("b", 2), ("blurred", 3)])
    mark_slates(store, ids[:1], UnitWords(name="T1"), who)
    (unit,) = store.units()
    move_photos(store, ids[1:], unit.unit_id)
    set_aside(store, ids[3:], ("blurred", ""), (who, "2024-05-19T12:00:00Z"))
    (found,) = sampled_of_visit(store, dive.VISIT)
    assert found.n_photos == 2
