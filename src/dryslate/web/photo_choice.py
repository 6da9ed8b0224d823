"""What the address of the list of photos asks for, and the photos it means."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlencode

from fastapi import Query

from dryslate.app.photo_list import SEEN, SHOWS, PhotoFilter
from dryslate.web.errors import Refusal
from dryslate.web.unit_strip import StripRows

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore

Short = Annotated[str, Query(max_length=20)]
Hash = Annotated[str, Query(pattern="^([0-9a-f]{64})?$")]
TIME = r"^([01]\d|2[0-3]):[0-5]\d$|^$"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address of the list asks for."""

    visit: str
    filter: PhotoFilter
    page: int
    stretch: str = ""

    def query(self, **changed: object) -> str:
        """Return the address's query with some of it changed; empty parts are left out."""
        told: dict[str, object] = {
            "visit": self.visit,
            "show": self.filter.show,
            "name": self.filter.name,
            "after": self.filter.after,
            "before": self.filter.before,
            "seen": self.filter.seen,
            "unit": self.filter.unit,
            "stretch": self.stretch,
            **changed,
        }
        return urlencode({k: v for k, v in told.items() if v and (k, v) != ("show", "all")})

    def found_filter(self, rows: StripRows | None) -> PhotoFilter:
        """Return the filter, with the photos of the stretch it asks for."""
        if not self.stretch:
            return self.filter
        among = rows.stretch(self.stretch) if rows is not None else None
        return replace(self.filter, among=among or frozenset())


def asked_of(  # noqa: PLR0913, PLR0917  one part of the address each
    visit: Annotated[str, Query(max_length=300)] = "",
    show: Short = "all",
    name: Annotated[str, Query(max_length=200)] = "",
    after: Annotated[str, Query(pattern=TIME)] = "",
    before: Annotated[str, Query(pattern=TIME)] = "",
    seen: Short = "",
    unit: Hash = "",
    stretch: Hash = "",
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> Asked:
    """Read what the address asks for."""
    if show not in SHOWS or seen not in ("", *SEEN):
        raise Refusal("page-input", 422, "show, seen")
    chosen = PhotoFilter(
        show=show,
        name=name.strip(),
        after=after,
        before=before,
        seen=seen,  # type: ignore[arg-type]
        unit=unit,
    )
    return Asked(visit=visit, filter=chosen, page=page, stretch=stretch)


def rows_of_visit(store: SurveyStore, visit_id: str, gap_min: float) -> StripRows:
    """Read what the strip of a visit is made from."""
    return StripRows(
        visit_id=visit_id,
        photos=store.photos(visit_id),
        units={unit.unit_id: unit for unit in store.units(visit_id)},
        joins={join.photo_id: join for join in store.unit_photos(visit_id)},
        aside={one.photo_id for one in store.photos_set_aside(visit_id)},
        gap_min=gap_min,
    )
