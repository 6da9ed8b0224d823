"""A made-up reef of few genera, small enough to work every figure out by hand."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.core.identify.observer import ErrorRates
from dryslate.core.identify.taxa import (
    Character,
    Genus,
    Kind,
    Lookalike,
    Profile,
    SizeRange,
    StateRow,
    TaxaData,
)

PLAIN = ErrorRates(
    error={"wall": 0.1, "tissue": 0.2, "growth_form": 0.1, "skeleton_colour": 0.1},
    slip=0.0,
    size_slip=0.02,
    temperature=1.0,
)
"""No tail and no tempering: likelihoods that a pencil can follow."""


def character(name: str, states: str, seen_with: str = "eye") -> Character:
    return Character(
        character=name,
        question=f"What of the {name.replace('_', ' ')}?",
        seen_with=seen_with,  # type: ignore[arg-type]
        is_hard=False,
        states={s: s.replace("_", " ") for s in states.split()},
    )


def rows(text: str) -> dict[str, dict[str, StateRow]]:
    """States from ``wall=shared tissue=thin,fleshy:sometimes``; usual where nothing is said."""
    found: dict[str, dict[str, StateRow]] = {}
    for part in text.split():
        name, _, states = part.partition("=")
        found[name] = {}
        for state in states.split(","):
            word, _, frequency = state.partition(":")
            found[name][word] = StateRow(
                frequency=frequency or "usual",  # type: ignore[arg-type]
                source="memory" if name == "tissue" else "A paper, 1999",
            )
    return found


def size(low: float, usual_low: float, usual_high: float, high: float) -> SizeRange:
    return SizeRange(
        low_mm=low, usual_low_mm=usual_low, usual_high_mm=usual_high, high_mm=high, source="made up"
    )


def profile(genus: str, text: str, **more: object) -> Profile:
    values: dict[str, object] = {"profile": "", "regions": frozenset({"west"}), "share": 1.0}
    return Profile(genus=genus, states=rows(text), **(values | more))  # type: ignore[arg-type]


def reef(
    *profiles: Profile, frequencies: Mapping[str, Mapping[str, float]] | None = None
) -> TaxaData:
    names = list(dict.fromkeys(p.genus for p in profiles))
    return TaxaData(
        version="made up",
        characters={
            c.character: c
            for c in (
                character("coloniality", "solitary colonial"),
                character("growth_form", "massive branching"),
                character("wall", "shared separate", "lens"),
                character("tissue", "thin fleshy"),
                character("skeleton_colour", "white blue", "broken"),
            )
        },
        genera={
            n: Genus(
                genus=n,
                family="Firstidae" if n < "M" else "Secondidae",
                authority="",
                group="not_coral" if n == "Sponge" else "stony",
                regions=frozenset().union(*(p.regions for p in profiles if p.genus == n)),
            )
            for n in names
        },
        profiles=profiles,
        lookalikes=(
            Lookalike(
                genus_a="Bella",
                genus_b="Alpha",
                how_to_tell="Alpha shares its walls.",
                characters=("wall",),
                source="made up",
            ),
        ),
        regions={
            "west": frozenset({"west"}),
            "east": frozenset({"east"}),
            "empty": frozenset({"empty"}),
            "both": frozenset({"west", "east"}),
        },
        frequencies=frequencies or {},
    )


ALPHA = profile("Alpha", "wall=shared tissue=thin skeleton_colour=white")
BELLA = profile("Bella", "wall=separate tissue=thin skeleton_colour=blue")
NOVA = profile("Nova", "wall=separate tissue=fleshy", regions=frozenset({"west", "east"}))
WITH_KINDS = profile(
    "Alpha",
    "growth_form=massive,branching",
    kinds=(
        Kind(
            name="Alpha parva",
            regions=frozenset({"west"}),
            growth_forms={"branching": "usual"},
            sizes={"corallite_diameter": size(1, 1, 2, 2)},
            share=1.0,
            source="made up",
        ),
        Kind(
            name="Alpha grandis",
            regions=frozenset({"west"}),
            growth_forms={"massive": "usual"},
            sizes={"corallite_diameter": size(8, 8, 16, 16)},
            share=1.0,
            source="made up",
        ),
    ),
)
