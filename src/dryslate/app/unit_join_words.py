"""What joining by time does, and what an edit of units changed, in words and for JSON."""

from __future__ import annotations

from collections import Counter
from typing import Any

from dryslate.app.ports import SurveyStore
from dryslate.app.unit_edits import Edit
from dryslate.app.unit_joining import JoinPlan
from dryslate.app.unit_records import Unit


def plan_as_dict(store: SurveyStore, visit_id: str, plan: JoinPlan) -> dict[str, Any]:
    """Return what joining by time would do, or has done, for JSON."""
    name = {p.photo_id: p.files[0].original_name for p in store.photos(visit_id)}
    units = {unit.unit_id: unit for unit in store.units(visit_id)}
    return {
        "visit_id": visit_id,
        "gap_min": plan.gap_min,
        "changes": [
            {
                "photo": name[photo_id],
                "photo_id": photo_id,
                "unit": None if join is None else units[join.unit_id or ""].name,
                "unit_id": None if join is None else join.unit_id,
            }
            for photo_id, join in plan.changes.items()
        ],
        "breaks": [
            {
                "camera": one.camera,
                "unit": units[one.unit_id].name,
                "last": name[one.last],
                "next": name[one.next],
                "gap_min": round(one.gap_min, 2),
            }
            for one in plan.breaks
        ],
        "before_first": [name[i] for i in plan.before_first],
        "after_break": [name[i] for i in plan.after_break],
        "without_time": [name[i] for i in plan.without_time],
        "slates_without_time": [name[i] for i in plan.slates_without_time],
        "n_by_hand": plan.n_by_hand,
    }


def plan_words(store: SurveyStore, visit_id: str, plan: JoinPlan, *, saved: bool) -> str:
    """Say what joining by time would do, or has done."""
    units = {unit.unit_id: unit for unit in store.units(visit_id)}
    name = {p.photo_id: p.files[0].original_name for p in store.photos(visit_id)}
    counts = Counter(None if j is None else j.unit_id for j in plan.changes.values())
    begin = "Joined" if saved else "Would be joined"
    lines = [
        f"{begin}: {n} {_photos(n)} to {short_name(units[unit_id])}."
        for unit_id, n in counts.items()
        if unit_id is not None
    ]
    if counts[None]:
        begin = "Now of no unit" if saved else "Would be of no unit"
        lines.append(f"{begin}: {counts[None]} {_photos(counts[None])}.")
    lines += [
        f"A pause of {one.gap_min:.0f} minutes ends {short_name(units[one.unit_id])} between "
        f"{name[one.last]} and {name[one.next]}."
        for one in plan.breaks
    ]
    for ids, words in (
        (plan.before_first, "before the first slate"),
        (plan.after_break, "after a pause"),
        (plan.without_time, "without a time"),
    ):
        if ids:
            lines.append(f"Left without a unit, {words}: {len(ids)} {_photos(len(ids))}.")
    lines += [f"{name[i]} shows a slate but states no time." for i in plan.slates_without_time]
    if plan.n_by_hand:
        lines.append(f"Left as said by hand: {plan.n_by_hand} {_photos(plan.n_by_hand)}.")
    if not plan.changes:
        lines.insert(0, "Nothing changes.")
    elif not saved:
        lines.append("Nothing is saved yet; say --save and --observer.")
    return "\n".join(lines)


def edit_as_dict(store: SurveyStore, edit: Edit) -> dict[str, Any]:
    """Return what an edit changed, for JSON."""
    name = _names(store, edit)
    return {
        "units": [
            {
                "unit_id": key,
                "is_gone": after is None,
                **(after or before or _nobody(key)).as_dict(),
            }
            for key, (before, after) in edit.units.items()
        ],
        "photos": [
            {
                "photo": name[photo_id],
                "photo_id": photo_id,
                "unit_id": None if after is None else after.unit_id,
                "how": None if after is None else after.how,
            }
            for photo_id, (_, after) in edit.photos.items()
        ],
        "set_aside": [
            {
                "photo": name[photo_id],
                "photo_id": photo_id,
                "reason": None if after is None else after.reason,
                "note": None if after is None else after.note,
            }
            for photo_id, (_, after) in edit.asides.items()
        ],
    }


def edit_words(store: SurveyStore, edit: Edit) -> str:
    """Say what an edit changed."""
    if edit.is_empty:
        return "Nothing changed: it was so already."
    units = {unit.unit_id: unit for unit in store.units()}
    lines = [
        f"{short_name(before or _nobody(key))} is taken out."
        if after is None
        else f"{short_name(after)} is {'changed' if before else 'new'}."
        for key, (before, after) in edit.units.items()
    ]
    to = Counter(
        ("no unit, by hand" if j.unit_id is None else f"{short_name(units[j.unit_id])}, by {j.how}")
        if j is not None
        else "no unit"
        for _, j in edit.photos.values()
    )
    lines += [f"{n} {_photos(n)}: {where}." for where, n in to.items()]
    n_aside = sum(after is not None for _, after in edit.asides.values())
    n_back = len(edit.asides) - n_aside
    if n_aside:
        lines.append(f"{n_aside} {_photos(n_aside)} set aside; nothing is deleted.")
    if n_back:
        lines.append(f"{n_back} {_photos(n_back)} taken back.")
    return "\n".join(lines)


def short_name(unit: Unit) -> str:
    """Name a unit in a line of text."""
    return unit.name or f"the unit without a name ({unit.unit_id[:8]})"


def _photos(n: int) -> str:
    """Say photo or photos."""
    return "photo" if n == 1 else "photos"


def _names(store: SurveyStore, edit: Edit) -> dict[str, str]:
    """Return the names of the photos an edit touches."""
    photos = store.photos() if edit.photo_ids else ()
    return {p.photo_id: p.files[0].original_name for p in photos if p.photo_id in edit.photo_ids}


def _nobody(unit_id: str) -> Unit:
    """Stand in for a unit of which nothing is known."""
    return Unit(unit_id=unit_id, visit_id="", observer="")
