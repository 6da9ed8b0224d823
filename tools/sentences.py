"""
Finds the sentences that the program's own code says of problems: where they can be translated.

The core is English and knows nothing of languages. What it says of a problem is a text with
values in it, an f-string; here each becomes a template with named places, such as
``the shares make {total} %, not 100 %``, and `dryslate.web.said` finds the template again in what
is to be shown. A sentence that is not found is shown in English and marked as such.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "dryslate"
LEFT_OUT = (
    "cli/",
    "demo/",
    "batch/",
    "formats/taxa_",
    "core/identify/taxa_checks.py",
    "web/server.py",
)
"""What no page shows: the command line's own words, the demo, and writing genus tables."""
WHOLE = (
    "app/team_hit_rate.py",
    "app/wiping.py",
    "core/identify/verdict.py",
    "files/drives.py",
)
"""Modules whose every text is said to people, without being a problem."""

SAID_NAMES = ("REFUSALS",)
"""Tables of sentences."""
CARRIER = re.compile(
    r"(Error|[Pp]roblem|[Ff]ault|[Rr]efus\w*|[Rr]eject\w*|_note|_say|unknown_name)$"
)
NOT_SAID = re.compile(r"^(Value|Type|Attribute|Key|OS|Operational|Integrity|LinAlg)\w*Error$")
SLUG = re.compile(r"^[a-z0-9]+(-[a-z0-9]+)+$")
Piece = tuple[bool, str]
"""A piece of a text: whether it is a value's name, and the words or the name."""
MOST_VARIANTS = 12


def sentences() -> Iterator[tuple[str, str]]:
    """Yield each template with the module it stands in."""
    for path in sorted(SOURCE.rglob("*.py")):
        place = path.relative_to(SOURCE).as_posix()
        if not place.startswith(LEFT_OUT):
            tree = ast.parse(path.read_text("utf-8"))
            module = _Module(tree)
            for text in sorted(module.found() | (module.all() if place in WHOLE else set())):
                yield text, place


class _Module:
    """One module: its constants, its functions, and what they say."""

    def __init__(self, tree: ast.Module) -> None:
        self.tree = tree
        self.constants = _assigned(tree.body)
        self.functions = {
            n.name: n
            for n in ast.walk(tree)
            if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)
        }

    def found(self) -> set[str]:
        """Return every template of the module."""
        texts: set[str] = set()
        for value in (v for name in SAID_NAMES for v in self.constants.get(name, ())):
            texts |= self._texts(value, {}, 0)
        for function in self.functions.values():
            local = _assigned(ast.walk(function))
            for call in (n for n in ast.walk(function) if isinstance(n, ast.Call)):
                for value in _said_in(call):
                    texts |= self._texts(value, local, 0)
                texts |= {t for v in _places_in(call) for t in map(template, variants(v))}
        return texts

    def all(self) -> set[str]:
        """Return every text of the module but its docstrings."""
        inner = {
            id(part)
            for n in ast.walk(self.tree)
            if isinstance(n, ast.JoinedStr | ast.BinOp)
            for part in ast.walk(n)
            if part is not n
        }
        docs = {id(n.value) for n in ast.walk(self.tree) if isinstance(n, ast.Expr)}
        texts = (
            n
            for n in ast.walk(self.tree)
            if isinstance(n, ast.Constant | ast.JoinedStr) and id(n) not in inner | docs
        )
        made = {template(pieces) for n in texts if _is_text(n) for pieces in variants(n)}
        return {text for text in made if _is_sentence(text)}

    def _texts(self, value: ast.expr, local: dict[str, list[ast.expr]], depth: int) -> set[str]:
        """Return the templates of one expression, and of the texts that are put into it."""
        texts = {template(pieces) for pieces in variants(value)}
        if depth < 4:
            for inner in self._inside(value, local):
                texts |= self._texts(inner, local, depth + 1)
        return {text for text in texts if _is_sentence(text)}

    def _inside(self, value: ast.expr, local: dict[str, list[ast.expr]]) -> Iterator[ast.expr]:
        """Yield the texts that names and calls in an expression stand for."""
        for node in ast.walk(value):
            if isinstance(node, ast.Name) and node.id in local:
                yield from local[node.id]
            elif isinstance(node, ast.Name) and node.id in self.constants:
                yield from self.constants[node.id]
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                called = self.functions.get(node.func.id)
                if called is not None:
                    for n in ast.walk(called):
                        if isinstance(n, ast.Return) and n.value is not None:
                            yield from _strings_of(n.value)


def _said_in(call: ast.Call) -> Iterator[ast.expr]:
    """Yield what a call says of a problem, where it makes one."""
    name = ast.unparse(call.func).split(".")[-1]
    named = {k.arg: k.value for k in call.keywords if k.arg}
    if "slug" in named:
        yield from (named[k] for k in ("message", "fix") if k in named)
    elif CARRIER.search(name) and not NOT_SAID.match(name):
        yield from (a for a in call.args if not _is_slug(a))
        yield from (named[k] for k in ("message", "fix", "detail") if k in named)


def _places_in(call: ast.Call) -> Iterator[ast.expr]:
    """Yield the place that a call names in words, such as ``patch {patch_id}``."""
    named = {k.arg: k.value for k in call.keywords if k.arg}
    place = named.get("place") if "slug" in named else None
    if isinstance(place, ast.Constant | ast.JoinedStr):
        words = "".join(str(n.value) for n in ast.walk(place) if isinstance(n, ast.Constant))
        if re.search(r"[a-z]{3}", words):
            yield place


def _is_slug(value: ast.expr) -> bool:
    """Tell whether an argument is a slug."""
    return isinstance(value, ast.Constant) and bool(SLUG.match(str(value.value)))


def _assigned(nodes: object) -> dict[str, list[ast.expr]]:
    """Return what texts each name is given."""
    found: dict[str, list[ast.expr]] = {}
    for node in nodes:  # type: ignore[attr-defined]
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for target in targets:
                for name in (n.id for n in ast.walk(target) if isinstance(n, ast.Name)):
                    found.setdefault(name, []).extend(_strings_of(node.value))
    return found


def _strings_of(value: ast.expr) -> list[ast.expr]:
    """Return the texts in an expression: of a choice both, of a list or a call each."""
    if isinstance(value, ast.BinOp | ast.JoinedStr):
        return [value]
    if isinstance(value, ast.Constant):
        return [value] if isinstance(value.value, str) else []
    inner: list[ast.expr] = []
    if isinstance(value, ast.IfExp):
        inner = [value.body, value.orelse]
    elif isinstance(value, ast.Tuple | ast.List):
        inner = value.elts
    elif isinstance(value, ast.Dict):
        inner = value.values
    elif isinstance(value, ast.ListComp | ast.GeneratorExp):
        inner = [value.elt]
    elif isinstance(value, ast.Call):
        inner = [
            *value.args,
            *([value.func.value] if isinstance(value.func, ast.Attribute) else []),
        ]
    elif isinstance(value, ast.Subscript):
        inner = [value.value]
    return [text for one in inner for text in _strings_of(one)]


def variants(value: ast.expr) -> list[list[Piece]]:
    """Return the texts an expression can become, as pieces; a choice of texts gives both."""
    if isinstance(value, ast.Constant):
        return [[(False, value.value)]] if isinstance(value.value, str) else [[(True, "value")]]
    if isinstance(value, ast.IfExp) and _is_text(value.body) and _is_text(value.orelse):
        return variants(value.body) + variants(value.orelse)
    if isinstance(value, ast.BinOp) and isinstance(value.op, ast.Add):
        return _joined([variants(value.left), variants(value.right)])
    if isinstance(value, ast.JoinedStr):
        return _joined([_part(part) for part in value.values])
    return [[(True, _name_of(value))]]


def _part(part: ast.expr) -> list[list[Piece]]:
    """Return the variants of one part of an f-string."""
    if isinstance(part, ast.FormattedValue):
        if part.format_spec is None and part.conversion == -1:
            return variants(part.value)
        return [[(True, _name_of(part.value))]]
    return variants(part)


def _joined(parts: list[list[list[Piece]]]) -> list[list[Piece]]:
    """Return every way to put variants of parts together."""
    ways = itertools.islice(itertools.product(*parts), MOST_VARIANTS)
    return [list(itertools.chain.from_iterable(way)) for way in ways]


def _is_text(value: ast.expr) -> bool:
    """Tell whether an expression is written as a text."""
    if isinstance(value, ast.Constant):
        return isinstance(value.value, str)
    if isinstance(value, ast.BinOp):
        return _is_text(value.left) or _is_text(value.right)
    return isinstance(value, ast.JoinedStr)


def _name_of(value: ast.expr) -> str:
    """Return a short name for a value: the last word of what it is read from."""
    if isinstance(value, ast.Constant):
        return "value"
    words = re.findall(r"[A-Za-z_]\w*", re.sub(r"'[^']*'|\"[^\"]*\"", "", ast.unparse(value)))
    known = [w.strip("_") for w in words if w not in _NO_NAME]
    return (known[-1] if known else "value").lower() or "value"


_NO_NAME = frozenset(
    """
    for in if else and or not len int str float round sorted join max min sum abs np sqrt map
    shape dtype tolist name names get lower upper replace size values isfinite self error
    """.split()  # noqa: SIM905  a list of words reads better so
)


def template(pieces: list[Piece]) -> str:
    """Put pieces together; a name that is used twice is numbered, braces are doubled."""
    made, seen = [], {}
    for is_value, words in pieces:
        if not is_value:
            made.append(words.replace("{", "{{").replace("}", "}}"))
            continue
        seen[words] = seen.get(words, 0) + 1
        made.append("{" + words + (str(seen[words]) if seen[words] > 1 else "") + "}")
    return tidied("".join(made))


def tidied(text: str) -> str:
    """Take off a place at the beginning, and the stop at the end: both are put on when shown."""
    text = re.sub(r"^\{\w+\}: ", "", text.strip())
    return text.removesuffix(".") if not text.endswith("..") else text


def _is_sentence(text: str) -> bool:
    """Tell whether a template holds words that can be translated."""
    words = re.sub(r"\{\w+\}", "", text)
    return bool(re.search(r"[A-Za-z]{2,} +[^\s]|\s[A-Za-z]{3,}", words))
