"""Card definition files: read, written, and faults named with their place."""

from __future__ import annotations

from importlib import resources

import pytest

from dryslate.base.errors import FormatError
from dryslate.formats.card_toml import format_card, parse_card

FILES = sorted(
    f.name for f in resources.files("dryslate").joinpath("data", "cards").iterdir()
    if f.name.endswith(".toml")
)  # fmt: skip


def text_of(name: str) -> str:
    return resources.files("dryslate").joinpath("data", "cards", name).read_text("utf-8")


@pytest.mark.parametrize("name", FILES)
def test_built_in_file_survives_writing_and_reading(name: str) -> None:
    card = parse_card(text_of(name), name)
    assert parse_card(format_card(card), name) == card


def test_numbers_stay_on_one_line_for_people() -> None:
    text = format_card(parse_card(text_of("field.toml"), "field.toml"))
    assert "lab_d65 = [96.0, 0.0, 0.0]" in text


def test_what_is_no_toml_is_refused_with_the_file_name() -> None:
    with pytest.raises(FormatError, match=r"mine\.toml") as refused:
        parse_card("name = field", "mine.toml")
    assert refused.value.slug == "card-file-not-toml"


def test_all_faults_of_a_file_are_named_with_row_and_field() -> None:
    text = text_of("stick.toml")
    text = text.replace('medium = "air"', 'medium = "milk"')
    text = text.replace("width_mm = 60.0", "")
    text = text.replace("x_mm = 12.1", 'x_mm = "left"', 1)
    text = text.replace("hue", "hue") + "\ncolor = 3\n"
    with pytest.raises(FormatError) as refused:
        parse_card(text, "mine.toml")
    assert refused.value.slug == "card-file-wrong"
    for words in ("medium: expected air or water, found 'milk'", "width_mm: expected a value",
                  "patches[1].x_mm: expected a number, found 'left'", "color"):  # fmt: skip
        assert words in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("id = 301", "id = 30.5", "markers[1].id: expected a whole number"),
        ("id = 301", "id = true", "markers[1].id: expected a whole number"),
        ("lab_d65 = [96.0, 0.0, 0.0]", "lab_d65 = [96.0, nan, 0.0]", "three numbers"),
        ('role = "neutral"', 'role = "grey"', "expected neutral or colour"),
        ("[thumb_zone]", "[[thumb_zone]]", "thumb_zone.: expected a table"),
    ],
)
def test_wrong_kind_of_value_is_named(old: str, new: str, words: str) -> None:
    text = text_of("stick.toml")
    assert old in text
    with pytest.raises(FormatError) as refused:
        parse_card(text.replace(old, new, 1), "mine.toml")
    assert words in str(refused.value)
