"""Does what was noted in a unit add up? Each design checks itself; every fault with its place."""

from __future__ import annotations

import difflib
import math
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from dryslate.base.problems import Problem, Severity
from dryslate.core.survey.designs import HEALTH, ROW_KINDS, SurveyRow, UnitDesign

TAPE_STEP_M = 0.01
"""Line intercepts are read to the centimetre (English et al. 1997, from memory)."""
LARGEST_COLONY_CM = 1500.0
"""A longest diameter above this is asked about: living colonies beyond 15 m are hardly known."""
FEWEST_TWICE = 3
"""Different colonies of which each must stand twice before the list is taken for a copy."""
_NEEDS: dict[str, tuple[str, ...]] = {
    "line_intercept": ("length_m",),
    "point_intercept": ("length_m", "spacing_m"),
    "belt": ("length_m", "width_m", "edge_rule"),
    "quadrat_counts": ("area_m2", "edge_rule"),
    "quadrat_cells": ("n_cells",),
    "photo_points": ("n_points", "point_rule"),
    "timed_swim": ("minutes",),
}
_SIZES = ("length_m", "width_m", "area_m2", "spacing_m", "n_cells", "n_points", "minutes")


def check_unit(
    design: UnitDesign,
    rows: Sequence[SurveyRow],
    unit: str,
    categories: Collection[str] | None = None,
) -> tuple[Problem, ...]:
    """
    List every fault of one unit.

    Parameters
    ----------
    design : UnitDesign
    rows : sequence of SurveyRow
        All that was noted in the unit.
    unit : str
        How the unit is called in messages.
    categories : collection of str, optional
        The project's list; categories are not looked at without one.

    Returns
    -------
    tuple of Problem
        Errors make figures of the unit wrong; warnings may be right and are asked about.
    """
    found = list(_check_design(design, unit))
    for row in rows:
        found += _check_row(design, row, _place(unit, row), categories)
    found += _check_colonies(rows, unit)
    by_design = {
        "line_intercept": _check_tape,
        "point_intercept": _check_tape_points,
        "quadrat_cells": _check_cells,
        "photo_points": _check_photo_points,
    }
    check = by_design.get(design.design)
    if check is not None:
        found += check(design, rows, unit)
    else:
        found += _check_counts(rows, unit)
    return tuple(found)


def _place(unit: str, row: SurveyRow) -> str:
    """Say where a row stands."""
    return f"{unit}, {row.place}" if row.place else unit


def _problem(
    slug: str, place: str, message: str, fix: str = "", severity: Severity = "error"
) -> Problem:
    return Problem(slug=slug, severity=severity, place=place, message=message, fix=fix)


def _check_design(design: UnitDesign, unit: str) -> Iterator[Problem]:
    """What the design itself lacks, or states wrongly."""
    missing = [name for name in _NEEDS[design.design] if getattr(design, name) is None]
    if missing:
        yield _problem(
            "unit-design-incomplete",
            unit,
            f"a unit of {design.design} needs {', '.join(missing)}",
            "State it for the unit; without it no figure is made of it.",
        )
    wrong = [
        name
        for name in _SIZES
        if (value := getattr(design, name)) is not None and not _is_above_zero(value)
    ]
    if wrong:
        yield _problem(
            "unit-design-not-positive", unit, f"{', '.join(wrong)}: expected a size above zero"
        )


def _is_above_zero(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _check_row(
    design: UnitDesign, row: SurveyRow, place: str, categories: Collection[str] | None
) -> Iterator[Problem]:
    """What one row says that cannot be."""
    if row.kind not in ROW_KINDS[design.design]:
        yield _problem(
            "row-kind-not-of-design",
            place,
            f"a row of kind {row.kind} in a unit of {design.design} "
            f"(expected {' or '.join(ROW_KINDS[design.design])})",
        )
    if categories is not None and row.category and row.category not in categories:
        yield _problem(
            "row-category-unknown",
            place,
            f"the category {row.category!r} is not in the project's list",
            _category_fix(row.category, categories),
        )
    yield from _check_said(row, place)
    yield from _check_size(row, place)
    yield from _check_health(row, place)


def _category_fix(category: str, known: Collection[str]) -> str:
    """Say what to do about a category that is in no list."""
    near = difflib.get_close_matches(category.casefold(), sorted(known), n=3, cutoff=0.5)
    if not near:
        return "Correct it, or add the category with its definition."
    return f"Near it are: {', '.join(near)}. Correct it, or add the category with its definition."


def _check_said(row: SurveyRow, place: str) -> Iterator[Problem]:
    """A blank is not a zero, and what cannot be read has a reason."""
    is_read = row.kind in ("point", "cell", "intercept")
    if is_read and not row.category and not row.unreadable:
        yield _problem(
            "row-blank",
            place,
            "neither a category nor a reason why it could not be read",
            "Write what was there, or why it cannot be told.",
        )
    if is_read and row.category and row.unreadable:
        yield _problem(
            "row-read-and-unreadable", place, "has a category and a reason why it was not read"
        )
    if row.kind == "count" and row.n is None:
        yield _problem(
            "row-blank",
            place,
            "a count without a number",
            "Write 0 where none was there; leave the row out where nobody looked.",
        )
    if row.n is not None and row.n < 0:
        yield _problem("row-count-negative", place, f"a count of {row.n}")
    if row.cover_pct is not None and not 0 <= row.cover_pct <= 100:
        yield _problem("row-cover-outside", place, f"{row.cover_pct:g} % of a cell")


def _check_size(row: SurveyRow, place: str) -> Iterator[Problem]:
    """Diameters that cannot be, or that are asked about."""
    for name in ("longest_cm", "across_cm", "across_line_m"):
        value = getattr(row, name)
        if value is not None and not _is_above_zero(value):
            yield _problem("row-size-not-positive", place, f"{name} is {value:g}")
    longest, across = row.longest_cm, row.across_cm
    if longest is not None and across is not None and across > longest > 0:
        yield _problem(
            "row-size-across-longer",
            place,
            f"widest across ({across:g} cm) is more than the longest diameter ({longest:g} cm)",
            "Change the two, or measure again.",
        )
    if longest is not None and longest > LARGEST_COLONY_CM:
        yield _problem(
            "row-size-implausible",
            place,
            f"a colony of {longest:g} cm",
            "Was it written in millimetres? Right as it stands: leave it.",
            "warning",
        )


def _check_health(row: SurveyRow, place: str) -> Iterator[Problem]:
    """Shares of a colony make a whole, or none is given."""
    given = {name: getattr(row, name) for name in HEALTH if getattr(row, name) is not None}
    if not given:
        return
    if any(not 0 <= value <= 100 for value in given.values()):
        yield _problem("row-health-sum", place, "a share below 0 or above 100 %")
    elif len(given) < len(HEALTH):
        missing = ", ".join(
            name.removesuffix("_pct").replace("_", " ") for name in HEALTH if name not in given
        )
        yield _problem(
            "row-health-blank",
            place,
            f"no share for {missing}",
            "Write 0 where there was none of it: a blank is not a zero.",
        )
    elif abs(sum(given.values()) - 100) > 0.5:
        yield _problem(
            "row-health-sum", place, f"the shares make {sum(given.values()):g} %, not 100 %"
        )


def _check_tape(design: UnitDesign, rows: Sequence[SurveyRow], unit: str) -> Iterator[Problem]:
    """Stretches of tape follow one another from its beginning to its end."""
    whole = design.length_m
    if whole is None:
        return
    good: list[SurveyRow] = []
    for row in (r for r in rows if r.kind == "intercept"):
        begin, end = row.from_m, row.to_m
        if begin is None or end is None or not begin < end:
            yield _problem(
                "intercept-order",
                _place(unit, row),
                f"a stretch from {_metres(begin)} to {_metres(end)} m",
                "The end lies beyond the beginning.",
            )
        elif begin < -TAPE_STEP_M / 2 or end > whole + TAPE_STEP_M / 2:
            yield _problem(
                "intercept-off-tape",
                _place(unit, row),
                f"from {begin:g} to {end:g} m on a tape of {whole:g} m",
            )
        else:
            good.append(row)
    at = 0.0
    for row in sorted(good, key=lambda r: r.from_m or 0.0):
        begin, end = row.from_m or 0.0, row.to_m or 0.0
        if begin - at > TAPE_STEP_M * 0.51:
            yield _gap(unit, row, at, begin)
        elif at - begin > TAPE_STEP_M * 0.51:
            yield _problem(
                "intercepts-overlap",
                _place(unit, row),
                f"begins at {begin:g} m, the one before ends at {at:g} m",
            )
        at = max(at, end)
    if good and whole - at > TAPE_STEP_M * 0.51:
        yield _gap(unit, good[-1], at, whole)


def _gap(unit: str, row: SurveyRow, begin: float, end: float) -> Problem:
    return _problem(
        "intercepts-gap",
        _place(unit, row),
        f"nothing is noted from {begin:g} to {end:g} m",
        "Note what lay there, or why it cannot be told: intercepts add up to the tape.",
    )


def _metres(value: float | None) -> str:
    return "nothing" if value is None else f"{value:g}"


def _check_tape_points(
    design: UnitDesign, rows: Sequence[SurveyRow], unit: str
) -> Iterator[Problem]:
    """As many points as the tape has, each at its place and once."""
    points = [row for row in rows if row.kind == "point"]
    expected = design.n_points_expected
    if expected is not None and points and len(points) != expected:
        yield _problem(
            "points-not-as-many",
            unit,
            f"{len(points)} points are noted; {design.length_m:g} m at {design.spacing_m:g} m "
            f"make {expected}",
            "Points that could not be read are noted with the reason.",
        )
    step = design.spacing_m
    seen: Counter[int] = Counter()
    for row in points:
        if row.at_m is None or step is None:
            continue
        k = round(row.at_m / step)
        if abs(row.at_m - k * step) > 0.01 * step + 1e-9 or not 0 <= k <= (expected or k):
            yield _problem(
                "point-off-its-place",
                _place(unit, row),
                f"a point at {row.at_m:g} m; they lie every {step:g} m",
            )
        seen[k] += 1
        if seen[k] == 2:
            yield _problem("point-twice", _place(unit, row), f"a second point at {row.at_m:g} m")


def _check_cells(design: UnitDesign, rows: Sequence[SurveyRow], unit: str) -> Iterator[Problem]:
    """Every cell is noted, and what is in it makes a whole."""
    shares: dict[int, float] = defaultdict(float)
    for row in (r for r in rows if r.kind == "cell"):
        if row.cell is None or not 1 <= row.cell <= (design.n_cells or row.cell):
            yield _problem(
                "cell-not-in-quadrat",
                _place(unit, row),
                f"cell {row.cell} of a quadrat of {design.n_cells or 'unknown'} cells",
            )
            continue
        shares[row.cell] += 100.0 if row.cover_pct is None else row.cover_pct
    for cell, share in sorted(shares.items()):
        if abs(share - 100) > 0.5:
            yield _problem(
                "cell-sum", f"{unit}, cell {cell}", f"what is in it makes {share:g} %, not 100 %"
            )
    if design.n_cells and shares and len(shares) < design.n_cells:
        missing = sorted(set(range(1, design.n_cells + 1)) - set(shares))
        yield _problem(
            "cells-missing",
            unit,
            f"{len(missing)} of {design.n_cells} cells are not noted "
            f"(first: {', '.join(map(str, missing[:5]))})",
            "A cell that could not be read is noted with the reason.",
        )


def _check_photo_points(
    design: UnitDesign, rows: Sequence[SurveyRow], unit: str
) -> Iterator[Problem]:
    """As many points on each photo as were placed there, each once."""
    by_photo: dict[str, list[SurveyRow]] = defaultdict(list)
    for row in (r for r in rows if r.kind == "point"):
        by_photo[row.photo_id or ""].append(row)
    for photo_id, points in by_photo.items():
        place = f"{unit}, photo {photo_id[:12]}" if photo_id else unit
        if design.n_points is not None and len(points) != design.n_points:
            yield _problem(
                "points-not-as-many",
                place,
                f"{len(points)} points are noted, {design.n_points} were placed",
                "Points that could not be read are noted with the reason.",
            )
        places = Counter((p.x_px, p.y_px) for p in points if p.x_px is not None)
        twice = [at for at, n in places.items() if n > 1]
        if twice:
            yield _problem("point-twice", place, f"two points at {twice[0]} px")


def _check_colonies(rows: Sequence[SurveyRow], unit: str) -> Iterator[Problem]:
    """A list of colonies that stands there twice, each with the same words and sizes."""
    listed = [replace(row, place="") for row in rows if row.kind == "colony"]
    times = Counter(listed)
    if len(times) >= FEWEST_TWICE and all(n % 2 == 0 for n in times.values()):
        second = [row for row in rows if row.kind == "colony"][len(listed) // 2]
        yield _problem(
            "row-count-twice",
            _place(unit, second),
            f"all {len(listed)} colonies are noted twice, with the same words and sizes",
            "Take one half out if it was pasted twice; as they stand all are counted.",
            "warning",
        )


def _check_counts(rows: Sequence[SurveyRow], unit: str) -> Iterator[Problem]:
    """What is said to be missing is not also counted, and nothing is counted twice."""
    counted: dict[SurveyRow, SurveyRow] = {}
    for row in (r for r in rows if r.kind == "count" and r.n):
        if counted.setdefault(replace(row, place=""), row) is not row:
            yield _problem(
                "row-count-twice",
                _place(unit, row),
                f"{row.name or row.category}: {row.n} is noted a second time, with the same words",
                "Take one out if it was pasted twice; as they stand the two are added.",
                "warning",
            )
    seen = [r for r in rows if r.kind == "colony" or (r.n or 0) > 0]
    names, categories = {r.name for r in seen}, {r.category for r in seen}
    for row in rows:
        is_seen = row.name in names if row.name else row.category in categories
        if row.kind == "none_seen" and is_seen:
            yield _problem(
                "none-seen-and-seen",
                _place(unit, row),
                f"none seen of {row.name or row.category}, and yet it is noted in the same unit",
            )
