"""How much of a site each zone is, as it is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal, Protocol, get_args

Measure = Literal["m2", "ha", "share"]
MEASURES: tuple[Measure, ...] = get_args(Measure)


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneWeight:
    """
    The weight of a zone within its site.

    Parameters
    ----------
    site, zone : str
    weight : float
        Area or share; only their proportions count.
    measure : {"m2", "ha", "share"}
    source : str
        Where it comes from, in words.
    observer, stated_at : str
    """

    site: str
    zone: str
    weight: float
    measure: Measure
    source: str
    observer: str
    stated_at: str

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, for JSON."""
        return asdict(self)


class ZoneWeightStore(Protocol):
    """Weights of zones."""

    def zone_weights(self, site: str | None = None) -> tuple[ZoneWeight, ...]:
        """Return the weights of one site's zones, or all."""

    def replace_zone_weights(self, site: str, weights: Sequence[ZoneWeight]) -> None:
        """Store the weights of a site in place of those it had; its zones come to be."""
