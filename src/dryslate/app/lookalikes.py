"""Genera that are taken for each other, side by side."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from dryslate.app.ports import ReferenceTables
from dryslate.base.problems import Problem
from dryslate.core.identify.comparison import CharacterPair, Comparison, Likeness, SizePair
from dryslate.core.identify.lookalikes import compare_genera, find_lookalikes, require_genus
from dryslate.core.identify.taxa import Genus


def compare(
    tables: ReferenceTables,
    genera: tuple[str, str],
    px_per_mm: float | None = None,
    region: str | None = None,
) -> tuple[Comparison, list[Problem]]:
    """
    Put two genera side by side.

    Parameters
    ----------
    tables : ReferenceTables
    genera : tuple of str
    px_per_mm : float or None
        Scale of the photo at hand.
    region : str or None

    Returns
    -------
    comparison : Comparison
    problems : list of Problem
        Those of the tables, and ``lookalikes-never-meet``.

    Raises
    ------
    InputError
        As `compare_genera`.
    """
    data, problems = tables.taxa()
    found = compare_genera(data, *genera, px_per_mm, region)
    if not found.regions:
        problems.append(
            Problem(
                slug="lookalikes-never-meet",
                severity="note",
                place=f"{found.genus_a}, {found.genus_b}",
                message=f"no {'part of ' + region if region else 'region'} has both of them",
                fix="Where the coral was seen settles it.",
            )
        )
    return found, problems


def list_lookalikes(
    tables: ReferenceTables, genus: str, region: str | None = None
) -> tuple[Genus, list[Likeness], list[Problem]]:
    """
    List what a genus is taken for.

    Parameters
    ----------
    tables : ReferenceTables
    genus : str
    region : str or None

    Returns
    -------
    genus : Genus
    found : list of Likeness
        The hardest first.
    problems : list of Problem
        Those of the tables.

    Raises
    ------
    InputError
        As `find_lookalikes`.
    """
    data, problems = tables.taxa()
    found = find_lookalikes(data, genus, region)
    return data.genera[require_genus(data, genus)], found, problems


def comparison_as_dict(found: Comparison, problems: list[Problem]) -> dict[str, Any]:
    """Return a comparison as plain values, for JSON."""
    return {
        "genera": [found.genus_a, found.genus_b],
        "how_to_tell": found.how_to_tell,
        "source": found.source,
        "looks": {found.genus_a: list(found.looks_a), found.genus_b: list(found.looks_b)},
        "cautions": list(found.cautions),
        "regions": sorted(found.regions),
        "differs": [_character_dict(found, c) for c in found.differing],
        "alike": [_character_dict(found, c) for c in found.alike],
        "scored_for_one": [_character_dict(found, c) for c in found.unscored],
        "sizes_mm": [_size_dict(found, s) for s in found.sizes],
        "problems": [p.as_dict() for p in problems],
    }


def likenesses_as_dict(
    genus: Genus, found: list[Likeness], problems: list[Problem]
) -> dict[str, Any]:
    """Return what a genus is taken for as plain values, for JSON."""
    return {
        "genus": genus.genus,
        "caution": genus.caution,
        "lookalikes": [{**asdict(one), "tells": list(one.tells)} for one in found],
        "problems": [p.as_dict() for p in problems],
    }


def _character_dict(found: Comparison, pair: CharacterPair) -> dict[str, Any]:
    """One character as plain values."""
    return {
        "character": pair.character,
        "question": pair.question,
        "seen_with": pair.seen_with,
        found.genus_a: {s.state: s.frequency for s in pair.states_a},
        found.genus_b: {s.state: s.frequency for s in pair.states_b},
        "difference": None if math.isnan(pair.difference) else round(pair.difference, 3),
        "is_named": pair.is_named,
        "needs_px_per_mm": pair.needs_px_per_mm,
        "in_photo": pair.in_photo,
        "is_memory": pair.is_memory,
    }


def _size_dict(found: Comparison, pair: SizePair) -> dict[str, Any]:
    """One measure as plain values: low, usual low, usual high, high."""
    return {
        "measure": pair.measure,
        **{
            genus: [s.low_mm, s.usual_low_mm, s.usual_high_mm, s.high_mm] if s else None
            for genus, s in ((found.genus_a, pair.size_a), (found.genus_b, pair.size_b))
        },
        "difference": None if math.isnan(pair.difference) else round(pair.difference, 3),
    }
