"""What sheets are asked for, and what stands against it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from dryslate.base.errors import InputError, SettingsError
from dryslate.core.sheet.columns import COUNTED, HEADS, SHEET_KINDS
from dryslate.core.sheet.page import PAPERS_MM
from dryslate.core.survey.designs import Design

LARGEST_PRINT = 500
"""Pages of one document."""
DESIGN_OF: Mapping[str, Design] = {
    "line_intercept": "line_intercept",
    "point_intercept": "point_intercept",
    "belt": "belt",
    "quadrat_counts": "quadrat_counts",
    "quadrat_cells": "quadrat_cells",
    "photo_points": "photo_points",
    "timed_swim": "timed_swim",
    "permanent_plot": "quadrat_counts",
}
"""The design whose table of records takes a sheet's rows; a tagged colony has its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRequest:
    """
    Sheets to print.

    Parameters
    ----------
    kind : str
        A design, ``permanent_plot`` or ``tagged_colony``.
    paper : str
        ``a4``, ``a5`` or ``letter``.
    units : tuple of str
        Units or tags to print on them; none: one blank set.
    n_pages : int
        Pages of rows for each unit.
    preset : Mapping
        Fields of the head to print beforehand.
    is_counts_only : bool
        Rows for counts only, without sizes and health.
    visit_id : str
        A visit whose site and date are printed beforehand, and whose units where none are named.
    region : str or None
        Where the colony's questions come from; None: the project's, or the usual one.
    language : str
    series : str
        Without a project: a word that tells this print from another, so that its numbers differ.
    """

    kind: str
    paper: str = "a4"
    units: tuple[str, ...] = ()
    n_pages: int = 1
    preset: Mapping[str, str] = field(default_factory=dict)
    is_counts_only: bool = False
    visit_id: str = ""
    region: str | None = None
    language: str = "en"
    series: str = ""


def split_units(text: str) -> tuple[str, ...]:
    """
    Read names of units: divided by commas or semicolons, or else by blanks.

    Examples
    --------
    >>> split_units("T1 T2"), split_units("north 1, north 2")
    (('T1', 'T2'), ('north 1', 'north 2'))
    """
    parts = re.split(r"[,;\n]", text) if re.search(r"[,;\n]", text.strip()) else text.split()
    return tuple(" ".join(part.split()) for part in parts if part.strip())


def require_request(request: SheetRequest) -> None:
    """
    Refuse what cannot be printed.

    Raises
    ------
    InputError
        ``sheet-kind-unknown``, ``sheet-pages-wrong``, ``sheet-unit-twice``,
        ``sheet-field-unknown``, ``sheet-choice-unknown``, ``sheet-no-counts``.
    SettingsError
        ``paper-unknown``.
    """
    if request.kind not in SHEET_KINDS:
        raise InputError(
            "sheet-kind-unknown",
            f"No sheet is called {request.kind!r}.",
            f"Known: {', '.join(SHEET_KINDS)}.",
        )
    if request.paper not in PAPERS_MM:
        raise SettingsError(
            "paper-unknown",
            f"There is no paper called {request.paper!r}.",
            f"Known papers: {', '.join(PAPERS_MM)}.",
        )
    n_units = max(1, len(request.units))
    if request.n_pages < 1 or request.n_pages * n_units > LARGEST_PRINT:
        raise InputError(
            "sheet-pages-wrong",
            f"{request.n_pages} pages for each of {n_units} units cannot be printed at once.",
            f"Ask for 1 page or more each, and {LARGEST_PRINT} at most in all.",
        )
    twice = sorted({unit for unit in request.units if request.units.count(unit) > 1})
    if twice:
        raise InputError(
            "sheet-unit-twice",
            f"Named more than once: {', '.join(twice)}.",
            "Name each unit once; more pages for each are asked for by their number.",
        )
    if request.is_counts_only and request.kind not in COUNTED:
        raise InputError(
            "sheet-no-counts",
            f"Nothing is counted on a sheet for {request.kind}.",
            f"Counts only: {', '.join(COUNTED)}.",
        )
    _require_preset(request)


def _require_preset(request: SheetRequest) -> None:
    """Refuse fields that the head has not, and words that are no box of theirs."""
    choices = head_fields(request.kind)
    for name, said in request.preset.items():
        if name not in choices:
            raise InputError(
                "sheet-field-unknown",
                f"A sheet for {request.kind} has no field {name!r} in its head.",
                f"It has: {', '.join(choices)}.",
            )
        if choices[name] and said not in choices[name]:
            raise InputError(
                "sheet-choice-unknown",
                f"{name}: {said!r} is no box of the sheet.",
                f"Its boxes: {', '.join(choices[name])}.",
            )


def head_fields(kind: str) -> dict[str, tuple[str, ...]]:
    """Return the fields in a sheet's head, each with its boxes; none for a kind that is none."""
    found: dict[str, tuple[str, ...]] = {}
    for name, value in _columns(kind):
        found[name] = (*found.get(name, ()), *((value,) if value else ()))
    return found


def _columns(kind: str) -> Iterator[tuple[str, str]]:
    """Yield field and tick of each cell of the head."""
    for tier in HEADS.get(kind, ()):
        for column in tier:
            yield column.field, column.value
