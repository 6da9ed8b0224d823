"""How much of a site each zone is: stated by the team, with where that comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryslate.app.site_positions import require_site
from dryslate.app.visits import require_observer
from dryslate.app.zone_records import MEASURES, ZoneWeight
from dryslate.base.errors import InputError

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightsStated:
    """
    The weights of a site as somebody states them.

    Parameters
    ----------
    site : str
    weights : mapping of str to float
        By zone.
    measure, source, observer, stated_at : str
    """

    site: str
    weights: Mapping[str, float]
    measure: str
    source: str
    observer: str
    stated_at: str


def state_zone_weights(store: SurveyStore, said: WeightsStated) -> tuple[ZoneWeight, ...]:
    """
    Store the weights of a site's zones, in place of those it had.

    Parameters
    ----------
    store : SurveyStore
    said : WeightsStated

    Returns
    -------
    tuple of ZoneWeight

    Raises
    ------
    InputError
        ``site-unknown``, ``name-empty``, ``name-nearly``, ``zone-weights-wrong``,
        ``zone-weights-without-source``.
    """
    site, observer = require_site(store, said.site), require_observer(store, said.observer)
    values = list(said.weights.values())
    wrong = [w for w in values if not (w >= 0 and math.isfinite(w))]
    if said.measure not in MEASURES or wrong or len(values) < 2 or sum(values) <= 0:
        raise InputError(
            "zone-weights-wrong",
            f"Weights {', '.join(f'{zone}={w:g}' for zone, w in said.weights.items())} "
            f"({said.measure}) cannot be used.",
            "Give two zones or more, each 0 or more and one above 0, in m2, ha or as share.",
        )
    if said.measure == "share" and not any(
        math.isclose(sum(values), s, rel_tol=0.005) for s in (1, 100)
    ):
        raise InputError(
            "zone-weights-wrong",
            f"The shares make {sum(values):g}.",
            "Shares of a site make 1 or 100 %: give the zone that is missing, or areas.",
        )
    if not said.source.strip():
        raise InputError(
            "zone-weights-without-source",
            "Nobody said where these weights come from.",
            "Say it in words, such as the map and its year: the site's figures rest on it.",
        )
    known = {zone.zone.casefold(): zone.zone for zone in store.zones(site)}
    made = tuple(
        ZoneWeight(
            site=site,
            zone=known.get(zone.casefold(), zone),
            weight=float(weight),
            measure=measure,
            source=said.source.strip(),
            observer=observer,
            stated_at=said.stated_at,
        )
        for measure in MEASURES
        if measure == said.measure
        for zone, weight in said.weights.items()
    )
    store.replace_zone_weights(site, made)
    return made


def parse_weights(texts: Sequence[str]) -> dict[str, float]:
    """
    Read weights as typed: ``crest=1200``.

    Parameters
    ----------
    texts : sequence of str

    Returns
    -------
    dict

    Raises
    ------
    InputError
        ``zone-weights-wrong``.

    Examples
    --------
    >>> parse_weights(["crest=1200", "outer slope=3600"])
    {'crest': 1200.0, 'outer slope': 3600.0}
    """
    found: dict[str, float] = {}
    for text in texts:
        zone, _, number = text.rpartition("=")
        try:
            weight = float(number)
        except ValueError:
            weight = math.nan
        if not zone.strip() or math.isnan(weight) or zone.strip() in found:
            raise InputError(
                "zone-weights-wrong",
                f"{text!r} is not a zone with its weight, or the zone stands twice.",
                "Write each zone once with its weight, such as crest=1200.",
            )
        found[zone.strip()] = weight
    return found
