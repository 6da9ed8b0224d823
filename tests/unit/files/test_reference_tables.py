"""Built-in cards and tables, and the cards a project adds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dryslate.base.errors import FormatError, InputError
from dryslate.files.reference_tables import FileReferenceTables
from dryslate.formats.card_toml import format_card

BUILT_IN = FileReferenceTables()


@pytest.fixture
def trip(tmp_path):
    (tmp_path / "cards").mkdir()
    return tmp_path


def test_five_cards_are_built_in_and_the_field_card_comes_first() -> None:
    names = [c.name for c in BUILT_IN.cards()]
    assert names[0] == "field"
    assert {"field", "large", "stick", "target24", "target24-2005"} <= set(names)


def test_unknown_card_is_told_the_nearest_name() -> None:
    with pytest.raises(InputError) as caught:
        BUILT_IN.card("feild")
    assert caught.value.slug == "card-unknown"
    assert "Did you mean field" in caught.value.fix


def test_project_card_takes_the_place_of_the_design(trip) -> None:
    mine = replace(BUILT_IN.card("field"), serial="A17", status="measured")
    (trip / "cards" / "field.toml").write_text(format_card(mine), encoding="utf-8")
    tables = FileReferenceTables(trip)
    assert tables.card("field").serial == "A17"
    assert tables.design("field").serial == ""
    assert [c.serial for c in tables.cards() if c.name == "field"] == ["A17"]


def test_design_with_the_markers_of_a_project_card_is_not_searched_for(trip) -> None:
    mine = replace(BUILT_IN.card("field"), name="ours", status="measured")
    (trip / "cards" / "ours.toml").write_text(format_card(mine), encoding="utf-8")
    tables = FileReferenceTables(trip)
    names = [c.name for c in tables.cards()]
    assert "ours" in names
    assert "field" not in names
    assert tables.card("field").name == "field"


def test_two_files_with_one_card_name_are_refused(trip) -> None:
    text = format_card(replace(BUILT_IN.card("field"), name="ours"))
    for name in ("a.toml", "b.toml"):
        (trip / "cards" / name).write_text(text, encoding="utf-8")
    with pytest.raises(FormatError) as caught:
        FileReferenceTables(trip).cards()
    assert caught.value.slug == "card-name-twice"


def test_card_with_overlapping_patches_is_refused_with_its_file(trip) -> None:
    card = BUILT_IN.card("field")
    moved = replace(card.patches[0], x_mm=card.patches[1].x_mm, y_mm=card.patches[1].y_mm)
    bad = replace(card, patches=(moved, *card.patches[1:]))
    (trip / "cards" / "bad.toml").write_text(format_card(bad), encoding="utf-8")
    with pytest.raises(FormatError) as caught:
        FileReferenceTables(trip).cards()
    assert "overlap" in caught.value.slug
    assert "bad.toml" in caught.value.message


def test_card_file_that_is_not_there_or_no_text_is_refused(tmp_path) -> None:
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00\x01")
    for path in (tmp_path / "a.toml", tmp_path / "b.toml"):
        with pytest.raises(InputError) as caught:
            BUILT_IN.card(str(path))
        assert caught.value.slug == "card-file-unreadable"
        with pytest.raises(InputError) as caught:
            BUILT_IN.read_text(path)
        assert caught.value.slug == "text-file-unreadable"


def test_saved_card_reads_back_equal_and_the_older_one_is_kept(trip) -> None:
    tables = FileReferenceTables(trip)
    card = replace(BUILT_IN.card("stick"), serial="S1")
    path = tables.place_for("stick")
    assert tables.save_card(card, path) is None
    assert tables.card("stick") == card
    newer = replace(card, serial="S2")
    older = tables.save_card(newer, path)
    assert older is not None
    assert FileReferenceTables().card(str(older)) == card
    assert tables.card("stick") == newer


def test_file_outside_the_project_is_never_written_over(tmp_path) -> None:
    card = BUILT_IN.card("stick")
    path = tmp_path / "stick.toml"
    path.write_text("mine")
    with pytest.raises(InputError) as caught:
        BUILT_IN.save_card(card, path)
    assert caught.value.slug == "card-file-exists"
    assert path.read_text() == "mine"
    with pytest.raises(InputError) as caught:
        BUILT_IN.save_card(card, path / "below.toml")
    assert caught.value.slug == "card-not-written"


def test_picture_that_is_gone_is_named(trip) -> None:
    card = replace(BUILT_IN.card("target24"), name="mine", picture="mine.png")
    (trip / "cards" / "mine.toml").write_text(format_card(card), encoding="utf-8")
    tables = FileReferenceTables(trip)
    with pytest.raises(InputError) as caught:
        tables.picture(tables.card("mine"))
    assert caught.value.slug == "card-picture-missing"
    assert tables.picture(tables.card("field")) is None


def test_key_changes_with_serial_and_medium() -> None:
    card = BUILT_IN.card("field")
    keys = {
        BUILT_IN.card_key(c)
        for c in (card, replace(card, serial="1"), replace(card, medium="water"))
    }
    assert len(keys) == 3
    assert BUILT_IN.card_key(card) == FileReferenceTables().card_key(card)


def test_tables_carry_a_source_in_every_row() -> None:
    rows = BUILT_IN.table("densities")
    assert {"polypropylene", "stainless-steel"} <= {r["material"] for r in rows}
    assert all(r["source"] and float(r["density_g_cm3_u"]) > 0 for r in rows)
    with pytest.raises(InputError) as caught:
        BUILT_IN.table("nothing")
    assert caught.value.slug == "table-unknown"
