"""The genus tables as files: those that ship with the program, and those a project adds."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from dryslate.base.problems import Problem
from dryslate.formats.taxa_rows import COLUMNS

BUILT_IN = tuple(t for t in COLUMNS if t not in ("checklist", "frequencies"))
"""Tables that ship with the program; the other two are a project's."""


def built_in_tables() -> dict[str, str]:
    """
    Read the tables that ship with the program.

    Returns
    -------
    dict of str to str
        Text by file name.
    """
    folder = resources.files("dryslate") / "data" / "taxa"
    return {f"{t}.csv": (folder / f"{t}.csv").read_text(encoding="utf-8") for t in BUILT_IN}


def project_tables(project: Path) -> tuple[dict[str, str], list[Problem]]:
    """
    Read the tables that a project adds, ``taxa/*.csv`` in its folder.

    Parameters
    ----------
    project : Path

    Returns
    -------
    tables : dict of str to str
        Text by name, ``taxa/`` before it.
    problems : list of Problem
        ``taxa-not-utf8`` with the line of the first byte that is no UTF-8, and
        ``taxa-file-unreadable``.
    """
    tables: dict[str, str] = {}
    found: list[Problem] = []
    for path in sorted((project / "taxa").glob("*.csv")):
        name = f"taxa/{path.name}"
        try:
            content = path.read_bytes()
        except OSError as error:
            found.append(
                Problem(
                    slug="taxa-file-unreadable",
                    severity="error",
                    place=name,
                    message=f"the file cannot be read ({error.strerror or error})",
                    fix="Check the file and its permissions.",
                )
            )
            continue
        try:
            tables[name] = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = content[: error.start].count(b"\n") + 1
            column = error.start - (content.rfind(b"\n", 0, error.start) + 1) + 1
            found.append(
                Problem(
                    slug="taxa-not-utf8",
                    severity="error",
                    place=f"{name}, line {line}",
                    message=f"byte {column} of the line is no UTF-8; the file was left out",
                    fix="Save the file again as CSV in UTF-8.",
                )
            )
    return tables, found
