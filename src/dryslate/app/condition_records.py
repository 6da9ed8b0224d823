"""Conditions of the dives of a visit, as they are stored."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitConditions:
    """
    What sea and weather were like on a visit; None and empty are "not stated".

    Parameters
    ----------
    visit_id : str
    tide : str
    visibility_m, water_c : float or None
    weather, sea : str
    observer, stated_at : str
    """

    visit_id: str
    observer: str
    stated_at: str
    tide: str = ""
    visibility_m: float | None = None
    water_c: float | None = None
    weather: str = ""
    sea: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)

    def words(self) -> str:
        """
        Return what is stated in one line, for an archive.

        Examples
        --------
        >>> VisitConditions(
        ...     visit_id="v", observer="o", stated_at="t", tide="rising", visibility_m=12.0
        ... ).words()
        'tide: rising; visibility: 12 m'
        """
        said = (
            ("tide", self.tide),
            ("visibility", "" if self.visibility_m is None else f"{self.visibility_m:g} m"),
            ("water temperature", "" if self.water_c is None else f"{self.water_c:g} °C"),
            ("weather", self.weather),
            ("sea", self.sea),
        )
        return "; ".join(f"{name}: {text}" for name, text in said if text)


class ConditionStore(Protocol):
    """Conditions of visits."""

    def visit_conditions(self, visit_id: str | None = None) -> tuple[VisitConditions, ...]:
        """Return the conditions of one visit, or of all that have any."""

    def save_visit_conditions(self, stated: VisitConditions) -> None:
        """Store the conditions of a visit, or their changed words; the observer comes to be."""
