"""Listing a memory card: everything on it, in order, and nothing from elsewhere."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from dryslate.base.errors import InputError
from dryslate.files.card_source import list_sources


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    for name in ("DCIM/101A/B.JPG", "DCIM/100A/B.JPG", "DCIM/100A/a.mp4", "notes.txt"):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(name)
    return folder


def names(card: Path, *more: Path) -> list[str]:
    return [f.card_path for f in list_sources([card, *more], []).files]


def test_files_of_every_kind_are_listed_with_their_paths_in_order(card) -> None:
    assert names(card) == ["notes.txt", "DCIM/100A/B.JPG", "DCIM/100A/a.mp4", "DCIM/101A/B.JPG"]
    file = list_sources([card], []).files[0]
    assert (file.name, file.size_bytes) == ("notes.txt", 9)


def test_hidden_files_and_folders_with_odd_names_are_listed(card) -> None:
    odd = card / "looks like a photo.JPG"
    odd.mkdir()
    (odd / ".hidden").write_text("x")
    assert "looks like a photo.JPG/.hidden" in names(card)


def test_single_files_and_folders_may_be_mixed_and_nothing_is_listed_twice(card) -> None:
    listing = list_sources([card / "DCIM/100A/B.JPG", card / "DCIM", card], []).files
    assert [f.card_path for f in listing] == [
        "B.JPG",
        "100A/a.mp4",
        "101A/B.JPG",
        "notes.txt",
    ]


def test_links_are_not_followed_and_those_that_lead_out_are_named(card, tmp_path) -> None:
    (tmp_path / "private").mkdir()
    (tmp_path / "private" / "letter.txt").write_text("private")
    (card / "out").symlink_to(tmp_path / "private")
    (card / "out.txt").symlink_to(tmp_path / "private" / "letter.txt")
    (card / "in.txt").symlink_to(card / "notes.txt")
    (card / "broken").symlink_to(card / "nothing")
    listing = list_sources([card], [])
    assert len(listing.files) == 4
    found = {Path(p.place).name: p.severity for p in listing.problems}
    assert found == {"out": "warning", "out.txt": "warning", "in.txt": "note", "broken": "warning"}
    assert {p.slug for p in listing.problems} == {"source-link-skipped"}


def test_memory_card_given_by_a_link_is_taken_as_meant(card, tmp_path) -> None:
    (tmp_path / "link").symlink_to(card)
    assert len(names(tmp_path / "link")) == 4


def test_pipe_on_the_card_is_passed_over(card) -> None:
    os.mkfifo(card / "pipe")
    listing = list_sources([card], [])
    assert [p.slug for p in listing.problems] == ["source-not-a-file"]
    assert len(listing.files) == 4


def test_folder_that_cannot_be_listed_is_named_and_the_rest_goes_on(card, monkeypatch) -> None:
    scan = os.scandir

    def failing(path):
        if str(path).endswith("100A"):
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(os, "scandir", failing)
    listing = list_sources([card], [])
    assert [f.card_path for f in listing.files] == ["notes.txt", "DCIM/101A/B.JPG"]
    assert [p.slug for p in listing.problems] == ["source-folder-unreadable"]
    assert listing.problems[0].place.endswith("100A")


def test_file_that_cannot_be_looked_at_is_named(card, monkeypatch) -> None:
    looking = Path.lstat

    def failing(path: Path) -> os.stat_result:
        if path.name == "a.mp4":
            raise OSError(5, "Input/output error")
        return looking(path)

    monkeypatch.setattr(Path, "lstat", failing)
    assert [p.slug for p in list_sources([card], []).problems] == ["source-unreadable"]


def test_name_that_is_no_text_can_still_be_stored(card) -> None:
    try:
        (Path(os.fsdecode(os.fsencode(card) + b"/caf\xe9.jpg"))).write_text("x")
    except OSError:
        pytest.skip("this file system takes only names that are text")
    assert "caf\\xe9.jpg" in names(card)
    "".join(names(card)).encode("utf-8")


def test_source_that_is_not_there_stops_the_work(card) -> None:
    with pytest.raises(InputError, match="source-not-found"):
        list_sources([card, card / "nothing"], [])


def test_card_cannot_be_taken_into_itself(card) -> None:
    for folder in (card, card / "trip"):
        with pytest.raises(InputError, match="take-into-itself"):
            list_sources([card], [folder])
    (card / "originals" / "ab").mkdir(parents=True)
    with pytest.raises(InputError, match="take-into-itself"):
        list_sources([card / "originals" / "ab"], [card])


def test_folder_of_photos_inside_the_project_may_be_taken_in(card) -> None:
    assert len(list_sources([card / "DCIM"], [card]).files) == 3
