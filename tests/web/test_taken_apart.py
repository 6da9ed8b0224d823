"""Templates taken apart are kept between starts; a page never depends on it."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from jinja2 import DictLoader, Environment

from dryslate.web import pages
from dryslate.web.taken_apart import TemplatesTakenApart, templates_taken_apart


def test_template_is_taken_apart_once_and_anew_when_it_changes(tmp_path: Path, monkeypatch) -> None:
    texts = {"a.html": "one {{ n }}"}
    kept = TemplatesTakenApart(str(tmp_path))

    def shown() -> str:
        return (
            Environment(loader=DictLoader(texts), bytecode_cache=kept)
            .get_template("a.html")
            .render(n=1)
        )

    assert shown() == "one 1"
    with monkeypatch.context() as patch:
        patch.setattr(Environment, "_generate", lambda *a, **k: pytest.fail("taken apart again"))
        assert shown() == "one 1"
    texts["a.html"] = "two {{ n }}"
    assert shown() == "two 1"


def test_folder_that_goes_away_costs_no_page(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()
    environment = Environment(
        loader=DictLoader({"a.html": "one"}), bytecode_cache=TemplatesTakenApart(str(folder))
    )
    folder.rmdir()
    assert environment.get_template("a.html").render() == "one"


def test_without_a_safe_place_nothing_is_kept(monkeypatch) -> None:
    def refused() -> str:
        raise FileNotFoundError("no usable temporary directory")

    monkeypatch.setattr(tempfile, "gettempdir", refused)
    assert templates_taken_apart() is None


def test_what_is_kept_serves_every_language(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(pages, "templates_taken_apart", lambda: TemplatesTakenApart(str(tmp_path)))
    said = {}
    for language in ("en", "fr"):
        environment = pages._environment.__wrapped__(language)
        environment.loader = DictLoader({"a.html": "{{ 1234.5|number }} {{ '2031-05-04'|day }}"})
        said[language] = environment.get_template("a.html").render()
    assert said["en"] == "1,234.5 4 May 2031"
    assert said["fr"] == "1\u202f234,5 4 mai 2031"
