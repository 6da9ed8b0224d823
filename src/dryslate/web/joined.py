"""The scripts of a page as one file: a page that asks for fifteen is there noticeably later."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from posixpath import dirname, join, normpath

PHOTO = ("photo/photo.js", "photo/card.js")
SCRIPTS = {"photo": PHOTO, "photo_look": PHOTO[:1], "pairs": ("photo/pairs.js",)}
"""Joined scripts by name, each with the modules that start it, below ``static/js``."""
APART = ("page.js",)
"""Modules that every page loads by themselves, and that must not run twice."""
_IMPORT = re.compile(r'^import \{ ([^}]+) \} from "([^"]+)";$', re.M)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:const|let|function\*?|class) (\w+))", re.M)
_EXPORTED = re.compile(r"^export \{ ([^}]+) \};$", re.M)
_UNKNOWN = re.compile(r"^(?:import|export)\b.*$", re.M)


@cache
def joined(name: str) -> str | None:
    """
    Return the modules of a page as one module.

    Parameters
    ----------
    name : str
        One of `SCRIPTS`.

    Returns
    -------
    str or None
        The script; it exports ``modules``, with what each module exports by its path. None where
        there is no such script.

    Raises
    ------
    ValueError
        If a module imports or exports in a form other than ``import { a, b as c } from "./d.js";``,
        ``export const|let|function|class`` and ``export { a };``, each on a line of its own.

    Notes
    -----
    Each module keeps a scope of its own: it becomes a function that is called once, in the order in
    which modules that import each other are run. What a module exports is fixed when it has run.
    """
    if name not in SCRIPTS:
        return None
    order: list[str] = []
    for entry in SCRIPTS[name]:
        _collect(entry, order)
    apart = [
        f'import * as page{n} from "/static/js/{path}";\nmodules["{path}"] = page{n};'
        for n, path in enumerate(APART)
    ]
    own = [_wrapped(path) for path in order if path not in APART]
    return "\n".join(["export const modules = {};", *apart, *own, ""])


def _source(path: str) -> str:
    """Read one module."""
    return (files("dryslate.web") / "static" / "js" / path).read_text("utf-8")


def _collect(path: str, order: list[str]) -> None:
    """Put a module behind those that it imports."""
    if path in order:
        return
    if path not in APART:
        for found in _IMPORT.finditer(_source(path)):
            _collect(_seen_from(path, found[2]), order)
    order.append(path)


def _seen_from(path: str, address: str) -> str:
    """Return the path of what a module imports."""
    return normpath(join(dirname(path), address))


def _wrapped(path: str) -> str:
    """Make a module a function that is called at once and returns what it exports."""
    source = _source(path)
    names = _EXPORT.findall(source)
    for found in _EXPORTED.finditer(source):
        names += [name.strip() for name in found[1].split(",")]

    def taken(found: re.Match[str]) -> str:
        given = found[1].replace(" as ", ": ")
        return f'const {{ {given} }} = modules["{_seen_from(path, found[2])}"];'

    body = _EXPORTED.sub("", _EXPORT.sub("", _IMPORT.sub(taken, source)))
    strange = _UNKNOWN.search(body)
    if strange is not None:
        raise ValueError(f"{path}: cannot be joined: {strange[0]}")
    given = ", ".join(names)
    return f'modules["{path}"] = await (async () => {{\n{body}\nreturn {{ {given} }};\n}})();'
