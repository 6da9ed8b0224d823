"""The units of a visit with how they were sampled and how much is noted in each."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import StatedDesign
    from dryslate.app.unit_records import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledUnit:
    """A unit with how it was sampled (None: not said yet), its rows and photos in use, no slate."""

    unit: Unit
    stated: StatedDesign | None
    n_rows: int
    n_photos: int


def sampled_of_visit(store: SurveyStore, visit_id: str) -> tuple[SampledUnit, ...]:
    """List the units of a visit, in the order they were made."""
    stated = {one.unit_id: one for one in store.unit_designs(visit_id)}
    aside = {one.photo_id for one in store.photos_set_aside()}
    used = (j for j in store.unit_photos() if j.how != "slate" and j.photo_id not in aside)
    photos = Counter(join.unit_id for join in used)
    return tuple(
        SampledUnit(
            unit=unit,
            stated=stated.get(unit.unit_id),
            n_rows=len(store.survey_rows(unit.unit_id)) if unit.unit_id in stated else 0,
            n_photos=photos[unit.unit_id],
        )
        for unit in store.units(visit_id)
    )
