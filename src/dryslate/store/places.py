"""Sites, zones, observers, visits and clocks in SQLite."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields

from dryslate.app.project_records import ClockOffset, Observer, Site, Zone
from dryslate.app.records import Visit
from dryslate.app.zone_records import ZoneWeight
from dryslate.store.rows import StoreRoom


class SqlitePlaceRoom(StoreRoom):
    """Implements `dryslate.app.store_ports.PlaceStore` and the weights of zones."""

    def sites(self) -> tuple[Site, ...]:
        """Return every site by name."""
        return tuple(Site(**dict(row)) for row in self._rows("SELECT * FROM sites ORDER BY site"))

    def save_site(self, site: Site) -> None:
        """Store a site, or its changed note."""
        self._put("sites", asdict(site), ["site"])

    def zones(self, site: str | None = None) -> tuple[Zone, ...]:
        """Return the zones of one site, or all."""
        rows = self._rows(
            "SELECT * FROM zones WHERE ?1 IS NULL OR site = ?1 ORDER BY site, zone", [site]
        )
        return tuple(Zone(**dict(row)) for row in rows)

    def save_zone(self, zone: Zone) -> None:
        """Store a zone, or its changed depths and note."""
        self._put("zones", asdict(zone), ["site", "zone"])

    def zone_weights(self, site: str | None = None) -> tuple[ZoneWeight, ...]:
        """Return the weights of one site's zones, or all."""
        rows = self._rows(
            "SELECT * FROM zone_weights WHERE ?1 IS NULL OR site = ?1 ORDER BY site, zone", [site]
        )
        return tuple(ZoneWeight(**dict(row)) for row in rows)

    def replace_zone_weights(self, site: str, weights: Sequence[ZoneWeight]) -> None:
        """Store the weights of a site in place of those it had; its zones come to be."""
        kept = {one.zone for one in weights}
        with self.write():
            for one in self.zone_weights(site):
                if one.zone not in kept:
                    self._db.execute(
                        "DELETE FROM zone_weights WHERE site = ? AND zone = ?", [site, one.zone]
                    )
            for one in weights:
                self._keep("observers", {"observer": one.observer})
                self._keep("zones", {"site": site, "zone": one.zone})
                self._put("zone_weights", asdict(one), ["site", "zone"])

    def observers(self) -> tuple[Observer, ...]:
        """Return every observer by name."""
        rows = self._rows("SELECT * FROM observers ORDER BY observer")
        return tuple(Observer(**dict(row)) for row in rows)

    def save_observer(self, observer: Observer) -> None:
        """Store an observer, or the changed note."""
        self._put("observers", asdict(observer), ["observer"])

    def visits(self) -> tuple[Visit, ...]:
        """Return every visit, oldest first."""
        clocks: dict[str, dict[str, float]] = {}
        for offset in self.clock_offsets():
            clocks.setdefault(offset.visit_id, {})[offset.camera] = offset.offset_s
        rows = self._rows("SELECT * FROM visits ORDER BY date, site")
        return tuple(
            Visit(**dict(row), clock_offset_s=clocks.get(row["visit_id"], {})) for row in rows
        )

    def save_visit(self, visit: Visit) -> None:
        """Store a visit; its site and observer come to be when they are not there."""
        row = {f.name: getattr(visit, f.name) for f in fields(visit) if f.name != "clock_offset_s"}
        with self.write():
            self._keep("sites", {"site": visit.site})
            self._keep("observers", {"observer": visit.observer})
            self._put("visits", row, ["visit_id"])
            for camera, offset_s in visit.clock_offset_s.items():
                known = self.visits_clock(visit.visit_id, camera)
                if known is None or known.offset_s != offset_s:
                    self.save_clock_offset(
                        ClockOffset(visit_id=visit.visit_id, camera=camera, offset_s=offset_s)
                    )

    def visits_clock(self, visit_id: str, camera: str) -> ClockOffset | None:
        """Return the clock offset of one camera on one visit, where it is set."""
        found = [o for o in self.clock_offsets(visit_id) if o.camera == camera]
        return found[0] if found else None

    def clock_offsets(self, visit_id: str | None = None) -> tuple[ClockOffset, ...]:
        """Return the clock offsets of one visit, or all."""
        rows = self._rows(
            "SELECT * FROM clock_offsets WHERE ?1 IS NULL OR visit_id = ?1 "
            "ORDER BY visit_id, camera",
            [visit_id],
        )
        return tuple(ClockOffset(**dict(row)) for row in rows)

    def save_clock_offset(self, offset: ClockOffset) -> None:
        """Store how wrong a camera's clock was on a visit; an older value is replaced."""
        self._put("clock_offsets", asdict(offset), ["visit_id", "camera"])
