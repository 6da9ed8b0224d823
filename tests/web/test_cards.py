"""Cards on the pages: print, characterise, compare."""

from __future__ import annotations

import re

import pytest

from dryslate import wiring


def photo_id(project, name: str) -> str:
    with wiring.survey_store(project, write=False) as store:
        return next(p.photo_id for p in store.photos() if p.files[0].original_name == name)


def test_every_known_card_is_listed_with_its_picture(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/cards").text
    for name in ("field-007", "large", "stick", "target24"):
        assert f'href="/cards/{name}"' in html
    answer = pages.get("/cards/stick/picture.png")
    assert answer.content.startswith(b"\x89PNG")


def test_card_shows_its_values_and_prints(client_of, read_only_project) -> None:
    pages = client_of(read_only_project)
    html = pages.get("/cards/field-007").text
    assert "measured, in water" in html
    answer = pages.get("/cards/field/print.pdf?paper=a4&serial=12")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    answer = pages.get("/cards/stick/print.pdf?paper=napkin")
    assert answer.json()["problems"][0]["slug"] == "paper-unknown"


def test_card_that_is_not_known_is_told(client_of, read_only_project) -> None:
    answer = client_of(read_only_project).get("/cards/nothing")
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "card-unknown"


def test_measured_table_makes_a_card_of_the_project(client_of, own_project) -> None:
    pages = client_of(own_project)
    rows = wiring.reference_tables(own_project).card("field").patches
    table = "patch_id,lab_l,lab_a,lab_b\n" + "\n".join(
        f"{p.patch_id},{p.lab_d65[0] * 0.97 + 1.0:.2f},{p.lab_d65[1]:.2f},{p.lab_d65[2]:.2f}"
        for p in rows
    )
    fields = {"table": table, "illuminant": "D65", "medium": "air", "serial": "31"}
    answer = pages.post("/cards/field/readings", data=fields)
    assert answer.status_code == 200, answer.text
    assert str(own_project) not in answer.text
    made = [c for c in wiring.reference_tables(own_project).cards() if c.serial == "31"]
    assert [c.status for c in made] == ["measured"]


def test_table_that_is_none_is_refused_with_its_slug(client_of, own_project) -> None:
    answer = client_of(own_project).post("/cards/field/readings", data={"table": "nothing here"})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["slug"] == "cgats-not-one"
    assert "/tmp" not in answer.text


def test_twin_needs_two_cards_in_one_photo(client_of, own_project) -> None:
    pages = client_of(own_project)
    one = photo_id(own_project, "DRY_0001.JPG")
    answer = pages.post("/cards/field-007/compare", data={"dry": one, "dive": one})
    assert answer.json()["problems"][0]["slug"] == "card-twin-not-seen"
    other = photo_id(own_project, "DRY_0002.JPG")
    html = pages.post("/cards/field-007/compare", data={"dry": one, "dive": other}).text
    assert "CIEDE2000" in html


def test_photo_of_another_project_is_refused(client_of, own_project) -> None:
    pages = client_of(own_project)
    for path, fields in (
        ("beside", {"known": "target24", "photo": "0" * 64}),
        ("tray", {"dry": "x", "filled": "x", "ptfe_dry": "1,1", "ptfe_filled": "1,1"}),
        ("compare", {"dry": "x", "dive": "x"}),
    ):
        answer = pages.post(f"/cards/field/{path}", data=fields)
        assert answer.status_code == 404
        assert answer.json()["problems"][0]["slug"] == "photo-not-in-project"


def test_help_has_every_topic_and_every_message(client_of, read_only_project, repo_root) -> None:
    pages = client_of(read_only_project)
    topics = re.findall(r'href="(/help/[a-z]+)"', pages.get("/help").text)
    assert len(topics) >= 10
    for path in topics:
        assert pages.get(path).status_code == 200
    slugs = re.findall(r"^## (\S+)$", (repo_root / "docs" / "messages.md").read_text(), re.M)
    html = pages.get("/help/messages").text
    assert [slug for slug in slugs if f'id="{slug}"' not in html] == []
    assert pages.get("/help/nothing").status_code == 404


def test_catalogue_that_did_not_come_with_the_build_is_told(monkeypatch, tmp_path) -> None:
    import dryslate
    from dryslate.base.errors import MissingPartError
    from dryslate.files.help_pages import read_messages

    monkeypatch.setattr(dryslate, "__file__", str(tmp_path / "a" / "b" / "c.py"))
    with pytest.raises(MissingPartError) as caught:
        read_messages()
    assert caught.value.slug == "help-missing"
