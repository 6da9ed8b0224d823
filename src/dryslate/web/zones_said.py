"""The zone that was said when a memory card was taken in: what units of the visit begin with."""

from __future__ import annotations

from typing import cast

from dryslate.app.project_records import Zone
from dryslate.web.reach import Reach


def say_zone(reach: Reach, observer: str, visit_id: str, zone: str) -> None:
    """Store a zone of the visit's site, and propose it for the visit's units from now on."""
    with reach.writing(observer) as store:
        (site,) = (visit.site for visit in store.visits() if visit.visit_id == visit_id)
        if zone not in {one.zone for one in store.zones(site)}:
            store.save_zone(Zone(site=site, zone=zone))
    _book(reach).setdefault(visit_id, set()).add(zone)


def zone_said(reach: Reach, visit_id: str, zones: list[str]) -> str | None:
    """Return the one zone that was said, else the only one of its site, else None."""
    known = sorted(_book(reach).get(visit_id, ())) or zones
    return known[0] if len(known) == 1 else None


def _book(reach: Reach) -> dict[str, set[str]]:
    """The zones that were said on this server."""
    return cast("dict[str, set[str]]", reach.keep("zones said", dict))
