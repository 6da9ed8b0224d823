"""Every message has its heading, every heading its message, and every message a test."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SLUG = re.compile(r"^[a-z0-9]+(-[a-z0-9]+)+$")
CARRIER = re.compile(r"(Error|[Pp]roblem|[Ff]ault|[Rr]efus\w*|[Ww]arn\w*|[Nn]ote|_say)$")


@cache
def nodes_of(path: Path) -> list[ast.AST]:
    """All of a module's tree."""
    return list(ast.walk(ast.parse(path.read_text("utf-8"))))


def strings_in(path: Path) -> set[str]:
    """Every string constant in a module."""
    return {
        n.value for n in nodes_of(path) if isinstance(n, ast.Constant) and isinstance(n.value, str)
    }


def slugs_in(path: Path) -> set[str]:
    """Slugs handed to an error or a problem."""
    found = set()
    for node in nodes_of(path):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func).split(".")[-1]
        values = [k.value for k in node.keywords if k.arg == "slug"]
        if CARRIER.search(name) and node.args:
            values.append(node.args[0])
        found |= {
            v.value
            for v in values
            if isinstance(v, ast.Constant) and isinstance(v.value, str) and SLUG.match(v.value)
        }
    return found


SOURCES = sorted((ROOT / "src" / "dryslate").rglob("*.py"))
HEADINGS = re.findall(r"^## (\S+)$", (ROOT / "docs" / "messages.md").read_text("utf-8"), re.M)


def test_every_slug_in_the_code_has_a_heading() -> None:
    slugs = set().union(*(slugs_in(p) for p in SOURCES))
    assert slugs
    assert sorted(slugs - set(HEADINGS)) == []


def test_every_heading_is_a_slug_of_the_code_and_stands_once() -> None:
    strings = set().union(*(strings_in(p) for p in SOURCES))
    assert sorted(set(HEADINGS) - strings) == []
    assert len(HEADINGS) == len(set(HEADINGS))


def test_every_slug_is_provoked_by_a_test() -> None:
    text = "\n".join(p.read_text("utf-8") for p in (ROOT / "tests").rglob("test_*.py"))
    assert sorted(s for s in HEADINGS if s not in text) == []


def test_french_catalogue_has_the_same_headings_and_the_same_commands() -> None:
    english, french = (
        (ROOT / "docs" / name).read_text("utf-8") for name in ("messages.md", "messages.fr.md")
    )
    assert re.findall(r"^## (\S+)$", french, re.M) == HEADINGS
    for slug, one, other in zip(HEADINGS, sections(english), sections(french), strict=True):
        assert other.strip(), slug
        assert code_in(one) <= code_in(other), slug


def sections(text: str) -> list[str]:
    """The text below each heading."""
    return re.split(r"^## \S+$", text, flags=re.M)[1:]


def code_in(text: str) -> set[str]:
    """What is typed as it stands."""
    return {" ".join(code.split()) for code in re.findall(r"`([^`]+)`", text)}
