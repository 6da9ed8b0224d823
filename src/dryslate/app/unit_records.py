"""Units, the photos that belong to them, and photos set aside, as they are stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, Protocol

Kind = Literal["transect", "quadrat", "photo_station", "timed_swim", "permanent_plot"]
KINDS: tuple[Kind, ...] = ("transect", "quadrat", "photo_station", "timed_swim", "permanent_plot")
"""What a unit can be."""

How = Literal["slate", "time", "hand"]

Reason = Literal["blurred", "not_reef", "double", "not_to_use", "other"]
REASONS: tuple[Reason, ...] = ("blurred", "not_reef", "double", "not_to_use", "other")
"""Why a photo is set aside; ``other`` is told in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """
    What was sampled within a visit.

    Parameters
    ----------
    unit_id, visit_id : str
    kind : str or None
        One of `KINDS`; None where not said yet.
    name : str or None
        As written on its slate; None where not read yet. No two of a visit are alike.
    zone : str or None
    depth_m, depth_m_u : float or None
        Depth below the surface and its standard uncertainty; None where not stated.
    note : str
    observer : str
        Who surveyed it.
    """

    unit_id: str
    visit_id: str
    observer: str
    kind: Kind | None = None
    name: str | None = None
    zone: str | None = None
    depth_m: float | None = None
    depth_m_u: float | None = None
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return {
            "unit_id": self.unit_id,
            "visit_id": self.visit_id,
            "kind": self.kind,
            "name": self.name,
            "zone": self.zone,
            "depth_m": self.depth_m,
            "depth_m_u": self.depth_m_u,
            "note": self.note,
            "observer": self.observer,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPhoto:
    """
    Which unit a photo belongs to.

    Parameters
    ----------
    photo_id : str
    unit_id : str or None
        None where somebody said by hand that it belongs to no unit.
    how : {"slate", "time", "hand"}
        It shows the slate, it follows one in time, or somebody said so.
    gap_min : float or None
        Longest gap, in minutes, that joining by time went over.
    """

    photo_id: str
    unit_id: str | None
    how: How
    gap_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A photo that is kept but neither worked on nor in results: why, who said so and when."""

    photo_id: str
    reason: Reason
    observer: str
    set_at: str
    note: str = ""


class UnitStore(Protocol):
    """Units, their photos, and photos set aside."""

    def units(self, visit_id: str | None = None) -> tuple[Unit, ...]:
        """Return the units of one visit, or all, in the order first saved."""

    def has_unit(self, unit_id: str) -> bool:
        """Tell whether a unit of this id is there."""

    def save_unit(self, unit: Unit) -> None:
        """Store a unit, or its changed words; its zone and observer come to be when not there."""

    def delete_unit(self, unit_id: str) -> None:
        """Take out a unit to which no photo belongs; the change log keeps what it was."""

    def unit_photos(self, visit_id: str | None = None) -> tuple[UnitPhoto, ...]:
        """Return which photos of one visit, or of all, belong to which unit, by photo."""

    def save_unit_photo(self, joined: UnitPhoto) -> None:
        """Store which unit a photo belongs to; what held before is replaced."""

    def delete_unit_photo(self, photo_id: str) -> None:
        """Let a photo belong to no unit, as if nothing had been said."""

    def photos_set_aside(self, visit_id: str | None = None) -> tuple[SetAside, ...]:
        """Return the photos of one visit, or of all, that are set aside, by photo."""

    def save_set_aside(self, aside: SetAside) -> None:
        """Set a photo aside, or change why."""

    def delete_set_aside(self, photo_id: str) -> None:
        """Take a photo back that was set aside."""
