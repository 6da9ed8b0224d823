"""How a unit was sampled, typed into a form: read, checked and stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dryslate.app.category_list import newest_version, set_categories
from dryslate.app.import_mapping import ImportMapping, read_cell
from dryslate.app.import_reading import CHOICES, searched_names
from dryslate.app.import_template import DESIGN_FIELDS
from dryslate.app.survey_records import StatedDesign
from dryslate.app.visits import require_observer
from dryslate.base.errors import InputError
from dryslate.base.problems import Problem
from dryslate.core.survey.designs import DESIGNS, UnitDesign
from dryslate.core.survey.unit_checks import check_unit

if TYPE_CHECKING:
    from dryslate.app.entry_unit import EntrySheet
    from dryslate.app.import_reading import ImportSource
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category


def read_design(
    design: str, typed: Mapping[str, str], unit: str, source: ImportSource
) -> tuple[UnitDesign | None, tuple[Problem, ...]]:
    """
    Read what is typed of how a unit was sampled, and check it.

    Parameters
    ----------
    design : str
        One of `DESIGNS`.
    typed : Mapping
        Our field to what was typed.
    unit : str
        How the unit is called in messages.
    source : ImportSource
        What names are looked up in.

    Returns
    -------
    design : UnitDesign or None
        None where a field cannot be read.
    problems : tuple of Problem
        The place of a field that cannot be read is its name.
    """
    if design not in DESIGNS:
        known = f"Known: {', '.join(DESIGNS)}."
        raise InputError("design-unknown", f"No design {design!r}.", known)
    said: dict[str, Any] = {}
    problems: list[Problem] = []
    for name in ("is_permanent", *DESIGN_FIELDS[design]):
        text = " ".join(typed.get(name, "").split())
        is_comma = "," in text and "." not in text
        mapping = ImportMapping(decimal="," if is_comma else ".")
        value, problem = read_cell(name, text, mapping, name)
        if problem is None and value is not None and value not in CHOICES.get(name, (value,)):
            known = ", ".join(CHOICES[name])
            problem = _fault("cell-not-a-choice", name, f"{value!r} is none of {known}")
        if problem is not None:
            problems.append(problem)
        elif value is not None:
            said[name] = value
    said["searched"] = searched_names(said.get("searched", ()), source, "searched", problems)
    if any(problem.severity == "error" for problem in problems):
        return None, tuple(problems)
    read = UnitDesign(design=design, **said)
    return read, (*problems, *check_unit(read, (), unit))


def _fault(slug: str, place: str, message: str, fix: str = "") -> Problem:
    return Problem(slug=slug, severity="error", place=place, message=message, fix=fix)


def save_design(
    store: SurveyStore,
    sheet: EntrySheet,
    design: UnitDesign,
    who: tuple[str, str],
    usual: Sequence[Category],
) -> StatedDesign:
    """
    Store how a unit was sampled; what is noted in it stays.

    Parameters
    ----------
    store : SurveyStore
        Open for writing.
    sheet : EntrySheet
        As it is stored now.
    design : UnitDesign
        Sound.
    who : tuple of str
        Observer and time.
    usual : sequence of Category
        Becomes the first list of a project that has none.

    Raises
    ------
    InputError
        ``unit-design-has-rows`` where rows are noted that another way of sampling does not have.
    """
    if sheet.stated is not None and sheet.rows and sheet.stated.design.design != design.design:
        raise InputError(
            "unit-design-has-rows",
            f"{len(sheet.rows)} rows are noted in this unit as {sheet.stated.design.design}.",
            "Take its lines out first, or make another unit.",
        )
    with store.write():
        version = sheet.stated.list_version if sheet.stated is not None else None
        version = version or newest_version(store) or set_categories(store, usual)
        stated = StatedDesign(
            unit_id=sheet.unit.unit_id,
            design=design,
            list_version=version,
            observer=require_observer(store, who[0]),
            stated_at=who[1],
        )
        store.save_unit_design(stated)
    return stated
