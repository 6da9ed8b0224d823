"""The reference pages say what the code says."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def pages_module():
    spec = importlib.util.spec_from_file_location("docs_pages", ROOT / "tools" / "docs_pages.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", sorted(pages_module().PAGES))
def test_made_page_is_not_stale(name: str) -> None:
    text = (ROOT / "docs" / name).read_text("utf-8")
    assert text == pages_module().PAGES[name](), "run python3 tools/docs_pages.py"


def test_every_rule_of_an_interval_has_its_page() -> None:
    from dryslate.core.survey.methods import RULES, Figure

    assert [rule.figure for rule in RULES] == list(Figure)
    for rule in RULES:
        page = (ROOT / "docs" / "estimators" / rule.page).read_text("utf-8")
        for heading in ("## Formula", "## Assumptions", "## Which way it errs", "## Sources"):
            assert heading in page, f"{rule.page}: {heading}"


def test_every_command_and_option_has_its_words() -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert "| — |" not in text
    assert not re.findall(r"^\| .* \|  ?\|$", text, re.MULTILINE)
    assert "\n—\n" not in text


def test_every_page_the_readme_names_exists() -> None:
    for page in (ROOT / "README.md", ROOT / "CONTRIBUTING.md"):
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
            assert (ROOT / target).exists(), f"{page.name} names {target}"
