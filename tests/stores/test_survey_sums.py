"""Sums that a store makes of its rows, against one row after the other in Python."""

from __future__ import annotations

import random
from collections import defaultdict
from dataclasses import fields, replace

import pytest

from dryslate.app.result_tallies import ALL, UNNAMED, tally_units
from dryslate.core.survey.designs import DESIGNS, ROW_KINDS, UnitDesign
from dryslate.core.survey.tally import tally_unit

PERCENT = ("normal_pct", "pale_pct", "bleached_pct", "recently_dead_pct")
SAID = [("", ""), ("Favites", "Favites"), ("Favites sp", "Favites"), ("unlisted", "")]
"""Names as recorded and as they stand now."""


def random_survey(store, rows, chance: random.Random):
    """Units of every design with rows of every kind, some on a photo that was set aside."""
    listed = [
        rows.category("sand"),
        rows.category("massive coral", group="hard coral", is_hard_coral=True),
        rows.category("turf", group="turf"),
        rows.category("massive coral", list_version=2, group="coral", is_hard_coral=True),
    ]
    store.save_visit(rows.visit())
    for letter in "ab":
        store.save_original(rows.original(letter))
        store.save_photo(rows.photo(letter, f"IMG_{letter}.JPG"))
    store.save_set_aside(rows.set_aside("a"))
    store.save_categories(listed)
    for k in range(2 * len(DESIGNS)):
        design = UnitDesign(
            design=DESIGNS[k // 2], searched=("Porites",) if chance.random() < 0.3 else ()
        )
        store.save_unit(rows.unit(f"T{k}", zone=chance.choice([None, "crest"])))
        version = chance.choice([None, 1, 2])
        store.save_unit_design(
            rows.design(unit_id=f"unit T{k}", design=design, list_version=version)
        )
        n = chance.choice([0, 1, 30])
        noted = [random_row(rows, f"unit T{k}", design, chance) for _ in range(n)]
        store.save_survey_rows(noted)
    return listed


def random_row(rows, unit_id, design, chance):
    """One row with what rows may hold; most of it may be blank."""

    def or_blank(value):
        return chance.choice([None, value])

    recorded, now = chance.choice(SAID)
    kind = chance.choice(ROW_KINDS[design.design])
    start = round(chance.uniform(0, 9), 2)
    row = rows.noted(
        kind=kind,
        category=chance.choice(["", "sand", "massive coral", "turf", "not in the list"]),
        name=recorded,
        photo_id=or_blank(rows.sha(chance.choice("ab"))),
        from_m=start,
        to_m=round(start + chance.uniform(0, 1), 2),
        cover_pct=or_blank(chance.choice([0.0, 10.0, 33.3, 100.0])),
        n=or_blank(chance.randint(0, 4)),
        longest_cm=or_blank(chance.uniform(1, 50)),
        across_line_m=or_blank(chance.uniform(0.01, 1)),
        unreadable=chance.choice(["", "", "in shade"]),
        **{name: or_blank(chance.choice([0.0, 25.0])) for name in PERCENT},
        old_dead_pct=chance.choice([None, 0.0, 100.0]),
    )
    return replace(row, unit_id=unit_id, name=now, current_names=(now,) if now else ())


def row_by_row(store, usual):
    """The same sums, with every row read, and the names of corals."""
    aside = {one.photo_id for one in store.photos_set_aside()}
    lists = {version: store.categories(version) for version in (1, 2)} | {None: usual}
    rows = defaultdict(list)
    for noted in store.survey_rows():
        if noted.row.photo_id not in aside:
            rows[noted.unit_id].append(noted)
    found, names = {}, set()
    for stated in store.unit_designs():
        known = {one.category: one for one in lists[stated.list_version]}
        named = [(noted.row, things(noted, known)) for noted in rows[stated.unit_id]]
        names |= {on[-1] for _, on in named if ALL in on}
        tally = tally_unit(stated.design, named)
        for name in stated.design.searched if tally.counts else ():
            tally.counts.setdefault(f"name\t{name}", 0)
        found[stated.unit_id] = tally
    return found, names


def things(noted, known):
    row, one, name = noted.row, known.get(noted.row.category), noted.name or noted.row.name
    if row.unreadable:
        return []
    found = [("category", row.category)] if row.category else []
    if one and one.group != row.category:
        found.append(("group", one.group))
    by_itself = noted.current_names or (row.kind == "colony" and not row.category)
    is_coral = one.is_hard_coral if one else by_itself
    if is_coral and not (name and row.kind == "none_seen"):
        found.append(tuple(ALL.split("\t")))
    if name or is_coral:
        found.append(("name", name) if name else tuple(UNNAMED.split("\t")))
    return ["\t".join(thing) for thing in found]


@pytest.mark.parametrize("seed", range(6))
def test_sums_of_the_store_are_those_of_its_rows(store, rows, seed) -> None:
    usual = random_survey(store, rows, random.Random(seed))[:2]
    wanted, corals = row_by_row(store, usual)
    tallied = tally_units(store, usual)
    found = {one.unit.unit_id: one.tally for group in tallied.groups for one in group.units}
    assert found.keys() == wanted.keys()
    assert tallied.names.keys() == corals | {UNNAMED}
    assert all(
        name.is_listed == (thing != "name\tunlisted") for thing, name in tallied.names.items()
    )
    assert any(tally.unreadable for tally in wanted.values())
    for unit_id, tally in wanted.items():
        for field in (one for one in fields(tally) if one.name != "looked_for"):
            mine, theirs = (getattr(one, field.name) for one in (found[unit_id], tally))
            if field.name in ("on", "read", "unreadable"):
                assert mine == pytest.approx(theirs, rel=1e-12), field.name
            else:
                assert mine == theirs, field.name


def test_sums_are_the_same_to_the_last_digit_in_whatever_order_rows_were_stored(
    store, rows
) -> None:
    usual = random_survey(store, rows, random.Random(3))

    def cover():
        groups = tally_units(store, usual).groups
        return {one.unit.unit_id: (one.tally.on, one.tally.read) for g in groups for one in g.units}

    before, noted = cover(), list(store.survey_rows())
    for unit_id in {row.unit_id for row in noted}:
        store.delete_survey_rows(unit_id)
    random.Random(1).shuffle(noted)
    store.save_survey_rows(replace(row, row_no=None) for row in noted)
    assert cover() == before
    assert any(read % 1 for _, read in before.values())


def test_rows_are_counted_by_unit_without_being_read(store, rows) -> None:
    rows.fill(store)
    assert dict(store.n_survey_rows()) == {"unit T1": 2}
    assert store.has_survey_rows("unit T1")
    assert not store.has_survey_rows("unit nowhere")
    assert store.categories_in_use() == {"sand"}


def test_where_rows_were_written_and_how_often_names_were_noted(store, rows) -> None:
    random_survey(store, rows, random.Random(5))
    noted = store.survey_rows()
    said = {(r.unit_id, r.row.place, r.row.photo_id or "") for r in noted}
    found = list(store.written_in())
    assert len(found) == len(said) > 0
    assert set(found) == said
    named: dict[str, int] = defaultdict(int)
    for r in noted:
        if (called := r.name or r.row.name) and r.row.kind != "none_seen":
            named[called] += 1 if r.row.n is None else r.row.n
    assert dict(store.n_named()) == dict(named)
    assert {"Favites", "unlisted"} <= set(named)
