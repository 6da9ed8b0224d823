"""Weights of zones in memory."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryslate.app.project_records import Zone
from dryslate.app.zone_records import ZoneWeight

NAMES = ("zone_weights",)


class MemoryZoneWeights:
    """Implements `dryslate.app.zone_records.ZoneWeightStore`; the store mixes it in."""

    _tables: dict[str, Any]

    def zone_weights(self, site: str | None = None) -> tuple[ZoneWeight, ...]:
        return tuple(w for w in self._sorted("zone_weights") if site in (None, w.site))

    def replace_zone_weights(self, site: str, weights: Sequence[ZoneWeight]) -> None:
        kept = {one.zone for one in weights}
        with self.write():
            for one in self.zone_weights(site):
                if one.zone not in kept:
                    del self._tables["zone_weights"][site, one.zone]
                    self._note("delete", "zone_weights", (site, one.zone), one, None)
            for one in weights:
                self._see(one.observer)
                self._put("zones", (site, one.zone), Zone(site=site, zone=one.zone), keep=True)
                self._put("zone_weights", (site, one.zone), one)
